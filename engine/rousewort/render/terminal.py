"""Plain text for a terminal: 80 columns, colour only where it is wanted. Decides nothing."""

from __future__ import annotations

import os
import sys
import textwrap
from collections.abc import Iterable
from typing import TextIO

WIDTH = 80
NARROWEST, WIDEST = 40, 100


class Page:
    """Collects lines. `colour`: whether to mark headings, cautions and quiet text with terminal colours."""

    def __init__(self, colour: bool = False, width: int = WIDTH) -> None:
        self.colour, self.width = colour, width
        self.lines: list[str] = []

    def style(self, text: str, code: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self.colour else text

    def bold(self, text: str) -> str:
        return self.style(text, "1")

    def quiet(self, text: str) -> str:
        return self.style(text, "2")

    def warn(self, text: str) -> str:
        return self.style(text, "33")

    def heading(self, text: str) -> None:
        self.blank()
        self.lines.append(self.style(text, "1;32"))

    def blank(self) -> None:
        if self.lines and self.lines[-1]:
            self.lines.append("")

    def say(self, text: str, indent: int = 0, bullet: str = "", code: str = "") -> None:
        """Wrapped text; `bullet` hangs before it."""
        first = " " * indent + bullet
        rest = " " * (indent + len(bullet))
        wrapped = textwrap.wrap(
            text,
            self.width,
            initial_indent=first,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        ) or [first]
        self.lines += [self.style(line, code) if code else line for line in wrapped]

    def each(self, texts: Iterable[str], indent: int = 0, bullet: str = "- ", code: str = "") -> None:
        for text in texts:
            self.say(text, indent, bullet, code)

    def text(self) -> str:
        return "\n".join(self.lines).strip("\n") + "\n"


def wants_colour(stream: TextIO) -> bool:
    return stream.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


def page_for(stream: TextIO | None = None, fit: bool = False) -> Page:
    """A page for this stream. `fit`: as wide as its terminal, between what can be laid out and what can be read."""
    stream = stream or sys.stdout
    return Page(wants_colour(stream), _width(stream) if fit else WIDTH)


def _width(stream: TextIO) -> int:
    try:
        columns = os.get_terminal_size(stream.fileno()).columns
    except (AttributeError, OSError, ValueError):  # no terminal, or none that tells
        return WIDTH
    return min(max(columns, NARROWEST), WIDEST) if columns else WIDTH
