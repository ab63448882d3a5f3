"""The ledger's operations. Each is one transaction: it is recorded whole or not at all."""

from __future__ import annotations

import hashlib
import json
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from rousewort.base.errors import UserError
from rousewort.ledger.events import ENDS, Batch, Event, add_up
from rousewort.ledger.store import BATCH, EVENT, PLAN, LedgerStore, address

Progress = Callable[[str, int], None]  # told what is being done, and how many are done
FIRST_YEAR = 1900  # a day before is a slip of the pen


def open_ledger(
    where: str | Path | None = None, *, make: bool = True, today: Callable[[], date] = date.today
) -> Ledger:
    """The ledger in a file, at a PostgreSQL URL, or at the usual place. `make`: create the file if there is none.

    Raises UserError for one that cannot be reached, is something else, or was written by a newer Rousewort.
    """
    return Ledger(LedgerStore(address(where), make), today)


def as_text(data: Any) -> str:
    """JSON in one form only, so that equal data are equal text."""
    return json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def digest_of(body: str) -> str:
    return hashlib.blake2b(body.encode(), digest_size=16).hexdigest()


def quiet(what: str, done: int) -> None:
    """Progress that nobody watches."""


class Ledger:
    """An open ledger. `today` tells the present day (tests and the demonstration have their own)."""

    def __init__(self, store: LedgerStore, today: Callable[[], date] = date.today) -> None:
        self.store, self.today = store, today
        self._plans: dict[str, Mapping[str, Any]] = {}  # never stale: a plan's digest names its text

    def close(self) -> None:
        self.store.close()

    def __enter__(self) -> Ledger:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- reading

    def batches(
        self, *, ended: bool | None = False, species: str | None = None, progress: Progress = quiet
    ) -> list[Batch]:
        """Batches by number: those in treatment, those that ended (True), or all (None)."""
        over = sa.exists().where(EVENT.c.batch == BATCH.c.number, EVENT.c.kind.in_(ENDS))
        query = sa.select(BATCH).order_by(BATCH.c.number)
        if ended is False:  # one that ended and had its end undone stands among the ended; sorted out below
            query = query.where(~over | sa.exists().where(EVENT.c.batch == BATCH.c.number, EVENT.c.kind == "undo"))
        elif ended:
            query = query.where(over)
        if species is not None:
            query = query.where(BATCH.c.code.startswith(f"{_letters(species)}-"))
        with self.store.read() as connection:
            found = self._load(connection, query, progress)
        return [b for b in found if ended in (None, bool(b.ended)) and species in (None, b.species)]

    def batch(self, word: str) -> Batch:
        """By code (CECA-7, however written) or number. Raises UserError for one that is not there."""
        with self.store.read() as connection:
            return self._find(connection, word)

    def _find(self, connection: Connection, word: str) -> Batch:
        bare = re.sub(r"[^0-9A-Za-z]", "", word).upper()
        digits = re.search(r"[0-9]+$", bare)
        number = int(digits[0]) if digits and len(digits[0]) < 10 else -1
        found = self._load(connection, sa.select(BATCH).where(BATCH.c.number == number))
        if found and bare in (str(number), found[0].code.replace("-", "")):
            return found[0]
        meant = f" Number {number} is {found[0].code} ({found[0].species})." if found else ""
        raise UserError(f"There is no batch '{word}' in the ledger.{meant} See: rousewort batch list")

    def _load(self, connection: Connection, query: sa.Select, progress: Progress = quiet) -> list[Batch]:
        rows = connection.execute(query).all()
        chosen = query.with_only_columns(BATCH.c.number).order_by(None)
        events: defaultdict[int, list[Event]] = defaultdict(list)
        for row in connection.execute(
            sa.select(EVENT).where(EVENT.c.batch.in_(chosen)).order_by(EVENT.c.batch, EVENT.c.turn)
        ):
            events[row.batch].append(
                Event(row.turn, date.fromisoformat(row.day), row.kind, row.recorded, json.loads(row.data))
            )
        if missing := {row.plan for row in rows} - set(self._plans):
            for plan in connection.execute(sa.select(PLAN).where(PLAN.c.digest.in_(missing))):
                self._plans[plan.digest] = json.loads(plan.body)
        found = []
        for row in rows:
            found.append(add_up(Batch(row.number, row.code, self._plans[row.plan], row.plan), events[row.number]))
            progress("batches read", len(found))
        return found

    # --- writing

    def start(self, plan: Mapping[str, Any], *, day: date | None = None, **data: Any) -> Batch:
        """A new batch on a plan (the JSON of it, which is stored with the batch). `data`: seeds, grams, lot …"""
        with self.store.write() as connection:
            return self._begin(connection, plan, self._day(day), data)

    def record(self, word: str, kind: str, *, day: date | None = None, turn: int | None = None, **data: Any) -> Batch:
        """Add an event to a batch: check, move, wait, sow, count, discard, close or note (see events.KINDS).

        `turn`: the last entry that the recorder has seen; if the batch has gone on since, nothing is recorded.
        """
        with self.store.write() as connection:
            batch = self._find(connection, word)
            self._unchanged(batch, turn)
            return self._add(connection, batch, kind, self._day(day), data)

    def undo(self, word: str, *, turn: int | None = None) -> Batch:
        """Take back the last entry that stands; both stay in the log."""
        with self.store.write() as connection:
            batch = self._find(connection, word)
            self._unchanged(batch, turn)
            last = batch.standing[-1]
            return self._add(connection, batch, "undo", max(self.today(), last.day), {"undoes": last.turn})

    def split(
        self, word: str, *, day: date | None = None, turn: int | None = None, note: str = "", **part: Any
    ) -> tuple[Batch, Batch]:
        """Part of a batch (seeds or grams) becomes a batch of its own, in the same step since the same day."""
        on = self._day(day)
        with self.store.write() as connection:
            batch = self._find(connection, word)
            self._unchanged(batch, turn)
            code = self._next_code(connection, batch.species)
            left = self._add(connection, batch, "split", on, {**part, "other": code[1], "note": note})
            carried = {
                "lot": batch.lot,
                "provenance": batch.provenance,
                "viability": batch.viability,
                "south": batch.south or None,
                "held": batch.held,
            }
            begun = {step: str(began) for step, began in batch.begun.items()}
            child = self._begin(
                connection, batch.plan, on, {**carried, **part, "other": batch.code, "begun": begun}, code
            )
        return left, child

    def merge(self, word: str, into: str, *, day: date | None = None, turn: int | None = None, note: str = "") -> Batch:
        """Put one batch into another of the same species in the same step. Returns the one that remains."""
        on = self._day(day)
        with self.store.write() as connection:
            gone, kept = self._find(connection, word), self._find(connection, into)
            self._unchanged(gone, turn)
            if gone.number == kept.number:
                raise UserError(f"{gone.code} cannot be merged with itself.")
            if gone.species != kept.species:
                raise UserError(
                    f"{gone.code} is {gone.species}, {kept.code} is {kept.species}: only batches of one species can be merged."
                )
            if gone.step != kept.step:
                raise UserError(
                    f"{gone.code} is in {gone.step}, {kept.code} in {kept.step}: merge when both are in the same step."
                )
            taken = {
                "seeds": gone.seeds,
                "grams": gone.grams,
                "since": str(gone.begun[gone.step]),
                "other": gone.code,
                "note": note,
            }
            taken["viability"] = gone.viability
            self._add(connection, gone, "merged", on, {"other": kept.code, "note": note})
            return self._add(connection, kept, "take_in", on, taken)

    def _day(self, day: date | None) -> date:
        today = self.today()
        day = day or today
        if day > today:
            raise UserError(f"{day} is still to come (today is {today}): record it when it has happened.")
        if day.year < FIRST_YEAR:
            raise UserError(f"{day}: no bench was at work then. Check the year.")
        return day

    def _unchanged(self, batch: Batch, turn: int | None) -> None:
        if turn is not None and turn != batch.turn:
            raise UserError(
                f"{batch.code} has a newer entry ({batch.events[-1].kind}) than you have seen: nothing was recorded. Look again."
            )

    def _next_code(self, connection: Connection, species: str) -> tuple[int, str]:
        number = (connection.scalar(sa.select(sa.func.max(BATCH.c.number))) or 0) + 1
        return number, f"{_letters(species)}-{number}"

    def _begin(
        self,
        connection: Connection,
        plan: Mapping[str, Any],
        day: date,
        data: Mapping[str, Any],
        code: tuple[int, str] | None = None,
    ) -> Batch:
        body = as_text(plan)
        digest = digest_of(body)
        if not connection.scalar(sa.select(PLAN.c.digest).where(PLAN.c.digest == digest)):
            connection.execute(PLAN.insert().values(digest=digest, body=body))
        number, name = code or self._next_code(connection, plan["taxon"]["name"] or plan["query"])
        connection.execute(BATCH.insert().values(number=number, code=name, plan=digest))
        return self._add(connection, Batch(number, name, plan, digest), "start", day, data)

    def _add(self, connection: Connection, batch: Batch, kind: str, day: date, data: Mapping[str, Any]) -> Batch:
        said = {
            key: str(value) if isinstance(value, date) else value
            for key, value in data.items()
            if value not in (None, "")
        }
        event = Event(batch.turn + 1, day, kind, datetime.now(UTC).isoformat(timespec="seconds"), said)
        after = add_up(batch, [*batch.events, event])
        insert_events(connection, batch.number, [event])
        return after


def _letters(species: str) -> str:
    """`CECA` of Cercis canadensis: the letters of its batches' codes."""
    words = [w for w in re.findall(r"[A-Za-z]+", species) if w != "x"] or ["X"]
    return (words[0][:2] + words[1][:2] if len(words) > 1 else words[0][:4]).upper()


def insert_events(connection: Connection, number: int, events: Iterable[Event]) -> None:
    rows = [
        {
            "batch": number,
            "turn": e.turn,
            "day": str(e.day),
            "kind": e.kind,
            "recorded": e.recorded,
            "data": as_text(dict(e.data)),
        }
        for e in events
    ]
    if rows:
        connection.execute(EVENT.insert(), rows)
