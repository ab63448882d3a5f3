"""An order as nurseries keep it: a sheet (xlsx or CSV) with a line for each plant, under headings in plain words.

What cannot be read is named with its line and heading, and the other lines go on; nothing is guessed.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.ledger.order_xlsx import rows_of
from rousewort.observe.spreadsheet import DELIMITERS, dates, number, read_text

# What a column is → how its heading may be written; letters alone count, and what stands in brackets does not.
HEADINGS = {
    "plant": ("plant", "plant name", "species", "taxon", "name", "botanical name", "scientific name", "latin name", "item"),
    "seeds": ("seeds", "number of seeds", "no of seeds", "seed count", "seeds in hand", "seed number", "count"),
    "grams": ("grams", "g", "weight", "weight g", "seed weight", "grams of seed", "gram"),
    "amount": ("amount", "amount of seed", "seed", "seed amount", "seed in hand", "in hand", "stock"),
    "wanted": (
        "plants wanted", "wanted", "plants", "number of plants", "no of plants", "quantity", "qty", "plants needed", "number",
        "target", "plants ordered", "number wanted",
    ),
    "by": (
        "date wanted", "wanted by", "by", "ready by", "date", "due", "due date", "needed by", "delivery", "delivery date",
        "date needed", "ready", "when",
    ),
    "lot": ("lot", "lot number", "lot no", "seed lot", "accession", "accession number", "accession no", "batch", "lots"),
    "origin": ("origin", "provenance", "source", "from", "collected", "collected at", "seed source", "supplier", "site"),
    "germination": ("germination", "germination percent", "viability", "germ", "expected germination", "living seed"),
    "purity": ("purity", "purity percent", "pure seed"),
    "family": ("family",),
    "genus": ("genus", "relative", "near relative"),
    "notes": ("notes", "note", "remarks", "comments", "comment", "remark"),
}  # fmt: skip
GRAMS = {"g": 1.0, "gram": 1.0, "grams": 1.0, "gr": 1.0, "kg": 1000.0, "mg": 0.001, "oz": 28.349523125, "lb": 453.59237,
         "lbs": 453.59237}  # fmt: skip
TITLE_ROWS = 10  # rows that may stand above the headings
MOST_LINES = 5000


class OrderLine(NamedTuple):
    """One line. `row`: of the sheet, from 1. Shares are of one; None and empty: not said."""

    row: int
    plant: str
    seeds: int | None = None
    grams: float | None = None
    wanted: int | None = None
    by: date | None = None
    lot: str = ""
    origin: str = ""
    germination: float | None = None
    purity: float | None = None
    family: str = ""
    genus: str = ""
    notes: str = ""


class Order(NamedTuple):
    """`problems`: what could not be read, line by line; `ignored`: headings that say nothing to an order."""

    name: str
    lines: tuple[OrderLine, ...]
    problems: tuple[str, ...]
    ignored: tuple[str, ...]


Cells = Sequence[Any]


def read_order(path: Path, name: str = "") -> Order:
    """Raises UserError for a file that cannot be read at all, or has no heading for the plant."""
    rows = list(_rows(path))
    head = next((n for n, cells in enumerate(rows[:TITLE_ROWS]) if "plant" in _columns(cells).values()), None)
    if head is None:
        raise UserError(
            f"{path}: no heading says where the plants stand. Give one column the heading 'plant' (or species, name), others "
            "such as 'seeds', 'grams', 'plants wanted', 'date wanted', 'lot', 'notes'."
        )
    columns = _columns(rows[head])
    if twice := [key for key in HEADINGS if list(columns.values()).count(key) > 1]:
        named = [f"'{rows[head][n]}'" for n, key in columns.items() if key in twice]
        raise UserError(f"{path}: these headings mean the same: {', '.join(named)}. Leave one of them out.")
    ignored = [str(text).strip() for n, text in enumerate(rows[head]) if n not in columns and _text(text)]
    body = [(n, cells) for n, cells in enumerate(rows[head + 1 :], head + 2) if any(_text(cell) for cell in cells)]
    if len(body) > MOST_LINES:
        raise UserError(f"{path}: {len(body)} lines; an order has at most {MOST_LINES}. Part it.")
    reader = _Reader(path, columns, [cells for _, cells in body])
    found = [reader.line(row, cells) for row, cells in body]
    return Order(name or path.stem, tuple(one for one in found if one), tuple(reader.problems), tuple(ignored))


def _rows(path: Path) -> Iterator[Cells]:
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        yield from rows_of(path)
        return
    if path.suffix.lower() in (".xls", ".ods"):
        raise UserError(f"{path}: save it from the spreadsheet as .xlsx or as CSV (UTF-8).")
    lines = read_text(path).splitlines()
    delimiter = max(DELIMITERS, key=lambda sign: max((line.count(sign) for line in lines[:TITLE_ROWS]), default=0))
    yield from csv.reader(lines, delimiter=delimiter)


def _plain(heading: Any) -> str:
    """`Germination (%)` → `germination`; `No. of plants` → `no of plants`."""
    bare = re.sub(r"\(.*?\)|\[.*?\]", " ", str(heading or "").casefold())
    return " ".join(re.findall(r"[^\W\d_]+", bare))


def _columns(cells: Cells) -> dict[int, str]:
    """Place → what stands there. `plants` counts plants where another column names them."""
    known = {written: key for key, spellings in HEADINGS.items() for written in spellings}
    return {n: known[_plain(cell)] for n, cell in enumerate(cells) if _plain(cell) in known}


def _text(cell: Any) -> str:
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None else " ".join(str(cell).split())


class _Reader:
    """Reads the cells of one order; problems are kept."""

    def __init__(self, path: Path, columns: dict[int, str], body: list[Cells]) -> None:
        self.path, self.columns = path, columns
        self.problems: list[str] = []
        places = [n for n, key in columns.items() if key == "by"]
        self.day = dates(_text(cells[n]) for cells in body for n in places if n < len(cells))

    def line(self, row: int, cells: Cells) -> OrderLine | None:
        said = {key: _text(cells[n]) for n, key in self.columns.items() if n < len(cells)}
        if not said.get("plant"):
            if said.get("wanted") or said.get("lot"):  # else a heading between, a sum, a remark
                self.problems.append(f"{self.path}:{row}: no plant is named. The line is left out.")
            return None
        read: dict[str, Any] = {key: text for key, text in said.items() if key in OrderLine._fields and text}
        before = len(self.problems)
        for key, how in _READERS.items():
            if said.get(key):
                self._read(row, key, said[key], how, read)
        if said.get("by"):
            self._read(row, "by", said["by"], lambda text: {"by": self.day(text)}, read)
        if len(self.problems) > before:
            return None
        return OrderLine(row, **read)

    def _read(self, row: int, key: str, text: str, how: Callable[[str], dict[str, Any]], read: dict[str, Any]) -> None:
        try:
            read.update(how(text))
        except ValueError as wrong:
            heading = HEADINGS[key][0]
            self.problems.append(f"{self.path}:{row}: {heading}: {wrong}. The line is left out.")


def _whole(text: str) -> int:
    bare = re.sub(r"(?<=\d)[\s'](?=\d{3}\b)|(?<=\d),(?=\d{3}\b)", "", text)
    found = re.fullmatch(r"(?:ca\.?|about|~)?\s*(\d{1,9})(?:\.0+)?\s*(?:plants?|seeds?|pcs|x)?", bare.casefold())
    if not found:
        raise ValueError(f"'{text}' is no whole number such as 200")
    return int(found[1])


def _weight(text: str, unit: str = "") -> float:
    found = re.fullmatch(r"(?:ca\.?|about|~)?\s*([\d.,]+)\s*([a-z]*)\.?", text.casefold())
    if not found or (found[2] or unit) not in GRAMS:
        raise ValueError(f"'{text}' is no weight such as 5 g or 0.2 kg")
    return round(_number(found[1], text) * GRAMS[found[2] or unit], 6)


def _number(digits: str, text: str) -> float:
    try:
        return float(number(digits))
    except ValueError as wrong:
        raise ValueError(str(wrong) if "could be" in str(wrong) else f"'{text}' is no number") from None


def _amount(text: str) -> dict[str, Any]:
    """`200 seeds`, `5 g`; a bare number could be either."""
    if re.fullmatch(r"[\d\s',.]+", text):
        raise ValueError(f"'{text}' could be seeds or grams: write 200 seeds or 5 g")
    return {"seeds": _whole(text)} if "seed" in text.casefold() else {"grams": _weight(text)}


def _share(text: str) -> float:
    """`70 %` and `70` are 0.7, `0.7` is too; 1 could be one per cent or all of it."""
    value = _number(text.removesuffix("%").strip(), text)
    percent = text.endswith("%") or value > 1
    if not percent and value == 1:
        raise ValueError("'1' could be 1 % or all of it: write 100 %")
    share = value / 100 if percent else value
    if not 0 < share <= 1:
        raise ValueError(f"'{text}' is no share such as 70 %")
    return share


_READERS: dict[str, Callable[[str], dict[str, Any]]] = {
    "seeds": lambda text: {"seeds": _whole(text)},
    "grams": lambda text: {"grams": _weight(text, "g")},
    "amount": _amount,
    "wanted": lambda text: {"wanted": _whole(text)},
    "germination": lambda text: {"germination": _share(text)},
    "purity": lambda text: {"purity": _share(text)},
}
