"""Tables as a workbook. Needs XlsxWriter. Decides nothing."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import NamedTuple

import xlsxwriter

MADE = datetime(2000, 1, 1)  # the same tables give the same file
WIDEST = 60


class Sheet(NamedTuple):
    """One sheet: its name, headings and rows of cells (text, numbers, days as ISO text)."""

    name: str
    headings: Sequence[str]
    rows: Iterable[Sequence[object]]


def workbook(sheets: Iterable[Sheet], title: str, mark: str) -> bytes:
    """Text stands as text: nothing is run as a formula, nothing becomes a link. `mark`: what kind of file of ours it is."""
    out = io.BytesIO()
    told = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(out, told)
    book.set_properties({"title": title, "comments": mark, "created": MADE})
    for sheet in sheets:
        _write(book, sheet)
    book.close()
    return out.getvalue()


def _write(book: xlsxwriter.Workbook, told: Sheet) -> None:
    sheet = book.add_worksheet(told.name)
    bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd"})
    wide = [len(text) for text in told.headings]
    for n, text in enumerate(told.headings):
        sheet.write_string(0, n, text, bold)
    last = 0
    for last, row in enumerate(told.rows, 1):
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
    sheet.autofilter(0, 0, max(last, 1), len(told.headings) - 1)


def _is_day(text: str) -> bool:
    try:
        return len(text) == 10 and bool(date.fromisoformat(text))
    except ValueError:
        return False
