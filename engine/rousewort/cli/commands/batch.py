"""rousewort batch …"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date

from rousewort.base.errors import UserError
from rousewort.base.output import needed
from rousewort.cli.commands.calendar import add_write_arguments
from rousewort.cli.commands.labels import add_print_arguments
from rousewort.cli.dating import add_south
from rousewort.cli.grower_options import add_grower_arguments
from rousewort.cli.lists import add_list_arguments
from rousewort.cli.naming import add_place_arguments
from rousewort.ledger.events import read_day

Adder = Callable[[str, str, argparse.ArgumentParser], argparse.ArgumentParser]
HELP = "The ledger: real lots in treatment, what is due, what was seen, what came of them. Nothing recorded is ever rewritten."
EPILOG = """examples:
  rousewort batch start 'Cercis canadensis' --seeds 200 --lot 'seed list 12' --viability 0.8
  rousewort batch due
  rousewort batch check 1C mould --lost 3
  rousewort batch move 1C
  rousewort batch sow 1C
  rousewort batch count 1C 14
  rousewort batch close 1C --plants 120
  rousewort batch results 'Cercis canadensis'
  rousewort batch labels 1C --out bag.pdf
  rousewort batch calendar --ics bench.ics
  rousewort batch export ledger.json
  rousewort batch backup
  rousewort batch restore ledger-backups/ledger-2026-12-01T08-30-00.250.sqlite

to look round first, in an invented nursery:
  rousewort batch demo --ledger demo.sqlite
  rousewort batch due --ledger demo.sqlite
  rousewort bench serve --ledger demo.sqlite

A batch is named by its code (1C) or its number alone (1).
The ledger is --ledger, else the environment variable ROUSEWORT_LEDGER, else a file in your data folder.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    for_all = argparse.ArgumentParser(add_help=False)
    for_all.add_argument("--ledger", metavar="WHERE", help="a file, or postgresql://user@host/database")
    shown = argparse.ArgumentParser(add_help=False, parents=[for_all])
    shown.add_argument("--json", action="store_true", help="print as JSON")
    a_list = argparse.ArgumentParser(add_help=False, parents=[for_all])
    add_list_arguments(a_list)
    entry = argparse.ArgumentParser(add_help=False, parents=[shown])
    entry.add_argument("--day", type=_day, metavar="DATE", help="when it happened, if not today (YYYY-MM-DD)")
    entry.add_argument("--note", default="", help="anything worth remembering")
    one = argparse.ArgumentParser(add_help=False, parents=[entry])
    one.add_argument("code", help="code or number of the batch")
    parser.set_defaults(help=parser.print_help)
    what = parser.add_subparsers(dest="what", metavar="WHAT", prog="rousewort batch")

    def add(name: str, text: str, parent: argparse.ArgumentParser) -> argparse.ArgumentParser:
        return what.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".", parents=[parent])

    _add_start(add("start", "start a batch on the plan of a plant; the plan is stored with it", entry))
    due = add("due", "what is due, late and in the days to come, with cautions", a_list)
    due.add_argument(
        "--days", type=int, default=6, metavar="N", help="look so many days ahead (6: a week; 0: today only)"
    )
    listed = add("list", "the batches in treatment", a_list)
    listed.add_argument("--ended", action="store_true", help="those that are closed, discarded or merged")
    listed.add_argument("--all", action="store_true", help="all of them")
    add("show", "one batch: where it stands, what is next, its dates and history", shown).add_argument("code")
    _add_entries(add, one)
    results = add("results", "what came of closed batches, beside what was to be expected", a_list)
    results.add_argument("name", nargs="*", help="a species: its own record beside what is published")
    results.add_argument("--origin", metavar="WHERE", help="only seed from there")
    results.add_argument("--report", metavar="FOLDER", help="write its protocols into a private knowledge base")
    results.add_argument("--nursery", default="Own nursery", metavar="NAME", help="who grew it (with --report)")
    _add_paper(add, for_all)
    export = add("export", "write everything: PATH.json, or a folder of CSV sheets", for_all)
    export.add_argument("path")
    export.add_argument("--force", action="store_true", help="replace what is no earlier export of this ledger")
    add("import", "read an export; nothing that is there is changed", for_all).add_argument("path")
    _add_safety(add, for_all, shown)

    demo = add("demo", "fill an empty ledger with an invented season of 60 batches, to try things on", for_all)
    demo.add_argument(
        "--whole", action="store_true", help="the last whole year, all ended; else the present one up to now"
    )


