"""All of a ledger out and in again: JSON in one file, CSV in a folder of three, and a backup.

Out and in gives the same ledger, to the letter. What comes in is checked whole before anything is written, and
never changes what is there: a batch that is there already may only be longer in the one of the two.
"""

from __future__ import annotations

import csv
import io
import json
import os
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from datetime import date, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from rousewort.base.atomic_write import read_whole, refuse_what_is_no_file, replacing, write_atomically
from rousewort.base.errors import Problem, UserError
from rousewort.ledger.book import Kept, Ledger, Progress, as_text, digest_of, insert_events, quiet
from rousewort.ledger.codes import is_code
from rousewort.ledger.events import KEYS, MOST, Batch, Event, add_up, set_aside
from rousewort.ledger.sound import plan_faults
from rousewort.ledger.store import BATCH, EVENT, PLAN, Damaged

FORMAT = "rousewort-ledger-1"


def untried(_: Batch) -> None:
    """No trial beyond adding up."""


MOST_TOLD = 20  # problems of one file
_FIXED = ("number", "turn", "day", "kind", "recorded")
# A spreadsheet would run such a cell as a formula; an apostrophe before it says that it is text, and comes off again.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "'")

# --- as plain data


def everything(ledger: Ledger, progress: Progress = quiet) -> dict[str, Any]:
    """The whole ledger as plain data: plans by digest, batches with their events; as recorded, whether it adds up or not."""
    with ledger.store.read() as connection:
        plans = {
            row.digest: json.loads(row.body) for row in connection.execute(sa.select(PLAN).order_by(PLAN.c.digest))
        }
        rows = connection.execute(sa.select(BATCH).order_by(BATCH.c.number)).all()
        batches = {row.number: {"number": row.number, "code": row.code, "plan": row.plan, "events": []} for row in rows}
        for row in connection.execute(sa.select(EVENT).order_by(EVENT.c.batch, EVENT.c.turn)):
            event = {key: getattr(row, key) for key in ("turn", "day", "kind", "recorded")}
            batches[row.batch]["events"].append(event | {"data": json.loads(row.data)})
            progress("entries read", row.turn)
    used = {batch["plan"] for batch in batches.values()}
    return {
        "format": FORMAT,
        "plans": {digest: plan for digest, plan in plans.items() if digest in used},
        "batches": list(batches.values()),
    }


def insert_rows(connection: Connection, data: Mapping[str, Any]) -> int:
    """Plain data into empty tables, as recorded. Returns the number of events."""
    plans = [{"digest": digest, "body": as_text(plan)} for digest, plan in data["plans"].items()]
    batches = [{key: batch[key] for key in ("number", "code", "plan")} for batch in data["batches"]]
    for table, rows in ((PLAN, plans), (BATCH, batches)):
        if rows:
            connection.execute(table.insert(), rows)
    for batch in data["batches"]:
        insert_events(connection, batch["number"], map(_event, batch["events"]))
    return sum(len(batch["events"]) for batch in data["batches"])


def well_formed(data: Any) -> None:
    """Whether plain data can be a ledger's at all. Raises UserError; batches that do not add up are no trouble here."""
    _refuse_other_format(data)
    problems = []
    try:
        for digest, plan in data["plans"].items():
            if digest_of(as_text(plan)) != digest:
                problems.append(f"Plan {digest} is not what it was when it was kept.")
        numbers = [batch["number"] for batch in data["batches"]]
        for batch in data["batches"]:
            problems += _misshapen(batch, data["plans"])
        problems += [f"Number {n} stands in it twice." for n, times in Counter(numbers).items() if times > 1]
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        problems.append(f"It is damaged: {type(error).__name__}: {error}.")
    if problems:
        raise UserError(*problems[:MOST_TOLD])


