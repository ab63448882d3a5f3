"""Sheets of labels as PDF (reportlab), with QR codes (segno). Decides nothing but size and line breaks.

Text is set as large as the label lets it, never below a size that can be read, and never cut: what cannot be fitted
is refused, with the sheets on which it would fit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from io import BytesIO
from typing import TYPE_CHECKING, NamedTuple

import segno
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from rousewort.base.errors import UserError
from rousewort.render.fonts import NO_BREAK, WEIGHTS, Fonts, tidy
from rousewort.render.shaped import LEFT_TO_RIGHT, Shaped, must_be_shaped
from rousewort.schedule.labels import Label, Sheet

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import Paragraph

MM = 72 / 25.4
PADDING = 2.2  # mm from the edge of a label: printers shift by a millimetre or so
LARGEST, SMALLEST, STEP = 20.0, 5.5, 0.25  # points
MODULE_MM = 0.36  # a QR code's square: phones read it from a hand's breadth
QUIET = 4  # squares left white about it (ISO/IEC 18004)
LARGE_CODE = 32.0  # mm, on labels three times as high
QR_SHARE = 0.42  # of the label's width at most
PAGES = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm
LEADING = 1.18


class Line(NamedTuple):
    """A paragraph of a label: style, text, size against the label's own, whether a warning mark stands before it."""

    style: str
    text: str
    scale: float
    warning: bool = False


class Printed(NamedTuple):
    """The file, its pages, and the labels that had no room for their QR code."""

    data: bytes
    pages: int
    without_code: int


def to_pdf(
    labels: Sequence[Label],
    sheet: Sheet,
    *,
    skip: int = 0,
    outline: bool = False,
    fonts: Sequence[str] = (),
    others: Mapping[str, Sheet] | None = None,
) -> Printed:
    """Draw labels from position `skip` on (those before are used already). The same input gives the same bytes.

    `outline`: draw the edges, for a trial print. `fonts`: the user's own font files. `others`: sheets to suggest when
    a label does not fit. Raises UserError for labels that do not fit and letters that no font has.
    """

    if not 0 <= skip < sheet.per_page:
        raise UserError(
            f"A sheet of {sheet.name} has {sheet.per_page} labels: skip from 0 to {sheet.per_page - 1}, not {skip}."
        )
    ready = Fonts(((line.style, line.text) for label in labels for line in lines(label)), fonts)
    set_labels = _fit_all(labels, sheet, ready, others or {})
    width, height = PAGES[sheet.page]
    out = BytesIO()
    canvas = Canvas(out, pagesize=(width * MM, height * MM), invariant=1, lang="en")
    canvas.setTitle("Labels: " + ", ".join(dict.fromkeys(label.plant for label in labels)))
    canvas.setCreator("Rousewort")
    pages = 1
    for position, fitted in enumerate(set_labels, start=skip):
        if position and position % sheet.per_page == 0:
            canvas.showPage()
            pages += 1
        x, y = sheet.place(position)
        _draw(canvas, fitted, x * MM, (height - y - sheet.height) * MM, sheet, outline)
    canvas.showPage()
    canvas.save()
    return Printed(out.getvalue(), pages, sum(bool(f.label.link) and not f.code for f in set_labels))


def lines(label: Label) -> Iterator[Line]:
    """The label's paragraphs from the top."""
    yield Line("name", label.plant, 1.35)
    # A lot's word that runs from the right must not draw the number after it into itself.
    lot = label.lot and f"Lot {label.lot}" + (LEFT_TO_RIGHT if any(map(must_be_shaped, label.lot)) else "")
    mark = f" ·{NO_BREAK}".join(part for part in (lot, label.number) if part)
    if mark:
        yield Line("bold", mark, 1.0)
    yield Line("plain", _whole(label.what[:1].upper() + label.what[1:]), 1.0)
    days = [f"{name[:1].upper()}{name[1:]}{NO_BREAK}{day}" for name, day in label.when]
    if label.kind == "bag":
        yield Line("bold", " · ".join(days[:2]), 1.0)
        days = days[2:]
    for day in days:
        yield Line("plain", day, 1.0)
    if label.after:
        yield Line("plain", _whole(label.after), 1.0)
    if label.warnings:
        yield Line("bold", " · ".join(label.warnings), 1.0, warning=True)


def _whole(text: str) -> str:
    """A number stays with its unit."""
    return text.replace(" °C", f"{NO_BREAK}°C").replace(" days", f"{NO_BREAK}days")


class Placed(NamedTuple):
    """A paragraph set to a width: its height, and the size of the warning sign before it (0: none)."""

    paragraph: Paragraph | Shaped
    tall: float
    sign: float


class Fitted(NamedTuple):
    """A label with its paragraphs set; `code`: the QR code's squares, or nothing; lengths in points."""

    label: Label
    paragraphs: list[Placed]
    size: float
    code: list[list[bool]]
    code_side: float


def _fit_all(labels: Sequence[Label], sheet: Sheet, fonts: Fonts, others: Mapping[str, Sheet]) -> list[Fitted]:
    made, problems = [], []
    for label in labels:
        fitted = _fit(label, sheet, fonts)
        if fitted is not None:
            made.append(fitted)
            continue
        larger = [s.name for s in others.values() if not s.cut and _fit(label, s, fonts) is not None]
        hint = f"It fits on: {', '.join(larger)}." if larger else "Shorten the lot's word."
        problems.append(
            f"The label of {label.plant} does not fit on {sheet.name} mm in letters that can be read. {hint}"
        )
    if problems:
        raise UserError(*dict.fromkeys(problems))
    return made


