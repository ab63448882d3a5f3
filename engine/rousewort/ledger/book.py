"""The ledger's operations. Each is one transaction: it is recorded whole or not at all."""

from __future__ import annotations

import hashlib
import json
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from rousewort.base.errors import NotFound, UserError
from rousewort.ledger.codes import code_of, number_in
from rousewort.ledger.events import ENDS, MOST, YEARS, Batch, Event, add_up, past_data, set_aside
from rousewort.ledger.sound import plan_faults
from rousewort.ledger.store import BATCH, EVENT, PLAN, SENT, LedgerStore

Progress = Callable[[str, int], None]  # told what is being done, and how many are done


class Unreadable(NamedTuple):
    """A batch that does not add up, and why; `aside`: it was set aside, so that it troubles nobody."""

    number: int
    code: str
    why: str
    aside: bool = False

    def __str__(self) -> str:
        return f"{self.code} was set aside: {self.why}" if self.aside else f"{self.code} cannot be read: {self.why}"


class AlreadySent(UserError):
    """This very form came before, and what it says is recorded: in the batch `code`."""

    def __init__(self, code: str) -> None:
        super().__init__(f"That was noted already: {code}.")
        self.code = code


class Kept(NamedTuple):
    """A batch as it lies in the database: nothing of it is read yet."""

    number: int
    code: str
    digest: str
    rows: list[Any]

    def events(self) -> list[Event]:
        return [Event(r.turn, date.fromisoformat(r.day), r.kind, r.recorded, json.loads(r.data)) for r in self.rows]


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
        self._unsound: dict[str, str] = {}  # plans that cannot be worked with, and why

    def close(self) -> None:
        self.store.close()

    def __enter__(self) -> Ledger:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- reading

    def batches(
        self,
        *,
        ended: bool | None = False,
        species: str | None = None,
        progress: Progress = quiet,
        unreadable: list[Unreadable] | None = None,
    ) -> list[Batch]:
        """Batches by number: those in treatment, those that ended (True), or all (None).

        `unreadable` is given those that do not add up, and all else goes on; without it, one such raises UserError.
        What was set aside is in neither.
        """
        over = sa.exists().where(EVENT.c.batch == BATCH.c.number, EVENT.c.kind.in_(ENDS))
        query = sa.select(BATCH).order_by(BATCH.c.number)
        if ended is False:  # one that ended and had its end undone stands among the ended; sorted out below
            query = query.where(~over | sa.exists().where(EVENT.c.batch == BATCH.c.number, EVENT.c.kind == "undo"))
        elif ended:
            query = query.where(over)
        if species is not None:
            plans = sa.select(PLAN.c.digest).where(PLAN.c.body.contains(species, autoescape=True))
            query = query.where(BATCH.c.plan.in_(plans))
        with self.store.read() as connection:
            found = self._load(connection, query, progress)
        bad = [one for one in found if isinstance(one, Unreadable) and not one.aside]
        if unreadable is None and bad:
            raise UserError(*map(str, bad), "See: rousewort batch doctor")
        if unreadable is not None:
            unreadable += bad
        good = [one for one in found if isinstance(one, Batch)]
        return [b for b in good if ended in (None, bool(b.ended)) and species in (None, b.species)]

    def everything(self, progress: Progress = quiet) -> list[Batch | Unreadable]:
        """All batches by number, those that cannot be read or were set aside among them."""
        with self.store.read() as connection:
            return self._load(connection, sa.select(BATCH).order_by(BATCH.c.number), progress)

    def batch(self, word: str) -> Batch:
        """By code (7R, however written; those of earlier ledgers, CECA-7, too) or number. Raises UserError for one that is not there."""
        with self.store.read() as connection:
            return self._find(connection, word)

    def _find(self, connection: Connection, word: str) -> Batch:
        found = self._named(connection, word)
        if isinstance(found, Unreadable):
            raise UserError(str(found), "See: rousewort batch doctor")
        return found

    def _named(self, connection: Connection, word: str) -> Batch | Unreadable:
        bare = re.sub(r"[^0-9A-Za-z]", "", word).upper()
        number = number_in(bare)
        found = self._load(connection, sa.select(BATCH).where(BATCH.c.number == number))
        if found and bare in (str(number), found[0].code.replace("-", "")):
            return found[0]
        of = f" ({found[0].species})" if found and isinstance(found[0], Batch) else ""
        meant = f" Number {number} is {found[0].code}{of}." if found else ""
        raise NotFound(f"There is no batch '{word}' in the ledger.{meant} See: rousewort batch list")

    def _load(
        self, connection: Connection, query: sa.Select[Any], progress: Progress = quiet
    ) -> list[Batch | Unreadable]:
        kept = self.kept(connection, query)
        missing = {one.digest for one in kept} - set(self._plans) - set(self._unsound)
        if missing:
            for plan in connection.execute(sa.select(PLAN).where(PLAN.c.digest.in_(missing))):
                self._learn(plan.digest, plan.body)
        found: list[Batch | Unreadable] = []
        for one in kept:
            found.append(self._made(one))
            progress("batches read", len(found))
        return found

    def kept(self, connection: Connection, query: sa.Select[Any]) -> list[Kept]:
        """Batches as they lie in the database, with their entries in order."""
        chosen = query.with_only_columns(BATCH.c.number).order_by(None)
        rows: defaultdict[int, list[Any]] = defaultdict(list)
        for row in connection.execute(
            sa.select(EVENT).where(EVENT.c.batch.in_(chosen)).order_by(EVENT.c.batch, EVENT.c.turn)
        ):
            rows[row.batch].append(row)
        return [Kept(row.number, row.code, row.plan, rows[row.number]) for row in connection.execute(query)]

    def _learn(self, digest: str, body: str) -> None:
        try:
            plan = json.loads(body)
            faults = plan_faults(plan)
        except (ValueError, RecursionError) as error:
            faults = [f"its plan is no JSON ({error})"]
        if faults:
            self._unsound[digest] = "; ".join(faults[:3])
        else:
            self._plans[digest] = plan

    def _made(self, kept: Kept) -> Batch | Unreadable:
        """The batch, or why it is none. Whatever is wrong with it is no reason to stop at the others."""
        try:
            events = kept.events()
            if aside := set_aside(events):
                return Unreadable(kept.number, kept.code, aside.data.get("reason", ""), aside=True)
            if kept.digest not in self._plans:
                return Unreadable(kept.number, kept.code, self._unsound.get(kept.digest, "its plan is missing"))
            return add_up(Batch(kept.number, kept.code, self._plans[kept.digest], kept.digest), events)
        except UserError as trouble:
            return Unreadable(kept.number, kept.code, str(trouble))
        except (ValueError, TypeError, KeyError, AttributeError, ArithmeticError, RecursionError) as error:
            return Unreadable(kept.number, kept.code, f"its record is damaged ({type(error).__name__}: {error})")

    # --- writing

    def start(self, plan: Mapping[str, Any], *, day: date | None = None, form: str = "", **data: Any) -> Batch:
        """A new batch on a plan (the JSON of it, which is stored with the batch). `data`: seeds, grams, lot …

        `form`: the token of the form that says so; if that form came before, nothing is recorded (AlreadySent).
        """
        with self.store.write() as connection:
            self._first_time(connection, form)
            self._not_ordered(connection, data.get("order") or "")
            batch = self._begin(connection, plan, self._day(day), data)
            self._came(connection, form, batch.code)
            return batch

    def record(
        self, word: str, kind: str, *, day: date | None = None, turn: int | None = None, form: str = "", **data: Any
    ) -> Batch:
        """Add an event to a batch: check, move, wait, sow, count, discard, close or note (see events.KINDS).

        `turn`: the last entry that the recorder has seen; if the batch has gone on since, nothing is recorded. `form`:
        see `start`.
        """
        with self.store.write() as connection:
            self._first_time(connection, form)
            batch = self._find(connection, word)
            self._unchanged(batch, turn)
            after = self._add(connection, batch, kind, self._day(day, batch), data)
            self._came(connection, form, batch.code)
            return after

    def _first_time(self, connection: Connection, form: str) -> None:
        if form and (code := connection.scalar(sa.select(SENT.c.code).where(SENT.c.token == form))):
            raise AlreadySent(code)

    def was_sent(self, form: str) -> bool:
        """Whether a form with that token came before and what it says is recorded."""
        with self.store.read() as connection:
            return bool(form) and connection.scalar(sa.select(SENT.c.code).where(SENT.c.token == form)) is not None

    def ordered(self, order: str) -> str | None:
        """The code of the batch that was started for that line of an order, unless it is void."""
        with self.store.read() as connection:
            return self._ordered(connection, order)

    def _ordered(self, connection: Connection, order: str) -> str | None:
        said = EVENT.c.data.contains(f'"order":{as_text(order)}', autoescape=True)
        started = sa.select(EVENT.c.batch).where(EVENT.c.kind == "start", said)
        found = self._load(connection, sa.select(BATCH).where(BATCH.c.number.in_(started)).order_by(BATCH.c.number))
        standing = [one for one in found if not (isinstance(one, Batch) and one.ended and one.ended.kind == "void")]
        return standing[0].code if standing else None

    def _not_ordered(self, connection: Connection, order: str) -> None:
        """Within the transaction that would start it: two at once cannot both start a line."""
        if order and (code := self._ordered(connection, order)):
            raise AlreadySent(code)

    def _came(self, connection: Connection, form: str, code: str) -> None:
        if form:
            connection.execute(SENT.insert().values(token=form, code=code, recorded=_now()))

    def undo(self, word: str, *, turn: int | None = None) -> Batch:
        """Take back the last entry that stands; both stay in the log."""
        with self.store.write() as connection:
            batch = self._find(connection, word)
            self._unchanged(batch, turn)
            last = batch.standing[-1]
            return self._add(connection, batch, "undo", max(self.today(), last.day), {"undoes": last.turn})

    def redate(self, word: str, day: date, *, entry: int | None = None, rest: bool = False) -> Batch:
        """Set the day of an entry right (the last that stands, else `entry`); both days stay in the log.

        `rest`: all entries after it move by as many days, as after work under a wrong clock.
        """
        if day > self.today():
            raise UserError(f"{day} is still to come (today is {self.today()}): an entry cannot be set right to it.")
        with self.store.write() as connection:
            batch = self._find(connection, word)
            standing = batch.standing
            chosen = [e for e in standing if e.turn == (entry or standing[-1].turn)]
            if not chosen:
                raise UserError(
                    f"{batch.code}: there is no entry {entry} that stands. See: rousewort batch show {batch.code}"
                )
            by = day - chosen[0].day
            moved = [e for e in standing if e.turn >= chosen[0].turn] if rest else chosen
            at, now, made = self._day(None, batch), _now(), []
            for turn, old in enumerate(moved, batch.turn + 1):
                made.append(Event(turn, at, "redate", now, {"entry": old.turn, "to": str(old.day + by)}))
            after = add_up(batch, [*batch.events, *made])
            insert_events(connection, batch.number, made)
            return after

    def set_aside(self, number: int, why: str) -> None:
        """Put a batch that cannot be read out of everybody's way. It stays in the ledger, as it is."""
        self._log(number, "set_aside", {"reason": why})

    def take_back(self, word: str) -> None:
        """Let a batch that was set aside stand among the others again."""
        with self.store.read() as connection:
            found = self._named(connection, word)
        if not isinstance(found, Unreadable) or not found.aside:
            raise UserError(f"{found.code} was not set aside.")
        self._log(found.number, "taken_back", {})

    def _log(self, number: int, kind: str, data: Mapping[str, Any]) -> None:
        """An entry about the record itself, which need not add up."""
        with self.store.write() as connection:
            last = connection.scalar(sa.select(sa.func.max(EVENT.c.turn)).where(EVENT.c.batch == number)) or 0
            insert_events(connection, number, [Event(last + 1, self.today(), kind, _now(), data)])

    def split(
        self, word: str, *, day: date | None = None, turn: int | None = None, note: str = "", **part: Any
    ) -> tuple[Batch, Batch]:
        """Part of a batch (seeds or grams) becomes a batch of its own, in the same step since the same day."""
        with self.store.write() as connection:
            batch = self._find(connection, word)
            on = self._day(day, batch)
            self._unchanged(batch, turn)
            code = self._next_code(connection)
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
                connection,
                batch.plan,
                on,
                {**carried, **part, "other": batch.code, "begun": begun, "past": past_data(batch.past)},
                code,
            )
        return left, child

    def merge(self, word: str, into: str, *, day: date | None = None, turn: int | None = None, note: str = "") -> Batch:
        """Put one batch into another of the same species in the same step. Returns the one that remains."""
        with self.store.write() as connection:
            gone, kept = self._find(connection, word), self._find(connection, into)
            on = self._day(day, gone, kept)
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
                "past": past_data(gone.past) or None,
                "other": gone.code,
                "note": note,
            }
            taken["viability"] = gone.viability
            self._add(connection, gone, "merged", on, {"other": kept.code, "note": note})
            return self._add(connection, kept, "take_in", on, taken)

    def _day(self, day: date | None, *batches: Batch) -> date:
        """The day of an entry. A batch may be ahead of this clock: begun under a wrong one, or in a zone where it is
        tomorrow already. Then its own last day is today; the moment of recording is kept beside it."""
        today = max([self.today(), *(batch.last_day for batch in batches)])
        day = day or today
        if day > today:
            raise UserError(f"{day} is still to come (today is {today}): record it when it has happened.")
        if day.year < YEARS[0]:
            raise UserError(f"{day}: no bench was at work then. Check the year.")
        return day

    def _unchanged(self, batch: Batch, turn: int | None) -> None:
        if turn is not None and turn != batch.turn:
            raise UserError(
                f"{batch.code} has a newer entry ({batch.events[-1].kind}) than you have seen: nothing was recorded. Look again."
            )

    def _next_code(self, connection: Connection) -> tuple[int, str]:
        number = (connection.scalar(sa.select(sa.func.max(BATCH.c.number))) or 0) + 1
        if number >= MOST:
            raise UserError("The ledger has no number left for a batch. Begin another ledger.")
        return number, code_of(number)

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
        number, name = code or self._next_code(connection)
        connection.execute(BATCH.insert().values(number=number, code=name, plan=digest))
        return self._add(connection, Batch(number, name, plan, digest), "start", day, data)

    def _add(self, connection: Connection, batch: Batch, kind: str, day: date, data: Mapping[str, Any]) -> Batch:
        said = {
            key: str(value) if isinstance(value, date) else value
            for key, value in data.items()
            if value not in (None, "")
        }
        event = Event(batch.turn + 1, day, kind, _now(), said)
        after = add_up(batch, [*batch.events, event])
        insert_events(connection, batch.number, [event])
        return after


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


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
