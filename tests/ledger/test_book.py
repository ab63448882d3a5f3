"""What the ledger records, refuses and keeps, on both databases."""

from __future__ import annotations

import json
from collections.abc import Callable
from copy import deepcopy
from datetime import date, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from rousewort.base.errors import UserError
from rousewort.ledger import store
from rousewort.ledger.book import Ledger
from rousewort.ledger.exchange import everything
from rousewort.ledger.opening import open_ledger

DAY = date(2025, 3, 10)


def test_batch_keeps_the_plan_it_was_started_on(ledger: Ledger, redbud: dict[str, Any]) -> None:
    mine = deepcopy(redbud)
    code = ledger.start(mine, seeds=100).code
    mine["steps"][3]["days"]["use"] = 999  # the knowledge base changes its mind
    ledger.start(mine, seeds=100)
    assert ledger.batch(code).plan == json.loads(json.dumps(redbud))


def test_batch_is_found_by_code_however_typed_and_by_number(ledger: Ledger, redbud: dict[str, Any]) -> None:
    ledger.start(redbud, seeds=10)
    code = ledger.start(redbud, seeds=10).code
    assert code == "2E"
    assert {ledger.batch(word).code for word in ("2E", "2e", "2", " 2 E ")} == {code}


@pytest.mark.parametrize("word", ["", "CECA", "9V", "9", "1D", "99999999999999999999", "1; DROP TABLE"])
def test_unknown_batch_is_refused_by_name(ledger: Ledger, redbud: dict[str, Any], word: str) -> None:
    ledger.start(redbud, seeds=10)
    with pytest.raises(UserError, match="There is no batch"):
        ledger.batch(word)


def test_whole_course_of_a_batch(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=100, day=DAY - timedelta(100)).code
    for n, step in enumerate(("soak-1", "nick-1", "cold_moist-1")):
        ledger.record(code, "move", step=step, day=DAY - timedelta(99 - n))
    ledger.record(code, "check", finds=["mould"], lost=4, day=DAY - timedelta(80))
    ledger.record(code, "sow", day=DAY - timedelta(40))
    for ago, new in ((30, 20), (20, 30), (10, 0)):
        ledger.record(code, "count", new=new, day=DAY - timedelta(ago))
    batch = ledger.record(code, "close", plants=44)
    assert (batch.seeds, batch.sown, batch.germinated, batch.plants) == (96, 96, 50, 44)
    assert batch.begun["cold_moist-1"] == DAY - timedelta(97) and batch.begun["sow-1"] == DAY - timedelta(40)
    assert ledger.batches() == [] and ledger.batches(ended=True) == [batch] == ledger.batches(ended=None)


@pytest.mark.parametrize(
    ("kind", "data", "says"),
    [
        ("move", {"step": "boil-1"}, "no step of its plan"),
        ("count", {"new": 3}, "not sown yet"),
        ("close", {}, "never sown"),
        ("sow", {"seeds": 101}, "holds 100 seeds"),
        ("sow", {"seeds": 0}, "cannot be sown"),
        ("check", {"finds": ["mould"], "lost": 101}, "cannot be lost"),
        ("check", {"finds": ["mould"], "lost": -1}, "0 or more"),
        ("check", {"finds": "mould"}, "cannot be"),
        ("wait", {"until": "2025-03-10"}, "a day after"),
        ("wait", {"until": "10 March"}, "is no day"),
        ("discard", {"reason": "  "}, "say why"),
        ("note", {"note": ""}, "empty"),
        ("note", {"note": "nul \x00"}, "no text"),
        ("note", {"note": "half \ud800"}, "no text"),
        ("start", {"seeds": 5}, "begins with its start, once"),
        ("boil", {}, "no kind of entry"),
        ("note", {"note": "x", "colour": "red"}, "says nothing of"),
    ],
)
def test_impossible_entry_is_refused_and_nothing_recorded(
    ledger: Ledger, redbud: dict[str, Any], kind: str, data: dict[str, Any], says: str
) -> None:
    before = ledger.start(redbud, seeds=100)
    with pytest.raises(UserError, match=says):
        ledger.record(before.code, kind, **data)
    assert ledger.batch(before.code) == before


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ({"seeds": 0}, "above 0"),
        ({"seeds": -5}, "0 or more"),
        ({"grams": 0.0}, "more than nothing"),
        ({"viability": 80.0}, "0.8"),
    ],
)
def test_impossible_lot_is_refused_and_no_batch_made(
    ledger: Ledger, redbud: dict[str, Any], data: dict, says: str
) -> None:
    with pytest.raises(UserError, match=says):
        ledger.start(redbud, **data)
    assert everything(ledger)["batches"] == []


