"""A bench calendar as CSV (RFC 4180, UTF-8): a line for each thing to do. Decides nothing."""

from __future__ import annotations

import csv
import io

from rousewort.render.calendar_words import cautions, doing_words
from rousewort.schedule.model import BenchCalendar, Doing

COLUMNS = (
    "day", "what", "plant", "lot", "step", "kind", "text", "optional", "start", "earliest", "planned", "latest",
    "until", "cautions",
)  # fmt: skip


def to_csv(calendar: BenchCalendar) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    for doing in calendar.days():
        writer.writerow(_row(doing))
    return out.getvalue().encode()


def _row(doing: Doing) -> dict[str, str]:
    step, seedlings = doing.step, doing.schedule.seedlings
    of_seedlings = doing.what == "seedlings" and seedlings
    window = seedlings if of_seedlings and seedlings else step
    return {
        "day": doing.day.isoformat(),
        "what": doing.what,
        "plant": doing.schedule.name,
        "lot": doing.schedule.lot,
        "step": step.id,
        "kind": step.kind,
        "text": doing_words(doing),
        "optional": "yes" if step.optional else "no",
        "start": step.start.isoformat(),
        "earliest": window.earliest.isoformat(),
        "planned": window.planned.isoformat(),
        "latest": window.latest.isoformat() if window.latest else "",
        "until": step.until,
        "cautions": " ".join(text.removeprefix("Caution: ") for text in cautions(doing)),
    }