def _fit(label: Label, sheet: Sheet, fonts: Fonts) -> Fitted | None:
    """With its QR code if there is room for code and text, else without; None where even the text has no room."""
    inner, height = (sheet.width - 2 * PADDING) * MM, (sheet.height - 2 * PADDING) * MM
    code = _squares(label.link) if label.link else []
    side = (len(code) + 2 * QUIET) * MODULE_MM * MM
    if code and side <= min(height, sheet.width * QR_SHARE * MM):
        side = max(side, min(side * 1.4, height, sheet.width * QR_SHARE * MM), min(LARGE_CODE * MM, height / 3))
        found = _set(label, fonts, inner - side, height)
        if found:
            return Fitted(label, *found, code, side)
    found = _set(label, fonts, inner, height)
    return Fitted(label, *found, [], 0.0) if found else None


def _squares(link: str) -> list[list[bool]]:
    return [[bool(square) for square in row] for row in segno.make(link, error="m", micro=False).matrix]


def _set(label: Label, fonts: Fonts, width: float, height: float) -> tuple[list[Placed], float] | None:
    """Paragraphs at the largest size that fits into width and height."""
    steps = round((LARGEST - SMALLEST) / STEP)
    best = None
    low, high = 0, steps  # halving: what fits at a size fits at all smaller ones
    while low <= high:
        middle = (low + high) // 2
        size = SMALLEST + middle * STEP
        made = [_paragraph(line, fonts, size, width) for line in lines(label)]
        if sum(placed.tall for placed in made) <= height:
            best, low = (made, size), middle + 1
        else:
            high = middle - 1
    return best


def _paragraph(line: Line, fonts: Fonts, size: float, width: float) -> Placed:
    points = size * line.scale
    leading, indent, sign = points * LEADING, points * 1.3 if line.warning else 0.0, points if line.warning else 0.0
    if fonts.shaped(line.text):
        shaped = Shaped(tidy(line.text), fonts.file_of, WEIGHTS[line.style], points, leading, indent)
        return Placed(shaped, shaped.wrap(width, 10_000)[1], sign)
    runs = fonts.runs(line.style, line.text)
    style = ParagraphStyle(
        "label",
        fontName=runs[0][0],
        fontSize=points,
        leading=leading,
        leftIndent=indent,
        splitLongWords=1,
        allowWidows=1,
        allowOrphans=1,
    )
    marked = "".join(f'<font name="{name}">{escape(part)}</font>' for name, part in runs)
    paragraph = Paragraph(marked, style)
    return Placed(paragraph, paragraph.wrap(width, 10_000)[1], sign)


def _draw(canvas: Canvas, fitted: Fitted, x: float, y: float, sheet: Sheet, outline: bool) -> None:
    """`x`, `y`: the label's lower left corner in points."""
    width, height = sheet.width * MM, sheet.height * MM
    if outline or sheet.cut:
        canvas.setLineWidth(0.3)
        canvas.setStrokeGray(0.6)
        canvas.rect(x, y, width, height)
    top = y + height - PADDING * MM
    for placed in fitted.paragraphs:
        placed.paragraph.drawOn(canvas, x + PADDING * MM, top - placed.tall)
        if placed.sign:
            _triangle(canvas, x + PADDING * MM, top - placed.sign * LEADING, placed.sign)
        top -= placed.tall
    if fitted.code:
        _code(canvas, fitted, x + width - PADDING * MM - fitted.code_side, y + height - PADDING * MM - fitted.code_side)


def _triangle(canvas: Canvas, x: float, y: float, size: float) -> None:
    """A warning sign before the first line."""
    base = y + size * 0.24
    sign = canvas.beginPath()
    sign.moveTo(x, base)
    sign.lineTo(x + size, base)
    sign.lineTo(x + size / 2, base + size * 0.9)
    sign.close()
    canvas.setFillGray(0)
    canvas.drawPath(sign, stroke=0, fill=1)
    canvas.setFillGray(1)
    canvas.rect(x + size * 0.45, base + size * 0.28, size * 0.1, size * 0.34, stroke=0, fill=1)
    canvas.rect(x + size * 0.45, base + size * 0.1, size * 0.1, size * 0.1, stroke=0, fill=1)
    canvas.setFillGray(0)


def _code(canvas: Canvas, fitted: Fitted, x: float, y: float) -> None:
    """Squares of each row joined into bars; the quiet zone is part of the side."""
    count = len(fitted.code) + 2 * QUIET
    unit = fitted.code_side / count
    canvas.setFillGray(0)
    for i, row in enumerate(fitted.code):
        j = 0
        while j < len(row):
            if row[j]:
                run = next((k for k in range(j, len(row)) if not row[k]), len(row)) - j
                canvas.rect(
                    x + (QUIET + j) * unit,
                    y + fitted.code_side - (QUIET + i + 1) * unit,
                    run * unit,
                    unit,
                    stroke=0,
                    fill=1,
                )
                j += run
            else:
                j += 1
