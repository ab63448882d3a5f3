"""rousewort calendar NAME…"""

from __future__ import annotations

import argparse
import os
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from rousewort.base.errors import UserError
from rousewort.base.output import earlier_output, needed, write_output
from rousewort.cli.dating import add_dating_arguments, calendar_from
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.render.calendar_csv import COLUMNS, to_csv
from rousewort.render.calendar_text import render
from rousewort.render.calendar_words import missed_lines, whose
from rousewort.render.terminal import page_for

if TYPE_CHECKING:
    from rousewort.schedule.model import BenchCalendar

HELP = "Date one or more plans: forward from a start, or backward from the day seedlings are wanted or the last frost."
EPILOG = """examples:
  rousewort calendar 'black haw' --start 2027-01-10
  rousewort calendar 'Cercis canadensis' 'Taxus baccata' --wanted 2028-05-01 --ics bench.ics
  rousewort calendar 'Cercis canadensis' --start 2027-01-10 --ended cold_moist-1=2027-02-20
  rousewort calendar 'Cercis canadensis' --start today --ics bench.ics   # again: moves its events, adds none
  rousewort plan 'black haw' --json > haw.json; rousewort calendar --plan haw.json --start today --csv -
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_dating_arguments(parser)
    parser.add_argument(
        "--days", action="store_true", help="also list one plant's looks day by day (several plants: always)"
    )
    add_write_arguments(parser)


def add_write_arguments(parser: argparse.ArgumentParser) -> None:
    """Where a calendar goes, whatever it is of."""
    parser.add_argument("--ics", metavar="FILE", help="write iCalendar (- for standard output)")
    parser.add_argument("--csv", metavar="FILE", help="write CSV (- for standard output)")
    parser.add_argument("--force", action="store_true", help="write over a file that is none of ours")


def run(arguments: argparse.Namespace) -> int:
    calendar, left_out = calendar_from(arguments, load(layers(arguments)))
    show_calendar(arguments, calendar, arguments.days or len(calendar.schedules) > 1)
    for problem in left_out:
        print(f"rousewort: left out: {problem}", file=sys.stderr)
    return 1 if left_out else 0


def show_calendar(arguments: argparse.Namespace, calendar: BenchCalendar, days: bool) -> None:
    """Write the files asked for, and print the calendar unless one of them goes to standard output."""
    if arguments.ics == arguments.csv == "-":
        raise UserError("Only one of --ics and --csv can go to standard output.")
    written = _write(arguments, calendar)
    if "-" not in written:
        sys.stdout.write(render(calendar, page_for(), days))
    else:
        _tell_missed(calendar)
    for path in written:
        if path != "-":
            print(f"written: {path}", file=sys.stderr)


def _tell_missed(calendar: BenchCalendar) -> None:
    """Where the calendar itself goes to standard output, the days that cannot be met are told beside it."""
    for schedule in calendar.schedules:
        for line in missed_lines(schedule):
            print(f"rousewort: {whose(schedule)}: {line.text}", file=sys.stderr)


def _write(arguments: argparse.Namespace, calendar: BenchCalendar) -> list[str]:
    written = []
    if arguments.ics:
        write_ics(arguments.ics, calendar, arguments.force)
        written.append(arguments.ics)
    if arguments.csv:
        write_output(arguments.csv, to_csv(calendar), ",".join(COLUMNS).encode(), arguments.force)
        written.append(arguments.csv)
    return written


def write_ics(where: str, calendar: BenchCalendar, force: bool) -> None:
    with needed("icalendar", "calendar"):
        from rousewort.render.calendar_ics import PRODUCT, to_ics

        data = to_ics(calendar, stamp(), earlier_output(where))
    write_output(where, data, PRODUCT.encode(), force)


def stamp() -> datetime:
    """Now, or the time in SOURCE_DATE_EPOCH (seconds), for files that are the same each time."""
    told = os.environ.get("SOURCE_DATE_EPOCH")
    try:
        return datetime.fromtimestamp(int(told), UTC) if told else datetime.now(UTC).replace(microsecond=0)
    except (ValueError, OverflowError, OSError):
        raise UserError(f"SOURCE_DATE_EPOCH is {told!r}: it must be a number of seconds.") from None
