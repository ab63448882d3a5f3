"""Ledgers that earlier versions wrote, kept in tests/data/ledgers, and what they said of them.

    PYTHONPATH=engine python tests/ledger/earlier_ledgers.py NAME

makes such a folder with today's code, to be kept for good: some batches of the invented Sallow Bridge season, worked up
to one day. Make one before a version that writes ledgers or exports in another way. None is ever rewritten.
"""

from __future__ import annotations

import csv
import io
import json
import sys
from collections.abc import Iterator
from contextlib import redirect_stdout
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any
from unittest import mock

from rousewort.base.errors import UserError
from rousewort.cli import batching
from rousewort.cli.main import main
from rousewort.knowledge.knowledge_base import KnowledgeBase, load
from rousewort.ledger.book import open_ledger
from rousewort.ledger.due import Diary
from rousewort.ledger.exchange import export_to
from rousewort.ledger.season import InventedSeason, work
from rousewort.schedule.labels import KINDS, make_labels
from rousewort.schedule.model import BenchCalendar

FOLDERS = Path(__file__).parents[1] / "data" / "ledgers"
DAY = date(2025, 5, 1)  # the day up to which they were worked
# Of every kind of dormancy; among them all that can happen to a batch: found mouldy, dry or rooted early, split, merged, put off, thrown away.
LOTS = (1, 2, 6, 9, 16, 24, 30, 33, 41, 43)
WORDS = ("text", "do", "cautions", "until")


def command(*words: object) -> str:
    """What a command prints on that day."""
    out = io.TextIOWrapper(io.BytesIO(), "utf-8", newline="", write_through=True)
    with mock.patch.object(batching, "today", lambda: DAY), redirect_stdout(out):
        code = main(["batch", *map(str, words)])
    assert code == 0, f"rousewort batch {' '.join(map(str, words))}: exit {code}"
    return out.buffer.getvalue().decode()  # type: ignore[attr-defined]


def said_of(ledger: Path, kb: KnowledgeBase) -> dict[str, Any]:
    """What the commands say of a ledger and what stands on its labels, as plain data: days, steps and numbers, not the
    words that go with them, which may become better."""
    where = ("--ledger", ledger)
    dates = csv.DictReader(io.StringIO(command("calendar", "--csv", "-", *where), newline=""))
    return {
        "list": without_words(json.loads(command("list", "--all", "--json", *where))),
        "due": without_words(json.loads(command("due", "--days", "60", "--json", *where))),
        "results": json.loads(command("results", "--json", *where)),
        "calendar": [without_words(row) for row in dates],
        "labels": list(labels(ledger, batching.diary_of(kb))),
    }


def without_words(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: without_words(value) for key, value in data.items() if key not in WORDS}
    return [without_words(item) for item in data] if isinstance(data, list) else data


def labels(ledger: Path, diary: Diary) -> Iterator[dict[str, Any]]:
    with open_ledger(ledger, make=False, today=lambda: DAY) as opened:
        batches = opened.batches()
    for batch in batches:
        for kind in KINDS:
            try:
                made = make_labels(
                    BenchCalendar((diary.dated(batch, DAY),)), kind, link_of=lambda schedule: schedule.lot
                )
            except UserError:  # nothing of its plan goes into such a thing
                continue
            for label in made:
                dates = [when for _, when in label.when]
                yield {"kind": kind, "plant": label.plant, "lot": label.lot, "dates": dates, "link": label.link}


def make(name: str) -> Path:
    """A ledger, its exports, calendar and what was said of it, in a new folder."""
    kb = load()
    diary = batching.diary_of(kb)
    season = InventedSeason(diary)
    season.data["batches"] = [lot for lot in season.data["batches"] if int(lot["lot"].removeprefix("SB-")) in LOTS]
    folder = FOLDERS / name
    folder.mkdir(parents=True)
    today = [season.first]
    with open_ledger(folder / "ledger.sqlite", today=lambda: today[0]) as ledger:
        for day in season.days():
            if day > DAY:
                break
            today[0] = day
            work(ledger, season, day, cache(lambda plant: batching.plan_to_keep(kb, plant, engine="plain")))
        going = ledger.batches()
        ledger.record(going[0].code, "note", day=DAY, note="=moved to the north bench; “dry” on top")
        ledger.record(going[1].code, "note", day=DAY, note="written by mistake")
        ledger.undo(going[1].code)
        export_to(ledger, folder / "export.json")
        export_to(ledger, folder / "export")
    command("calendar", "--ics", folder / "calendar.ics", "--ledger", folder / "ledger.sqlite")
    said = said_of(folder / "ledger.sqlite", kb)
    (folder / "said.json").write_text(json.dumps(said, ensure_ascii=False, indent=1) + "\n", "utf-8")
    return folder


if __name__ == "__main__":
    print(make(sys.argv[1]))
