"""`rousewort order FILE`: from a sheet to plans, seed to get, days, labels and batches. Orders here are invented."""

from __future__ import annotations

import io
import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from must_be_here import needed  # type: ignore[import-not-found]
from rousewort.base.errors import UserError
from rousewort.cli import batching
from rousewort.cli.main import main
from rousewort.ledger.opening import open_ledger

openpyxl, icalendar = needed("openpyxl"), needed("icalendar")
needed("xlsxwriter")
from rousewort.ledger.order_lines import read_order  # noqa: E402  # needs openpyxl

DAY = date(2026, 12, 1)
SHEET = """Sallow Bridge community nursery: spring order (invented);;;;;;;
Species;Amount of seed;Plants wanted;Wanted by;Lot no.;Provenance;Germination (%);Remarks
Cercis canadensis;20 g;50;2027-06-20;SB-1;Otter Lane;60 %;
"Dogwood, Red Osier";400 seeds;100;20.6.2027;SB-2;;70;first
Acer rubrum L.;;30;;SB-3;;50;to be bought
Taxus baccata;200 seeds;;;SB-4;;;
"""


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[date]:
    now = [DAY]
    monkeypatch.setattr(batching, "today", lambda: now[0])
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv("ROUSEWORT_LOOKS_ON", raising=False)
    return now


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "spring.csv"
    path.write_text(SHEET, "utf-8")
    return path


def worked(capsys: pytest.CaptureFixture[str], *words: object) -> dict[str, Any]:
    main(["order", *map(str, words), "--json"])
    return json.loads(capsys.readouterr().out)


def test_lines_are_read_under_headings_in_plain_words(sheet: Path) -> None:
    order = read_order(sheet)
    assert order.name == "spring" and not order.problems and not order.ignored
    first, second, third, last = order.lines
    assert (first.plant, first.grams, first.wanted, first.by) == ("Cercis canadensis", 20.0, 50, date(2027, 6, 20))
    assert (first.lot, first.origin, first.germination, first.row) == ("SB-1", "Otter Lane", 0.6, 3)
    assert (second.seeds, second.by, second.germination, second.notes) == (400, date(2027, 6, 20), 0.7, "first")
    assert (third.seeds, third.grams, last.seeds) == (None, None, 200)


