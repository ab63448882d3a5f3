"""rousewort entry sample: a blind sheet for reading again what decides plans"""

from __future__ import annotations

import argparse
import csv
import io
import sys
from pathlib import Path

from rousewort.base.errors import UserError
from rousewort.base.output import write_output
from rousewort.cli.options import layers
from rousewort.evaluation.readings import Drawn, sample
from rousewort.knowledge.knowledge_base import load

HELP = "draw protocols to be read again in their works, blind to the entry"
EPILOG = """examples:
  rousewort entry sample --count 30 --seed 7
  rousewort entry sample --count 30 --seed 7 -o sheet.csv

The sheet names plant, work and place, and asks; it holds nothing of what the entry says. Fill in every answer from the
work before you open an entry. Then compare, and add a row a field to kb/readings.csv: same, stretched, contradicted or
not found.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--count", type=int, default=30, help="how many protocols (default %(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="the same number draws the same ones (default %(default)s)")
    parser.add_argument("-o", "--out", metavar="FILE", help="where to write the sheet; without it, it is printed")
    parser.add_argument("--force", action="store_true", help="replace a file that is there, answers and all")


def run(arguments: argparse.Namespace) -> int:
    if arguments.out and Path(arguments.out).exists() and not arguments.force:
        raise UserError(f"{arguments.out} is there already, perhaps with answers. Name another, or say --force.")
    if arguments.count < 1:
        raise UserError("--count is how many protocols to draw: 1 or more.")
    rows = sample(load(layers(arguments)), arguments.count, arguments.seed)
    sheet = io.StringIO()
    writer = csv.writer(sheet, lineterminator="\n")
    writer.writerow((*Drawn._fields, "answer"))
    writer.writerows((*row, "") for row in rows)
    if arguments.out:
        write_output(arguments.out, sheet.getvalue().encode(), b"", force=True)
        print(f"wrote {arguments.out}", file=sys.stderr)
    else:
        print(sheet.getvalue(), end="")
    return 0
