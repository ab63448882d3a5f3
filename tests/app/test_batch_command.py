"""`rousewort batch …` as typed: what it prints, where, and with which exit code."""

from __future__ import annotations

import csv
import json
from datetime import date, timedelta
from pathlib import Path

import openpyxl
import pytest
from rousewort.cli import batching
from rousewort.cli.main import main

DAY = date(2025, 3, 10)


class Typed:
    """Runs commands on one ledger; keeps what the last one printed."""

    def __init__(self, where: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.where, self.capsys, self.out, self.err = where, capsys, "", ""

    def __call__(self, *words: object) -> int:
        code = main(["batch", *map(str, words), "--ledger", str(self.where)])
        self.out, self.err = self.capsys.readouterr()
        return code


@pytest.fixture
def batch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Typed:
    monkeypatch.setattr(batching, "today", lambda: DAY)
    return Typed(tmp_path / "ledger.sqlite", capsys)


def test_course_of_a_batch_by_commands(batch: Typed) -> None:
    assert (
        batch("start", "eastern", "redbud", "--seeds", 120, "--lot", "7", "--viability", "0.8", "--day", "2025-01-01")
        == 0
    )
    assert batch.out.startswith("1C Cercis canadensis: look the lot over since 2025-01-01")
    assert batch("move", 1, "cold_moist-1", "--day", "2025-01-02", "--why", "soaked and nicked before it came") == 0
    assert batch("check", "1c", "mould", "--lost", 4, "--day", "2025-01-09") == 0
    assert "Take mouldy seed out" in batch.err and "Take mouldy" not in batch.out
    assert batch("due") == 0
    assert "Late" in batch.out and "Moulds and peat" in batch.out and max(map(len, batch.out.splitlines())) <= 80
    assert batch("wait", 1, "2025-03-20") == 0 and "2025-03-20" in batch.out
    assert batch("split", 1, "--seeds", 16) == 0 and "2E" in batch.out
    assert batch("merge", 2, 1) == 0
    assert batch("sow", 1, "--seeds", 110) == 0
    assert batch("count", 1, 30) == 0 and batch("count", 1, "--total", 55) == 0
    assert "55 of 110 up" in batch.out
    assert batch("undo", 1) == 0 and "30 of 110 up" in batch.out
    assert batch("close", 1, "--plants", 28) == 0
    assert batch("results") == 0 and "30 of 110 (27 %)" in batch.out and "80 % (viability of the lot)" in batch.out
    assert (
        batch("results", "Cercis canadensis") == 0
        and "Published:" in batch.out
        and "Own record: 1 closed batch" in batch.out
    )
    assert batch("list") == 0 and batch.out == "No batches.\n"
    assert batch("list", "--ended", "--json") == 0 and [b["code"] for b in json.loads(batch.out)] == [
        "1C",
        "2E",
    ]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["start", "Nonesuch plantus"], "known"),
        (["start", "Cercis canadensis", "--seeds", "-4"], "-4 seeds"),
        (["start", "Cercis canadensis", "--grams", "0"], "more than nothing"),
        (["start", "Cercis canadensis", "--day", "2025-03-11"], "still to come"),
        (["start", "Cercis canadensis", "--day", "11.3.2025"], "is no day"),
        (["start", "Cercis canadensis", "--own-lengths"], "No closed batch"),
        (["check", "1", "mold"], "Known: fine, mould"),
        (["check", "1", "fine", "mould"], "leave it out"),
        (["check", "9"], "There is no batch '9'"),
        (["count", "1"], "how many"),
        (["count", "1", "3", "--total", "4"], "Say either"),
        (["due", "--days", "-1"], "0 (only today)"),
        (["move", "1", "boil-1"], "no step of its plan"),
        (["discard", "1", " "], "say why"),
        (["results", "Cercis canadensis"], "No closed batch"),
        (["import", "nowhere.json"], "cannot be read"),
        (["wat"], "invalid choice"),
    ],
)
def test_mistake_is_answered_on_stderr_with_exit_code_2(batch: Typed, words: list[str], says: str) -> None:
    batch("start", "Cercis canadensis", "--seeds", 10)
    assert batch(*words) == 2
    assert says in batch.err and batch.out == "" and "Traceback" not in batch.err