def _misshapen(batch: Mapping[str, Any], plans: Mapping[str, Any]) -> Iterator[str]:
    number, code = batch["number"], batch["code"]
    if isinstance(number, bool) or not isinstance(number, int) or not 0 < number < MOST:
        yield f"{str(number)[:40]!r} is no number of a batch."
    elif not isinstance(code, str) or not is_code(code, number):
        yield f"{str(code)[:40]!r} is no code of batch {number}."
    if batch["plan"] not in plans:
        yield f"{code}: its plan is missing."
    events = [_event(event) for event in batch["events"]]
    if [e.turn for e in events] != list(range(1, len(events) + 1)) or not events:
        yield f"{code}: entries are missing or out of order."
    for event in events:
        datetime.fromisoformat(event.recorded)
        as_text(dict(event.data)).encode()


def _event(said: Mapping[str, Any]) -> Event:
    day = date.fromisoformat(said["day"])
    return Event(int(said["turn"]), day, str(said["kind"]), str(said["recorded"]), dict(said["data"]))


def _refuse_other_format(data: Any) -> None:
    if not isinstance(data, Mapping) or data.get("format") != FORMAT:
        said = data.get("format") if isinstance(data, Mapping) else None
        raise UserError(f"This is no export of a ledger that can be read here: its format is {said!r}, not {FORMAT!r}.")


def take(
    ledger: Ledger, data: Mapping[str, Any], progress: Progress = quiet, trial: Callable[[Batch], object] = untried
) -> tuple[int, int]:
    """Bring plain data in. Returns the number of new batches and of events added. All or nothing.

    `trial`: does with a batch what will be done with it every day (dates it, shows it); what fails there is not let in.
    Raises UserError with everything that does not fit.
    """
    coming = _read(data, progress, trial)
    with ledger.store.write() as connection:
        there = {kept.number: kept for kept in ledger.kept(connection, sa.select(BATCH))}
        known = set(connection.scalars(sa.select(PLAN.c.digest)))
        if problems := list(_clashes(coming, there)):
            raise UserError(*problems)
        new = added = 0
        for done, batch in enumerate(coming, 1):
            if batch.digest not in known:
                connection.execute(PLAN.insert().values(digest=batch.digest, body=as_text(batch.plan)))
                known.add(batch.digest)
            old = there.get(batch.number)
            if old is None:
                connection.execute(BATCH.insert().values(number=batch.number, code=batch.code, plan=batch.digest))
                new += 1
            events = batch.events[len(old.rows) if old else 0 :]
            insert_events(connection, batch.number, events)
            added += len(events)
            progress("batches written", done)
    return new, added


def _read(data: Any, progress: Progress, trial: Callable[[Batch], object]) -> list[Batch]:
    """The batches of an export, each checked by adding it up and by a trial. What was set aside comes as it is."""
    well_formed(data)
    unsound = {digest: faults for digest, plan in data["plans"].items() if (faults := plan_faults(plan))}
    problems: list[str | Problem] = []
    found: list[Batch] = []
    for item in data["batches"]:
        events = [_event(event) for event in item["events"]]
        batch = Batch(item["number"], item["code"], data["plans"][item["plan"]], item["plan"], tuple(events))
        try:
            if set_aside(events) is None:
                if batch.digest in unsound:
                    raise UserError(*(f"{batch.code}: {fault}." for fault in unsound[batch.digest]))
                batch = add_up(batch, events)
                trial(batch)
            found.append(batch)
            progress("batches checked", len(found))
        except UserError as trouble:
            problems += trouble.problems
        except (ValueError, TypeError, KeyError, AttributeError, ArithmeticError, StopIteration) as error:
            problems.append(f"{batch.code} cannot be worked with ({type(error).__name__}: {error}).")
    if problems:
        raise UserError(
            *problems[:MOST_TOLD], *([f"and {len(problems) - MOST_TOLD} more"] if problems[MOST_TOLD:] else [])
        )
    return found


def _clashes(coming: list[Batch], there: Mapping[int, Kept]) -> Iterator[str]:
    for batch in coming:
        old = there.get(batch.number)
        if old is None:
            continue
        same = min(len(old.rows), len(batch.events))
        if (old.code, old.digest) != (batch.code, batch.digest):
            yield f"Number {batch.number} is {old.code} here and {batch.code} there, another batch. Import into an empty ledger."
        elif [_row(e) for e in batch.events[:same]] != [
            (r.turn, r.day, r.kind, r.recorded, json.loads(r.data)) for r in old.rows[:same]
        ]:
            yield f"{batch.code} has another history there than here. Nothing was brought in."


