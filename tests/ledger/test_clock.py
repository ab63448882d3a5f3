"""A wrong clock, another zone, a batch begun by mistake: none of them locks a batch, and both days stay in the log."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from rousewort.base.errors import UserError
from rousewort.ledger.book import Ledger
from rousewort.ledger.due import Diary
from rousewort.ledger.exchange import everything, from_csv, take, to_csv
from rousewort.ledger.opening import open_ledger

DAY = date(2025, 3, 10)


def at(where: str, day: date) -> Ledger:
    return open_ledger(where, today=lambda: day)


@pytest.mark.parametrize("ahead", [1, 400])  # in a zone where it is tomorrow; under a clock a year ahead
def test_batch_begun_ahead_of_this_clock_can_be_noted_undone_and_discarded(
    fresh: Callable[[], str], redbud: dict[str, Any], ahead: int
) -> None:
    where, then = fresh(), DAY + timedelta(ahead)
    with at(where, then) as ledger:
        code = ledger.start(redbud, seeds=50).code
    with at(where, DAY) as ledger:
        noted = ledger.record(code, "note", note="the clock was wrong")
        assert noted.events[-1].day == then and noted.events[-1].recorded[:4] > "2025"  # its own moment beside it
        ledger.undo(code)
        ledger.record(code, "check", finds=["fine"], day=then)
        ledger.split(code, seeds=20)
        with pytest.raises(UserError, match="still to come"):
            ledger.record(code, "note", note="x", day=then + timedelta(1))
        assert ledger.record(code, "discard", reason="rotten").ended
        with pytest.raises(UserError, match="still to come"):  # a fresh batch has no reason to be ahead
            ledger.start(redbud, seeds=5, day=DAY + timedelta(1))


def test_days_of_a_wrong_clock_are_set_right_and_both_are_kept(
    fresh: Callable[[], str], redbud: dict[str, Any], diary: Diary
) -> None:
    where, then = fresh(), DAY + timedelta(365)
    with at(where, then) as ledger:
        code = ledger.start(redbud, seeds=50, day=then - timedelta(9)).code
        ledger.record(code, "move", step="cold_moist-1", day=then - timedelta(8))
        ledger.record(code, "check", finds=["fine"])
    with at(where, DAY) as ledger:
        batch = ledger.redate(code, DAY - timedelta(9), entry=1, rest=True)
        assert (batch.started, batch.begun["cold_moist-1"], batch.looked) == (
            DAY - timedelta(9), DAY - timedelta(8), DAY,
        )  # fmt: skip
        assert [e.day for e in batch.events][:3] == [then - timedelta(9), then - timedelta(8), then]
        assert ledger.record(code, "note", note="today").events[-1].day == DAY
        assert diary.next(batch).day < DAY + timedelta(60)
        with at(fresh(), DAY) as other:
            take(other, from_csv(to_csv(everything(ledger))))
            assert other.batch(code) == ledger.batch(code)


def test_one_entry_is_set_right_and_not_past_its_neighbours(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=50, day=DAY - timedelta(9)).code
    ledger.record(code, "check", finds=["fine"], day=DAY - timedelta(2))
    assert ledger.redate(code, DAY - timedelta(4)).looked == DAY - timedelta(4)
    assert ledger.redate(code, DAY - timedelta(12), entry=1).started == DAY - timedelta(12)
    before = ledger.batch(code)
    for day, entry in ((DAY + timedelta(1), 2), (DAY - timedelta(20), 2), (DAY, 1), (DAY, 99)):
        with pytest.raises(UserError):
            ledger.redate(code, day, entry=entry)
    assert ledger.batch(code) == before
    ledger.undo(code)  # the look; what was said of its day goes with it
    assert ledger.batch(code).looked is None


def test_day_of_what_two_batches_share_is_not_set_right_in_one(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=50, day=DAY - timedelta(9)).code
    ledger.split(code, seeds=10, day=DAY - timedelta(5))
    for word in (code, "2"):
        with pytest.raises(UserError, match="concerns two batches"):
            ledger.redate(word, DAY - timedelta(6))


def test_batch_begun_by_mistake_is_void_and_counts_nowhere(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=50).code
    with pytest.raises(UserError, match="Void the batch"):
        ledger.undo(code)
    with pytest.raises(UserError, match="say why"):
        ledger.record(code, "void", reason=" ")
    void = ledger.record(code, "void", reason="the wrong packet")
    assert void.ended and void.ended.kind == "void" and ledger.batches() == []
    assert not [b for b in ledger.batches(ended=True) if b.ended and b.ended.kind == "close"]
    assert ledger.undo(code).ended is None


def test_batch_that_shares_its_seed_cannot_be_void(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=50).code
    ledger.split(code, seeds=10)
    for word in (code, "2"):
        with pytest.raises(UserError, match="shares its seed"):
            ledger.record(word, "void", reason="x")
