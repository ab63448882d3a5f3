"""The sheet of a plan on one page of paper: its texts, a seed that shows where to cut, room for dates. Decides nothing.

Set as large as the page lets it, never below a size that can be read. The same sheet gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from html import escape
from io import BytesIO
from typing import NamedTuple

from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from rousewort.base.errors import UserError
from rousewort.planning.sheet import Act, Sheet, Span
from rousewort.render.fonts import Fonts
from rousewort.render.labels_pdf import MM, PAGES
from rousewort.render.sheet_text import TITLES, hazard_text, marks, sure_texts

MARGIN = 14.0  # mm
ASIDE = 46.0  # mm, the column for the drawing and for what is written by hand
GAP = 6.0  # mm between the columns
LARGEST, SMALLEST, STEP = 10.5, 6.5, 0.25  # points
LEADING = 1.25
WORDS = 17.0  # mm, the words that stand before a block
STRIP = 15.0  # mm, the height of the year
HAND = "Lot", "Seeds", "From", "Begun"  # what is written in by hand
PRINTED = (*HAND, "from", "to", "weeks", "scar", "root tip", "0123456789")
# How a season is filled, so that two are told apart in black and white; every bar has its name beside it too.
GREYS = {"cold": 0.55, "warm": 0.85, "outdoor": 0.72, "dry": 0.93, "sown": 1.0}


class Run(NamedTuple):
    """A piece of text in one style (render/fonts.py)."""

    style: str
    text: str


class Block(NamedTuple):
    """A paragraph and the word or number before it. `act`: the step that it is, with lines for its dates beside it."""

    word: str
    runs: tuple[Run, ...]
    act: Act | None = None
    scale: float = 1.0
    after: float = 0.0  # lines of space below


def to_pdf(sheet: Sheet, paper: str = "A4", fonts: Iterable[str] = ()) -> bytes:
    """One page. Raises UserError for letters that no font has, and for a sheet that no size lets onto the page."""
    width, height = PAGES[paper]
    blocks = list(_blocks(sheet))
    words = " ".join((*PRINTED, *(span.label for span in sheet.strip), *(block.word for block in blocks)))
    runs = [(run.style, run.text) for block in blocks for run in block.runs]
    ready = Fonts([("bold", words), ("plain", words), *runs], list(fonts))
    room = height - 2 * MARGIN - (STRIP if sheet.strip else 0)
    text_width = width - 2 * MARGIN - ASIDE - GAP
    for step in range(round((LARGEST - SMALLEST) / STEP) + 1):
        size = LARGEST - step * STEP
        set_blocks = [_set(block, ready, size, text_width * MM) for block in blocks]
        if sum(placed.tall for placed in set_blocks) <= room * MM:
            break
    else:
        raise UserError(f"The sheet of {sheet.name} does not fit on one page of {paper} in letters that can be read.")
    out = BytesIO()
    canvas = Canvas(out, pagesize=(width * MM, height * MM), invariant=1, lang="en")
    canvas.setTitle(f"{sheet.name}: {sheet.line or TITLES.get(sheet.outcome, sheet.outcome)}")
    canvas.setCreator("Rousewort")
    _draw(canvas, sheet, set_blocks, ready, size, (width, height))
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _blocks(sheet: Sheet) -> Iterator[Block]:
    """All paragraphs from the top."""
    family = f" · {sheet.family}" if sheet.family and sheet.family != sheet.name else ""
    yield Block("", (Run("name", sheet.name), Run("plain", f"{family} · {sheet.dormancy}")), scale=1.25)
    for said in sheet.read_as:
        yield Block("", (Run("plain", said),))
    title = f"{sheet.line}." if sheet.line else TITLES.get(sheet.outcome, "")
    if title:
        yield Block("", (Run("bold", title),), scale=1.15, after=0.4)
    yield from _words("", sheet.lead)
    yield from _words("Sure", [*sure_texts(sheet), " ".join(sheet.ground)])
    if sheet.follows:
        yield from _words("Whose", [sheet.follows.text + marks(sheet.follows.works)])
    yield from _words("Need", ["; ".join(sheet.needs)])
    yield from _words("Care", map(hazard_text, sheet.hazards), after=0.5)
    for act in sheet.acts:
        title = " ".join((act.title, *(f"({mark})" for mark in act.marks)))
        told = " ".join(told.text + marks(told.works) for told in act.told)
        optional = "May be left out. " if act.optional else ""
        yield Block(f"{act.number}", (Run("bold", f"{title}. "), Run("plain", optional + told)), act, after=0.45)
    yield from _words("Then", (told.text + marks(told.works) for told in sheet.expect))
    yield from _words("Nothing", [" ".join(sheet.if_nothing)])
    yield from _words("Also", sheet.also)
    yield from _words(
        "Instead", [f"{'; '.join(sheet.instead)}: other plans, at --full." if sheet.instead else ""], after=0.5
    )
    for work in sheet.works:
        held = "" if work.held == "read" else f" ({work.held})"
        yield Block(f"[{work.number}]", (Run("plain", f"{work.short}{held}. {work.title}".rstrip(". ")),), scale=0.8)


def _words(word: str, texts: Iterable[str], after: float = 0.2) -> Iterator[Block]:
    said = [text for text in texts if text]
    for i, text in enumerate(said, 1):
        yield Block(word if i == 1 else "", (Run("plain", text),), after=after if i == len(said) else 0.0)


class Placed(NamedTuple):
    """A block set to a width, with its heights in points."""

    block: Block
    paragraph: Paragraph
    own: float
    tall: float


def _set(block: Block, fonts: Fonts, size: float, width: float) -> Placed:
    points = size * block.scale
    parts = [part for run in block.runs for part in fonts.runs(run.style, run.text)]
    marked = "".join(f'<font name="{name}">{escape(text)}</font>' for name, text in _spaced(block, parts))
    indent = WORDS * MM if block.word or block.runs[0].style == "plain" else 0.0
    style = ParagraphStyle("sheet", fontName=parts[0][0], fontSize=points, leading=points * LEADING, leftIndent=indent)
    paragraph = Paragraph(marked, style)
    own = paragraph.wrap(width, 10_000)[1]
    return Placed(block, paragraph, own, own + block.after * size * LEADING)


def _spaced(block: Block, parts: list[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """Fonts trim the ends of each run: a blank goes back between two of them."""
    for i, (name, text) in enumerate(parts):
        yield name, (" " if i and len(block.runs) > 1 and not text.startswith((".", ",")) else "") + text


def _draw(
    canvas: Canvas, sheet: Sheet, blocks: list[Placed], fonts: Fonts, size: float, page: tuple[float, float]
) -> None:
    left, top = MARGIN * MM, (page[1] - MARGIN) * MM
    aside = (page[0] - MARGIN - ASIDE) * MM
    write = _writer(canvas, fonts)
    y, year_done, dates_from = top, not sheet.strip, top
    for placed in blocks:
        if not year_done and (placed.block.word or placed.block.act):
            _year(canvas, sheet.strip, left + WORDS * MM, y - STRIP * MM, aside - GAP * MM - left - WORDS * MM, write)
            y, year_done = y - STRIP * MM, True
        if placed.block.word:
            write("bold", placed.block.word, left, y - size * placed.block.scale, size * placed.block.scale)
        placed.paragraph.drawOn(canvas, left, y - placed.own)
        if placed.block.act:
            dates_from = min(dates_from, y)
            _dates(canvas, write, aside, y - size)
        y -= placed.tall
    _aside(canvas, sheet, write, aside, top)


def _writer(canvas: Canvas, fonts: Fonts) -> Callable[[str, str, float, float, float], None]:
    def write(style: str, text: str, x: float, y: float, points: float) -> None:
        for name, part in fonts.runs(style, text):
            canvas.setFont(name, points)
            canvas.drawString(x, y, part)
            x += canvas.stringWidth(part, name, points)

    return write


def _dates(canvas: Canvas, write: Callable[..., None], x: float, y: float) -> None:
    """Room for the day on which a step began and that on which it ended."""
    half = ASIDE / 2 * MM
    for word, at in (("from", x), ("to", x + half)):
        write("plain", word, at, y, 7)
        _line(canvas, at + 18, y - 2, at + half - 6)


def _line(canvas: Canvas, x: float, y: float, to: float) -> None:
    canvas.setLineWidth(0.4)
    canvas.setStrokeGray(0.4)
    canvas.line(x, y, to, y)
    canvas.setStrokeGray(0)


def _aside(canvas: Canvas, sheet: Sheet, write: Callable[..., None], x: float, top: float) -> None:
    """What is written in by hand about the lot, and below it the seed with the places where it is cut."""
    y = top - 12
    for word in HAND:
        write("plain", word, x, y, 8)
        _line(canvas, x + 28, y - 2, x + ASIDE * MM)
        y -= 16
    places = [(act.at_seed, act.number) for act in sheet.acts if act.at_seed]
    if places:
        _seed(canvas, write, x + ASIDE / 2 * MM, y - 13 * MM, places)


def _seed(
    canvas: Canvas, write: Callable[..., None], x: float, y: float, places: Iterable[tuple[str | None, int]]
) -> None:
    """A seed from its broad side, scar and root tip to the left; each place with the number of its step."""
    wide, tall = 13 * MM, 8.5 * MM
    canvas.setLineWidth(1.4)
    canvas.ellipse(x - wide, y - tall, x + wide, y + tall)
    canvas.setLineWidth(0.6)
    canvas.ellipse(x - wide + 9, y - tall + 8, x + wide - 7, y + tall - 8)
    canvas.setFillGray(0)
    canvas.circle(x - wide, y - 3, 2.2, fill=1)  # the scar
    canvas.line(x - wide + 10, y + 1, x - wide + 21, y + 3)  # the root tip
    canvas.line(x - wide + 10, y + 1, x - wide + 21, y - 3)
    write("plain", "scar", x - wide - 18, y - 12, 6.5)
    write("plain", "root tip", x - wide + 12, y - 11, 6.5)
    for place, number in places:
        if place == "across":
            canvas.setDash(3, 2)
            canvas.line(x + 2, y - tall - 7, x + 2, y + tall + 7)
            canvas.setDash()
            write("bold", str(number), x + 5, y + tall + 3, 8)
        elif place == "broad_side":
            canvas.setLineWidth(2.6)
            canvas.line(x + wide * 0.62, y + tall * 0.72, x + wide * 0.95, y + tall * 0.30)
            canvas.setLineWidth(0.6)
            write("bold", str(number), x + wide * 0.92, y + tall * 0.72, 8)
        elif place == "seam":
            canvas.setDash(1, 1.5)
            canvas.line(x - wide - 5, y, x + wide + 5, y)
            canvas.setDash()
            write("bold", str(number), x + wide + 7, y - 3, 8)
        else:
            canvas.setDash(1, 2)
            canvas.ellipse(x - wide - 3, y - tall - 3, x + wide + 3, y + tall + 3)
            canvas.setDash()
            write("bold", str(number), x + wide + 5, y - 3, 8)


def _year(canvas: Canvas, strip: Iterable[Span], x: float, y: float, width: float, write: Callable[..., None]) -> None:
    """The seasons end to end, with their names, steps and weeks."""
    spans = [span for span in strip if span.days]
    whole = max(span.start + span.days for span in spans)
    for span in spans:
        begin, long = x + width * span.start / whole, width * span.days / whole
        canvas.setFillGray(GREYS.get(span.drawn, 1.0))
        canvas.setLineWidth(0.5)
        canvas.rect(begin, y + 5 * MM, long, 4 * MM, fill=1)
        canvas.setFillGray(0)
        write("bold", str(span.act), begin + 1, y + 9.8 * MM, 7)
        if long > 32:
            write("plain", span.label, begin + 9, y + 9.8 * MM, 7)
    every = next(step for step in (2, 4, 8, 13, 26, 52) if whole / 7 / step <= 14 or step == 52)
    for week in range(0, int(whole / 7) + 1, every):
        at = x + width * week * 7 / whole
        canvas.line(at, y + 4.2 * MM, at, y + 5 * MM)
        write("plain", str(week), at - 2, y + 1.8 * MM, 6.5)
    write("plain", "weeks", x - WORDS * MM, y + 1.8 * MM, 6.5)
