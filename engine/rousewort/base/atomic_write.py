"""A file is written whole or not at all, and only where a file of its own may stand: never through a link or over a device."""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from rousewort.base.errors import UserError


@contextmanager
def replacing(path: Path, *, new: bool = False) -> Iterator[Path]:
    """A new file beside `path` to write into, which takes its place at the end; on any error it is gone, and `path` as before.

    `new`: nothing may stand there, not even what another process puts there meanwhile (FileExistsError).
    Raises UserError where a link or a device stands there.
    """

    refuse_what_is_no_file(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:200]}.")
    os.close(handle)
    try:
        yield Path(name)
        with open(name, "r+b") as file:
            os.fsync(file.fileno())
        os.chmod(name, path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
        if new:
            _take_free_place(name, path)
        else:
            os.replace(name, path)
        _settle(path.parent)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise


def write_atomically(path: Path, data: bytes, *, new: bool = False) -> None:
    """The file as given, or as it was before: never half of it. Raises UserError where it cannot be written."""
    try:
        with replacing(path, new=new) as fresh:
            fresh.write_bytes(data)
    except FileExistsError:
        if path.parent.is_file():
            raise UserError(f"{path.parent} is a file, and is left as it is. A folder is wanted there.") from None
        raise UserError(f"{path} is there already and is left as it is. Name another file.") from None
    except OSError as error:
        raise UserError(f"{path} cannot be written: {error.strerror}. What was there before is untouched.") from None


def refuse_what_is_no_file(path: Path) -> None:
    """A link, device, pipe or folder is not replaced: what it leads to belongs to somebody else."""
    if path.is_symlink():
        raise UserError(f"{path} is a link to {os.readlink(path)} and is left as it is. Name the file itself.")
    if path.exists() and not path.is_file():
        what = "folder" if path.is_dir() else "device or pipe, no file"
        raise UserError(f"{path} is a {what}, and is left as it is. Name a file.")


def _take_free_place(name: str, path: Path) -> None:
    try:
        os.link(name, path)  # fails where anything stands there
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no links: the place is taken first
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        os.replace(name, path)
    else:
        os.unlink(name)


def _settle(folder: Path) -> None:
    """The new name itself survives a power cut, where the system can promise that for a folder."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


MOST_BYTES = 256 * 1024 * 1024


def read_whole(path: Path | str, most: int = MOST_BYTES) -> bytes:
    """The bytes of a file. Raises OSError, in words, for what is no file (a pipe would wait, a device never ends) or is
    larger than `most` bytes."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with open(handle, "rb") as file:
        status = os.fstat(handle)
        if stat.S_ISDIR(status.st_mode):
            raise IsADirectoryError(errno.EISDIR, "it is a folder", str(path))
        if not stat.S_ISREG(status.st_mode):
            raise OSError(errno.EINVAL, "it is a device or pipe, no file", str(path))
        data = file.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"it is larger than {most // 1024} kB, the most that is read", str(path))
    return data


def read_text(path: Path | str, most: int = MOST_BYTES) -> str:
    """The text of a file in UTF-8, its line ends as one sign. Raises OSError as `read_whole`, and UnicodeDecodeError."""
    return read_whole(path, most).decode("utf-8").replace("\r\n", "\n")
