"""Second readings of what decides plans, as kept in readings.csv of a layer: one row a field of a protocol."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rousewort.base.errors import Problem

FILE = "readings.csv"
COLUMNS = ("date", "reader", "taxon", "protocol", "field", "first", "second", "verdict", "note")
# same; stretched: more or less was entered than is said; contradicted; not found: the work or the place could not be had again.
VERDICTS = ("same", "stretched", "contradicted", "not found")


def read_readings(layer: Path, records: Mapping[str, Any]) -> tuple[list[dict[str, str]], list[Problem]]:
    """The rows of a layer's file, none where it has none, and what is wrong with them."""
    path = layer / FILE
    if not path.is_file():
        return [], []
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        if tuple(reader.fieldnames or ()) != COLUMNS:
            mend = f"Its first line is {','.join(COLUMNS)}"
            return [], [Problem(str(path), 1, 1, "the columns are not those of second readings", mend)]
        rows = list(reader)
    found = ((line, _wrong(row, records)) for line, row in enumerate(rows, 2))
    return rows, [
        Problem(str(path), line, 1, wrong, "Write it as the other rows are.") for line, wrong in found if wrong
    ]


def _wrong(row: Mapping[str, str], records: Mapping[str, Any]) -> str:
    """What is wrong with one row, or empty."""
    if row["verdict"] not in VERDICTS:
        return f"the verdict `{row['verdict']}` is none of {', '.join(VERDICTS)}"
    entry = records.get(row["taxon"])  # a reading outlives an entry that is cut, not a protocol that changed its name
    if entry and row["protocol"] not in [protocol["id"] for protocol in entry.get("protocols", ())]:
        return f"{row['taxon']} has no protocol `{row['protocol']}`"
    return ""
