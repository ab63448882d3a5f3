"""The console as it is: closed, full, of an old code page, or a terminal that would obey what stands in somebody's data."""

from __future__ import annotations

import codecs
import os
import re
import sys
import unicodedata
from typing import Any, TextIO

OURS = re.compile("\x1b\\[(?:0|1|2|33|1;32)m")  # the colours of render/terminal.py
# All that a terminal may obey, or that turns the order of letters on the line: everything but a new line and a tabulator.
CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
PLAIN = str.maketrans({
    "–": "-", "—": "-", "−": "-", "“": '"', "”": '"', "‘": "'", "’": "'", "…": "...", "×": "x", "→": "->", "≤": "<=",
    "≥": ">=", "·": "-", "•": "-", "µ": "u", "°": " deg ", "½": "1/2", "\u00a0": " ", "\u202f": " ",
})  # fmt: skip


class CannotPrint(OSError):
    """Standard output takes nothing more."""


class Screen:
    """A stream that prints text as text. `quiet`: what it cannot take is dropped (there is nowhere left to say so)."""

    def __init__(self, stream: TextIO, *, quiet: bool, json: bool) -> None:
        self.plain, self._quiet, self._json = stream, quiet, json
        self._lost: CannotPrint | None = None  # argparse passes over it when it prints help

    def write(self, text: str) -> int:
        self._try(lambda: self.plain.write(self.clean(text)))
        return len(text)

    def flush(self) -> None:
        if self._lost:
            lost, self._lost = self._lost, None
            raise lost
        self._try(self.plain.flush)

    def clean(self, text: str) -> str:
        """Control signs as what they are called; of colours, our own alone, and in a terminal alone."""
        if not CONTROL.search(text):
            return text
        if not self.plain.isatty():
            return CONTROL.sub(self._named, text)
        pieces = OURS.split(text)
        colours = [*OURS.findall(text), ""]
        return "".join(CONTROL.sub(self._named, p) + colour for p, colour in zip(pieces, colours, strict=True))

    def _named(self, found: re.Match[str]) -> str:
        return f"\\u{ord(found[0]):04x}" if self._json else "\ufffd"

    def _try(self, act: Any) -> None:
        try:
            act()
        except BrokenPipeError:
            if not self._quiet:
                raise
        except (OSError, ValueError) as error:
            if not self._quiet:
                self._lost = CannotPrint(getattr(error, "errno", None), getattr(error, "strerror", None) or str(error))
                raise self._lost from error

    def __getattr__(self, name: str) -> Any:
        return getattr(self.plain, name)


def prepare(argv: list[str]) -> None:
    """Make standard input, output and error fit to be used. Called once, as the command begins."""
    _open_what_is_closed()
    json = "--json" in argv
    codecs.register_error("rousewort", _as_json if json else _as_near_as_can_be)
    for name, quiet in (("stdout", False), ("stderr", True)):
        stream = getattr(sys, name)
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="rousewort")
        setattr(sys, name, Screen(stream, quiet=quiet, json=json))


def _open_what_is_closed() -> None:
    """A closed stream's number would go to the next file that is opened, and be written over by whoever prints."""
    for number, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
        if getattr(sys, name) is None:
            setattr(sys, name, open(number, mode, encoding="utf-8", closefd=False))  # noqa: SIM115 (open till the end)


def _as_near_as_can_be(error: UnicodeError) -> tuple[str, int]:
    """For a code page without that letter: the letter without its accent, the sign that stands for it on a typewriter."""
    assert isinstance(error, UnicodeEncodeError)
    text = error.object[error.start : error.end].translate(PLAIN)
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return bare.encode("ascii", "replace").decode(), error.end


def _as_json(error: UnicodeError) -> tuple[str, int]:
    """The same within JSON: escaped, so that nothing is lost."""
    assert isinstance(error, UnicodeEncodeError)
    units = error.object[error.start : error.end].encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i]:02x}{units[i + 1]:02x}" for i in range(0, len(units), 2)), error.end
