"""rousewort labels NAME…"""

from __future__ import annotations

import argparse
import os
import sys

HELP = "Labels for bags, pots or trays as PDF: plant, lot, treatment, date in and out, next step, warnings, a QR code."
EPILOG = """examples:
  rousewort labels 'black haw' --lot SB-14 --start today --out haw.pdf
  rousewort labels 'Taxus baccata' --start 2027-01-10 --for pot --sheet 25x130 --copies 10 --out pots.pdf
  rousewort labels 'Cercis canadensis' --start today --handbook https://handbook.example/ --out bags.pdf
  rousewort labels --sheets
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    from rousewort.app.dating import add_dating_arguments
    from rousewort.labels import KINDS

    add_dating_arguments(parser)
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
    from rousewort.app.dating import bench_from
    from rousewort.app.main import layers
    from rousewort.app.output import needed, write_output
    from rousewort.errors import Trouble
    from rousewort.knowledge.base import load
    from rousewort.labels import make_labels, page_address, sheet_named, sheets

    kb = load(layers(arguments))
    known = sheets(kb.vocabulary.files["label_sheets"])
    if arguments.sheets:
        for sheet in known.values():
            cut = ", to be cut" if sheet.cut else ""
            print(f"{sheet.name:<12} {sheet.per_page:>3} on {sheet.page:<7} for {', '.join(sheet.good_for)}{cut}")
        return 0
    if not arguments.out:
        raise Trouble("Name the file to write: --out labels.pdf")
    sheet = sheet_named(known, arguments.sheet, arguments.kind)
    bench, left_out = bench_from(arguments, kb)
    base = arguments.handbook or os.environ.get("ROUSEWORT_HANDBOOK", "")
    labels = make_labels(bench, arguments.kind, arguments.copies, lambda name: page_address(kb, name, base))
    with needed("reportlab", "labels"), needed("segno", "labels"), needed("fontTools", "labels"):
        from rousewort.render.labels_pdf import to_pdf

        options = {"skip": arguments.skip, "outline": arguments.outline, "fonts": arguments.font}
        printed = to_pdf(labels, sheet, others=known, **options)
    write_output(arguments.out, printed.data, b"%PDF-", arguments.force)
    pages = f"{printed.pages} {'page' if printed.pages == 1 else 'pages'}"
    print(f"{len(labels)} labels of {sheet.name} mm on {pages}: {arguments.out}", file=sys.stderr)
    if not base:
        print("No QR codes: say where your handbook stands with --handbook URL.", file=sys.stderr)
    elif printed.without_code:
        print(f"{printed.without_code} labels have no room for a QR code; a larger sheet has.", file=sys.stderr)
    pageless = sorted({label.plant for label in labels if base and not label.link})
    if pageless:
        print(f"No QR code for want of a handbook page: {', '.join(pageless)}.", file=sys.stderr)
    for problem in left_out:
        print(f"rousewort: left out: {problem}", file=sys.stderr)
    return 1 if left_out else 0
