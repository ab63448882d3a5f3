"""Ledgers made by earlier versions open, keep their meaning, and are copied before anything of them changes."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from rousewort.base.errors import UserError
from rousewort.ledger import store
from rousewort.ledger.backups import folder_of
from rousewort.ledger.exchange import everything
from rousewort.ledger.opening import open_ledger
from rousewort.ledger.store import BATCH, EVENT, address

DAY = date(2025, 3, 10)
FIRST = Path(__file__).parent / "data" / "version-1.sql"


@pytest.fixture
def first(tmp_path: Path) -> str:
    """A ledger as version 1 made it."""
    where = tmp_path / "first.sqlite"
    with closing(sqlite3.connect(where)) as database:
        database.executescript(FIRST.read_text("utf-8"))
    return str(where)


def test_ledger_of_version_1_opens_and_keeps_its_meaning(first: str) -> None:
    with open_ledger(first, today=lambda: DAY) as ledger:
        closed, part = ledger.batches(ended=None)
        assert (closed.code, closed.seeds, closed.sown, closed.germinated, closed.plants) == ("CECA-1", 77, 77, 31, 30)
        assert closed.ended and closed.ended.kind == "close" and closed.sown_on == DAY - timedelta(20)
        assert (part.seeds, part.step, part.wait) == (40, "cold_moist-1", DAY + timedelta(3))
        assert [e.kind for e in closed.events] == [
            "start",
            "move",
            "check",
            "split",
            "sow",
            "count",
            "undo",
            "count",
            "close",
        ]
        assert ledger.record("2", "note", note="goes on").turn == 3


def test_before_a_migration_the_ledger_is_copied_and_the_copy_is_as_it_was(first: str) -> None:
    with open_ledger(first) as ledger:
        kept = ledger.store.kept
        assert kept is not None and kept.parent == folder_of(address(first)) and "before-version-2" in kept.name
    with closing(sqlite3.connect(kept)) as copy:
        assert copy.execute("SELECT version FROM rousewort_ledger").fetchall() == [(1,)]
        assert copy.execute("SELECT count(*) FROM rousewort_event").fetchone() == (11,)
    with open_ledger(first) as ledger:
        assert ledger.store.kept is None  # once


def test_migration_without_room_for_its_copy_changes_nothing(first: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("os.link", full)
        patch.setattr("os.replace", full)
        with pytest.raises(UserError, match="No space left"):
            open_ledger(first)
    with closing(sqlite3.connect(first)) as database:
        assert database.execute("SELECT version FROM rousewort_ledger").fetchall() == [(1,)]


def _renaming(connection: sa.Connection) -> None:
    """A migration that changes rows, as one some day will."""
    connection.execute(sa.update(EVENT).where(EVENT.c.kind == "note").values(kind="wait"))
    connection.execute(sa.update(EVENT).where(EVENT.c.kind == "wait").values(kind="note"))


def test_migration_may_change_rows_and_afterwards_nobody_may(
    fresh: Callable[[], str], redbud: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    where = fresh()
    with open_ledger(where, today=lambda: DAY) as ledger:
        code = ledger.start(redbud, seeds=10).code
        ledger.record(code, "note", note="kept")
        before = everything(ledger)
    monkeypatch.setattr(store, "MIGRATIONS", [*store.MIGRATIONS, _renaming])
    with open_ledger(where, today=lambda: DAY) as ledger:
        assert everything(ledger) == before
        assert ledger.store.kept is not None and ledger.store.kept.stat().st_size > 0
        for line in ("UPDATE rousewort_event SET kind = 'note'", "DELETE FROM rousewort_batch"):
            with pytest.raises(sa.exc.DBAPIError, match="never rewritten"), ledger.store.engine.begin() as connection:
                connection.exec_driver_sql(line)


def test_migration_that_fails_leaves_version_rows_and_guards_as_they_were(
    fresh: Callable[[], str], redbud: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    where = fresh()
    with open_ledger(where, today=lambda: DAY) as ledger:
        ledger.start(redbud, seeds=10)
        before = everything(ledger)

    def breaks(connection: sa.Connection) -> None:
        connection.execute(sa.delete(EVENT))
        raise ValueError("a slip of ours")

    with monkeypatch.context() as patch, pytest.raises(ValueError, match="slip"):
        patch.setattr(store, "MIGRATIONS", [*store.MIGRATIONS, breaks])
        open_ledger(where)
    with open_ledger(where, today=lambda: DAY) as ledger:
        assert everything(ledger) == before
        with pytest.raises(sa.exc.DBAPIError, match="never rewritten"), ledger.store.engine.begin() as connection:
            connection.execute(sa.delete(BATCH))


def test_running_older_pages_write_nothing_after_a_migration(
    fresh: Callable[[], str], redbud: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    where = fresh()
    with open_ledger(where, today=lambda: DAY) as older:
        code = older.start(redbud, seeds=10).code
        with monkeypatch.context() as patch:
            patch.setattr(store, "MIGRATIONS", [*store.MIGRATIONS, _renaming])
            open_ledger(where).close()
        with pytest.raises(UserError, match="newer Rousewort"):
            older.record(code, "note", note="too late")
        assert len(older.batch(code).events) == 1
