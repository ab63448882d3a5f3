"""The invented Sallow Bridge season: 30 species, 60 batches, one year, worked day by day on both databases."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from rousewort.app import batching
from rousewort.app.main import main
from rousewort.knowledge.base import KnowledgeBase
from rousewort.ledger import open_ledger
from rousewort.ledger.due import Diary
from rousewort.ledger.exchange import everything, export_to, import_from
from rousewort.ledger.results import result_of
from rousewort.ledger.season import Deed, Season, work


@pytest.fixture(scope="session")
def plan_of(kb: KnowledgeBase) -> Callable[[str], dict[str, Any]]:
    return cache(lambda name: batching.plan_to_keep(kb, name, engine="plain"))


def test_season_is_as_large_as_it_says_and_marked_as_invented(diary: Diary) -> None:
    season = Season(diary)
    lots = season.data["batches"]
    assert len(lots) == 60 and len({lot["species"] for lot in lots}) == 30 and len(season.lots) == 60
    assert season.data["held"] == "demo" and 360 <= (season.last - season.first).days <= 366


@pytest.mark.slow
def test_whole_year_is_worked_exported_imported_and_closed(
    fresh: Callable[[], str], diary: Diary, plan_of: Callable[[str], dict[str, Any]], tmp_path: Path
) -> None:
    season = Season(diary)
    today = [season.first]
    with open_ledger(fresh(), today=lambda: today[0]) as ledger, open_ledger(fresh()) as copy:
        for day in season.days():
            today[0] = day
            work(ledger, season, day, plan_of)
            if day < season.last:
                assert diary.due(ledger.batches(), day) == [], f"left undone on {day}"
        every = ledger.batches(ended=None)
        assert ledger.batches() == [] and len(every) == 63  # three were split
        assert Counter(b.ended.kind for b in every if b.ended)["close"] >= 50
        assert {b.held for b in every} == {"demo"}
        for batch in every:
            if batch.ended and batch.ended.kind == "close":
                share = result_of(batch).share
                assert share is not None and abs(share - season.lots[batch.lot]["germinates"]) < 0.35
        seeds = sum(b.events[0].data["seeds"] for b in every if not b.parent)
        assert seeds == sum(lot["seeds"] for lot in season.data["batches"])
        export_to(ledger, tmp_path / "year.json")
        export_to(ledger, tmp_path / "year")
        import_from(copy, tmp_path / "year")
        assert everything(copy) == everything(ledger)
        assert import_from(copy, tmp_path / "year.json") == (0, 0)


def command(deed: Deed, where: str) -> list[str]:
    """The command line by which a grower does it."""
    words = {
        "start": lambda d: [deed.lot["species"], "--origin", d["provenance"], "--seeds", d["seeds"], "--lot", d["lot"]],  # type: ignore[index]
        "check": lambda d: [*d["finds"], "--lost", d.get("lost", 0)],
        "move": lambda d: [d["step"]],
        "wait": lambda d: [d["until"]],
        "count": lambda d: [d["new"]],
        "split": lambda d: ["--seeds", d["seeds"]],
        "discard": lambda d: [d["reason"]],
        "close": lambda d: ["--plants", d["plants"]],
        "sow": lambda d: [],
    }[deed.kind](deed.data)
    return ["batch", deed.kind, *([deed.code] if deed.code else []), *map(str, words), "--ledger", where]


@pytest.mark.slow
def test_first_weeks_are_worked_by_commands(
    fresh: Callable[[], str], diary: Diary, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From the due list to the deed, as typed; 40 days of the year."""
    season, where, done = Season(diary), fresh(), Counter()  # type: ignore[var-annotated]
    day = [date.min]
    monkeypatch.setattr(batching, "today", lambda: day[0])
    for today in list(season.days())[:40]:
        day[0] = today
        deeds = list(season.beginnings(today))
        while deeds or done:
            for deed in deeds:
                assert main(command(deed, where)) == 0, capsys.readouterr().err
                done[deed.kind] += 1
            with open_ledger(where) as ledger:
                deeds = [deed for b in ledger.batches() if (deed := season.deed(b, today))]
            if not deeds:
                break
        if done:
            assert main(["batch", "due", "--days", "0", "--ledger", where]) == 0
            said = capsys.readouterr().out
            assert said.splitlines()[-1] == "Nothing is due.", (today, said[-1500:])
    assert set(done) >= {"start", "check", "move", "split", "wait", "sow", "count"}, done
