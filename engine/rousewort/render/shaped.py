"""Text whose letters must be joined, reordered or run from right to left: set by HarfBuzz, ordered by the bidirectional
algorithm (UAX #9), drawn as outlines. Decides nothing about texts.

`Shaped` stands in for a paragraph of the PDF library, which orders right-to-left words only with a library that cannot
be had. Both libraries used here are optional (the extra `labels-shaped`).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator
from functools import lru_cache
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import uharfbuzz
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.pdfgen.pathobject import PDFPathObject

# Letters that must be joined or reordered: Hebrew to Arabic, Indic, Lao to Burmese, Khmer, Mongolian, Tai Tham.
JOINED = ((0x0590, 0x08FF), (0x0900, 0x0DFF), (0x0E80, 0x109F), (0x1780, 0x18AF), (0x1A00, 0x1AAF), (0xA840, 0xABFF),
          (0xFB1D, 0xFDFF), (0xFE70, 0xFEFF))  # fmt: skip
JOINERS = "\u200c\u200d"  # seen only in what they do to their neighbours
LEFT_TO_RIGHT = "\u200e"  # a mark without width: what follows stays to the right of what stands before
UNSEEN = JOINERS + LEFT_TO_RIGHT


def must_be_shaped(letter: str) -> bool:
    return any(first <= ord(letter) <= last for first, last in JOINED)


def can_shape() -> bool:
    return find_spec("uharfbuzz") is not None and find_spec("bidi") is not None


class Run(NamedTuple):
    """Letters of one script, font and direction, in the order in which they are read."""

    text: str
    font: str
    level: int


class Glyph(NamedTuple):
    """A shape of a font, and where it stands on its line, in units of the font's size."""

    font: str
    shape: int
    x: float
    y: float


class Shaped:
    """A paragraph: wrapped to a width, then drawn. Lengths in points. `font_of`: the file that has a letter."""

    def __init__(
        self, text: str, font_of: Callable[[str], str], weight: int, size: float, leading: float, indent: float
    ) -> None:
        self.text, self.font_of, self.weight = text, font_of, weight
        self.size, self.leading, self.indent = size, leading, indent
        self.levels, self.right_to_left = _levels(text)

    def wrap(self, width: float, _: float) -> tuple[float, float]:
        """Break into lines at spaces, and within a word only where it is wider than a whole line."""
        self.width, self.lines = width, []
        room = (width - self.indent) / self.size
        begin = end = 0
        for stop in self._stops():
            if begin < end and self._wide(begin, stop) > room:
                self.lines.append((begin, end))
                begin = end
            while self._wide(begin, stop) > room:
                most = next(n for n in range(stop, begin, -1) if n == begin + 1 or self._wide(begin, n) <= room)
                self.lines.append((begin, most))
                begin = most
            end = stop
        self.lines.append((begin, end))
        return width, self.leading * len(self.lines)

    def _stops(self) -> Iterator[int]:
        """Where a word ends, with the space after it."""
        yield from (n + 1 for n, letter in enumerate(self.text[:-1]) if letter == " ")
        yield len(self.text)

    def _wide(self, begin: int, end: int) -> float:
        return self._set(begin, end)[1]

    def _set(self, begin: int, end: int) -> tuple[list[Glyph], float]:
        """The shapes of a line from left to right, and how wide they are together."""
        while end > begin and self.text[end - 1] == " ":
            end -= 1
        glyphs: list[Glyph] = []
        x = 0.0
        for run in _visual(list(self._runs(begin, end))):
            set_run, wide = _shape(run, self.weight)
            glyphs += [glyph._replace(x=x + glyph.x) for glyph in set_run]
            x += wide
        return glyphs, x

    def _runs(self, begin: int, end: int) -> Iterator[Run]:
        text, now = "", ("", "", 0)
        for letter, level in zip(self.text[begin:end], self.levels[begin:end], strict=True):
            clings = bool(text) and (letter in UNSEEN or letter == " " or unicodedata.category(letter).startswith("M"))
            its = (*now[:2], level) if clings else (_script(letter), self.font_of(letter), level)
            if text and its != now:
                yield Run(text, now[1], now[2])
                text = ""
            text, now = text + letter, its
        if text:
            yield Run(text, now[1], now[2])

    def drawOn(self, canvas: Canvas, x: float, y: float) -> None:  # the name is the PDF library's
        """`x`, `y`: the paragraph's lower left corner."""
        baseline = y + self.leading * len(self.lines) - self.size
        for begin, end in self.lines:
            glyphs, wide = self._set(begin, end)
            left = x + (self.width - wide * self.size if self.right_to_left else self.indent)
            path = canvas.beginPath()
            for glyph in glyphs:
                _outline(path, glyph, left, baseline, self.size, self.weight)
            canvas.drawPath(path, stroke=0, fill=1)
            baseline -= self.leading


