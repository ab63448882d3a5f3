"""All of a ledger out and in again: JSON in one file, CSV in a folder of three, and a backup.

Out and in gives the same ledger, to the letter. What comes in is checked whole before anything is written, and
never changes what is there: a batch that is there already may only be longer in the one of the two.
"""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from rousewort.base.atomic_write import replacing, write_atomically
from rousewort.base.errors import UserError
from rousewort.ledger.book import Ledger, Progress, as_text, digest_of, insert_events, quiet
from rousewort.ledger.events import KEYS, Batch, Event, add_up
from rousewort.ledger.store import BATCH, PLAN

FORMAT = "rousewort-ledger-1"
_FIXED = ("number", "turn", "day", "kind", "recorded")
# A spreadsheet would run such a cell as a formula; an apostrophe before it says that it is text, and comes off again.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "'")

# --- as plain data


def everything(ledger: Ledger, progress: Progress = quiet) -> dict[str, Any]:
    """The whole ledger as plain data: plans by digest, batches with their events."""
    batches = ledger.batches(ended=None, progress=progress)
    return {
        "format": FORMAT,
        "plans": {b.digest: b.plan for b in sorted(batches, key=lambda b: b.digest)},
        "batches": [
            {
                "number": b.number,
                "code": b.code,
                "plan": b.digest,
                "events": [
                    {"turn": e.turn, "day": str(e.day), "kind": e.kind, "recorded": e.recorded, "data": dict(e.data)}
                    for e in b.events
                ],
            }
            for b in batches
        ],
    }


def take(ledger: Ledger, data: Mapping[str, Any], progress: Progress = quiet) -> tuple[int, int]:
    """Bring plain data in. Returns the number of new batches and of events added. All or nothing.

    Raises UserError with everything that does not fit.
    """
    coming = _read(data, progress)
    with ledger.store.write() as connection:
        there = {b.number: b for b in ledger._load(connection, sa.select(BATCH))}
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
            events = batch.events[len(old.events) if old else 0 :]
            insert_events(connection, batch.number, events)
            added += len(events)
            progress("batches written", done)
    return new, added


def _read(data: Mapping[str, Any], progress: Progress = quiet) -> list[Batch]:
    """The batches of an export, each checked by adding it up."""
    if not isinstance(data, Mapping) or data.get("format") != FORMAT:
        said = data.get("format") if isinstance(data, Mapping) else None
        raise UserError(f"This is no export of a ledger that can be read here: its format is {said!r}, not {FORMAT!r}.")
    problems, found = [], []
    try:
        for digest, plan in data["plans"].items():
            if digest_of(as_text(plan)) != digest:
                problems.append(f"Plan {digest} is not what it was when it was exported.")
        for item in data["batches"]:
            events = [
                Event(int(e["turn"]), date.fromisoformat(e["day"]), str(e["kind"]), str(e["recorded"]), dict(e["data"]))
                for e in item["events"]
            ]
            batch = Batch(int(item["number"]), str(item["code"]), data["plans"][item["plan"]], item["plan"])
            if [e.turn for e in events] != list(range(1, len(events) + 1)) or not events:
                problems.append(f"{batch.code}: entries are missing or out of order.")
                continue
            try:
                found.append(add_up(batch, events))
                progress("batches checked", len(found))
            except UserError as trouble:
                problems += trouble.problems
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        problems.append(f"The export is damaged: {type(error).__name__}: {error}.")
    codes = [b.code for b in found]
    problems += [f"{code} stands in it twice." for code in sorted({c for c in codes if codes.count(c) > 1})]
    if problems:
        raise UserError(*problems)
    return found


def _clashes(coming: list[Batch], there: Mapping[int, Batch]) -> Iterator[str]:
    for batch in coming:
        old = there.get(batch.number)
        if old is None:
            continue
        same = min(len(old.events), len(batch.events))
        if (old.code, old.digest) != (batch.code, batch.digest):
            yield f"Number {batch.number} is {old.code} here and {batch.code} there, another batch. Import into an empty ledger."
        elif old.events[:same] != batch.events[:same]:
            yield f"{batch.code} has another history there than here. Nothing was brought in."


# --- JSON and CSV


