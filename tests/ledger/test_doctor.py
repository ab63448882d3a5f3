"""One bad batch stops no other: it is not let in; and where it is in already, it is named and can be set aside."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from rousewort.base.errors import UserError
from rousewort.cli import batching
from rousewort.cli.main import main
from rousewort.ledger.book import Ledger, as_text, digest_of
from rousewort.ledger.due import Diary
from rousewort.ledger.exchange import everything, from_json, insert_rows, take, to_json
from rousewort.ledger.opening import open_ledger
from rousewort.ledger.service import examine, readable, tried

DAY = date(2025, 3, 10)
HUGE = 2**70


def _plan(data: dict[str, Any], change: Callable[[dict[str, Any]], object]) -> None:
    """Another plan, with the digest that belongs to it."""
    ((_digest, plan),) = data["plans"].items()
    plan = copy.deepcopy(plan)
    change(plan)
    data["plans"] = {digest_of(as_text(plan)): plan}
    data["batches"][0]["plan"] = next(iter(data["plans"]))


def _step(change: Callable[[dict[str, Any]], object], place: int = -2) -> Callable[[dict[str, Any]], None]:
    return lambda data: _plan(data, lambda plan: change(plan["steps"][place]))


def _deep(levels: int) -> Any:
    value: Any = []
    for _ in range(levels):
        value = [value]
    return value


def _batch(**said: Any) -> Callable[[dict[str, Any]], None]:
    return lambda data: data["batches"][0].update(said)


def _start(**said: Any) -> Callable[[dict[str, Any]], None]:
    return lambda data: data["batches"][0]["events"][0].update(said)


def _says(**said: Any) -> Callable[[dict[str, Any]], None]:
    return lambda data: data["batches"][0]["events"][0]["data"].update(said)


# Shapes that a ledger must not swallow: each once stopped every command on it, or ended in a fault of ours.
BAD: dict[str, Callable[[dict[str, Any]], Any]] = {
    "start in the last year there is": _start(day="9999-12-31"),
    "start before there were benches": _start(day="0001-01-01"),
    "plan without a plant": lambda d: _plan(d, lambda p: p.pop("taxon")),
    "plant without a name": lambda d: _plan(d, lambda p: p.update(taxon={}, query="")),
    "name that is a number": lambda d: _plan(d, lambda p: p["taxon"].update(name=7)),
    "another version of plans": lambda d: _plan(d, lambda p: p.update(format="rousewort-plan-99")),
    "plan that is a list": lambda d: d.update(plans={digest_of("[]"): []}) or _batch(plan=digest_of("[]"))(d),
    "steps that are a word": lambda d: _plan(d, lambda p: p.update(steps="cold")),
    "step that is a word": lambda d: _plan(d, lambda p: p.update(steps=["cold"])),
    "step without an id": _step(lambda s: s.pop("id")),
    "step without a label": _step(lambda s: s.pop("label")),
    "two steps of one id": lambda d: _plan(d, lambda p: p["steps"][1].update(id=p["steps"][0]["id"])),
    "days past counting": _step(lambda s: s["days"].update(high=HUGE)),
    "days beyond all years": _step(lambda s: s["days"].update(low=10**7, use=10**7, high=10**7)),
    "days that are words": _step(lambda s: s["days"].update(use="many")),
    "days the wrong way round": _step(lambda s: s["days"].update(low=90, use=60)),
    "days that are no number": _step(lambda s: s["days"].update(use=float("nan"))),
    "days without an end": _step(lambda s: s["days"].pop("high")),
    "cautions that are one text": _step(lambda s: s.update(cautions="sharp")),
    "sowing that is a word": _step(lambda s: s.update(sowing="soon"), -1),
    "seedlings that come never": _step(lambda s: s["sowing"].update(expect_days={"low": None, "high": 9}), -1),
    "plan nested beyond reading": lambda d: _plan(d, lambda p: p.update(unknowns=_deep(200))),
    "number past 2^63": _batch(number=HUGE, code=f"CECA-{HUGE}"),
    "number past 2^31": _batch(number=2**31, code=f"CECA-{2**31}"),
    "number below one": _batch(number=0, code="0A"),
    "number that is a word": _batch(number="1"),
    "number that is true": _batch(number=True),
    "code of another number": _batch(code="7R"),
    "code that is markup": _batch(code="<b>-1"),
    "number twice": lambda d: d["batches"].append({**d["batches"][0], "code": "1C"}),
    "seeds past 2^63": _says(seeds=HUGE),
    "seeds that are true": _says(seeds=True),
    "grams without end": _says(grams=float("inf")),
    "half a letter": _says(lot="\ud800"),
    "a letter that no database keeps": _says(lot="a\x00b"),
    "moment that is no moment": _start(recorded="yesterday"),
    "kind that there is not": _start(kind="explode"),
    "data that are a list": _start(data=[1]),
    "no entries": _batch(events=[]),
    "batches that are a word": lambda d: d.update(batches="1C"),
    "plans that are a list": lambda d: d.update(plans=[]),
}


@pytest.fixture
def export(tmp_path: Path, redbud: dict[str, Any]) -> Callable[[str], dict[str, Any]]:
    """An export of one sound batch, made bad in one way."""
    with open_ledger(str(tmp_path / "source.sqlite"), today=lambda: DAY) as ledger:
        ledger.start(redbud, seeds=10)
        sound = everything(ledger)

    def make(how: str) -> dict[str, Any]:
        data = copy.deepcopy(sound)
        BAD[how](data)
        return data

    return make


@pytest.mark.parametrize("how", BAD)
def test_bad_batch_is_not_let_in_and_what_is_there_stays(
    tmp_path: Path, redbud: dict[str, Any], diary: Diary, export: Callable[[str], dict[str, Any]], how: str
) -> None:
    data = export(how)
    with open_ledger(str(tmp_path / "l.sqlite"), today=lambda: DAY) as ledger:
        with pytest.raises(UserError) as caught:
            take(ledger, data, trial=tried(diary, DAY))
        assert len(str(caught.value)) < 3000
        assert ledger.everything() == []


def test_json_nested_beyond_reading_is_refused_in_words() -> None:
    with pytest.raises(UserError):
        from_json(b"[" * 200_000)


@pytest.mark.parametrize(
    "how",
    ["start in the last year there is", "plan without a plant", "another version of plans", "step without a label",
     "days beyond all years", "seeds that are true", "kind that there is not", "two steps of one id"],
)  # fmt: skip
def test_bad_batch_that_is_in_already_stops_no_other_and_can_be_set_aside(
    fresh: Callable[[], str], redbud: dict[str, Any], diary: Diary, export: Callable[[str], dict[str, Any]], how: str
) -> None:
    """As an earlier version let it in."""
    with open_ledger(fresh(), today=lambda: DAY) as ledger:
        with ledger.store.write() as connection:
            insert_rows(connection, export(how))
        code = ledger.start(redbud, seeds=20).code
        good, bad = readable(ledger, diary, DAY)
        assert [b.code for b in good] == [code] and [b.code for b in bad] == ["1C"] and bad[0].why
        assert [d.batch.code for d in diary.due(good, date(2026, 1, 1))] == [code]
        assert ledger.record(code, "note", note="all else goes on").turn == 2
        with pytest.raises(UserError, match="batch doctor"):
            ledger.record("1C", "note", note="not this one")
        assert examine(ledger, diary, DAY) == (2, bad)
        ledger.set_aside(1, bad[0].why)
        assert readable(ledger, diary, DAY)[1] == [] and len(ledger.batches()) == 1
        number, aside = examine(ledger, diary, DAY)
        assert number == 2 and aside[0].aside and aside[0].why == bad[0].why
        before = everything(ledger)  # it is still there, to the letter
        assert before["batches"][0]["events"][:-1] == export(how)["batches"][0]["events"]
        ledger.take_back("1C")
        assert [b.code for b in readable(ledger, diary, DAY)[1]] == ["1C"]


def test_batch_set_aside_goes_out_and_in_again_with_its_ledger(
    fresh: Callable[[], str], redbud: dict[str, Any], diary: Diary, export: Callable[[str], dict[str, Any]]
) -> None:
    with open_ledger(fresh(), today=lambda: DAY) as one, open_ledger(fresh(), today=lambda: DAY) as two:
        with one.store.write() as connection:
            insert_rows(connection, export("step without a label"))
        one.start(redbud, seeds=20)
        one.set_aside(1, "no label")
        take(two, from_json(to_json(everything(one))), trial=tried(diary, DAY))
        assert everything(two) == everything(one) and len(two.batches()) == 1


def test_taken_back_batch_that_is_sound_works_again(ledger: Ledger, redbud: dict[str, Any]) -> None:
    ledger.start(redbud, seeds=5)
    ledger.set_aside(1, "by mistake")
    assert ledger.batches(ended=None) == []
    with pytest.raises(UserError, match="set aside"):
        ledger.record("1", "note", note="x")
    ledger.take_back("1")
    assert ledger.record("1", "note", note="x").turn == 4
    with pytest.raises(UserError, match="was not set aside"):
        ledger.take_back("1")


def test_doctor_by_commands(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    export: Callable[[str], dict[str, Any]],
) -> None:
    monkeypatch.setattr(batching, "today", lambda: DAY)
    where = str(tmp_path / "mine.sqlite")

    def batch(*words: str) -> int:
        return main(["batch", *words, "--ledger", where])

    assert batch("start", "Cercis canadensis", "--seeds", "10") == 0
    assert batch("doctor") == 0 and "1 batches, 0 of them" in capsys.readouterr().out
    data = export("start in the last year there is")
    data["batches"][0].update(number=2, code="2E")
    (tmp_path / "bad.json").write_text(json.dumps(data))
    assert batch("import", str(tmp_path / "bad.json")) == 2 and "9999" in capsys.readouterr().err
    with open_ledger(where) as ledger, ledger.store.write() as connection:
        insert_rows(connection, data)
    for words in (("due",), ("list",), ("list", "--all"), ("calendar",)):
        assert batch(*words) == 0
        said = capsys.readouterr()
        assert "1C" in said.out + said.err or words == ("calendar",)
        assert "2E cannot be read" in said.err and "batch doctor" in said.err
    assert batch("doctor") == 1 and "2E cannot be read" in capsys.readouterr().out
    assert batch("doctor", "--set-aside") == 0 and "2E was set aside" in capsys.readouterr().out
    assert batch("due") == 0 and capsys.readouterr().err == ""
    assert batch("doctor", "--take-back", "2E") == 1


def test_damaged_file_is_told_by_the_doctor(tmp_path: Path, redbud: dict[str, Any], diary: Diary) -> None:
    where = tmp_path / "l.sqlite"
    with open_ledger(where, today=lambda: DAY) as ledger:
        for seeds in range(1, 30):
            ledger.start({**redbud, "query": f"redbud {seeds}"}, seeds=seeds)
    whole = where.read_bytes()
    where.write_bytes(whole[: len(whole) // 2] + b"\x55" * 9000 + whole[len(whole) // 2 + 9000 :])
    with pytest.raises(UserError, match="damaged"), open_ledger(where) as ledger:
        examine(ledger, diary, DAY)


def test_guards_still_refuse_to_rewrite_a_batch_that_was_set_aside(ledger: Ledger, redbud: dict[str, Any]) -> None:
    ledger.start(redbud, seeds=5)
    ledger.set_aside(1, "x")
    with pytest.raises(sa.exc.DBAPIError), ledger.store.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM rousewort_event")
