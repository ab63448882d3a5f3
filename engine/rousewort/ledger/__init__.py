"""The ledger: real batches in treatment, on SQLite or PostgreSQL, as an append-only log of what was done and seen.

`book.open_ledger(where)` gives a `Ledger`. A batch is what its events add up to (events.py); nothing that was recorded is
ever changed, so history is never rewritten. SQLAlchemy comes with book.py, so only what opens a ledger needs it.
"""
