"""A table as spreadsheets write it: commas, semicolons or tabs between values, a byte order mark, decimal commas, local
dates. What can be read in two ways is refused, never guessed."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path
from typing import NamedTuple

from rousewort.base.errors import UserError

Row = dict[str, str]
DELIMITERS = (",", ";", "\t")
ORDERS = {"day first": (2, 1, 0), "month first": (2, 0, 1)}  # places of year, month, day


class Spreadsheet(NamedTuple):
    """`rows`: line of the file and heading → value, stripped; values without a heading stand under ''."""

    headings: list[str]
    rows: list[tuple[int, Row]]

    def column(self, heading: str) -> list[str]:
        return [row[heading] for _, row in self.rows if row.get(heading)]


def read_text(path: Path) -> str:
    """The text of a file in UTF-8, or in UTF-16 with its mark. UserError names the file."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}.") from None
    try:
        return data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        raise UserError(f"{path}: is not text in UTF-8; save it from the spreadsheet as CSV (UTF-8).") from None


def read_table(lines: Iterable[str]) -> Spreadsheet:
    """Headings and rows; empty rows are left out. The delimiter is the one that the heading has most of."""
    lines = [line.removeprefix("\ufeff") for line in lines]
    if lines and (told := re.fullmatch(r"sep=(.)\s*", lines[0])):  # written by some spreadsheets
        lines, delimiter, skipped = lines[1:], told[1], 1
    else:
        delimiter, skipped = max(DELIMITERS, key=lambda d: lines[0].count(d) if lines else 0), 0
    reader = csv.reader(lines, delimiter=delimiter)
    headings = [heading.strip() for heading in next(reader, [])]
    while headings and not headings[-1]:  # a spreadsheet's empty columns
        headings.pop()
    rows = []
    for values in reader:
        values = [value.strip() for value in values]
        if any(values):
            row = dict(zip(headings, [*values, *[""] * len(headings)], strict=False))
            if any(values[len(headings) :]):
                row[""] = delimiter.join(values[len(headings) :])
            rows.append((reader.line_num + skipped, row))
    return Spreadsheet(headings, rows)


def number(text: str) -> str:
    """A number with a point, whether a point or a comma was written. One comma and three digits could be thousands."""
    text = text.replace("\u2212", "-").strip()  # a minus sign, as spreadsheets write it
    if re.fullmatch(r"[+-]?\d*,\d+", text):
        if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text):
            raise ValueError(f"'{text}' could be thousands or a decimal: write it with a point")
        return text.replace(",", ".")
    return text


def whole(text: str) -> int | None:
    """A whole number from 0 up, as 12 or 12.0, or None."""
    found = re.fullmatch(r"([0-9]{1,9})(?:[.,]0+)?", text)
    return int(found[1]) if found else None


def dates(values: Iterable[str]) -> Callable[[str], date]:
    """A reader for dates as 2026-01-31, 31.1.2026 or, where one of `values` settles which comes first, 31/1/2026.

    The reader raises ValueError for what is no date.
    """
    slashed = [[int(part) for part in value.split("/")] for value in values if re.fullmatch(r"\d+/\d+/\d{4}", value)]
    day_first, month_first = (any(parts[place] > 12 for parts in slashed) for place in (0, 1))
    order = ORDERS["day first"] if day_first else ORDERS["month first"] if month_first else None

    def read(text: str) -> date:
        try:
            if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
                return date.fromisoformat(text)
            if dotted := re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", text):
                return date(int(dotted[3]), int(dotted[2]), int(dotted[1]))
            if re.fullmatch(r"\d{1,2}/\d{1,2}/\d{4}", text):
                if order is None:
                    raise ValueError(f"'{text}' could be day/month or month/day: write dates as 2026-01-31")
                parts = [int(part) for part in text.split("/")]
                return date(*(parts[place] for place in order))
        except ValueError as wrong:
            if "could be" in str(wrong):
                raise
        raise ValueError(f"'{text}' is not a date such as 2026-01-31")

    return read
