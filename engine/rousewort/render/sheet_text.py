"""The sheet of a plan as text for a terminal. Decides nothing: what stands on it is planning/sheet.py."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence

from rousewort.planning.sheet import Act, Hazard, Sheet, Span
from rousewort.render.terminal import Page

LABEL = 8  # columns of the words that stand before a block
TITLES = {"laboratory": "No bench plan", "unreachable": "Not reachable as things are", "unknown": "Not known"}
# Columns for a week, from the widest, and the weeks between two numbers of the axis.
SCALES = ((2.0, 4), (1.0, 4), (0.5, 8), (0.25, 26), (0.125, 52))


def render(sheet: Sheet, page: Page) -> str:
    """The sheet from top to bottom."""
    _head(sheet, page)
    _sure(sheet, page)
    _before(sheet, page)
    for act in sheet.acts:
        _act(act, page)
    _after(sheet, page)
    _works(sheet, page)
    return page.text()


def _head(sheet: Sheet, page: Page) -> None:
    family = f" · {sheet.family}" if sheet.family and sheet.family != sheet.name else ""
    _strong(page, sheet.name, f"{family} · {sheet.dormancy}", code="1")
    for said in sheet.read_as:
        page.say(said, code="2")
    if sheet.line:
        page.say(f"{sheet.line}.", code="1;32")
    if sheet.outcome in TITLES:
        page.heading(TITLES[sheet.outcome])
    page.each(sheet.lead)
    if sheet.strip:
        page.blank()
        page.lines += strip_lines(sheet.strip, page.width)


def _sure(sheet: Sheet, page: Page) -> None:
    page.blank()
    _block(page, "Sure", *sure_texts(sheet), " ".join(sheet.ground))
    if sheet.follows:
        _block(page, "Whose", sheet.follows.text + marks(sheet.follows.works))


def sure_texts(sheet: Sheet) -> Iterator[str]:
    """Claims of one ground together, each with its figure; those that were not measured in a line of their own."""
    grounds: dict[str, list[str]] = {}
    for sure in sheet.sure:
        if sure.figure:
            grounds.setdefault(sure.rests_on, []).append(f"{sure.claim}: {sure.figure}.")
    for ground, claims in grounds.items():
        yield f"{' '.join(claims)} By {ground}."
    unmeasured = [sure.claim for sure in sheet.sure if not sure.figure]
    if unmeasured:
        yield f"{'. '.join(unmeasured)}. Not measured."


def _before(sheet: Sheet, page: Page) -> None:
    page.blank()
    _block(page, "Need", "; ".join(sheet.needs))
    short = "  ".join(hazard_text(hazard) for hazard in sheet.hazards if not hazard.in_full)
    _block(page, "Care", *(hazard_text(hazard) for hazard in sheet.hazards if hazard.in_full), short, code="33")
    page.blank()


def hazard_text(hazard: Hazard) -> str:
    return f"({hazard.mark}) {hazard.text}" if hazard.mark else hazard.text


def _act(act: Act, page: Page) -> None:
    title = " ".join((act.title.upper(), *act.marks)) + (" (may be left out)" if act.optional else "")
    told = " ".join(told.text + marks(told.works) for told in act.told)
    _strong(page, title, f"  {told}", bullet=f"{act.number}".ljust(3))


def _after(sheet: Sheet, page: Page) -> None:
    page.blank()
    _block(page, "Then", *(told.text + marks(told.works) for told in sheet.expect))
    _block(page, "Nothing", " ".join(sheet.if_nothing))
    _block(page, "Also", *sheet.also)
    _block(page, "Instead", f"{'; '.join(sheet.instead)}: other plans, at --full." if sheet.instead else "")


def _works(sheet: Sheet, page: Page) -> None:
    page.blank()
    for work in sheet.works:
        held = "" if work.held == "read" else f" ({work.held})"
        text = f"[{work.number}] {work.short}{held}. {work.title}".rstrip(". ")
        page.lines.append(page.quiet(textwrap.shorten(text, page.width, placeholder=" …")))


def _block(page: Page, word: str, *texts: str, code: str = "") -> None:
    """Texts that hang beside their word, each from a line of its own; nothing where there is none."""
    for i, text in enumerate(filter(None, texts)):
        page.say(text, bullet=("" if i else word).ljust(LABEL), code=code)


def _strong(page: Page, title: str, rest: str, bullet: str = "", code: str = "1") -> None:
    """A text that begins with a title. Wrapped first: signs for colour would count as letters."""
    at = len(page.lines)
    page.say(title + rest, bullet=bullet)
    if page.lines[at].startswith(bullet + title):
        page.lines[at] = bullet + page.style(title, code) + page.lines[at].removeprefix(bullet + title)


def marks(works: Iterable[int]) -> str:
    return "".join(f" [{number}]" for number in works)


def strip_lines(strip: Sequence[Span], width: int) -> Iterator[str]:
    """The year in three lines: the steps by number, the seasons in signs, the weeks; below 30 columns none."""
    weeks = max(span.start + span.days for span in strip) / 7
    room = width - LABEL - 2
    columns, every = next((scale for scale in SCALES if weeks * scale[0] <= room), SCALES[-1])
    bars = [(round(span.start / 7 * columns), round((span.start + span.days) / 7 * columns), span) for span in strip]
    drawn, numbers = "", ""
    for place, acts in _by_place(bars).items():
        name = f"{acts[0]}" if len(acts) == 1 else f"{acts[0]}–{acts[-1]}"
        numbers = numbers.ljust(place) + ("" if not numbers or len(numbers) < place or place == 0 else " ") + name
    for begin, end, span in bars:
        if span.days:
            drawn = drawn.ljust(begin) + span.sign * max(1, end - begin)
    axis = ""
    for week in range(0, int(weeks) + 1, every):
        axis = axis.ljust(round(week * columns)) + str(week)
    legend = "  ".join({span.sign: f"{span.sign} {span.label}" for span in strip if span.days}.values())
    yield "step".ljust(LABEL) + numbers
    yield "".ljust(LABEL) + drawn
    yield from textwrap.wrap(
        f"{'week'.ljust(LABEL)}{axis}   {legend}", width, subsequent_indent=" " * LABEL, drop_whitespace=True
    )


def _by_place(bars: Iterable[tuple[int, int, Span]]) -> dict[int, list[int]]:
    """Column → the numbers of the steps that begin there."""
    places: dict[int, list[int]] = {}
    for begin, _, span in bars:
        places.setdefault(begin, []).append(span.act)
    return places
