"""An order worked out, as a workbook: its lines, what to get, what is to be done when. Needs XlsxWriter. Decides nothing."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime

import xlsxwriter

from rousewort.ledger.orders import WorkedOrder
from rousewort.render.calendar_words import doing_words, whose
from rousewort.render.order_text import COLUMNS, rows
from rousewort.schedule.model import BenchCalendar

MADE = datetime(2000, 1, 1)  # the same order gives the same file
WIDEST = 60


def to_xlsx(worked: WorkedOrder) -> bytes:
    """Text stands as text: nothing is run as a formula, nothing becomes a link."""
    out = io.BytesIO()
    told = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(out, told)
    book.set_properties({"title": worked.order.name, "comments": "Rousewort order", "created": MADE})
    found = rows(worked)
    _sheet(book, "Lines", COLUMNS, found)
    get = ("line", "plant", "lot", "origin", "missing seeds", "missing grams", "begin")
    places = [COLUMNS.index(name) for name in get]
    lacking = COLUMNS.index("missing seeds")
    _sheet(book, "To get", get, [[row[n] for n in places] for row in found if row[lacking]])
    calendar = BenchCalendar(tuple(item.dated for item in worked.planned if item.dated))
    days = [(str(one.day), whose(one.schedule), one.step.label, doing_words(one)) for one in calendar.days()]
    _sheet(book, "Days", ("day", "plant", "step", "what to do"), days)
    _sheet(
        book,
        "Not planned",
        ("what",),
        [[text] for text in worked.problems] + [[i.fault] for i in worked.items if i.fault],
    )
    book.close()
    return out.getvalue()


def _sheet(book: xlsxwriter.Workbook, name: str, headings: Sequence[str], body: Iterable[Sequence[object]]) -> None:
    sheet = book.add_worksheet(name)
    bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd"})
    wide = [len(text) for text in headings]
    for n, text in enumerate(headings):
        sheet.write_string(0, n, text, bold)
    last = 0
    for last, row in enumerate(body, 1):
        for n, cell in enumerate(row):
            if isinstance(cell, str) and _is_day(cell):
                sheet.write_datetime(last, n, datetime.fromisoformat(cell), day)
            elif isinstance(cell, int | float):
                sheet.write_number(last, n, cell)
            else:
                sheet.write_string(last, n, str(cell))
            wide[n] = max(wide[n], min(len(str(cell)), WIDEST))
    for n, letters in enumerate(wide):
        sheet.set_column(n, n, letters + 1)
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, max(last, 1), len(headings) - 1)


def _is_day(text: str) -> bool:
    try:
        return len(text) == 10 and bool(date.fromisoformat(text))
    except ValueError:
        return False