def test_reading_makes_no_ledger(batch: Typed) -> None:
    for what in ("due", "list"):
        assert batch(what) == 2 and "There is no ledger" in batch.err
    assert not batch.where.exists()


def test_plan_that_cannot_be_carried_out_starts_nothing(batch: Typed) -> None:
    assert batch("start", "Cercis canadensis", "--without", "fridge,outdoor_bed") == 2
    assert "no bench plan" in batch.err and "It would take one of these" in batch.err
    assert not batch.where.exists()


def test_export_import_backup_by_commands(batch: Typed, tmp_path: Path) -> None:
    batch("start", "Cercis canadensis", "--seeds", 10)
    for name in ("all.json", "sheets", "copy.sqlite"):
        assert batch("backup" if name.endswith("sqlite") else "export", tmp_path / name) == 0 and batch.out == ""
    first = batch.where
    for source in ("all.json", "sheets"):
        batch.where = tmp_path / f"from-{source}.sqlite"
        assert batch("import", tmp_path / source) == 0
        assert batch("export", tmp_path / "again.json") == 0
        assert (tmp_path / "again.json").read_bytes() == (tmp_path / "all.json").read_bytes()
    batch.where = tmp_path / "copy.sqlite"
    assert batch("list") == 0 and "1C" in batch.out
    batch.where = first


def test_own_record_moves_the_plan_of_the_next_batch_and_is_named_in_it(batch: Typed) -> None:
    batch("start", "Cercis canadensis", "--seeds", 100, "--day", "2024-06-01")
    batch("move", 1, "cold_moist-1", "--day", "2024-06-01", "--yes")
    batch("sow", 1, "--day", "2024-09-29")
    batch("count", 1, 90, "--day", "2024-10-20")
    batch("close", 1)
    assert batch("start", "Cercis canadensis", "--seeds", 50, "--own-lengths") == 0
    assert batch("show", 2, "--json") == 0
    plan = json.loads(batch.out)["plan"]
    assert 60 < plan["steps"][3]["days"]["use"] < 120 and plan["steps"][3]["days"]["from"] == "own-record"
    assert plan["sources"][-1]["citation"].startswith("Own record: 1 closed batch of Cercis canadensis")


