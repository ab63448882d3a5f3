"""What a layer replaces and adds; and where help is worth most."""

from __future__ import annotations

import json
from pathlib import Path

from rousewort.contribute.gaps import facts, gaps
from rousewort.contribute.layout import place_of


def test_a_layer_tells_what_it_adds_replaces_adds_to_and_repeats(private, layer: Path) -> None:
    private.plant()
    place = place_of("Cercis canadensis", "species")
    text = (layer / place).read_text()
    private.write(place, text[: text.index("protocols:")])
    same = place_of("Cercis siliquastrum", "species")
    private.write(same, (layer / same).read_text())
    private.write(
        "species/acer/more.yaml",
        "name: Acer saccharum\nrank: species\nfamily: Sapindaceae\nadds_to: Acer saccharum\nprotocols:\n  - {id: one, source: bridge-2001, held: read, where: p. 1}\n",
    )
    code, out, _ = private.run("layer", "--json")
    (parts,) = json.loads(out).values()
    found = {(p["name"], p["does"]): p["note"] for p in parts}
    assert code == 0
    assert ("Sallowia pontis", "adds") in found and ("bridge-2001", "adds") in found
    assert found["Cercis canadensis", "replaces"].startswith("0 protocols instead of ")
    assert found["Acer saccharum", "adds protocols"] == "1 protocols"
    assert "may be left out" in found["Cercis siliquastrum", "same"]
    assert "Replaces (1)" in private.run("layer", "--kb", private.folder)[1]


def test_a_layer_that_is_not_sound_is_not_reported_on(private) -> None:
    private.plant(("is: physical", "is: phsical"))
    assert private.run("layer", "--json")[0] == 1


def test_without_a_layer_the_command_says_how_to_name_one(rousewort) -> None:
    code, _, err = rousewort("layer")
    assert code == 2 and "--kb" in err


def test_gaps_count_what_is_there(kb, memory) -> None:
    found = gaps(kb)
    species = [r for r in memory.records.values() if r["rank"] == "species"]
    works = {r["name"]: {f["source"] for f in facts(r) if "source" in f} for r in species}
    assert set(found.one_source) == {n for n, w in works.items() if len(w) == 1}
    assert set(found.no_source) == {n for n, w in works.items() if not w}
    of_entries = sum(f["held"] == "memory" and "source" in f for r in memory.records.values() for f in facts(r))
    assert of_entries <= sum(m.facts for m in found.memory)
    assert sum(row[c] for row in found.table.values() for c in row) >= len(species)
    assert all(have < 5 and genera > 1 for _, have, genera in found.thin_families)


def test_a_fact_from_memory_shows_with_its_work(private) -> None:
    private.plant(("source: bridge-2001, held: read, where: p. 3", "source: bridge-2001, held: memory"))
    code, out, _ = private.run("gaps", "--json")
    (row,) = [m for m in json.loads(out)["memory"] if m["source"] == "bridge-2001"]
    assert (code, row["facts"], row["names"]) == (0, 1, ["Sallowia pontis"])


def test_the_list_fits_80_columns_and_names_how_to_see_all(rousewort) -> None:
    code, out, _ = rousewort("gaps")
    assert code == 0 and max(map(len, out.splitlines())) <= 80 and "--all" in out
