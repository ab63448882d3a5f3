"""Checking entries: every mistake with its line, then what is doubtful and why; quickly for one file."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.contribute.checking import check_all, check_files
from rousewort.contribute.layout import Layers, all_layers, root_of
from rousewort.contribute.reference import reference
from rousewort.knowledge.doubts import _one_letter_apart

QUIET = {
    "no-place",
    "no-source",
    "inferred-against-table",
}  # counted, listed on request: many, each with a known answer


def doubts(private, *changes: tuple[str, str]) -> dict[str, list]:
    """Code → doubts about the invented plant with these changes, which must have no mistake."""
    path = private.plant(*changes)
    result = check_files([path], all_layers([private.folder]))
    assert result.problems == ()
    found: dict[str, list] = {}
    for doubt in result.doubts:
        found.setdefault(doubt.code, []).append(doubt)
    return found


def test_a_sound_entry_with_places_raises_no_doubt_and_exits_0(private) -> None:
    code, out, _ = private.run("entry", "check", private.plant())
    assert (code, out) == (0, "")


def test_a_mistake_shows_its_line_a_caret_below_the_word_and_the_nearest_word(private) -> None:
    path = private.plant(("is: physical", "is: phsical"))
    code, out, _ = private.run("entry", "check", path)
    lines = out.splitlines()
    assert code == 1
    assert lines[0].endswith("sallowia-pontis.yaml:9:12: error")
    assert lines[2].index("^") == lines[1].index("phsical")
    assert "Did you mean `physical`?" in out


def test_all_mistakes_of_all_files_come_at_once(private) -> None:
    first = private.plant(("is: physical", "is: phsical"), ("family:", "familly:"))
    second = private.write("species/sallowia/sallowia-rivi.yaml", "name: Sallowia rivi\nrank: species\n")
    code, out, err = private.run("entry", "check", first, second)
    assert code == 1
    assert all(word in out for word in ("phsical", "familly", "`family` is missing"))
    assert err.startswith("2 files: ")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ([("coat_hardness:\n    - {is: hard", "coat_water:\n    - {is: passes")], "coat_water: passes beside dormancy_class: physical"),
        ([("coat_hardness:\n    - {is: hard", "embryo:\n    - {is: undergrown")], "embryo: undergrown"),
        ([("is: hard", "is: soft")], "coat_hardness: soft"),
        ([("kind: nick", "kind: cold_moist")], "cold reported needed"),
        ([("coat_hardness:\n    - {is: hard", "drying:\n    - {is: sensitive"), ("kind: nick", "kind: after_ripen")], "after ripening reported needed"),
        ([("coat_hardness:\n    - {is: hard", "physiological_level:\n    - {is: deep")], "physiological_level: deep"),
    ],
)  # fmt: skip
def test_statements_that_hardly_go_together_are_doubted_with_the_reason(private, changes: list, says: str) -> None:
    found = [doubt for doubt in doubts(private, *changes)["contradiction"] if says in doubt.problem.what]
    (doubt,) = found
    assert "(line " in doubt.problem.what
    assert len(doubt.why) > 20 and doubt.problem.mend
    assert doubt.problem.line in range(9, 19)


def test_an_inferred_or_flagged_statement_contradicts_nothing(private) -> None:
    assert "contradiction" not in doubts(private, ("is: hard,", "is: soft, low_standing: second-hand,"))


def test_every_word_of_the_list_of_contradictions_is_a_word_of_the_vocabulary(kb) -> None:
    for item in kb.vocabulary.files["contradictions"]:
        assert len(item["words"]) == 2 and item["why"] and item["mend"]
        for key, words in item["words"].items():
            assert set(words) <= set(kb.vocabulary.given[key]), key


@pytest.mark.parametrize(
    ("treatment", "says"),
    [
        ("kind: cold_moist, days: 900, length_basis: advice", "far above"),
        ("kind: soak, hours: 400, length_basis: advice", "beyond the limit of 24 hours"),
        ("kind: cold_moist, found: effective, days: 60, temperature_c: {low: 40, high: 41}", "40–41 °C is far above"),
        ("kind: warm_moist, found: effective, days: 1", "far below"),
    ],
)  # fmt: skip
def test_a_number_far_outside_what_is_published_is_doubted(private, treatment: str, says: str) -> None:
    found = doubts(private, ("kind: nick, found: needed", treatment))
    assert says in found["far-number"][0].problem.what


@pytest.mark.parametrize("said", ["length_basis: only_tried", "found: useless"])
def test_a_length_that_was_only_tried_is_not_doubted(private, said: str) -> None:
    changes = ("kind: nick, found: needed", f"kind: cold_moist, {said}, days: 900")
    assert "far-number" not in doubts(private, changes)


@pytest.mark.parametrize(
    ("treatment", "says"),
    [
        ("kind: cold_moist, days: {low: 280, high: 560}, length_basis: advice", "beyond the 5–270 days usual of it"),
        ("kind: warm_moist, found: effective, days: {low: 60, high: 600}", "beyond the 5–365 days usual of it"),
    ],
)
def test_a_length_with_a_nought_too_many_is_doubted_though_no_limit_forbids_it(
    private, treatment: str, says: str
) -> None:
    found = doubts(private, ("kind: nick, found: needed", treatment))
    assert says in found["far-number"][0].problem.what


def test_a_work_on_another_family_is_doubted_where_it_is_cited_once(private) -> None:
    other = "source: obiazi-2015-water, held: read, where: p. 3"  # on Leucaena: a legume, as the invented plant is
    path = private.plant(
        ("family: Fabaceae", "family: Alismataceae"), ("{is: hard, held: practice", f"{{is: hard, {other}")
    )
    found = [d for d in check_files([path], all_layers([private.folder])).doubts if d.code == "wrong-subject"]
    assert [d.problem.what for d in found] == ["`obiazi-2015-water` is a work on Leucaena, not on Alismataceae"]
    assert found[0].problem.line > 1
    own = private.plant(("{is: hard, held: practice", f"{{is: hard, {other}"))
    assert "wrong-subject" not in {d.code for d in check_files([own], all_layers([private.folder])).doubts}


def test_the_degrees_of_the_chill_are_doubted_as_those_of_sowing(private) -> None:
    chill = "kind: cold_moist, length_basis: advice, days: 60, temperature_c: 4"
    sown = f"{{{chill}}}\n      - {{kind: sow, temperature_c: LOW}}"
    for degrees, doubted in (("4", True), ("15", False)):
        found = doubts(private, ("{kind: nick, found: needed}", sown.replace("LOW", degrees)))
        assert ("sown-in-the-cold" in found) is doubted


def test_a_number_is_compared_with_the_genus_where_enough_is_known_of_it(private, kb) -> None:
    genus = next(
        g for g in sorted({n.split()[0] for n in kb.names()})
        if len({d["species"] for d in kb.store.group("genus", g)["doses"] if d["kind"] == "cold_moist" and "days" in d}) >= 6
    )  # fmt: skip
    family = kb.genus_family(genus)
    text = f"""\
