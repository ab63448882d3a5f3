"""A table of plain text that fits the width: long cells are cut short, never the numbers. Decides nothing."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

GAP = 2
NARROWEST = 8  # a column is cut down no further


def table(headings: Sequence[str], rows: Iterable[Sequence[str]], width: int, right: Iterable[int] = ()) -> list[str]:
    """Lines, the headings first. `right`: places of columns that stand to the right, which are never cut."""
    cells = [list(headings), *(list(row) for row in rows)]
    wide = [max(len(row[n]) for row in cells) for n in range(len(headings))]
    kept = set(right)
    while sum(wide) + GAP * (len(wide) - 1) > width:
        widest = max((n for n in range(len(wide)) if n not in kept), key=lambda n: wide[n], default=None)
        if widest is None or wide[widest] <= NARROWEST:
            break
        wide[widest] -= 1
    return [_line(row, wide, kept) for row in cells]


def _line(row: Sequence[str], wide: Sequence[int], right: set[int]) -> str:
    shown = [text if len(text) <= size else text[: size - 1] + "…" for text, size in zip(row, wide, strict=True)]
    placed = [text.rjust(wide[n]) if n in right else text.ljust(wide[n]) for n, text in enumerate(shown)]
    return (" " * GAP).join(placed).rstrip()


def to_csv(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """UTF-8. A cell that a spreadsheet would run as a formula is marked as text."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(headings)
    for row in rows:
        writer.writerow(
            [f"'{cell}" if str(cell)[:1] in "=+-@\t\r" and isinstance(cell, str) and cell else cell for cell in row]
        )
    return out.getvalue().encode()
