"""Backups that never overwrite, and going back to one: everything a ledger held is kept, whichever way it goes.

A backup bears the ledger's name and its moment (`ledger-2026-12-01T08-30-00.250.sqlite`) and lies in a folder of its own
beside the ledger. Going back replaces all rows in one transaction, so pages that are running see either ledger whole;
what is replaced is written to a backup first.
"""

from __future__ import annotations

import os
import re
import sqlite3
import tempfile
import time
from collections.abc import Callable, Mapping
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection

from rousewort.base.atomic_write import read_whole
from rousewort.base.errors import UserError
from rousewort.ledger.book import Ledger
from rousewort.ledger.exchange import backup, everything, from_json, insert_rows, well_formed
from rousewort.ledger.store import BATCH, EVENT, PLAN, SENT, Damaged, LedgerStore, rewriting, usual_place

KEEP = 30  # dated backups in the ledger's own folder of backups; older ones go
_MOMENT = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}-[0-9]{2}-[0-9]{2}\.[0-9]{3}"
_SQLITE = b"SQLite format 3\x00"


class Restored(NamedTuple):
    """What is in the ledger now, and where that which it replaced is kept (None: there was nothing)."""

    batches: int
    entries: int
    kept: Path | None


def folder_of(url: URL) -> Path:
    """Where a ledger's dated backups lie: beside its file; of PostgreSQL in the user's data folder."""
    if url.drivername == "sqlite":
        file = Path(url.database or "").absolute()
        return file.with_name(f"{file.stem}-backups")
    return usual_place().with_name(f"{_plain(url.database or 'postgresql')}-backups")


def keep_copy(ledger: Ledger, where: Path | None = None, *, keep: int | None = None, why: str = "") -> Path:
    """A backup under a name that is not taken. Returns where it lies.

    `where`: a new file, or a folder for a dated one; else the ledger's own folder of backups, where the newest `KEEP`
    stay. `keep`: how many dated ones of this ledger stay in the folder. `why`: a word for the name (`before-restore`).
    Raises UserError where the file is there already or cannot be written.
    """
    if keep is not None and keep < 1:
        raise UserError(f"--keep {keep}: at least one backup is kept.")
    if where is not None and not where.is_dir():
        if keep is not None:
            raise UserError(f"--keep counts the dated backups of a folder; {where} is no folder that is there.")
        backup(ledger, where)
        return where
    folder = where or folder_of(ledger.store.url)
    stem, ending = _stem(ledger.store.url), ".sqlite" if ledger.store.sqlite else ".json"
    path = _free(folder, f"{stem}-{{}}{f'-{why}' if why else ''}{ending}")
    backup(ledger, path)
    if keep or where is None:
        _forget_oldest(folder, stem, path, keep or KEEP)
    return path


def _stem(url: URL) -> str:
    return Path(url.database or "ledger").stem if url.drivername == "sqlite" else _plain(url.database or "postgresql")


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9_-]", "_", text)


def _free(folder: Path, form: str) -> Path:
    """A path of this moment that nothing has yet."""
    while True:
        now = datetime.now()
        path = folder / form.format(f"{now:%Y-%m-%dT%H-%M-%S}.{now.microsecond // 1000:03d}")
        if not os.path.lexists(path):
            return path
        time.sleep(0.001)


def _forget_oldest(folder: Path, stem: str, newest: Path, keep: int) -> None:
    """Dated backups beyond the newest ones go; those made before a restore or a migration stay, and so does one that holds
    more than the newest does: what was lost since is found only there."""
    ours = re.compile(rf"{re.escape(stem)}-{_MOMENT}{re.escape(newest.suffix)}")
    found = sorted(path for path in folder.iterdir() if ours.fullmatch(path.name) and path.is_file())
    for old in found[:-keep]:
        if old != newest and _entries(old) <= _entries(newest):
            with suppress(OSError):
                old.unlink()


def _entries(path: Path) -> float:
    """Entries in a backup; infinitely many in one that cannot be read, so that it is not taken away."""
    try:
        if path.suffix == ".json":
            return sum(len(batch["events"]) for batch in from_json(read_whole(path))["batches"])
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as copy:
            count: int = copy.execute(f"SELECT count(*) FROM {EVENT.name}").fetchone()[0]
            return count
    except (OSError, ValueError, KeyError, TypeError, UserError, sqlite3.Error):
        return float("inf")


# --- going back