def _add_safety(add: Adder, for_all: argparse.ArgumentParser, shown: argparse.ArgumentParser) -> None:
    doctor = add("doctor", "look the whole ledger over: what is damaged or cannot be read, and why", shown)
    doctor.add_argument(
        "--set-aside", action="store_true", help="put such batches out of the way; they stay in the ledger"
    )
    doctor.add_argument("--take-back", metavar="CODE", help="let one that was set aside stand among the others again")
    redate = add("redate", "set the day of an entry right; both days stay in the history", shown)
    redate.add_argument("code", help="code or number of the batch")
    redate.add_argument("to", type=_day, metavar="DATE", help="the day it really was (YYYY-MM-DD)")
    redate.add_argument(
        "--entry", type=int, metavar="N", help="which entry of the batch, counted from 1; else the last"
    )
    redate.add_argument(
        "--rest", action="store_true", help="move all entries after it by as many days: the clock was wrong"
    )
    backup = add("backup", "a whole, checked copy (SQLite, of PostgreSQL JSON); nothing is ever overwritten", for_all)
    backup.add_argument(
        "path", nargs="?", help="a new file, or a folder for a dated one; else a folder beside the ledger"
    )
    backup.add_argument("--keep", type=int, metavar="N", help="of the dated ones in that folder keep the newest N")
    restore = add("restore", "go back to a backup; what is in the ledger now is kept beside it", for_all)
    restore.add_argument("path", metavar="BACKUP", help="a backup, or an export as JSON")


def _add_paper(add: Adder, for_all: argparse.ArgumentParser) -> None:

    calendar = add("calendar", "what is to come of the batches in treatment; as text, iCalendar or CSV", for_all)
    labels = add("labels", "print labels of batches, with their codes to scan at the bench", for_all)
    for paper in (calendar, labels):
        paper.add_argument("codes", nargs="*", metavar="CODE", help="these batches only, else all in treatment")
    add_write_arguments(calendar)
    add_print_arguments(labels)


def _add_start(start: argparse.ArgumentParser) -> None:
    start.add_argument("name", nargs="+", help="the plant, as on its packet")
    add_place_arguments(start)
    start.add_argument("--grams", type=float, help="weight of the lot, where seeds are not counted")
    start.add_argument("--lot", help="your own word for the lot")
    start.add_argument("--origin", metavar="WHERE", help="where the seed came from")
    start.add_argument("--viability", type=float, metavar="SHARE", help="share of living seed in the lot, e.g. 0.8")
    add_south(start)
    start.add_argument(
        "--own-lengths", action="store_true", help="let this ledger's own record move the plan's lengths"
    )
    add_grower_arguments(start)


def _add_entries(add: Adder, one: argparse.ArgumentParser) -> None:
    check = add("check", "record a look: fine (if nothing is said), mould, roots, dried, wet, swollen, pests", one)
    check.add_argument("finds", nargs="*", metavar="FIND", help="what was found")
    check.add_argument("--lost", type=int, default=0, metavar="N", help="seeds taken out")
    move = add("move", "go on to the next step, early or late; or begin a step again", one)
    move.add_argument("step", nargs="?", help="a step of its plan, if not the next")
    add("wait", "not ready: look again on a later day", one).add_argument("until", metavar="DATE", type=_day)
    sow = add("sow", "sow it (or put it outside, where the plan ends so)", one)
    sow.add_argument("--seeds", type=int, metavar="N", help="seeds sown, if not all")
    for outside in (move, sow):
        outside.add_argument("--why", default="", metavar="TEXT", help="why the plan was not followed; it is recorded")
        outside.add_argument(
            "--yes", "--anyway", action="store_true", help="it was so, although the plan says otherwise; do not ask"
        )
    count = add("count", "count seedlings", one)
    count.add_argument("new", type=int, nargs="?", help="new since the last count")
    count.add_argument("--total", type=int, metavar="N", help="all that have come so far, instead")
    split = add("split", "make part of a batch a batch of its own", one)
    split.add_argument("--seeds", type=int, metavar="N", help="seeds in the new batch")
    split.add_argument("--grams", type=float, metavar="G", help="grams in the new batch")
    add("merge", "put a batch into another of the same species and step", one).add_argument("into", metavar="CODE")
    add("discard", "end a batch that comes to nothing", one).add_argument("reason", help="why")
    add("void", "a batch begun by mistake: it never was, and counts nowhere", one).add_argument("reason", help="why")
    add("close", "end a sown batch: its results count from now on", one).add_argument("--plants", type=int, metavar="N")
    add("note", "write something down", one)
    add("undo", "take back the last entry of a batch (both stay in its history)", one)


def _day(text: str) -> date:
    try:
        return read_day(text)
    except UserError as trouble:
        raise argparse.ArgumentTypeError(str(trouble)) from None


def run(arguments: argparse.Namespace) -> int:
    if arguments.what is None:
        arguments.help()
        return 2

    name = {"list": "show_list", "import": "bring_in", "calendar": "show_dates", "labels": "print_codes"}.get(
        arguments.what, arguments.what
    )
    with needed("sqlalchemy", "ledger"):
        from rousewort.cli import batching
    code: int = getattr(batching, name)(arguments)
    return code