def _script(letter: str) -> str:
    """`ARABIC`; nothing for all that needs no shaping. Each is shaped by rules of its own."""
    return unicodedata.name(letter, "").split(" ")[0] if must_be_shaped(letter) else ""


def _levels(text: str) -> tuple[list[int], bool]:
    """The embedding level of each letter (odd: right to left), and whether the paragraph runs from the right."""
    from bidi import algorithm

    # Joiners would be dropped by the algorithm; a mark in their stead takes the level of the letter before it.
    plain = "".join("\u0300" if letter in JOINERS else letter for letter in text)
    kept = algorithm.get_empty_storage()
    kept["base_level"] = level = algorithm.get_base_level(plain)
    kept["base_dir"] = "LR"[level]
    algorithm.get_embedding_levels(plain, kept)
    algorithm.explicit_embed_and_overrides(kept)
    for resolve in (algorithm.resolve_weak_types, algorithm.resolve_neutral_types, algorithm.resolve_implicit_levels):
        resolve(kept, False)
    return [letter["level"] for letter in kept["chars"]], bool(level)


def _visual(runs: list[Run]) -> list[Run]:
    """From the order of reading to that of the page, from left to right (rule L2 of the algorithm)."""
    for level in range(max((run.level for run in runs), default=0), 0, -1):
        ordered: list[Run] = []
        turned: list[Run] = []
        for run in runs:
            if run.level >= level:
                turned.insert(0, run)
            else:
                ordered += [*turned, run]
                turned = []
        runs = ordered + turned
    return runs


@lru_cache(32)
def _font(path: str, weight: int) -> tuple[Any, uharfbuzz.Font, int]:
    """The library that shapes, a font file at a weight, and its units to the em."""
    import uharfbuzz

    face = uharfbuzz.Face(uharfbuzz.Blob.from_file_path(path))
    font = uharfbuzz.Font(face)
    font.set_variations({"wght": weight})
    return uharfbuzz, font, face.upem


@lru_cache(4096)
def _shape(run: Run, weight: int) -> tuple[tuple[Glyph, ...], float]:
    """The shapes of a run from left to right, and how wide it is."""
    library, font, units = _font(run.font, weight)
    buffer = library.Buffer()
    buffer.add_str(run.text)
    buffer.direction = "rtl" if run.level % 2 else "ltr"
    buffer.guess_segment_properties()
    library.shape(font, buffer)
    found, x = [], 0
    for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        found.append(Glyph(run.font, info.codepoint, (x + position.x_offset) / units, position.y_offset / units))
        x += position.x_advance
    return tuple(found), x / units


def _outline(path: PDFPathObject, glyph: Glyph, left: float, baseline: float, size: float, weight: int) -> None:
    from fontTools.pens.basePen import BasePen

    _, font, units = _font(glyph.font, weight)

    class Pen(BasePen):  # type: ignore[misc]  # fontTools has no types
        """Draws into the PDF path; curves of TrueType become cubic ones."""

        def _at(self, point: tuple[float, float]) -> tuple[float, float]:
            x, y = point
            return left + (glyph.x + x / units) * size, baseline + (glyph.y + y / units) * size

        def _moveTo(self, point: tuple[float, float]) -> None:
            path.moveTo(*self._at(point))

        def _lineTo(self, point: tuple[float, float]) -> None:
            path.lineTo(*self._at(point))

        def _curveToOne(self, *points: tuple[float, float]) -> None:
            path.curveTo(*(end for point in points for end in self._at(point)))

        def _closePath(self) -> None:
            path.close()

    font.draw_glyph_with_pen(glyph.shape, Pen(None))
