"""The database under the ledger: tables, versions, transactions, and what to say when the disk or server fails.

Three tables hold everything: plans (by the digest of their text), batches, and events. Triggers refuse every change of
a row that is there, so not even a fault of ours can rewrite history. All writers wait for one another.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine, make_url

from rousewort.base.errors import UserError

WAIT_S = 20  # a writer waits so long for another before it gives up
TABLES = sa.MetaData()
PLAN = sa.Table(
    "rousewort_plan",
    TABLES,
    sa.Column("digest", sa.Text, primary_key=True),
    sa.Column("body", sa.Text, nullable=False),
)
BATCH = sa.Table(
    "rousewort_batch",
    TABLES,
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("code", sa.Text, nullable=False, unique=True),
    sa.Column("plan", sa.Text, sa.ForeignKey(PLAN.c.digest), nullable=False),
)
EVENT = sa.Table(
    "rousewort_event",
    TABLES,
    sa.Column("batch", sa.Integer, sa.ForeignKey(BATCH.c.number), primary_key=True),
    sa.Column("turn", sa.Integer, primary_key=True),
    sa.Column("day", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False, index=True),
    sa.Column("recorded", sa.Text, nullable=False),
    sa.Column("data", sa.Text, nullable=False),
)
VERSION = sa.Table("rousewort_ledger", sa.MetaData(), sa.Column("version", sa.Integer, nullable=False))


def _first(connection: Connection) -> None:
    TABLES.create_all(connection)
    for table in TABLES.sorted_tables:
        for line in _KEEP[connection.dialect.name]:
            connection.exec_driver_sql(line.format(table=table.name))


_KEEP = {
    "sqlite": [
        f"CREATE TRIGGER {{table}}_{change} BEFORE {change} ON {{table}} "
        "BEGIN SELECT RAISE(ABORT, 'history is never rewritten'); END"
        for change in ("UPDATE", "DELETE")
    ],
    "postgresql": [
        "CREATE OR REPLACE FUNCTION rousewort_keep() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'history is never rewritten'; END $$",
        "CREATE TRIGGER {table}_keep BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION rousewort_keep()",
    ],
}
# Each makes the next version out of the one before it. Only ever add to the end.
MIGRATIONS: list[Callable[[Connection], None]] = [_first]


def usual_place() -> Path:
    """The ledger in the user's data folder."""
    base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "rousewort" / "ledger.sqlite"


def address(where: str | Path | None) -> URL:
    """A path, an URL, or None: ROUSEWORT_LEDGER, else the user's data folder."""
    where = str(where or os.environ.get("ROUSEWORT_LEDGER") or usual_place())
    if "://" not in where:
        return URL.create("sqlite", database=str(Path(where).expanduser()))
    try:
        url = make_url(where)
    except (sa.exc.ArgumentError, ValueError):
        raise UserError(
            "The ledger's address cannot be read. Give a file, or postgresql://user@host/database."
        ) from None
    if url.drivername in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("sqlite", "postgresql+psycopg"):
        raise UserError(f"A ledger is a file or a PostgreSQL database; '{url.drivername}' is neither.")
    return url