def test_ledger_is_found_by_the_environment(batch: Typed, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("ROUSEWORT_LEDGER", str(tmp_path / "by-name.sqlite"))
    assert main(["batch", "start", "Cercis canadensis"]) == 0
    assert (tmp_path / "by-name.sqlite").exists()
    monkeypatch.delenv("ROUSEWORT_LEDGER")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert main(["batch", "start", "Cercis canadensis"]) == 0
    assert (tmp_path / "data" / "rousewort" / "ledger.sqlite").exists()


# On paper and in a calendar


@pytest.fixture
def two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """1C in the cold since 10 March 2025, 2E just begun; today is the 20th."""
    where = str(tmp_path / "two.sqlite")
    monkeypatch.setattr("rousewort.cli.batching.today", lambda: date(2025, 3, 20))
    for day in ("2025-03-10", "2025-03-20"):
        assert main(["batch", "start", "Cercis canadensis", "--seeds", "50", "--day", day, "--ledger", where]) == 0
    assert main(["batch", "move", "1", "cold_moist-1", "--yes", "--day", "2025-03-10", "--ledger", where]) == 0
    return where


def test_labels_of_batches_bear_their_codes_for_eye_and_camera(two: str, tmp_path: Path) -> None:
    import pypdfium2
    import zxingcpp

    out = tmp_path / "bags.pdf"
    assert main(["batch", "labels", "--out", str(out), "--ledger", two]) == 0
    page = pypdfium2.PdfDocument(out)[0]
    text = page.get_textpage().get_text_range()
    assert "Lot 1C" in text and "In 2025-03-10" in text and "Out 2025-05-09" in text
    codes = {code.text for code in zxingcpp.read_barcodes(page.render(scale=300 / 72).to_pil())}
    assert codes == {"1C", "2E"}
    assert main(["batch", "labels", "1C", "--out", str(out), "--ledger", two]) == 0
    assert "2E" not in pypdfium2.PdfDocument(out)[0].get_textpage().get_text_range()


def test_calendar_of_the_ledger_moves_with_what_was_recorded(
    two: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import vobject

    def cold() -> tuple[str, date]:
        assert main(["batch", "calendar", "1", "--ics", str(tmp_path / "b.ics"), "--ledger", two]) == 0
        found = vobject.readOne((tmp_path / "b.ics").read_text(encoding="utf-8")).vevent_list
        (sow,) = [e for e in found if e.summary.value.startswith("Cercis canadensis [1C]: Sow")]
        return sow.uid.value, sow.dtstart.value

    before = cold()
    assert "Cold and moist" in capsys.readouterr().out
    assert main(["batch", "move", "1", "cold_moist-1", "--day", "2025-03-19", "--ledger", two]) == 0  # begun again
    after = cold()
    assert before[0] == after[0] and after[1] - before[1] == timedelta(9)


def test_paper_of_what_has_ended_or_is_not_there_is_refused(two: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["batch", "discard", "1", "rotten", "--ledger", two]) == 0
    for words, says in (
        (["calendar", "1"], "has ended: 1C"),
        (["labels", "9", "--out", "x.pdf"], "no batch '9'"),
        (["labels"], "--out labels.pdf"),
    ):
        assert main(["batch", *words, "--ledger", two]) == 2
        assert says in capsys.readouterr().err


def test_bed_out_of_season_is_told_at_the_start_and_refused_without_anyway(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["--ledger", str(tmp_path / "bed.sqlite")]
    monkeypatch.setattr("rousewort.cli.batching.today", lambda: date(2025, 3, 20))
    assert main(["batch", "start", "Taxus baccata", "--without", "fridge", "--seeds", "40", *where]) == 0
    assert "outside it can go only from 2025-09-15 (autumn)" in capsys.readouterr().err
    for words in (["sow", "1"], ["move", "1", "outdoor_winter-1"]):
        assert main(["batch", *words, *where]) == 2
        assert "the next one begins on 2025-09-15" in capsys.readouterr().err
    assert main(["batch", "sow", "1", "--anyway", *where]) == 0
    assert "sown on 2025-03-20" in capsys.readouterr().out


def test_a_list_goes_out_as_a_table_a_csv_and_a_workbook(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same records each time, and no file of another kind is written over."""
    ledger, sheet, book = str(tmp_path / "demo.sqlite"), tmp_path / "list.csv", tmp_path / "list.xlsx"
    assert main(["batch", "demo", "--ledger", ledger]) == 0
    assert main(["batch", "list", "--ledger", ledger, "--csv", str(sheet), "--xlsx", str(book)]) == 0
    capsys.readouterr()
    rows = list(csv.DictReader(sheet.open(encoding="utf-8", newline="")))
    assert main(["batch", "list", "--ledger", ledger, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [row["batch"] for row in rows] == [one["code"] for one in told]
    cells = list(openpyxl.load_workbook(book).active.iter_rows(values_only=True))
    assert [str(row[0]) for row in cells[1:]] == [row["batch"] for row in rows]
    assert main(["batch", "list", "--ledger", ledger]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80 and all(row["batch"] in "\n".join(lines) for row in rows)
    notes = tmp_path / "notes.csv"
    notes.write_text("my own notes\n", "utf-8")
    assert main(["batch", "due", "--ledger", ledger, "--csv", str(notes)]) == 2
    assert notes.read_text("utf-8") == "my own notes\n"
