"""An order worked out, as a workbook: its lines, what to get, what is to be done when. Needs XlsxWriter. Decides nothing."""

from __future__ import annotations

from rousewort.ledger.orders import WorkedOrder
from rousewort.render.calendar_words import doing_words, whose
from rousewort.render.order_text import COLUMNS, rows
from rousewort.render.workbook import Sheet, workbook
from rousewort.schedule.model import BenchCalendar


def to_xlsx(worked: WorkedOrder) -> bytes:
    """Four sheets: lines, what to get, days, what is not planned."""
    found = rows(worked)
    get = ("line", "plant", "lot", "origin", "missing seeds", "missing grams", "begin")
    places = [COLUMNS.index(name) for name in get]
    lacking = COLUMNS.index("missing seeds")
    calendar = BenchCalendar(tuple(item.dated for item in worked.planned if item.dated))
    days = [(str(one.day), whose(one.schedule), one.step.label, doing_words(one)) for one in calendar.days()]
    faults = [[text] for text in worked.problems] + [[i.fault] for i in worked.items if i.fault]
    sheets = (
        Sheet("Lines", COLUMNS, found),
        Sheet("To get", get, [[row[n] for n in places] for row in found if row[lacking]]),
        Sheet("Days", ("day", "plant", "step", "what to do"), days),
        Sheet("Not planned", ("what",), faults),
    )
    return workbook(sheets, worked.order.name, "Rousewort order")
