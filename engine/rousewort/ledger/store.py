"""The database under the ledger: tables, versions, transactions, and what to say when the disk or server fails.

Three tables hold everything: plans (by the digest of their text), batches, and events; a fourth the forms that came in,
so that each counts once. Triggers refuse every change of a row that is there, so not even a fault of ours can rewrite
history; only a migration, or going back to a backup, may take them off, within its one transaction. All writers wait
for one another, and each looks first whether the ledger is still of its version.
"""

from __future__ import annotations

import os
import socket
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
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
SENT = sa.Table(
    "rousewort_sent",
    sa.MetaData(),
    sa.Column("token", sa.Text, primary_key=True),
    sa.Column("code", sa.Text, nullable=False),
    sa.Column("recorded", sa.Text, nullable=False),
)
VERSION = sa.Table("rousewort_ledger", sa.MetaData(), sa.Column("version", sa.Integer, nullable=False))


def _first(connection: Connection) -> None:
    TABLES.create_all(connection)


def _second(connection: Connection) -> None:
    """The forms that came in; and, without a change of form, entries of the kinds void, set_aside and taken_back."""
    SENT.create(connection)


def _third(_: Connection) -> None:
    """No change of form: entries say which steps were skipped, and why (an older Rousewort cannot read them)."""


@contextmanager
def rewriting(connection: Connection) -> Iterator[None]:
    """Within one transaction the triggers are off: for migrations, and for going back to a backup. Nothing else may."""
    for line in _each_table(connection, _FREE):
        connection.exec_driver_sql(line)
    yield
    for line in _each_table(connection, _KEEP):
        connection.exec_driver_sql(line)


def _each_table(connection: Connection, lines: dict[str, list[str]]) -> Iterator[str]:
    there = set(sa.inspect(connection).get_table_names())
    for table in TABLES.sorted_tables:
        if table.name in there:
            yield from (line.format(table=table.name) for line in lines[connection.dialect.name])


_FREE = {
    "sqlite": [f"DROP TRIGGER IF EXISTS {{table}}_{change}" for change in ("UPDATE", "DELETE")],
    "postgresql": ["DROP TRIGGER IF EXISTS {table}_keep ON {table}"],
}
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
MIGRATIONS: list[Callable[[Connection], None]] = [_first, _second, _third]