def _row(event: Event) -> tuple[Any, ...]:
    return event.turn, str(event.day), event.kind, event.recorded, dict(event.data)


# --- JSON and CSV


def to_json(data: Mapping[str, Any]) -> bytes:
    return (json.dumps(data, ensure_ascii=False, sort_keys=True, indent=1) + "\n").encode()


def from_json(text: bytes) -> Any:
    try:
        return json.loads(text)
    except ValueError as error:
        raise UserError(f"This is no JSON: {error}.") from None
    except RecursionError:
        raise UserError("This is no export of a ledger: it is nested deeper than any.") from None


def to_csv(data: Mapping[str, Any]) -> dict[str, bytes]:
    """plans.csv, batches.csv and events.csv: UTF-8, one column a key, empty where an event says nothing of it. The species
    of a batch stands there for readers; what comes in again has it in its plan."""
    events = [
        {"number": b["number"], **{k: e[k] for k in _FIXED[1:]}, **{k: _cell(k, v) for k, v in e["data"].items()}}
        for b in data["batches"]
        for e in b["events"]
    ]
    batches = [
        {**{key: b[key] for key in ("number", "code", "plan")}, "species": _species(data["plans"].get(b["plan"]))}
        for b in data["batches"]
    ]
    plans = [{"digest": digest, "plan": as_text(plan)} for digest, plan in data["plans"].items()]
    return {
        "plans.csv": _sheet(("digest", "plan"), plans),
        "batches.csv": _sheet(("number", "code", "plan", "species"), batches),
        "events.csv": _sheet((*_FIXED, *KEYS), events),
    }


def from_csv(sheets: Mapping[str, bytes]) -> dict[str, Any]:
    """Plain data from the three sheets."""
    try:
        plans = {row["digest"]: json.loads(row["plan"]) for row in _rows(sheets["plans.csv"])}
        batches: dict[int, dict[str, Any]] = {
            int(r["number"]): {"number": int(r["number"]), "code": r["code"], "plan": r["plan"], "events": []}
            for r in _rows(sheets["batches.csv"])
        }
        for row in _rows(sheets["events.csv"]):
            data = {key: _value(key, row[key]) for key in KEYS if row.get(key)}
            event = {"turn": int(row["turn"]), "data": data, **{k: row[k] for k in ("day", "kind", "recorded")}}
            batches[int(row["number"])]["events"].append(event)
    except (KeyError, ValueError, TypeError, csv.Error) as error:
        raise UserError(
            f"These sheets are no export of a ledger, or damaged: {type(error).__name__}: {error}."
        ) from None
    return {"format": FORMAT, "plans": plans, "batches": list(batches.values())}


def _species(plan: Any) -> str:
    """As the plan names it; nothing where a damaged plan does not."""
    taxon = plan.get("taxon") if isinstance(plan, Mapping) else None
    text = str((taxon.get("name") or plan.get("query") or "") if isinstance(taxon, Mapping) else "")
    return f"'{text}" if text.startswith(_FORMULA) else text


def _cell(key: str, value: Any) -> str:
    if KEYS[key] in (list, dict, bool, float):
        return as_text(value)
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULA) else text


def _value(key: str, text: str) -> Any:
    if KEYS[key] in (list, dict, bool, float):
        return json.loads(text)
    if KEYS[key] is int:
        return int(text)
    return text.removeprefix("'")


