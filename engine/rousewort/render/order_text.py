"""An order worked out, as text, as rows for tables, and as JSON. Decides nothing."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from rousewort.ledger.orders import Item, WorkedOrder
from rousewort.render.calendar_words import weekday
from rousewort.render.table import table
from rousewort.render.terminal import Page
from rousewort.schedule.model import Window

COLUMNS = (
    "line", "plant", "lot", "origin", "plants wanted", "date wanted", "germination", "germination from", "seeds", "grams",
    "seeds per gram from", "cells", "missing seeds", "missing grams", "bags", "medium l", "water l", "fridge l", "begin",
    "sow on", "seedlings earliest", "seedlings", "seedlings latest", "late", "batch", "notes", "fault",
)  # fmt: skip


def rows(worked: WorkedOrder) -> list[tuple[object, ...]]:
    """A row for each line, under COLUMNS; empty where nothing is known."""
    return [tuple("" if cell is None else cell for cell in _row(item)) for item in worked.items]


def _row(item: Item) -> tuple[object, ...]:
    line, room, dated = item.line, item.room, item.dated
    seedlings, sown = (dated.seedlings, dated.sown) if dated else (None, None)
    return (
        line.row, item.name, line.lot, line.origin, line.wanted, _day(line.by),
        item.expected and item.expected.share and round(item.expected.share, 3), item.expected and item.expected.said_by,
        item.seeds, _grams(item.grams), item.count and item.count.said_by, item.cells and item.cells.cells,
        item.missing_seeds or None, _grams(item.missing_grams), room and room.bags, room and round(room.medium_ml / 1000, 3),
        room and round(room.water_ml / 1000, 3), room and round(room.fridge_l, 3) if item.cold else None,
        _day(dated.start if dated else None), _day(sown.planned if sown else None), *_window(seedlings),
        item.late, item.batch, line.notes,
        item.fault,
    )  # fmt: skip


def _window(window: Window | None) -> tuple[str | None, ...]:
    return (_day(window.earliest), _day(window.planned), _day(window.latest)) if window else (None, None, None)


def _day(day: date | None) -> str | None:
    return str(day) if day else None


def _grams(grams: float | None) -> float | None:
    """To three signs that count, rounded up: too little seed is the worse fault."""
    if not grams:
        return None
    return float(f"{grams * 1.0005:.3g}") if grams < 1000 else round(grams)


def as_data(worked: WorkedOrder) -> dict[str, Any]:
    totals = worked.totals()
    return {
        "order": worked.order.name,
        "lines": [
            dict(zip((name.replace(" ", "_") for name in COLUMNS), _row(item), strict=True)) for item in worked.items
        ],
        "totals": {**totals._asdict(), "fullest": _day(totals.fullest)},
        "problems": list(worked.problems),
        "ignored": list(worked.order.ignored),
    }


def render(worked: WorkedOrder, page: Page) -> str:
    totals = worked.totals()
    page.say(
        page.bold(f"{worked.order.name}: {totals.lines} of {len(worked.items) + len(worked.problems)} lines planned")
    )
    _main(worked.planned, page)
    _get(worked.planned, page)
    _room(worked, page)
    _listed("Cannot be ready in time", [f"{_of(item)}: {item.late}." for item in worked.planned if item.late], page)
    told = [
        note for item in worked.planned if item.dated for note in (f"{_of(item)}: {text}" for text in item.dated.notes)
    ]
    _listed("To know", told, page)
    _listed("Take care", _cautions(worked.planned), page, "! ")
    faults = [f"line {item.line.row}, {item.line.plant}: {item.fault}" for item in worked.items if item.fault]
    _listed("Not planned", [*worked.problems, *faults], page)
    read = [f"line {i.line.row}: '{i.line.plant}' is read as {i.name}." for i in worked.planned if i.match.aside]
    _listed("Names read", read, page)
    if worked.order.ignored:
        page.say(f"Columns that an order has no use for: {', '.join(worked.order.ignored)}.")
    return page.text()


def _of(item: Item) -> str:
    return f"line {item.line.row}, {item.name}" + (f" ({item.batch})" if item.batch else "")


def _text(cell: object) -> str:
    return "" if cell is None else str(cell)


def _main(items: Sequence[Item], page: Page) -> None:
    page.blank()
    batches = ("batch",) if any(item.batch for item in items) else ()
    headings = ("line", "plant", *batches, "wanted", "seeds", "grams", "begin", "seedlings")
    shown = []
    for item in items:
        seedlings = item.dated.seedlings if item.dated else None
        row = {
            "line": str(item.line.row),
            "plant": item.name,
            "batch": item.batch,
            "wanted": _text(item.line.wanted),
            "seeds": _text(item.seeds),
            "grams": _text(_grams(item.grams)),
            "begin": f"{item.dated.start} {weekday(item.dated.start)}" if item.dated else "",
            "seedlings": _text(seedlings and seedlings.planned),
        }
        shown.append([row[name] for name in headings])
    numbers = [n for n, name in enumerate(headings) if name in ("line", "wanted", "seeds", "grams")]
    page.lines += table(headings, shown, page.width, [*numbers, len(headings) - 2, len(headings) - 1])


def _get(items: Sequence[Item], page: Page) -> None:
    found = [item for item in items if item.missing_seeds]
    if not found:
        return
    page.heading("To buy or collect")
    shown = [
        (
            str(item.line.row),
            item.name,
            item.line.lot or item.line.origin,
            str(item.missing_seeds),
            _text(_grams(item.missing_grams)) or "weight not known",
            str(item.dated.start) if item.dated else "",
        )
        for item in found
    ]
    page.lines += table(("line", "plant", "lot", "seeds", "grams", "needed by"), shown, page.width, (0, 3, 4, 5))


def _room(worked: WorkedOrder, page: Page) -> None:
    totals = worked.totals()
    page.heading("In all")
    page.say(f"{totals.seeds:,} seeds, {_grams(totals.grams) or 0:g} g, {totals.cells:,} cells.", 2)
    if totals.medium_l:
        page.say(f"{totals.medium_l:.1f} litres of moist medium.", 2)
    if totals.fullest:
        page.say(f"{max(totals.fridge_l, 0.1):.1f} litres of fridge, at the fullest, from {totals.fullest}.", 2)
    if totals.rough:
        page.say(
            f"Grams that rest on relatives' seed, or on its size alone: {totals.rough} lines. Weigh a hundred seeds.", 2
        )
    if totals.unknown:
        page.say(f"Without grams, for want of a seed weight: {totals.unknown} of {totals.lines} lines.", 2)
    unknown = [str(i.line.row) for i in worked.planned if i.line.wanted and not i.need]
    if unknown:
        page.say(
            f"How much germinates is not known for line {', '.join(unknown)}: give a column 'germination', or --germination "
            "for all.",
            2,
        )


def _cautions(items: Sequence[Item]) -> list[str]:
    about: dict[str, list[str]] = {}
    for item in items:
        for text in item.plan.cautions if item.plan else ():
            about.setdefault(text, []).append(item.name)
    return [f"{text} ({', '.join(dict.fromkeys(names))})" for text, names in about.items()]


def _listed(title: str, texts: Sequence[str], page: Page, bullet: str = "- ") -> None:
    if texts:
        page.heading(title)
        page.each(texts, 2, bullet)
