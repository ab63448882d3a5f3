"""What every command that prints a list shares: the same records as JSON, CSV or a workbook."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from rousewort.base.output import needed, write_output
from rousewort.render.table import to_csv

_WORKBOOK = b"\x00rousewort"  # stands in no workbook, which is packed: none is ever replaced unasked


class Listed(NamedTuple):
    """A list: its headings and rows for a spreadsheet, the same as data for JSON."""

    name: str
    headings: Sequence[str]
    rows: Iterable[Sequence[object]]
    data: Any


def add_list_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print as JSON")
    parser.add_argument("--csv", metavar="FILE", help="write it as CSV (- for standard output)")
    parser.add_argument("--xlsx", metavar="FILE", help="write it as a workbook")


def was_written(arguments: argparse.Namespace, listed: Listed) -> bool:
    """Whether the list went to a file, or out as JSON or CSV, so that no text of it is to be printed.

    Raises UserError where a file of another kind stands there, or cannot be written.
    """
    if arguments.csv:
        write_output(arguments.csv, to_csv(listed.headings, listed.rows), ",".join(listed.headings).encode(), None)
    if arguments.xlsx:
        with needed("xlsxwriter", "ledger"):
            from rousewort.render.workbook import Sheet, workbook
        sheets = (Sheet(listed.name, listed.headings, listed.rows),)
        write_output(arguments.xlsx, workbook(sheets, listed.name, "Rousewort list"), _WORKBOOK, None)
    if arguments.json:
        print(json.dumps(listed.data, ensure_ascii=False, indent=2))
    return bool(arguments.csv or arguments.xlsx or arguments.json)
