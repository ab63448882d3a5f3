"""The first sheet of a workbook that is not empty, as rows of cells. Needs openpyxl."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from rousewort.base.errors import UserError


def rows_of(path: Path) -> Iterator[Sequence[Any]]:
    """Values, not formulas. Raises UserError for a file that cannot be read, or is no workbook."""
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror or error}.") from None
    except (BadZipFile, InvalidFileException, KeyError, ValueError) as error:
        raise UserError(f"{path}: is no workbook that can be read ({error}). Save it anew as .xlsx or CSV.") from None
    try:
        for sheet in book.worksheets:
            rows = list(sheet.iter_rows(values_only=True))
            if any(cell is not None for row in rows for cell in row):
                yield from rows
                return
    finally:
        book.close()
