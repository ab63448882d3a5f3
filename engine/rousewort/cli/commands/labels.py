"""rousewort labels NAME…"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from rousewort.base.errors import UserError
from rousewort.base.output import needed, write_output
from rousewort.cli.dating import add_dating_arguments, calendar_from
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.schedule.labels import KINDS, make_labels, page_address, sheet_named, sheets

if TYPE_CHECKING:
    from rousewort.knowledge.knowledge_base import KnowledgeBase
    from rousewort.schedule.model import BenchCalendar, Schedule

HELP = "Labels for bags, pots or trays as PDF: plant, lot, treatment, date in and out, next step, warnings, a QR code."
EPILOG = """examples:
  rousewort labels 'black haw' --lot SB-14 --start today --out haw.pdf
  rousewort labels 'Taxus baccata' --start 2027-01-10 --for pot --sheet 25x130 --copies 10 --out pots.pdf
  rousewort labels 'Cercis canadensis' --start today --handbook https://handbook.example/ --out bags.pdf
  rousewort labels --sheets
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_dating_arguments(parser)
    add_print_arguments(parser)


def add_print_arguments(parser: argparse.ArgumentParser) -> None:
    """How labels are printed, whatever they are for."""
    group = parser.add_argument_group("labels")
    group.add_argument("--out", metavar="FILE", help="the PDF to write (- for standard output)")
    group.add_argument(
        "--for", dest="kind", choices=KINDS, default="bag", help="what they are stuck on (bag if left out)"
    )
    group.add_argument("--sheet", metavar="MM", help="size of one label in millimetres, e.g. 70x37; see --sheets")
    group.add_argument("--sheets", action="store_true", help="list the sheets that are known")
    group.add_argument("--copies", type=int, default=1, metavar="N", help="of each label")
    group.add_argument("--skip", type=int, default=0, metavar="N", help="labels already used on the first sheet")
    group.add_argument(
        "--handbook", metavar="URL", help="where your handbook stands, for the QR code (or ROUSEWORT_HANDBOOK)"
    )
    group.add_argument("--font", action="append", default=[], metavar="FILE", help="a TrueType font for other letters")
    group.add_argument("--outline", action="store_true", help="draw the edges, for a trial print on plain paper")
    group.add_argument("--force", action="store_true", help="write over a file that is no PDF")


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    if arguments.sheets:
        return list_sheets(kb)
    check_print(arguments)
    calendar, left_out = calendar_from(arguments, kb)
    print_labels(arguments, kb, calendar)
    for problem in left_out:
        print(f"rousewort: left out: {problem}", file=sys.stderr)
    return 1 if left_out else 0


def list_sheets(kb: KnowledgeBase) -> int:
    for sheet in sheets(kb.vocabulary.files["label_sheets"]).values():
        cut = ", to be cut" if sheet.cut else ""
        print(f"{sheet.name:<12} {sheet.per_page:>3} on {sheet.page:<7} for {', '.join(sheet.good_for)}{cut}")
    return 0


def check_print(arguments: argparse.Namespace) -> None:
    if not arguments.out:
        raise UserError("Name the file to write: --out labels.pdf")


def print_labels(
    arguments: argparse.Namespace,
    kb: KnowledgeBase,
    calendar: BenchCalendar,
    code_of: Callable[[Schedule], str] | None = None,
) -> None:
    """Write the labels of a bench. `code_of`: what the QR code says where no handbook is named."""
    known = sheets(kb.vocabulary.files["label_sheets"])
    sheet = sheet_named(known, arguments.sheet, arguments.kind)
    base = arguments.handbook or os.environ.get("ROUSEWORT_HANDBOOK", "")
    link_of = code_of if code_of and not base else lambda schedule: page_address(kb, schedule.name, base)
    labels = make_labels(calendar, arguments.kind, arguments.copies, link_of)
    with needed("reportlab", "labels"), needed("segno", "labels"), needed("fontTools", "labels"):
        from rousewort.render.labels_pdf import to_pdf

        options = {"skip": arguments.skip, "outline": arguments.outline, "fonts": arguments.font}
        printed = to_pdf(labels, sheet, others=known, **options)
    write_output(arguments.out, printed.data, b"%PDF-", arguments.force)
    pages = f"{printed.pages} {'page' if printed.pages == 1 else 'pages'}"
    print(f"{len(labels)} labels of {sheet.name} mm on {pages}: {arguments.out}", file=sys.stderr)
    have = {(label.plant, label.lot) for label in labels}
    if without := [one.name for one in calendar.schedules if (one.name, one.lot) not in have]:
        left = ", ".join(dict.fromkeys(without))
        other = " or ".join(kind for kind in KINDS if kind != arguments.kind)
        print(
            f"No label, since nothing still to be done goes into a {arguments.kind}: {left}. (For a {other}: --for)",
            file=sys.stderr,
        )
    if not base and not code_of:
        print("No QR codes: say where your handbook stands with --handbook URL.", file=sys.stderr)
    elif printed.without_code:
        print(f"{printed.without_code} labels have no room for a QR code; a larger sheet has.", file=sys.stderr)
    pageless = sorted({label.plant for label in labels if base and not label.link})
    if pageless:
        print(f"No QR code for want of a handbook page: {', '.join(pageless)}.", file=sys.stderr)
