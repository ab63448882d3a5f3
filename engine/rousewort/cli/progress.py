"""A progress bar on one line of a terminal, wiped when the work is done."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO


class Bar:
    """Call it with what is being done and how many are done; it draws a few times a second, and wipes itself at the end.

    The number there are in all is often known only afterwards, so the bar counts; `of` gives a share where it is known.
    """

    EVERY = 0.1  # seconds

    def __init__(self, stream: TextIO, of: int | None = None) -> None:
        self.stream, self.of = stream, of
        self._drawn = 0.0
        self._width = 0

    def __call__(self, what: str, done: int) -> None:
        now = time.monotonic()
        if now - self._drawn < self.EVERY:
            return
        self._drawn = now
        share = f" [{'#' * (30 * done // self.of):<30}]" if self.of else ""
        text = f"{what}{share} {done}" + (f" of {self.of}" if self.of else "")
        self.stream.write("\r" + text.ljust(self._width))
        self.stream.flush()
        self._width = len(text)

    def wipe(self) -> None:
        if self._width:
            self.stream.write("\r" + " " * self._width + "\r")
            self.stream.flush()
            self._width = 0


@contextmanager
def progress_bar(of: int | None = None) -> Iterator[Callable[[str, int], None]]:
    """A bar on standard error while something lasts, where that is a terminal."""
    if not sys.stderr.isatty():
        yield lambda what, done: None
        return
    bar = Bar(sys.stderr, of)
    try:
        yield bar
    finally:
        bar.wipe()