def restore(url: URL, backup_path: Path, opened: Callable[[], Ledger]) -> Restored:
    """Make a ledger what a backup (a SQLite file, or an export as JSON) holds. What is replaced is kept beside it.

    `opened` opens the ledger at `url`, making it where there is none. Raises UserError, and changes nothing, where the
    backup is damaged or no backup.
    """
    data, sent = _held_by(backup_path, url)
    try:
        with opened() as ledger:
            return _replaced(ledger, data, sent)
    except Damaged:
        kept = _moved_aside(url)
        with opened() as ledger:
            return _replaced(ledger, data, sent)._replace(kept=kept)


def _held_by(path: Path, url: URL) -> tuple[Mapping[str, Any], list[Mapping[str, Any]]]:
    """The ledger in a backup, as plain data, and the forms that it has had; checked, and read from a copy."""
    try:
        head = b"" if not path.is_file() else path.open("rb").read(len(_SQLITE))
        if not path.is_file():
            raise UserError(f"{path} is no backup: there is no such file.")
        if url.drivername == "sqlite" and Path(url.database or "").exists() and path.samefile(url.database or ""):
            raise UserError(f"{path} is the ledger itself. Name a backup of it.")
        if head != _SQLITE:
            data = from_json(read_whole(path))
            well_formed(data)
            return data, []
        with tempfile.TemporaryDirectory(prefix="rousewort-restore-") as folder:
            return _held_by_sqlite(path, Path(folder) / "copy.sqlite")
    except OSError as error:
        raise UserError(f"{path} cannot be read: {error.strerror}.") from None


def _held_by_sqlite(path: Path, copy: Path) -> tuple[Mapping[str, Any], list[Mapping[str, Any]]]:
    """A copy is read, and brought up to date: the backup itself is never written to."""
    copy.write_bytes(read_whole(path))
    try:
        with closing(sqlite3.connect(copy)) as database:
            if (said := database.execute("PRAGMA integrity_check").fetchone()[0]) != "ok":
                raise UserError(
                    f"{path} is damaged ({said.splitlines()[0]}). Nothing was changed; take another backup."
                )
    except sqlite3.Error as error:
        raise UserError(f"{path} is damaged or no backup ({error}). Nothing was changed; take another.") from None
    store = LedgerStore(URL.create("sqlite", database=str(copy)), make=False, shown=str(path))
    try:
        with Ledger(store) as ledger, store.read() as connection:
            data = everything(ledger)
            well_formed(data)
            return data, [dict(row._mapping) for row in connection.execute(sa.select(SENT))]
    finally:
        store.close()


def _replaced(ledger: Ledger, data: Mapping[str, Any], sent: list[Mapping[str, Any]]) -> Restored:
    """All rows at once, in one transaction, while nobody else writes; what was there is copied before."""
    kept = None
    with ledger.store.write() as connection:
        if connection.scalar(sa.select(sa.func.count()).select_from(BATCH)):
            kept = keep_copy(ledger, folder_of_made(ledger), why="before-restore")
        with rewriting(connection):
            for table in (SENT, EVENT, BATCH, PLAN):
                connection.execute(table.delete())
            entries = _fill(connection, data, sent)
    return Restored(len(data["batches"]), entries, kept)


def folder_of_made(ledger: Ledger) -> Path:
    """The folder of backups, there from now on."""
    folder = folder_of(ledger.store.url)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(
            f"The folder {folder} for backups cannot be made: {error.strerror}. Nothing was changed."
        ) from None
    return folder


def _fill(connection: Connection, data: Mapping[str, Any], sent: list[Mapping[str, Any]]) -> int:
    entries = insert_rows(connection, data)
    if sent:
        connection.execute(SENT.insert(), sent)
    return entries


def _moved_aside(url: URL) -> Path:
    """A damaged ledger, with what lies beside it, under a name of this moment. Only what was a ledger's file is moved."""
    file = Path(url.database or "")
    if url.drivername != "sqlite" or file.open("rb").read(len(_SQLITE)) != _SQLITE:
        raise UserError(
            f"{file} is no ledger that Rousewort made, and is left as it is. Move it away yourself, then restore."
        )
    aside = _free(file.absolute().parent, f"{file.stem}-{{}}-damaged{file.suffix}")
    try:
        os.rename(file, aside)
        for beside in ("-wal", "-shm"):
            if os.path.lexists(f"{file}{beside}"):
                os.rename(f"{file}{beside}", f"{aside}{beside}")
    except OSError as error:
        raise UserError(f"The damaged ledger {file} cannot be moved aside: {error.strerror}.") from None
    return aside