name: {genus} pontis
rank: species
family: {family}
protocols:
  - id: cold
    held: practice
    design: practice
    phases:
      - {{kind: cold_moist, days: 1500}}
"""
    path = private.write(f"species/{genus.lower()}/{genus.lower()}-pontis.yaml", text)
    (doubt,) = [d for d in check_files([path], all_layers([private.folder])).doubts if d.code == "far-number"]
    assert f"of other {genus}" in doubt.problem.what


def test_a_name_one_letter_from_an_entry_and_a_synonym_of_one_are_doubted(private) -> None:
    near = private.write(
        "species/cercis/cercis-canadensi.yaml", "name: Cercis canadensi\nrank: species\nfamily: Fabaceae\n"
    )
    found = check_files([near], all_layers([private.folder])).doubts
    assert ["Cercis canadensis" in d.problem.what for d in found if d.code == "near-name"] == [True]
    other = doubts(private, ("  - Sallowia vetus", "  - Cercis canadensis"))
    assert "is a name of the entry Cercis canadensis" in other["near-name"][0].problem.what


@given(st.text("abc ", max_size=7), st.text("abc ", max_size=7))
def test_one_letter_apart_is_what_the_library_of_distances_calls_a_distance_of_one(one: str, other: str) -> None:
    from rapidfuzz.distance import OSA

    assert _one_letter_apart(one, other) == (OSA.distance(one, other) == 1)


def test_a_genus_in_another_family_than_elsewhere_is_doubted(private) -> None:
    path = private.write("species/cercis/cercis-pontis.yaml", "name: Cercis pontis\nrank: species\nfamily: Rosaceae\n")
    assert [d.code for d in check_files([path], all_layers([private.folder])).doubts] == ["family"]


def test_protocols_that_contradict_each_other_are_doubted_unless_one_is_flagged(private) -> None:
    more = "found: needed}\n  - id: again\n    source: bridge-2001\n    held: read\n    where: p. 9\n    phases:\n      - {kind: nick, found: useless}"
    (doubt, *_) = doubts(private, ("found: needed}", more))["protocols-differ"]
    assert "found no help, but found needed on line" in doubt.problem.what
    flagged = more.replace("where: p. 9", "low_standing: second-hand")
    assert "protocols-differ" not in doubts(private, ("found: needed}", flagged))


def test_facts_without_a_place_and_entries_without_a_source_are_doubted_once(private) -> None:
    (doubt,) = doubts(private, (", where: p. 3", ""))["no-place"]
    assert doubt.problem.what.startswith("1 of 3 facts")
    alone = private.write(
        PLACE_2,
        "name: Sallowia rivi\nrank: species\nfamily: Fabaceae\ntraits:\n  fruit:\n    - {is: dry, held: practice}\n",
    )
    assert [d.code for d in check_files([alone], all_layers([private.folder])).doubts] == ["no-source"]


PLACE_2 = "species/sallowia/sallowia-rivi.yaml"


def test_strict_fails_on_doubts_alone(private) -> None:
    path = private.plant((", where: p. 3", ""))
    assert private.run("entry", "check", path)[0] == 0
    assert private.run("entry", "check", path, "--strict")[0] == 1


def test_json_and_annotations_say_the_same_as_the_text(private) -> None:
    path = private.plant(("is: physical", "is: phsical"))
    code, out, _ = private.run("entry", "check", path, "--json")
    (row,) = json.loads(out)
    assert (code, row["level"], row["line"], row["column"]) == (1, "error", 9, 12)
    code, out, _ = private.run("entry", "check", path, "--annotations")
    assert code == 1
    assert re.fullmatch(
        r"::error file=.*sallowia-pontis\.yaml,line=9,col=12,title=error::`phsical` is not a word for dormancy_class\..*\n",
        out,
    )


def test_an_annotation_cannot_be_broken_out_of(private) -> None:
    path = private.plant(("is: physical", 'is: "a%0A::stop,\\n::x"'))
    _, out, _ = private.run("entry", "check", path, "--annotations")
    assert len(out.splitlines()) == 1 and "%250A" in out


def test_a_file_outside_any_knowledge_base_and_a_missing_one_are_told_together(tmp_path: Path, private) -> None:
    stray = tmp_path / "stray.yaml"
    stray.write_text("name: x\n")
    with pytest.raises(UserError) as caught:
        check_files([stray, tmp_path / "species" / "none.yaml"], all_layers())
    assert len(caught.value.problems) == 2


def test_a_file_belongs_to_the_folder_above_its_kind_of_folder(tmp_path: Path) -> None:
    assert root_of(tmp_path / "a" / "species" / "cercis" / "x.yaml") == tmp_path / "a"
    assert root_of(tmp_path / "a" / "sources.yaml") == tmp_path / "a"
    assert root_of(tmp_path / "a" / "notes.yaml") is None


def test_one_broken_entry_does_not_keep_another_from_being_checked(private) -> None:
    private.write(PLACE_2, "name: [\n")
    assert private.run("entry", "check", private.plant())[0] == 0


def test_a_name_claimed_by_another_file_of_the_layer_is_a_mistake_also_when_one_file_is_checked(private) -> None:
    private.plant()
    other = private.write(
        PLACE_2, "name: Sallowia rivi\nrank: species\nfamily: Fabaceae\nsynonyms:\n  - Sallowia vetus\n"
    )
    result = check_files([other], all_layers([private.folder]))
    assert ["already claimed by Sallowia pontis" in p.what for p in result.problems] == [True]
    whole = check_all(all_layers([private.folder]))
    assert any("already claimed" in p.what for p in whole.problems), "and the whole check says so too"


def test_what_changed_since_the_index_was_made_is_seen(private) -> None:
    """The second check must see the new neighbour, and the third that it is gone, without a new index."""
    path = private.plant()
    layers = all_layers([private.folder])
    assert check_files([path], layers).problems == ()
    made = reference(layers, [path]).store
    neighbour = private.write(
        PLACE_2, "name: Sallowia rivi\nrank: species\nfamily: Fabaceae\nsynonyms: [Sallowia vetus]\n"
    )
    assert any("Sallowia rivi" in p.what for p in check_files([path], layers).problems)
    assert reference(layers, [path]).store.shared("stamp") == made.shared("stamp"), "no new index was made"
    neighbour.unlink()
    assert check_files([path], layers).problems == ()


def test_a_new_source_is_seen_at_once(private) -> None:
    path = private.plant(("is: physical, source: bridge-2001", "is: physical, source: bridge-2002"))
    assert len(check_files([path], all_layers([private.folder])).problems) == 1
    private.write(
        "sources.yaml",
        (private.folder / "sources.yaml").read_text()
        + "bridge-2002: {citation: 'Reed B. (2002) Another invented work.'}\n",
    )
    assert check_files([path], all_layers([private.folder])).problems == ()


def test_a_damaged_kept_index_is_made_anew(private, own_cache: Path) -> None:
    path = private.plant()
    layers = all_layers([private.folder])
    check_files([path], layers)
    for kept in (own_cache / "rousewort" / "check").glob("*.sqlite"):
        kept.write_bytes(b"not an index")
    assert check_files([path], layers).problems == ()


def test_a_rule_is_checked_with_everything_that_it_could_break(private) -> None:
    rule = private.write("rules/bridge.yaml", "id: bridge\nphase: obstacles\n")
    code, out, _ = private.run("entry", "check", rule)
    assert code == 1 and "rules/bridge.yaml" in out


def test_checking_one_file_and_checking_everything_find_the_same_in_it(layer: Path, own_cache: Path) -> None:
    whole = check_all(all_layers())
    some = sorted({d.problem.file for d in (*whole.doubts, *whole.judged) if d.code not in QUIET})[:25]
    assert some
    alone = check_files([Path(f) for f in some], all_layers())
    key = lambda d: (Path(d.problem.file).resolve(), d.code, d.problem.line, d.problem.what, d.judged)  # noqa: E731
    expected = [d for d in (*whole.doubts, *whole.judged) if d.problem.file in some]
    assert sorted(map(key, (*alone.doubts, *alone.judged))) == sorted(map(key, expected))


def test_nothing_in_the_shipped_knowledge_base_is_doubted_that_nobody_looked_at(kb) -> None:
    """Mend the entry, or answer the doubt in it (`judged:`); only places in works are still to be filled in."""
    open_ones = {(d.code, Path(d.problem.file).stem) for d in check_all(all_layers()).doubts if d.code not in QUIET}
    assert open_ones == set()


def test_a_place_in_a_title_is_no_plant(kb) -> None:
    """The Sierra Nevada and British Columbia are no works on the genera Nevada and Columbia."""
    places = kb.vocabulary.files["doubts"]["wrong-subject"]["not_plants"]
    genera = kb.store.shared("genus_family")
    assert {"Nevada", "Columbia"} <= set(places) and set(places) <= genera.keys()


def test_an_installed_copy_checks_a_private_entry_over_its_compiled_index(private, kb, memory, tmp_path: Path) -> None:
    from rousewort.knowledge.store import write_index

    index = tmp_path / "kb.sqlite"
    write_index(memory, index, "test")
    path = private.plant(("is: physical", "is: phsical"))
    result = check_files([path], Layers((private.folder,), index))
    assert ["phsical" in p.what for p in result.problems] == [True]


def test_a_copy_of_the_whole_knowledge_base_is_checked_as_itself(layer: Path, tmp_path: Path) -> None:
    """A pull request's tree is no layer over ours: a rule that it took away must not come back."""
    copy = tmp_path / "kb"
    shutil.copytree(layer, copy)
    path = next((copy / "species").rglob("cercis-canadensis.yaml"))
    result = check_files([path], all_layers())
    assert result.problems == () and {d.code for d in result.doubts} <= {"no-place"}


