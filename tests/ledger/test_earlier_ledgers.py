"""What an earlier version wrote is opened, read, dated, exported and gone on with, and means what it meant."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from earlier_ledgers import DAY, FOLDERS, command, said_of  # type: ignore[import-not-found]
from must_be_here import needed  # type: ignore[import-not-found]
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import open_ledger
from rousewort.ledger.exchange import everything, from_csv, from_json, import_from

EVERY_KIND = {
    "start", "check", "move", "wait", "sow", "count", "split", "take_in", "merged", "discard", "close", "note", "undo",
}  # fmt: skip
SHEETS = ("plans.csv", "batches.csv", "events.csv")


@pytest.fixture(params=sorted(path.name for path in FOLDERS.iterdir()))
def earlier(request: pytest.FixtureRequest) -> Path:
    """What one earlier version wrote. Not to be opened itself: it would be brought up to date."""
    return FOLDERS / request.param


@pytest.fixture
def ledger_of_then(earlier: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(earlier / "ledger.sqlite", tmp_path / "ledger.sqlite"))


@pytest.fixture
def exported(earlier: Path) -> dict[str, Any]:
    return json.loads((earlier / "export.json").read_text("utf-8"))


def kept(now: Any, before: Any, where: str = "") -> list[str]:
    """What was said before and is not now. New keys may have come."""
    if isinstance(before, dict) and isinstance(now, dict):
        gone = [f"{where}/{key} is gone" for key in before if key not in now]
        return gone + [line for key in before if key in now for line in kept(now[key], before[key], f"{where}/{key}")]
    if isinstance(before, list) and isinstance(now, list) and len(before) == len(now):
        return [line for n, pair in enumerate(zip(now, before, strict=True)) for line in kept(*pair, f"{where}/{n}")]
    return [] if now == before else [f"{where} was {before!r}, is {now!r}"]


def rows(path: Path) -> list[list[str]]:
    return list(csv.reader(path.read_text("utf-8").splitlines(keepends=True)))


def test_kept_ledger_has_a_batch_with_every_kind_of_entry(exported: dict[str, Any]) -> None:
    kinds = {event["kind"] for batch in exported["batches"] for event in batch["events"]}
    assert kinds == EVERY_KIND
    assert all(batch["events"][0]["data"]["held"] == "demo" for batch in exported["batches"])


def test_earlier_ledger_says_the_same_of_its_batches_dates_results_and_labels(
    earlier: Path, ledger_of_then: Path, kb: KnowledgeBase
) -> None:
    before = json.loads((earlier / "said.json").read_text("utf-8"))
    now = said_of(ledger_of_then, kb)
    changed = [line for what in before for line in kept(now[what], before[what], what)]
    assert not changed, "\n".join(changed[:20])


def test_earlier_ledger_is_exported_whole_in_both_forms(
    ledger_of_then: Path, exported: dict[str, Any], tmp_path: Path
) -> None:
    command("export", tmp_path / "again.json", "--ledger", ledger_of_then)
    command("export", tmp_path / "again", "--ledger", ledger_of_then)
    as_json = from_json((tmp_path / "again.json").read_bytes())
    as_csv = from_csv({name: (tmp_path / "again" / name).read_bytes() for name in SHEETS})
    for again in (as_json, as_csv):
        assert not kept(again, exported)


@pytest.mark.parametrize("form", ["export.json", "export"])
def test_earlier_export_is_brought_into_a_new_ledger_whole(
    earlier: Path, form: str, fresh: Callable[[], str], exported: dict[str, Any]
) -> None:
    with open_ledger(fresh(), today=lambda: DAY) as ledger:
        assert import_from(ledger, earlier / form)[0] == len(exported["batches"])
        assert not kept(everything(ledger), exported)
        assert import_from(ledger, earlier / form) == (0, 0)


def test_earlier_sheets_have_the_columns_that_spreadsheets_were_made_for(
    earlier: Path, ledger_of_then: Path, tmp_path: Path
) -> None:
    command("export", tmp_path / "again", "--ledger", ledger_of_then)
    for name in SHEETS:
        before, now = rows(earlier / "export" / name), rows(tmp_path / "again" / name)
        assert now[0][: len(before[0])] == before[0] and len(now) == len(before), name


def test_earlier_ledger_is_gone_on_with(ledger_of_then: Path) -> None:
    with open_ledger(ledger_of_then, make=False, today=lambda: DAY) as ledger:
        sown = next(batch for batch in ledger.batches() if batch.sown_on)
        after = ledger.record(sown.code, "count", day=DAY, new=1)
        assert after.germinated == sown.germinated + 1
        assert ledger.undo(sown.code).germinated == sown.germinated


def test_calendar_written_over_an_earlier_one_keeps_its_entries_and_their_days(
    earlier: Path, ledger_of_then: Path, tmp_path: Path
) -> None:
    """A calendar program knows an entry by its UID: with another one a grower would see everything twice."""
    icalendar = needed("icalendar")
    path = Path(shutil.copy(earlier / "calendar.ics", tmp_path / "calendar.ics"))

    def entries() -> dict[str, Any]:
        events = icalendar.Calendar.from_ical(path.read_bytes()).walk("VEVENT")
        return {str(event["UID"]): event for event in events}

    before = entries()
    command("calendar", "--ics", path, "--ledger", ledger_of_then)
    now = entries()
    assert before and now.keys() == before.keys()
    for uid, event in before.items():
        assert now[uid]["DTSTART"].dt == event["DTSTART"].dt and now[uid].get("STATUS") == event.get("STATUS")
        assert now[uid]["SEQUENCE"] >= event["SEQUENCE"]  # else a calendar program would keep what it has
