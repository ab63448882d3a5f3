"""Where tests keep ledgers: SQLite, and a PostgreSQL server of their own, started here as an unprivileged user."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from must_be_here import missing  # type: ignore[import-not-found]

_schemas = itertools.count(1)


def _unprivileged() -> dict[str, Any]:
    """Arguments for subprocess: PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        try:
            who = pwd.getpwnam(name)
            return {"user": who.pw_uid, "group": who.pw_gid, "extra_groups": []}
        except KeyError:
            continue
    raise RuntimeError("no unprivileged user on this machine")


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The address of a PostgreSQL server in a folder of its own, reached through a socket there."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"))
    programs = found[-1].parent if found else Path(shutil.which("postgres") or "/nonexistent/postgres").parent
    if not (programs / "initdb").exists():
        missing("PostgreSQL's server")
    who = _unprivileged()
    folder = Path(tempfile.mkdtemp(prefix="rw-pg-"))
    if who:
        os.chown(folder, who["user"], who["group"])
    data = folder / "data"
    quiet: dict[str, Any] = {"check": True, "stdout": subprocess.DEVNULL, "cwd": folder, **who}
    subprocess.run(
        [programs / "initdb", "-D", data, "-U", "rousewort", "-A", "trust", "-E", "UTF8", "--no-sync"], **quiet
    )
    options = f"-c listen_addresses='' -c unix_socket_directories='{folder}' -c fsync=off -c shared_buffers=16MB"
    subprocess.run([programs / "pg_ctl", "-D", data, "-w", "-o", options, "-l", folder / "log", "start"], **quiet)
    try:
        yield f"postgresql://rousewort@/postgres?host={folder}"
    finally:
        subprocess.run([programs / "pg_ctl", "-D", data, "-w", "-m", "immediate", "stop"], **quiet)
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def place_of(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[str], str]:
    """Makes the address of a new, empty ledger on `sqlite` or `postgresql` each time it is called."""

    def place(kind: str) -> str:
        name = f"ledger{next(_schemas)}"
        if kind == "sqlite":
            return str(tmp_path / f"{name}.sqlite")
        import psycopg

        server = request.getfixturevalue("server")
        with psycopg.connect(server, autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {name}")
        return f"{server}&options=-csearch_path%3D{name}"

    return place


@pytest.fixture(params=["sqlite", "postgresql"])
def fresh(request: pytest.FixtureRequest, place_of: Callable[[str], str]) -> Callable[[], str]:
    return lambda: place_of(request.param)
