"""Tables: everything comes back as it went out, every column is described, and nothing is half imported."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from rousewort.base.errors import UserError
from rousewort.contribute.layout import place_of
from rousewort.contribute.table import DESCRIPTION, TABLES, export, read_folder
from rousewort.knowledge.spelled_out import share, spelled_out


def written(files: dict[str, str], folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, "utf-8")
    return folder


def spelled(records: dict, kb) -> dict:
    """Entries as written, as they stand once loaded."""
    return share({name: spelled_out(record, kb.vocabulary) for name, record in records.items()})


def test_every_shipped_entry_comes_back_as_it_went_out(kb, memory, tmp_path: Path) -> None:
    records, works = read_folder(written(export(kb), tmp_path / "facts"))
    assert spelled(records, kb) == memory.records
    assert all(kb.sources[source] == work for source, work in works.items())


@pytest.mark.parametrize(
    ("mark", "encoding"), [(",", "utf-8-sig"), (";", "utf-8-sig"), ("\t", "utf-8"), ("\t", "utf-16")]
)
def test_a_spreadsheet_may_save_the_tables_its_own_way(kb, memory, tmp_path: Path, mark: str, encoding: str) -> None:
    """Semicolons and decimal commas, a byte order mark, Windows lines, columns moved, empty rows and cells at the end."""
    names = sorted(memory.records)[::40]
    for name, text in export(kb, names).items():
        if not name.endswith(".csv"):
            continue
        rows = [row[::-1] for row in csv.reader(text.splitlines(keepends=True))]
        if mark == ";":
            numbers = {
                i
                for i, head in enumerate(rows[0])
                if any(c.name == head and c.type == "number" for c in TABLES[name[:-4]])
            }
            rows = [[c.replace(".", ",") if i in numbers else c for i, c in enumerate(row)] for row in rows]
        rows = [[*row, "", ""] for row in rows] + [[""] * 3]
        with (tmp_path / name).open("w", encoding=encoding, newline="") as out:
            csv.writer(out, delimiter=mark, lineterminator="\r\n").writerows(rows)
    records, _ = read_folder(tmp_path)
    genera = {name: memory.records[name] for name in memory.records if memory.records[name]["rank"] == "genus"}
    made = spelled({**genera, **records}, kb)
    assert {name: made[name] for name in names} == {name: memory.records[name] for name in names}


def test_every_column_is_described_with_its_type_and_its_unit_or_term(kb) -> None:
    files = export(kb, ["Cercis canadensis"])
    described = {
        r["path"]: [f["name"] for f in r["schema"]["fields"]] for r in json.loads(files[DESCRIPTION])["resources"]
    }
    assert described == {
        name: next(csv.reader([text.splitlines()[0]])) for name, text in files.items() if name.endswith(".csv")
    }
    fields = [f for r in json.loads(files[DESCRIPTION])["resources"] for f in r["schema"]["fields"]]
    assert all(len(f["description"]) > 5 and f["type"] in ("string", "number", "integer", "boolean") for f in fields)
    assert all("unit" in f for f in fields if f["type"] == "number")


def test_names_carry_darwin_core_terms(kb) -> None:
    terms = {c.name: c.term for c in TABLES["taxa"]}
    assert {n: t.rsplit("/", 1)[1] for n, t in terms.items() if t} == {
        n: n for n in ("scientificName", "taxonRank", "family", "vernacularName")
    }
    assert all(t.startswith("http://rs.tdwg.org/dwc/terms/") for t in terms.values() if t)


def test_export_and_import_through_the_command(private, rousewort, tmp_path: Path, layer: Path) -> None:
    assert rousewort("table", "export", tmp_path / "facts", "Cercis", "canadensis")[0] == 0
    code, out, _ = private.run("table", "import", tmp_path / "facts")
    assert code == 0 and "1 entries" in out
    place = place_of("Cercis canadensis", "species")
    assert (private.folder / place).read_text() == (layer / place).read_text()


def test_an_import_writes_nothing_over_another_file(private, rousewort, tmp_path: Path) -> None:
    rousewort("table", "export", tmp_path / "facts", "Cercis canadensis", "Acer saccharum")
    place = private.write(place_of("Cercis canadensis", "species"), "mine\n")
    code, _, err = private.run("table", "import", tmp_path / "facts")
    assert code == 2 and "is there already" in err
    assert place.read_text() == "mine\n" and not (private.folder / place_of("Acer saccharum", "species")).exists()


def test_an_import_that_fails_its_check_writes_nothing(private, rousewort, tmp_path: Path) -> None:
    rousewort("table", "export", tmp_path / "facts", "Cercis canadensis")
    path = tmp_path / "facts" / "traits.csv"
    path.write_text(path.read_text().replace("physical_physiological", "phisical"))
    before = sorted(private.folder.rglob("*"))
    code, _, err = private.run("table", "import", tmp_path / "facts")
    assert code == 1 and "phisical" in err and "rousewort-" not in err
    assert sorted(private.folder.rglob("*")) == before


@pytest.mark.parametrize(
    ("table", "old", "new", "says"),
    [
        ("taxa", "scientificName", "scientificname", "no such columns: scientificname"),
        ("phases", ",60,60,,,d", ",sixty,60,,,d", "'sixty' is no number"),
        ("phases", ",60,60,,,d", ",inf,60,,,d", "'inf' is no number"),
        ("taxa", "family,synonyms", "family,family", "twice: family"),
        ("phases", "Cercis canadensis,", "Cercis canadensis,x", "no such protocol"),
        ("traits", "Cercis canadensis,coat", "Cercis silva,coat", "not in taxa.csv"),
        (
            "taxa",
            "Cercis canadensis,species",
            "Cercis canadensis,species,more,more,more,more",
            "10 cells and the head 6",
        ),
    ],
)
def test_a_wrong_cell_is_told_with_its_file_and_line(
    kb, tmp_path: Path, table: str, old: str, new: str, says: str
) -> None:
    folder = written(export(kb, ["Cercis canadensis"]), tmp_path / "facts")
    path = folder / f"{table}.csv"
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new, 1))
    with pytest.raises(UserError, match=says) as caught:
        read_folder(folder)
    assert f"{table}.csv:" in str(caught.value)


def test_a_folder_of_something_else_is_not_written_into(rousewort, tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine")
    code, _, err = rousewort("table", "export", tmp_path)
    assert code == 2 and "no earlier export" in err and [p.name for p in tmp_path.iterdir()] == ["letter.txt"]