def test_workbook_is_read_as_its_csv_is(sheet: Path, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Spring order (invented)"])
    page.append(["Botanical name", "Seed (amount)", "Qty", "Ready by", "Accession", "Source", "Viability", "Notes"])
    page.append(["Cercis canadensis", "20 g", 50, date(2027, 6, 20), "SB-1", "Otter Lane", 0.6, None])
    page.append(["Dogwood, Red Osier", "400 seeds", 100.0, date(2027, 6, 20), "SB-2", None, "70 %", "first"])
    page.append([None, None, 150])
    page.append(["Taxus baccata", "200 seeds", None, None, "SB-4"])
    book.save(tmp_path / "spring.xlsx")
    order, as_csv = read_order(tmp_path / "spring.xlsx"), read_order(sheet)
    assert [one._replace(row=0) for one in order.lines[:2]] == [one._replace(row=0) for one in as_csv.lines[:2]]
    assert [one.plant for one in order.lines][2] == "Taxus baccata"
    assert len(order.problems) == 1 and ":5: no plant is named" in order.problems[0]


@pytest.mark.parametrize(
    ("heading", "cell", "says"),
    [
        ("seeds", "many", "'many' is no whole number"),
        ("seeds", "-5", "'-5' is no whole number"),
        ("grams", "5 lumps", "no weight such as 5 g"),
        ("amount of seed", "200", "could be seeds or grams"),
        ("date wanted", "next May", "is not a date"),
        ("date wanted", "3/4/2027", "could be day/month or month/day"),
        ("germination", "130 %", "no share"),
        ("germination", "1", "could be 1 % or all"),
    ],
)
def test_what_cannot_be_read_is_named_with_its_line_and_the_others_go_on(
    tmp_path: Path, heading: str, cell: str, says: str
) -> None:
    path = tmp_path / "o.csv"
    path.write_text(f"plant;{heading}\nCercis canadensis;{cell}\nTaxus baccata;\n", "utf-8")
    order = read_order(path)
    assert [one.plant for one in order.lines] == ["Taxus baccata"]
    assert len(order.problems) == 1 and f"{path}:2:" in order.problems[0] and says in order.problems[0]


def test_sheet_without_a_plant_column_or_with_one_twice_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "o.csv"
    for text, says in (
        ("what,how many\nx,3\n", "no heading says where the plants stand"),
        ("plant,seeds,number of seeds\nx,3,4\n", "'seeds', 'number of seeds'"),
        ("", "no heading"),
    ):
        path.write_text(text, "utf-8")
        with pytest.raises(UserError, match=says):
            read_order(path)


def test_order_says_what_to_sow_what_is_missing_and_when(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = worked(capsys, sheet, "--looks-on", "mon,thu")
    redbud, dogwood, maple, yew = told["lines"]
    assert dogwood["plant"] == "Cornus sericea" and dogwood["missing_seeds"] is None
    assert dogwood["seeds"] > 100 / 0.7 and dogwood["cells"] == dogwood["seeds"]
    assert maple["missing_seeds"] == maple["seeds"] > 30 / 0.5  # nobody said that there is any
    assert yew["seeds"] == 200 and not yew["missing_seeds"]
    assert redbud["grams"] and all(date.fromisoformat(one["begin"]).weekday() in (0, 1, 3) for one in told["lines"])
    assert redbud["seedlings"] <= "2027-06-20" and not redbud["late"]


def test_what_cannot_be_ready_in_time_is_said_with_the_nearest_day(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet.write_text(SHEET.replace("2027-06-20", "2026-12-20"), "utf-8")
    redbud = worked(capsys, sheet)["lines"][0]
    assert redbud["late"].startswith("wanted 2026-12-20, at the nearest 2027-") and "had to begin by" in redbud["late"]
    assert main(["order", str(sheet)]) == 0
    assert "Cannot be ready in time" in capsys.readouterr().out


def test_no_seedling_in_the_calendar_before_the_last_frost(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["order", str(sheet), "--last-frost", "2027-05-10", "--ics", str(tmp_path / "o.ics")]) == 0
    shown = icalendar.Calendar.from_ical((tmp_path / "o.ics").read_bytes()).walk("VEVENT")
    seedlings = [event for event in shown if "seedlings" in str(event["CATEGORIES"].to_ical().decode())]
    assert len(seedlings) == 4 and all(event["DTSTART"].dt >= date(2027, 5, 10) for event in seedlings)
    assert all(event.walk("VALARM") for event in shown)


def test_order_run_twice_starts_nothing_twice(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], clock: list[date]
) -> None:
    where = ["--start", "--ledger", str(tmp_path / "l.sqlite")]
    assert main(["order", str(sheet), *where]) == 0
    assert "1 batches started" in capsys.readouterr().err  # the yew; the others begin later, or are to be bought
    assert main(["order", str(sheet), *where]) == 0
    assert "0 batches started; 1 lines of the order are in the ledger" in capsys.readouterr().err
    clock[0] = DAY + timedelta(200)
    assert main(["order", str(sheet), *where]) == 0 and main(["order", str(sheet), *where]) == 0
    capsys.readouterr()
    with open_ledger(tmp_path / "l.sqlite", today=lambda: clock[0]) as ledger:
        batches = ledger.batches()
        assert len({b.order for b in batches}) == len(batches)
        yew = next(b for b in batches if b.species == "Taxus baccata")
        assert (yew.started, yew.lot, yew.order) == (DAY, "SB-4", "spring; Taxus baccata; SB-4")
        ledger.record(yew.code, "void", reason="wrong packet")
    assert main(["order", str(sheet), *where]) == 0
    assert "1 batches started" in capsys.readouterr().err  # what never was can be begun anew


def test_same_plant_and_lot_twice_is_two_batches_and_a_second_order_is_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "two.csv"
    path.write_text("plant,lot,seeds\nTaxus baccata,A,10\nTaxus baccata,A,20\n", "utf-8")
    where = ["--start", "--ledger", str(tmp_path / "l.sqlite")]
    for name, number in (("two", 2), ("two", 2), ("next year", 4)):
        assert main(["order", str(path), "--name", name, *where]) == 0
        with open_ledger(tmp_path / "l.sqlite") as ledger:
            assert len(ledger.batches()) == number
    capsys.readouterr()


def test_no_output_goes_over_the_order_or_over_another_file(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "mine.xlsx"
    other.write_bytes(b"PK\x03\x04 another workbook")
    for option, where in (("--csv", sheet), ("--xlsx", other)):
        before = where.read_bytes()
        assert main(["order", str(sheet), option, str(where)]) == 2
        assert where.read_bytes() == before
    capsys.readouterr()


def test_workbook_written_holds_the_lines_and_runs_nothing(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet.write_text(SHEET.replace(";first", ";=1+1"), "utf-8")
    assert main(["order", str(sheet), "--xlsx", str(tmp_path / "w.xlsx"), "--csv", str(tmp_path / "w.csv")]) == 0
    book = openpyxl.load_workbook(io.BytesIO((tmp_path / "w.xlsx").read_bytes()))
    assert book.sheetnames == ["Lines", "To get", "Days", "Not planned"]
    lines = list(book["Lines"].iter_rows(values_only=True))
    assert len(lines) == 5 and lines[2][lines[0].index("notes")] == "=1+1"
    assert all(cell.data_type != "f" for row in book["Lines"].iter_rows() for cell in row)
    assert [row[1] for row in book["To get"].iter_rows(min_row=2, values_only=True)] == ["Acer rubrum"]
    assert b"'=1+1" in (tmp_path / "w.csv").read_bytes()
    capsys.readouterr()


def test_order_without_start_makes_no_ledger(sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["order", str(sheet)]) == 0 and not (tmp_path / "data").exists()
    assert main(["order", str(sheet), "--ledger", str(tmp_path / "typo.sqlite")]) == 2
    assert "There is no ledger" in capsys.readouterr().err and not (tmp_path / "typo.sqlite").exists()


def test_forty_lines_are_all_dated_and_labelled_in_one_command(
    species: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    needed("reportlab")
    names = species[:: max(1, len(species) // 40)][:40]
    path = tmp_path / "forty.csv"
    path.write_text("plant,seeds,plants wanted,germination\n" + "".join(f"{n},500,50,50%\n" for n in names), "utf-8")
    out = {"--ics": tmp_path / "f.ics", "--labels": tmp_path / "f.pdf", "--xlsx": tmp_path / "f.xlsx"}
    told = worked(capsys, path, *(word for pair in out.items() for word in pair))
    assert len(told["lines"]) == len(names) and all(where.stat().st_size > 1000 for where in out.values())
    assert all(one["begin"] for one in told["lines"] if not one["fault"])


def test_labels_say_which_plants_have_none_and_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Red maple is sown as it is: nothing of it goes into a bag."""
    needed("reportlab")
    path = tmp_path / "o.csv"
    path.write_text("plant,lot\nCercis canadensis,A\nAcer rubrum,B\n", "utf-8")
    assert main(["order", str(path), "--labels", str(tmp_path / "o.pdf")]) == 0
    told = capsys.readouterr().err
    assert "goes into a bag: Acer rubrum." in told and "Cercis" not in told