def test_plan_without_steps_starts_nothing(ledger: Ledger, redbud: dict[str, Any]) -> None:
    with pytest.raises(UserError, match="no steps"):
        ledger.start({**redbud, "steps": [], "outcome": "unreachable"})
    assert ledger.batches(ended=None) == []


def test_days_to_come_and_days_before_the_last_entry_are_refused(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=5, day=DAY - timedelta(5)).code
    with pytest.raises(UserError, match="still to come"):
        ledger.record(code, "note", note="x", day=DAY + timedelta(1))
    with pytest.raises(UserError, match="lies before the last entry"):
        ledger.record(code, "note", note="x", day=DAY - timedelta(6))
    with pytest.raises(UserError, match="Check the year"):
        ledger.start(redbud, seeds=5, day=date(202, 3, 10))


def test_nothing_follows_the_end(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=5).code
    ledger.record(code, "discard", reason="all empty when cut")
    with pytest.raises(UserError, match="was ended"):
        ledger.record(code, "note", note="after all")


def test_more_seedlings_than_seeds_are_refused(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=10).code
    ledger.record(code, "sow")
    ledger.record(code, "count", new=8)
    with pytest.raises(UserError, match=r"8 \+ 3 seedlings from 10"):
        ledger.record(code, "count", new=3)
    with pytest.raises(UserError, match="9 plants from 8"):
        ledger.record(code, "close", plants=9)


def test_split_keeps_the_number_of_seeds_and_the_days_of_the_step(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=100, lot="12", viability=0.9, day=DAY - timedelta(9)).code
    ledger.record(code, "move", step="cold_moist-1", day=DAY - timedelta(8))
    left, new = ledger.split(code, seeds=30)
    assert (left.seeds, new.seeds) == (70, 30)
    assert new.parent == left.code and new.begun == left.begun and new.step == left.step
    assert (new.lot, new.viability, new.plan) == ("12", 0.9, left.plan)
    with pytest.raises(UserError, match="fewer than that"):
        ledger.split(code, seeds=70)
    with pytest.raises(UserError, match="cannot be undone"):
        ledger.undo(code)
    assert len(ledger.batches()) == 2


def test_merge_adds_seeds_and_counts_the_step_from_the_later_beginning(ledger: Ledger, redbud: dict[str, Any]) -> None:
    old, young = (ledger.start(redbud, seeds=n, day=DAY - timedelta(20)).code for n in (40, 60))
    ledger.record(old, "move", step="cold_moist-1", day=DAY - timedelta(15))
    with pytest.raises(UserError, match="both are in the same step"):
        ledger.merge(young, old)
    ledger.record(young, "move", step="cold_moist-1", day=DAY - timedelta(5))
    kept = ledger.merge(young, old)
    assert kept.code == old and kept.seeds == 100 and kept.begun["cold_moist-1"] == DAY - timedelta(5)
    assert ledger.batch(young).ended.kind == "merged"  # type: ignore[union-attr]
    with pytest.raises(UserError, match="merged with itself"):
        ledger.merge(old, old)


def test_batches_of_two_species_are_not_merged(ledger: Ledger, redbud: dict[str, Any]) -> None:
    other = {**redbud, "taxon": {**redbud["taxon"], "name": "Cercis siliquastrum"}}
    with pytest.raises(UserError, match="one species"):
        ledger.merge(ledger.start(redbud, seeds=5).code, ledger.start(other, seeds=5).code)


def test_undo_restores_the_batch_and_leaves_both_entries(ledger: Ledger, redbud: dict[str, Any]) -> None:
    code = ledger.start(redbud, seeds=50).code
    before = ledger.record(code, "check", finds=["mould"], lost=5)
    ledger.record(code, "discard", reason="slip of the thumb")
    after = ledger.undo(code)
    assert (after.seeds, after.step, after.ended, after.looked) == (before.seeds, before.step, None, before.looked)
    assert [e.kind for e in after.events] == ["start", "check", "discard", "undo"]
    assert [b.code for b in ledger.batches()] == [code] and ledger.batches(ended=True) == []
    assert ledger.undo(code).seeds == 50
    with pytest.raises(UserError, match="cannot be undone"):
        ledger.undo(code)


