"""The ledger: real batches in treatment, on SQLite or PostgreSQL, as an append-only log of what was done and seen.

`open_ledger(where)` gives a `Ledger`. A batch is what its events add up to (events.py); nothing that was recorded is
ever changed, so history is never rewritten. SQLAlchemy is imported only when a ledger is opened.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rousewort.ledger.book import Ledger, open_ledger

__all__ = ["Ledger", "open_ledger"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from rousewort.ledger import book

        return getattr(book, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
