"""The invented Sallow Bridge season: 30 species, 60 batches, one year, worked day by day on both databases."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from rousewort.cli import batching
from rousewort.cli import main as app
from rousewort.cli.main import main
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger
from rousewort.ledger.due import Diary
from rousewort.ledger.exchange import everything
from rousewort.ledger.opening import open_ledger
from rousewort.ledger.results import result_of
from rousewort.ledger.season import Deed, InventedSeason, running


def test_season_is_as_large_as_it_says_and_marked_as_invented(diary: Diary) -> None:
    season = InventedSeason(diary)
    lots = season.data["batches"]
    assert len(lots) == 60 and len({lot["species"] for lot in lots}) == 30 and len(season.lots) == 60
    assert season.data["held"] == "demo" and 360 <= (season.last - season.first).days <= 366


def command(deed: Deed, where: str) -> list[str]:
    """The command line by which a grower does it."""
    d = deed.data
    words = {
        "start": lambda: [deed.lot["species"], "--origin", d["provenance"], "--seeds", d["seeds"], "--lot", d["lot"],  # type: ignore[index]
                          *(["--viability", d["viability"]] if "viability" in d else [])],
        "check": lambda: [*d["finds"], "--lost", d.get("lost", 0)],
        "move": lambda: [d["step"]],
        "wait": lambda: [d["until"]],
        "count": lambda: [d["new"]],
        "split": lambda: ["--seeds", d["seeds"]],
        "merge": lambda: [d["into"]],
        "discard": lambda: [d["reason"]],
        "close": lambda: ["--plants", d["plants"]],
        "sow": list,
    }[deed.kind]()  # fmt: skip
    return ["batch", deed.kind, *([deed.code] if deed.code else []), *map(str, words), "--ledger", where]


@pytest.mark.slow
def test_whole_year_is_worked_by_commands_then_exported_imported_backed_up_and_read_back(
    fresh: Callable[[], str],
    kb: KnowledgeBase,
    diary: Diary,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    """Every deed as it is typed; the due list printed each day that had one; then everything out, in, and out again."""
    season, where, copy = InventedSeason(diary), fresh(), fresh()
    done: Counter[str] = Counter()
    day = [date.min]
    monkeypatch.setattr(batching, "today", lambda: day[0])
    # What every command does alike, once: two thousand of them are typed here.
    monkeypatch.setattr(batching, "knowledge", lambda arguments: kb)
    monkeypatch.setattr(app, "build_parser", cache(app.build_parser))

    def typed(*words: str, ledger: str = where) -> str:
        assert main(["batch", *words, "--ledger", ledger]) == 0, capsys.readouterr().err
        return capsys.readouterr().out

    ledger: Ledger | None = None
    with ExitStack() as stack:
        for today in season.days():
            day[0] = today
            deeds, acted = list(season.beginnings(today)), False
            while True:
                for deed in deeds:
                    assert main(command(deed, where)) == 0, capsys.readouterr().err
                    done[deed.kind] += 1
                    acted = True
                if acted and ledger is None:
                    ledger = stack.enter_context(open_ledger(where))
                open_ones = ledger.batches() if ledger else []
                deeds = [deed for b in open_ones if (deed := season.deed(b, today))]
                if not deeds:
                    break
            if acted:
                said = typed("due", "--days", "0")
                assert said.splitlines()[-1] == "Nothing is due.", (today, said[-1500:])
    assert set(done) == {"start", "check", "move", "split", "merge", "wait", "sow", "count", "discard", "close"}, done
    assert done["start"] == 60 and typed("list") == "No batches.\n"
    assert ledger is not None
    _ended_as_invented(ledger, season)
    assert len(typed("list", "--all", "--json")) > 10_000 and "Papaver rhoeas" in typed("results")
    typed("export", str(tmp_path / "year.json"))
    typed("export", str(tmp_path / "year"))
    typed("import", str(tmp_path / "year"), ledger=copy)
    typed("import", str(tmp_path / "year.json"), ledger=copy)  # a second time, in the other form: nothing new
    typed("export", str(tmp_path / "again.json"), ledger=copy)
    assert (tmp_path / "again.json").read_bytes() == (tmp_path / "year.json").read_bytes()
    typed("backup", str(tmp_path / "backup"))
    sqlite = (tmp_path / "backup").read_bytes().startswith(b"SQLite format 3")
    restored = str(tmp_path / "backup") if sqlite else fresh()
    if not sqlite:
        (tmp_path / "backup").rename(tmp_path / "backup.json")
        typed("import", str(tmp_path / "backup.json"), ledger=restored)
    with open_ledger(restored) as one, open_ledger(where) as other:
        assert everything(one) == everything(other)
    _read_by_the_command_itself(where, tmp_path)


def _ended_as_invented(ledger: Ledger, season: InventedSeason) -> None:
    every = ledger.batches(ended=None)
    assert len(every) == 63  # three were split
    assert Counter(b.ended.kind for b in every if b.ended)["close"] >= 50
    for batch in every:
        if batch.ended and batch.ended.kind == "close":
            share = result_of(batch).share
            assert share is not None and abs(share - season.lots[batch.lot]["germinates"]) < 0.35
    seeds = sum(b.events[0].data["seeds"] for b in every if not b.parent)
    assert seeds == sum(lot["seeds"] for lot in season.data["batches"])


def _read_by_the_command_itself(where: str, tmp_path: Path) -> None:
    """Not in this process: as a shell runs it."""

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        line = [sys.executable, "-m", "rousewort.cli.main", "batch", *words, "--ledger", where]
        return subprocess.run(line, capture_output=True, text=True, timeout=60)

    shown = run("show", "29B", "--json")
    assert shown.returncode == 0 and json.loads(shown.stdout)["ended"]["how"] == "close"
    refused = run("count", "29B", "3")
    assert (refused.returncode, refused.stdout) == (2, "") and "was ended on" in refused.stderr
    started = run("start", "Cercis canadensis", "--seeds", "10", "--day", "2025-09-02")
    assert started.returncode == 0 and "64D" in started.stdout
    assert run("export", str(tmp_path / "more.json")).returncode == 0


def test_newcomer_is_given_the_season_as_it_would_stand_today_marked_as_invented(
    fresh: Callable[[], str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    where = fresh()
    monkeypatch.setattr(batching, "today", lambda: date(2031, 10, 20))
    assert main(["batch", "demo", "--ledger", where]) == 0
    assert "invented batches of the Sallow Bridge community nursery, worked up to 2031-10-19" in capsys.readouterr().err
    with open_ledger(where) as ledger:
        there = everything(ledger)
        batches = ledger.batches()
        assert batches and {b.held for b in batches} == {"demo"} and {b.started.year for b in batches} == {2031}
    assert main(["batch", "list", "--ledger", where]) == 0
    assert main(["batch", "demo", "--ledger", where]) == 2
    assert "only for an empty ledger" in capsys.readouterr().err
    with open_ledger(where) as ledger:
        assert everything(ledger) == there


def test_season_is_never_put_into_the_grower_s_usual_ledger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("ROUSEWORT_LEDGER", str(tmp_path / "mine.sqlite"))
    assert main(["batch", "demo"]) == 2
    assert "--ledger demo.sqlite" in capsys.readouterr().err and not (tmp_path / "mine.sqlite").exists()


@pytest.mark.parametrize(
    ("today", "first"),
    [(date(2026, 11, 25), 2026), (date(2027, 8, 1), 2026), (date(2027, 9, 10), 2026), (date(2027, 10, 2), 2027), (date(2028, 2, 29), 2027)],
)  # fmt: skip
def test_season_runs_today_or_is_just_over(diary: Diary, today: date, first: int) -> None:
    season = running(diary, today)
    assert season.first.year == first and season.first < today