def test_entry_from_a_stale_page_is_refused(ledger: Ledger, redbud: dict[str, Any]) -> None:
    seen = ledger.start(redbud, seeds=50)
    ledger.record(seen.code, "check", finds=["fine"], turn=seen.turn)
    with pytest.raises(UserError, match="newer entry"):
        ledger.record(seen.code, "check", finds=["fine"], turn=seen.turn)
    assert len(ledger.batch(seen.code).events) == 2


@pytest.mark.parametrize("table", ["rousewort_plan", "rousewort_batch", "rousewort_event"])
@pytest.mark.parametrize("change", ["UPDATE {} SET {} = {}", "DELETE FROM {}"])
def test_database_itself_refuses_to_rewrite_history(
    ledger: Ledger, redbud: dict[str, Any], table: str, change: str
) -> None:
    ledger.start(redbud, seeds=50)
    column = {"rousewort_plan": "body", "rousewort_batch": "code", "rousewort_event": "data"}[table]
    before = everything(ledger)
    with pytest.raises(sa.exc.DBAPIError, match="history is never rewritten"), ledger.store.write() as connection:
        connection.exec_driver_sql(change.format(table, column, column))
    assert everything(ledger) == before


def test_ledger_of_a_newer_version_is_refused_untouched(where: str, redbud: dict[str, Any]) -> None:
    with open_ledger(where) as ledger:
        ledger.start(redbud, seeds=5)
        with ledger.store.write() as connection:
            connection.execute(store.VERSION.update().values(version=99))
    with pytest.raises(UserError, match=r"newer Rousewort \(version 99"):
        open_ledger(where)


def test_older_ledger_is_brought_up_to_date_with_all_it_holds(
    where: str, redbud: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_ledger(where) as ledger:
        ledger.start(redbud, seeds=5)
        before = everything(ledger)

    def second(connection: sa.Connection) -> None:
        connection.exec_driver_sql("CREATE TABLE rousewort_more (word TEXT)")

    monkeypatch.setattr(store, "MIGRATIONS", [*store.MIGRATIONS, second])
    with open_ledger(where) as ledger:
        assert everything(ledger) == before
        assert sa.inspect(ledger.store.engine).has_table("rousewort_more")
        assert [b.code for b in ledger.batches()] == ["1C"]
    monkeypatch.undo()
    with pytest.raises(UserError, match="newer Rousewort"):
        open_ledger(where)


def test_failed_migration_leaves_the_old_ledger(
    where: str, redbud: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_ledger(where) as ledger:
        ledger.start(redbud, seeds=5)

    def broken(connection: sa.Connection) -> None:
        connection.exec_driver_sql("CREATE TABLE rousewort_more (word TEXT)")
        raise ZeroDivisionError

    with monkeypatch.context() as patch:
        patch.setattr(store, "MIGRATIONS", [*store.MIGRATIONS, broken])
        with pytest.raises(ZeroDivisionError):
            open_ledger(where)
    with open_ledger(where) as ledger:
        assert not sa.inspect(ledger.store.engine).has_table("rousewort_more")
        assert len(ledger.batches()) == 1


def test_foreign_keys_hold(ledger: Ledger) -> None:
    with pytest.raises(sa.exc.IntegrityError), ledger.store.write() as connection:
        connection.execute(store.BATCH.insert().values(number=1, code="X-1", plan="none such"))


def test_change_that_fails_half_way_leaves_nothing(
    ledger: Ledger, redbud: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    code = ledger.start(redbud, seeds=100).code
    before = everything(ledger)
    monkeypatch.setattr(ledger, "_begin", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        ledger.split(code, seeds=10)
    monkeypatch.undo()
    assert everything(ledger) == before


def test_two_ledgers_side_by_side_know_nothing_of_each_other(fresh: Callable[[], str], redbud: dict[str, Any]) -> None:
    with open_ledger(fresh()) as one, open_ledger(fresh()) as two:
        one.start(redbud, seeds=1)
        assert two.batches(ended=None) == []
