"""A file is written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from rousewort.base.errors import UserError


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """A new file beside `path` to write into, which takes its place at the end; on any error it is gone, and `path` as before."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    os.close(handle)
    try:
        yield Path(name)
        with open(name, "r+b") as file:
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise


def write_atomically(path: Path, data: bytes) -> None:
    """The file as given, or as it was before: never half of it. Raises UserError where it cannot be written."""
    try:
        with replacing(path) as fresh:
            fresh.write_bytes(data)
    except OSError as error:
        raise UserError(f"{path} cannot be written: {error.strerror}. What was there before is untouched.") from None
