"""A file is written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

from rousewort.errors import Trouble


def write_whole(path: Path, data: bytes) -> None:
    """The file as given, or as it was before: never half of it. Raises Trouble where it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(name, path)
        except BaseException:
            with suppress(OSError):
                os.unlink(name)
            raise
    except OSError as error:
        raise Trouble(f"{path} cannot be written: {error.strerror}. What was there before is untouched.") from None