class LedgerStore:
    """One opened ledger database, brought to the present version."""

    def __init__(self, url: URL, make: bool = True) -> None:
        self.url = url
        self.shown = url.database if url.drivername == "sqlite" else url.render_as_string(hide_password=True)
        self.engine = _sqlite(url, make) if url.drivername == "sqlite" else _postgresql(url)
        self._bring_up_to_date()

    @property
    def sqlite(self) -> bool:
        return self.engine.dialect.name == "sqlite"

    def close(self) -> None:
        self.engine.dispose()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One unchanging view of everything."""
        level = {} if self.sqlite else {"isolation_level": "REPEATABLE READ"}
        with self.plainly(), self.engine.connect().execution_options(**level) as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """All or nothing, and nobody else writes meanwhile."""
        with (
            self.plainly(),
            self.engine.connect().execution_options(rousewort_write=True) as connection,
            connection.begin(),
        ):
            if not self.sqlite:
                connection.exec_driver_sql("SELECT pg_advisory_xact_lock(hashtext('rousewort ledger'), 1)")
            yield connection

    def _bring_up_to_date(self) -> None:
        with self.read() as connection:
            found = self._version(connection)
        self._refuse_newer(found)
        if found == len(MIGRATIONS):
            return
        with self.write() as connection:
            found = self._version(connection)  # somebody else may have been quicker
            self._refuse_newer(found)
            VERSION.create(connection, checkfirst=True)
            for migration in MIGRATIONS[found:]:
                migration(connection)
            connection.execute(VERSION.delete())
            connection.execute(VERSION.insert().values(version=len(MIGRATIONS)))

    def _version(self, connection: Connection) -> int:
        there = sa.inspect(connection)
        if there.has_table(VERSION.name):
            return connection.scalar(sa.select(VERSION.c.version)) or 0
        if self.sqlite and there.get_table_names():
            raise UserError(f"{self.shown} is a database of something else, not a ledger. Nothing was changed.")
        return 0

    def _refuse_newer(self, found: int) -> None:
        if found > len(MIGRATIONS):
            raise UserError(
                f"The ledger {self.shown} was written by a newer Rousewort (version {found}; this one reads up to "
                f"{len(MIGRATIONS)}). Nothing was changed. Install the newer Rousewort."
            )

    @contextmanager
    def plainly(self) -> Iterator[None]:
        """What the database could not do, in words; in every case nothing was half written."""
        try:
            yield
        except sa.exc.DBAPIError as error:
            said = str(error.orig).lower()
            for signs, words in _FAILURES:
                if any(sign in said for sign in signs):
                    raise UserError(
                        words.format(ledger=self.shown, said=str(error.orig).strip().splitlines()[0])
                    ) from error
            raise


_FAILURES = (
    (("disk is full", "disk i/o error", "no space left"),
     "The disk under {ledger} is full or fails: nothing was recorded now, all before it is safe. Make room (reading needs a little too) and try again."),
    (("readonly", "read-only", "permission denied"), "The ledger {ledger} cannot be written here: it, or its folder, is read-only. Nothing was recorded."),
    (("locked",), f"Somebody else has been writing to {{ledger}} for over {WAIT_S} seconds. Nothing was recorded; try again."),
    (("not a database", "malformed"), "{ledger} is damaged or no ledger ({said}). Nothing was changed; go back to a backup."),
    (("unable to open",), "The ledger {ledger} cannot be opened or made. Check the folder and its permissions."),
    (("connection", "could not translate", "password", "does not exist", "terminating"), "The ledger {ledger} cannot be reached: {said}"),
)  # fmt: skip


def _sqlite(url: URL, make: bool) -> Engine:
    path = Path(url.database or "")
    if not make and not path.exists():
        raise UserError(f"There is no ledger at {path}. Start a batch, or give another with --ledger.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(f"The folder of the ledger {path} cannot be made: {error.strerror}.") from None
    engine = sa.create_engine(url, connect_args={"timeout": WAIT_S})

    @sa.event.listens_for(engine, "connect")
    def _prepare(raw: object, _: object) -> None:
        raw.isolation_level = None  # type: ignore[attr-defined]  # we say BEGIN ourselves, below
        cursor = raw.cursor()  # type: ignore[attr-defined]
        for line in ("foreign_keys=ON", "journal_mode=WAL", "synchronous=FULL"):
            try:
                cursor.execute(f"PRAGMA {line}")
            except Exception as error:
                # Reading a ledger on a read-only disk is fine as it is; a write will say what is wrong.
                if "readonly" not in str(error):
                    raise
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        write = connection.get_execution_options().get("rousewort_write")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


def _postgresql(url: URL) -> Engine:
    try:
        return sa.create_engine(url, connect_args={"connect_timeout": WAIT_S})
    except ModuleNotFoundError:
        raise UserError("A ledger on PostgreSQL needs psycopg: pip install 'rousewort[ledger]'") from None