FAR = "      - {kind: soak, found: effective, hours: 48}\n"


def judged(private, reason: str) -> list[tuple[str, str]]:
    """(level, code) of every doubt on the invented plant, with a soak far over the limit and a judgement on it."""
    soak = FAR.replace("}", f", judged: {{far-number: '{reason}'}}}}")
    path = private.plant(("      - {kind: nick, found: needed}\n", soak))
    _, out, _ = private.run("entry", "check", path, "--json")
    _, more, _ = private.run("entry", "check", path, "--json", "--doubts", "judged")
    return sorted({(row["level"], row["code"]) for row in (*json.loads(out), *json.loads(more))})


def test_a_doubt_that_an_author_answered_rests_and_is_counted(private) -> None:
    assert judged(private, "The notes say 48 hours, twice; the stone is thick.") == [("judged", "far-number")]


def test_a_judgement_does_not_outlive_the_number_that_it_is_about(private) -> None:
    assert judged(private, "The notes say 36 hours, twice; the stone is thick.") == [("doubt", "far-number")]


def test_a_word_is_no_judgement(private) -> None:
    assert judged(private, "ok, 48") == [("error", "error")]


def test_a_judgement_on_nothing_is_doubted_itself(private) -> None:
    path = private.plant(
        (
            "{kind: nick, found: needed}",
            "{kind: nick, found: needed, judged: {protocols-differ: nobody has said otherwise so far}}",
        )
    )
    _, out, _ = private.run("entry", "check", path, "--json")
    assert [row["code"] for row in json.loads(out)] == ["judged-in-vain"]


