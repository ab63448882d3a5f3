"""The sheet of a plan as text for a terminal. Decides nothing: what stands on it is planning/sheet.py."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from rousewort.planning.sheet import Act, Sheet, Span
from rousewort.render.terminal import Page

LABEL = 8  # columns of the words that stand before a block
NARROW = 50  # columns below which blocks stand under their words
TITLES = {"laboratory": "No bench plan", "unreachable": "Not reachable as things are", "unknown": "Not known"}


def render(sheet: Sheet, page: Page) -> str:
    """The sheet from top to bottom."""
    _head(sheet, page)
    _sure(sheet, page)
    _before(sheet, page)
    for act in sheet.acts:
        _act(act, page)
    _after(sheet, page)
    return page.text()


def _head(sheet: Sheet, page: Page) -> None:
    family = f" · {sheet.family}" if sheet.family and sheet.family != sheet.name else ""
    page.say(page.bold(sheet.name) + family + (f" · {sheet.dormancy}" if sheet.outcome == "plan" else ""))
    for said in sheet.read_as:
        page.say(said, code="2")
    if sheet.line:
        page.say(sheet.line, code="1;32")
    elif sheet.outcome in TITLES:
        page.heading(TITLES[sheet.outcome])
    page.each(sheet.lead)
    if sheet.strip:
        page.blank()
        page.lines += strip_lines(sheet.strip, page.width)


def _sure(sheet: Sheet, page: Page) -> None:
    page.blank()
    measured = [sure for sure in sheet.sure if sure.figure]
    for sure in measured:
        _block(
            page, "Sure", f"{sure.claim}: {sure.figure}; {sure.rests_on}{_marks(sure.works)}", first=sure is measured[0]
        )
    for text in sheet.ground:
        _block(page, "Sure", text, first=not measured)
    if sheet.follows:
        _block(page, "Whose", sheet.follows.text + _marks(sheet.follows.works))


def _before(sheet: Sheet, page: Page) -> None:
    page.blank()
    if sheet.needs:
        _block(page, "Need", "; ".join(sheet.needs))
    if sheet.hazards:
        said = "  ".join(f"({hazard.mark}) {hazard.text}" if hazard.mark else hazard.text for hazard in sheet.hazards)
        _block(page, "Care", said, code="33")
        for hazard in sheet.hazards:
            for text in hazard.full:
                _block(page, "", text, code="33")
    page.blank()


def _act(act: Act, page: Page) -> None:
    mark = f" {','.join(act.marks)}" if act.marks else ""
    title = f"{act.title.upper()}{mark}" + ("  (may be left out)" if act.optional else "")
    told = " ".join(told.text + _marks(told.works) for told in act.told)
    page.say(f"{page.bold(title)}  {told}", bullet=f"{act.number}  ")


def _after(sheet: Sheet, page: Page) -> None:
    page.blank()
    for told in sheet.expect:
        _block(page, "Then", told.text + _marks(told.works))
    if sheet.if_nothing:
        _block(page, "Nothing", " ".join(sheet.if_nothing))
    for text in sheet.also:
        _block(page, "Also", text)
    if sheet.instead:
        _block(page, "Instead", "; ".join(sheet.instead) + ": see --full.")
    page.blank()
    for work in sheet.works:
        held = "" if work.held == "read" else f" ({work.held})"
        page.lines.append(
            page.quiet(
                textwrap.shorten(
                    f"[{work.number}] {work.short}{held}. {work.title}".rstrip(". "), page.width, placeholder=" …"
                )
            )
        )


def strip_lines(strip: Iterable[Span], width: int) -> list[str]:
    return []


def _block(page: Page, word: str, text: str, code: str = "", first: bool = True) -> None:
    """A text that hangs beside its word."""
    bullet = (word if first else "").ljust(LABEL)
    page.say(text, bullet=bullet, code=code)


def _marks(works: Iterable[int]) -> str:
    return "".join(f" [{number}]" for number in works)