def _sheet(columns: tuple[str, ...], rows: list[dict[str, Any]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def _rows(text: bytes) -> Iterator[dict[str, str]]:
    csv.field_size_limit(64 * 1024 * 1024)  # a whole plan stands in one cell
    return csv.DictReader(io.StringIO(text.decode("utf-8-sig"), newline=""))


# --- files


def export_to(ledger: Ledger, path: Path, progress: Progress = quiet, *, force: bool = False) -> int:
    """Into PATH.json, or into a folder as CSV. Returns the number of batches.

    An earlier export of the same ledger is replaced; anything else only with `force`. Raises UserError.
    """
    data = everything(ledger, progress)
    if not force:
        _refuse_what_would_be_lost(path, data)
    if path.suffix == ".json":
        write_atomically(path, to_json(data))
    else:
        for name, sheet in to_csv(data).items():
            write_atomically(path / name, sheet)
    return len(data["batches"])


def _refuse_what_would_be_lost(path: Path, data: Mapping[str, Any]) -> None:
    """Raises UserError where something stands at `path` that the new export does not hold, too."""
    sheets = [path] if path.suffix == ".json" else [path / name for name in SHEETS]
    for sheet in sheets:
        refuse_what_is_no_file(sheet)
    if not any(sheet.exists() for sheet in sheets):
        return
    try:
        old = _plain_from(path)
        well_formed(old)
    except UserError:
        raise UserError(
            f"{path} is there already and is no export of a ledger. Name another, or say --force."
        ) from None
    now = {batch["code"]: batch for batch in data["batches"]}
    for batch in old["batches"]:
        new = now.get(batch["code"], {"plan": None, "events": []})
        if new["plan"] != batch["plan"] or new["events"][: len(batch["events"])] != batch["events"]:
            raise UserError(
                f"{path} holds what this ledger does not ({batch['code']}): it is an export of another ledger, or of a "
                "later day. Name another, or say --force."
            )


SHEETS = ("plans.csv", "batches.csv", "events.csv")


def _plain_from(path: Path) -> Any:
    try:
        if path.is_dir():
            return from_csv({name: read_whole(path / name) for name in SHEETS})
        return from_json(read_whole(path))
    except OSError as error:
        raise UserError(f"{error.filename or path} cannot be read: {error.strerror}.") from None


def import_from(
    ledger: Ledger, path: Path, progress: Progress = quiet, trial: Callable[[Batch], object] = untried
) -> tuple[int, int]:
    """From PATH.json or a folder of CSV. Returns the number of new batches and of events added. `trial`: see `take`."""
    return take(ledger, _plain_from(path), progress, trial)


def backup(ledger: Ledger, path: Path) -> None:
    """A whole copy, made while others go on working: SQLite as a SQLite file, PostgreSQL as JSON. Checked before it counts.

    Raises UserError where anything is at `path` already: a backup never takes the place of another file.
    """
    if ledger.store.sqlite and path.exists() and Path(str(ledger.store.url.database)).samefile(path):
        raise UserError(f"{path} is the ledger itself. Give another file for the backup.")
    taken = UserError(
        f"{path} is there already, and a backup never overwrites. Name a new file, or a folder, or nothing: then it is dated."
    )
    if os.path.lexists(path):
        raise taken
    try:
        if ledger.store.sqlite:
            _copy_sqlite(ledger, path)
        else:
            data = to_json(everything(ledger))
            well_formed(from_json(data))
            write_atomically(path, data, new=True)
    except FileExistsError:
        raise taken from None
    except (OSError, sqlite3.Error) as error:
        if "malformed" in str(error):
            raise Damaged(
                f"{ledger.store.shown} is damaged ({error}): it cannot be copied. Nothing was changed."
            ) from None
        raise UserError(
            f"The backup {path} cannot be written: {getattr(error, 'strerror', None) or error}. Nothing was changed."
        ) from None


def _copy_sqlite(ledger: Ledger, path: Path) -> None:
    with (
        replacing(path, new=True) as fresh,
        ledger.store.plainly(),
        ledger.store.engine.connect() as connection,
        closing(sqlite3.connect(fresh)) as copy,
    ):
        connection.connection.driver_connection.backup(copy)  # type: ignore[union-attr]  # it is open
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        if copy.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            raise Damaged(f"{ledger.store.shown} is damaged: its copy is not sound. No backup was made.")