class Damaged(UserError):
    """The ledger's file is damaged, or no ledger at all."""


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
    """One opened ledger database, brought to the present version.

    `keep`: told the store and the version that comes, makes a backup and says where it lies (then `kept`). `shown`: what
    messages call the ledger. `wait_s`: how long it waits for other writers, or for a server that says nothing.
    """

    def __init__(
        self,
        url: URL,
        make: bool = True,
        shown: str = "",
        keep: Callable[[LedgerStore, int], Path] | None = None,
        wait_s: float | None = None,
    ) -> None:
        self.url = url
        self.kept: Path | None = None
        self.made = False  # there was none before
        self.wait_s = WAIT_S if wait_s is None else wait_s
        self._impatient = wait_s is not None and url.drivername != "sqlite"
        self.on_written: Callable[[], None] = lambda: None  # told after every write that is sure
        named = url.database if url.drivername == "sqlite" else url.render_as_string(hide_password=True)
        self.shown = shown or str(named)
        self.engine = _sqlite(url, make, self.wait_s) if url.drivername == "sqlite" else _postgresql(url, self.wait_s)
        try:
            self._bring_up_to_date(keep, make)
        except BaseException:
            self.engine.dispose()
            raise

    @property
    def sqlite(self) -> bool:
        return self.engine.dialect.name == "sqlite"

    def close(self) -> None:
        self.engine.dispose()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One unchanging view of everything."""
        level = {} if self.sqlite else {"isolation_level": "REPEATABLE READ"}
        with (
            self.plainly(),
            self.engine.connect().execution_options(**level) as connection,
            self._not_for_ever(connection),
            connection.begin(),
        ):
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """All or nothing, and nobody else writes meanwhile. Raises UserError where the ledger is of another version by now."""
        with self._alone() as connection:
            found = self._version(connection)
            self._refuse_newer(found)
            if found < len(MIGRATIONS):
                raise UserError(
                    f"The ledger {self.shown} is of version {found} again, older than when it was opened: somebody put "
                    "an old copy in its place. Nothing was recorded. Start Rousewort anew, and use: rousewort batch restore"
                )
            yield connection
        self.on_written()
        self._all_in_one_file()

    @contextmanager
    def _alone(self) -> Iterator[Connection]:
        with (
            self.plainly(),
            self.engine.connect().execution_options(rousewort_write=True) as connection,
            self._not_for_ever(connection),
            connection.begin(),
        ):
            if not self.sqlite:
                connection.exec_driver_sql("SELECT pg_advisory_xact_lock(hashtext('rousewort ledger'), 1)")
            yield connection

    @contextmanager
    def _not_for_ever(self, connection: Connection) -> Iterator[None]:
        """Cut the line to a PostgreSQL that does not answer, where `wait_s` was given: a frozen server keeps no time."""
        if not self._impatient:
            yield
            return
        line = connection.connection.driver_connection.pgconn.socket  # type: ignore[union-attr]  # it is open
        timer = threading.Timer(2 * self.wait_s + 1, _cut, [line])
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()

    def _all_in_one_file(self) -> None:
        """Move what was written out of SQLite's write-ahead file, without waiting for anybody.

        A copy of the ledger put in its place by hand would else be undone by what a killed process left in that file.
        """
        if self.sqlite:
            with suppress(sa.exc.DBAPIError, sqlite3.Error), self.engine.connect() as connection:
                raw = connection.connection.driver_connection
                raw.execute("PRAGMA busy_timeout=0")  # type: ignore[union-attr]  # it is open
                try:
                    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()  # type: ignore[union-attr]  # it is open
                finally:
                    raw.execute(f"PRAGMA busy_timeout={int(self.wait_s * 1000)}")  # type: ignore[union-attr]  # it is open

    def check_file(self) -> None:
        """Raises Damaged where SQLite finds its file damaged. PostgreSQL looks after its own."""
        if self.sqlite:
            with self.read() as connection:
                said = connection.exec_driver_sql("PRAGMA integrity_check").scalar()
            if said != "ok":
                raise Damaged(
                    f"{self.shown} is damaged: {str(said).splitlines()[0]}. Go back to a backup: rousewort batch restore"
                )

    def _bring_up_to_date(self, keep: Callable[[LedgerStore, int], Path] | None, make: bool) -> None:
        with self.read() as connection:
            found = self._version(connection)
        self._refuse_newer(found)
        if found == len(MIGRATIONS):
            return
        if found == 0 and not make:
            raise UserError(f"There is no ledger at {self.shown}. Start a batch, or give another with --ledger.")
        with self._alone() as connection:
            found = self._version(connection)  # somebody else may have been quicker
            self._refuse_newer(found)
            self.made = found == 0
            if 0 < found < len(MIGRATIONS) and keep:
                self.kept = keep(self, found + 1)
            VERSION.create(connection, checkfirst=True)
            with rewriting(connection):
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
                    kind = Damaged if "not a database" in signs else UserError
                    told = words.format(
                        ledger=self.shown, wait=f"{self.wait_s:g}", said=str(error.orig).strip().splitlines()[0]
                    )
                    raise kind(told) from error
            raise


_FAILURES = (
    (("disk is full", "disk i/o error", "no space left"),
     "The disk under {ledger} is full or fails: nothing was recorded now, all before it is safe. Make room (reading needs a little too) and try again."),
    (("readonly", "read-only", "permission denied"), "The ledger {ledger} cannot be written here: it, or its folder, is read-only. Nothing was recorded."),
    (("locked", "lock timeout", "statement timeout"), "Somebody else has been writing to {ledger} for over {wait} seconds. Nothing was recorded; try again."),
    (("not a database", "malformed"), "{ledger} is damaged or no ledger ({said}). Nothing was changed; go back to a backup."),
    (("unable to open",), "The ledger {ledger} cannot be opened or made. Check the folder and its permissions."),
    (("connection", "could not translate", "password", "does not exist", "terminating", "consuming input", "ssl syscall", "closed unexpectedly"),
     "The ledger {ledger} cannot be reached: {said}"),
)  # fmt: skip


def _cut(line: int) -> None:
    """Shut a socket that another thread waits on: it then hears that the server is gone."""
    with suppress(OSError), socket.socket(fileno=os.dup(line)) as known:
        known.shutdown(socket.SHUT_RDWR)


def _sqlite(url: URL, make: bool, wait_s: float) -> Engine:
    path = Path(url.database or "")
    if not make and not path.exists():
        raise UserError(f"There is no ledger at {path}. Start a batch, or give another with --ledger.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(f"The folder of the ledger {path} cannot be made: {error.strerror}.") from None
    engine = sa.create_engine(url, connect_args={"timeout": wait_s})

    @sa.event.listens_for(engine, "connect")
    def _prepare(raw: object, _: object) -> None:
        raw.isolation_level = None  # type: ignore[attr-defined]  # we say BEGIN ourselves, below
        cursor = raw.cursor()  # type: ignore[attr-defined]  # of sqlite3
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


def _postgresql(url: URL, wait_s: float) -> Engine:
    # What the address itself says of the session (search_path …) stays; each statement may last so long.
    own = url.query.get("options", "")
    limits = f"-c statement_timeout={int(2 * wait_s * 1000)} -c lock_timeout={int(wait_s * 1000)}"
    url = url.update_query_dict({"options": f"{limits} {own if isinstance(own, str) else ' '.join(own)}".strip()})
    try:
        return sa.create_engine(url, connect_args={"connect_timeout": max(2, int(wait_s))})
    except ModuleNotFoundError:
        raise UserError("A ledger on PostgreSQL needs psycopg: pip install 'rousewort[ledger]'") from None
