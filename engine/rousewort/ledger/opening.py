"""Opening a ledger: where it lies, and that a copy is kept before an older one is brought to the present version."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

from rousewort.ledger.backups import folder_of_made, keep_copy
from rousewort.ledger.book import Ledger
from rousewort.ledger.store import LedgerStore, address


def open_ledger(
    where: str | Path | None = None,
    *,
    make: bool = True,
    today: Callable[[], date] = date.today,
    wait_s: float | None = None,
) -> Ledger:
    """The ledger in a file, at a PostgreSQL URL, or at the usual place. `make`: create the file if there is none.
    `wait_s`: how long it waits for other writers (store.WAIT_S).

    Raises UserError for one that cannot be reached, is something else, or was written by a newer Rousewort.
    """
    return Ledger(LedgerStore(address(where), make, keep=keep_old, wait_s=wait_s), today)


def keep_old(store: LedgerStore, version: int) -> Path:
    """A backup before a migration to that version: without one there is none."""
    as_it_is = Ledger(store)
    return keep_copy(as_it_is, folder_of_made(as_it_is), why=f"before-version-{version}")