def test_doubts_of_one_kind_are_listed_when_asked_for(private) -> None:
    path = private.plant(("      - {kind: nick, found: needed}\n", FAR))
    code, out, _ = private.run("entry", "check", path, "--doubts", "far-number")
    assert code == 0 and "beyond the limit" in out
    code, _, err = private.run("entry", "check", path, "--doubts", "far-numbers")
    assert code == 2 and "Did you mean `far-number`?" in err


def test_a_family_that_nobody_knows_is_doubted(private) -> None:
    path = private.plant(("family: Fabaceae", "family: Fabiaceae"))
    _, out, _ = private.run("entry", "check", path)
    assert "Fabiaceae is none of the families known here" in out and "Did you mean `Fabaceae`?" in out


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("name: Sallowia pontis", "name: Sallowia pontis L.", "not how name is written"),
        ("family: Fabaceae", "family: the pea family", "ends in -aceae"),
        ("  - Sallowia vetus", "  - <b>Sallowia vetus</b>", "not how synonyms is written"),
        ("traits:\n  dormancy_class", 'common_names: ["bell\\u0007"]\ntraits:\n  dormancy_class', r"bell\\x07"),
        ("traits:\n  dormancy_class", "common_names: ['[a](b)']\ntraits:\n  dormancy_class", "no markup"),
    ],
)
def test_names_are_names_and_nothing_else(private, old: str, new: str, said: str) -> None:
    code, out, _ = private.run("entry", "check", private.plant((old, new)))
    assert code == 1 and said.replace(r"\\", "\\") in " ".join(out.split())


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        # the table has some 130 seeds of balsam fir in a gram, and says that they need cold
        ([("traits:", "practice: {seed_size: very_large}\ntraits:")], "seed_size: very_large, but"),
        ([("traits:", "traits:\n  seeds_per_gram:\n    - {low: 4, high: 5, held: practice}")], "4–5 seeds a gram, but"),
        ([("{kind: nick, found: needed}", "{kind: cold_moist, found: unneeded}")], "says that it needs cold"),
    ],
)  # fmt: skip
def test_what_a_published_table_says_otherwise_is_doubted_and_can_be_judged(private, changes: list, says: str) -> None:
    """The invented plant, said to be called balsam fir too, which both tables know."""
    named = ("  - Sallowia vetus", "  - Abies balsamea")
    found = doubts(private, named, *changes)["against-table"]
    assert [says in d.problem.what for d in found] == [True]


def test_a_class_against_the_table_of_classes_is_doubted_and_told_apart_where_it_was_only_inferred(private) -> None:
    """The invented plant, physical by its work, said to be called balsam fir too, which the table has as physiological."""
    named = ("  - Sallowia vetus", "  - Abies balsamea")
    found = doubts(private, named)["class-against-table"]
    assert [d.problem.what for d in found] == ["dormancy_class: physical, but physiological in the table of classes"]
    inferred = ("where: p. 3}", "where: p. 3, inferred_from: water_uptake}")
    guessed = doubts(private, named, inferred)
    assert "class-against-table" not in guessed and guessed["inferred-against-table"]
    judged = (
        "where: p. 3}",
        "where: p. 3, judged: {class-against-table: 'the work looked at seed of another lot, years in store'}}",
    )
    assert "class-against-table" not in doubts(private, named, judged)
