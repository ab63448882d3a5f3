"""rousewort order FILE"""

from __future__ import annotations

import argparse

from rousewort.base.output import needed
from rousewort.cli.grower_options import add_grower_arguments

HELP = """A whole order: from a spreadsheet of plants to plans, seed to buy or collect, quantities, days and labels.

The sheet is .xlsx or CSV, a line for each plant, under headings in plain words: plant, seeds, grams, plants wanted, date
wanted, lot, origin, germination, notes. Lines that cannot be read are named; the others go on."""
EPILOG = """examples:
  rousewort order spring.xlsx
  rousewort order spring.csv --last-frost 2027-05-10 --looks-on mon,thu --xlsx worked.xlsx --ics bench.ics
  rousewort order spring.xlsx --labels bags.pdf
  rousewort order spring.xlsx --start

--start begins in the ledger what is to begin by today and has its seed; run it again on a later day for the rest. A line
that is in the ledger already is never started twice, unless its batch was voided. A line is known by the order's name
(--name, else the name of the file), its plant and its lot.

"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the order, as .xlsx or CSV")
    parser.add_argument("--name", default="", help="what the order is called (the name of the file)")
    parser.add_argument("--start", action="store_true", help="start the batches that are to begin by today")
    parser.add_argument("--ledger", metavar="WHERE", help="a file, or postgresql://user@host/database")
    days = parser.add_argument_group("days")
    days.add_argument("--last-frost", metavar="DATE", help="no seedling is to show before (YYYY-MM-DD)")
    days.add_argument(
        "--looks-on", metavar="DAYS", help="days when somebody is at the bench, e.g. mon,thu (or ROUSEWORT_LOOKS_ON)"
    )
    days.add_argument(
        "--growing-on", type=int, default=0, metavar="N", help="days from the seedling to the plant wanted"
    )
    days.add_argument("--south", action="store_true", help="seasons of the southern half of the Earth")
    many = parser.add_argument_group("quantities")
    many.add_argument(
        "--germination", metavar="SHARE", help="where neither the order nor a source says it: 0.7 or 70%%"
    )
    many.add_argument("--survival", metavar="SHARE", default="1", help="from seedling to plant (1 if left out)")
    many.add_argument("--probability", metavar="SHARE", default="0.95", help="of at least the plants wanted (0.95)")
    many.add_argument("--per-cell", type=int, default=1, metavar="N", help="seeds in each cell (1 if left out)")
    out = parser.add_argument_group("what is written")
    out.add_argument("--json", action="store_true", help="print as JSON")
    out.add_argument("--csv", metavar="FILE", help="the lines worked out, as CSV (- for standard output)")
    out.add_argument("--xlsx", metavar="FILE", help="a workbook: lines, what to get, days")
    out.add_argument("--ics", metavar="FILE", help="the days as iCalendar")
    out.add_argument("--labels", metavar="FILE", help="labels for bags as PDF")
    out.add_argument("--sheet", metavar="MM", help="size of one label in millimetres, e.g. 70x37")
    out.add_argument("--force", action="store_true", help="write over a file that is none of ours")
    add_grower_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    with needed("openpyxl", "orders"), needed("xlsxwriter", "orders"), needed("sqlalchemy", "orders"):
        from rousewort.cli import ordering
    return ordering.run(arguments)