def to_json(data: Mapping[str, Any]) -> bytes:
    return (json.dumps(data, ensure_ascii=False, sort_keys=True, indent=1) + "\n").encode()


def from_json(text: bytes) -> Any:
    try:
        return json.loads(text)
    except ValueError as error:
        raise UserError(f"This is no JSON: {error}.") from None


def to_csv(data: Mapping[str, Any]) -> dict[str, bytes]:
    """plans.csv, batches.csv and events.csv: UTF-8, one column a key, empty where an event says nothing of it."""
    events = [
        {"number": b["number"], **{k: e[k] for k in _FIXED[1:]}, **{k: _cell(k, v) for k, v in e["data"].items()}}
        for b in data["batches"]
        for e in b["events"]
    ]
    batches = [{key: b[key] for key in ("number", "code", "plan")} for b in data["batches"]]
    plans = [{"digest": digest, "plan": as_text(plan)} for digest, plan in data["plans"].items()]
    return {
        "plans.csv": _sheet(("digest", "plan"), plans),
        "batches.csv": _sheet(("number", "code", "plan"), batches),
        "events.csv": _sheet((*_FIXED, *KEYS), events),
    }


def from_csv(sheets: Mapping[str, bytes]) -> dict[str, Any]:
    """Plain data from the three sheets."""
    try:
        plans = {row["digest"]: json.loads(row["plan"]) for row in _rows(sheets["plans.csv"])}
        batches = {
            int(r["number"]): {"number": int(r["number"]), "code": r["code"], "plan": r["plan"], "events": []}
            for r in _rows(sheets["batches.csv"])
        }
        for row in _rows(sheets["events.csv"]):
            data = {key: _value(key, row[key]) for key in KEYS if row[key] != ""}
            event = {"turn": int(row["turn"]), "data": data, **{k: row[k] for k in ("day", "kind", "recorded")}}
            batches[int(row["number"])]["events"].append(event)
    except (KeyError, ValueError, TypeError, csv.Error) as error:
        raise UserError(
            f"These sheets are no export of a ledger, or damaged: {type(error).__name__}: {error}."
        ) from None
    return {"format": FORMAT, "plans": plans, "batches": list(batches.values())}


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


def export_to(ledger: Ledger, path: Path, progress: Progress = quiet) -> int:
    """Into PATH.json, or into a folder as CSV. Returns the number of batches."""
    data = everything(ledger, progress)
    if path.suffix == ".json":
        write_atomically(path, to_json(data))
    else:
        for name, sheet in to_csv(data).items():
            write_atomically(path / name, sheet)
    return len(data["batches"])


def import_from(ledger: Ledger, path: Path, progress: Progress = quiet) -> tuple[int, int]:
    """From PATH.json or a folder of CSV. Returns the number of new batches and of events added."""
    try:
        if path.is_dir():
            data = from_csv({name: (path / name).read_bytes() for name in ("plans.csv", "batches.csv", "events.csv")})
        else:
            data = from_json(path.read_bytes())
    except OSError as error:
        raise UserError(f"{error.filename or path} cannot be read: {error.strerror}.") from None
    return take(ledger, data, progress)


def backup(ledger: Ledger, path: Path) -> None:
    """A whole copy, made while others go on working: SQLite as a SQLite file, PostgreSQL as JSON. Checked before it counts."""
    if not ledger.store.sqlite:
        data = to_json(everything(ledger))
        _read(from_json(data))
        return write_atomically(path, data)

    if path.exists() and Path(str(ledger.store.url.database)).samefile(path):
        raise UserError(f"{path} is the ledger itself. Give another file for the backup.")
    try:
        with replacing(path) as fresh, ledger.store.plainly(), ledger.store.engine.connect() as connection:
            copy = sqlite3.connect(fresh)
            try:
                connection.connection.driver_connection.backup(copy)  # type: ignore[union-attr]
                copy.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
                if copy.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
                    raise UserError("The copy is not sound. No backup was made.")
            finally:
                copy.close()
    except (OSError, sqlite3.Error) as error:
        raise UserError(
            f"The backup {path} cannot be written: {getattr(error, 'strerror', None) or error}. Nothing was changed."
        ) from None
    return None
