"""Writing a file that the user asked for: whole or not at all, and never over something that is not ours."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

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
    path = Path(where)
    try:
        if path.is_dir():
            raise UserError(f"{where} is a folder. Name a file.")
        if path.exists() and not force:
            with path.open("rb") as old:
                if mark not in old.read(4096):
                    way = "Name another." if force is None else "Name another, or say --force."
                    raise UserError(f"{where} is there already and is no earlier file of this kind. {way}")
        handle, part = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as new:
                new.write(data)
                new.flush()
                os.fsync(new.fileno())
            os.chmod(part, path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
            os.replace(part, path)
        except BaseException:
            Path(part).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise UserError(f"{where} cannot be written: {error.strerror or error}. Nothing was changed.") from error


def earlier_output(where: str) -> bytes:
    """What stands there now and would be replaced; nothing where there is none, or for standard output."""
    try:
        return b"" if where == "-" else Path(where).read_bytes()
    except OSError:  # writing will say what is wrong
        return b""


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


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
