"""Writing a file that the user asked for: whole or not at all, and never over something that is not ours."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rousewort.base.atomic_write import read_whole, refuse_what_is_no_file, write_atomically
from rousewort.base.errors import UserError


def write_output(where: str, data: bytes, mark: bytes, force: bool | None = False) -> None:
    """Write to a path, or to standard output for `-`.

    `mark`: bytes near the head of every earlier output of ours; a file without them is only replaced with `force`
    (None: the command has no such flag).
    Raises UserError where the file is another's or cannot be written; an earlier file then stays as it was.
    """
    if where == "-":
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    refuse_anothers(where, mark, force)
    if not Path(where).parent.is_dir():
        raise UserError(f"{where} cannot be written: there is no folder {Path(where).parent}. Nothing was changed.")
    write_atomically(Path(where), data)


def refuse_anothers(where: str, mark: bytes, force: bool | None = False) -> None:
    """Raises UserError where something stands that is no earlier output of this kind: to be asked before long work."""
    path = Path(where)
    if where == "-":
        return
    refuse_what_is_no_file(path)
    if force or not path.exists():
        return
    try:
        with path.open("rb") as old:
            ours = mark in old.read(4096)
    except OSError as error:
        raise UserError(f"{where} cannot be read: {error.strerror or error}. Nothing was changed.") from error
    if not ours:
        way = "Name another." if force is None else "Name another, or say --force."
        raise UserError(f"{where} is there already and is no earlier file of this kind. {way}")


def earlier_output(where: str) -> bytes:
    """What stands there now and would be replaced; nothing where there is none, or for standard output."""
    try:
        return b"" if where == "-" else read_whole(where)
    except OSError:  # writing will say what is wrong
        return b""


@contextmanager
def needed(library: str, extra: str) -> Iterator[None]:
    """A library that comes with an extra: where it is missing, say how to get it."""
    try:
        yield
    except ModuleNotFoundError as missing:
        if (missing.name or "").split(".")[0] != library:
            raise
        raise UserError(
            f"This needs {library}, which is not installed. Get it with: pip install 'rousewort[{extra}]'"
        ) from missing
