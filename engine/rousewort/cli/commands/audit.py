"""rousewort audit"""

from __future__ import annotations

import argparse
import json
import sys
import time

from rousewort.base.errors import UserError
from rousewort.cli.options import layers
from rousewort.evaluation.gate import audit, counts, settings
from rousewort.knowledge.knowledge_base import load

HELP = """Hold every plan against its own entry, for every kind of grower and lot.

No step is asked for that the species' own evidence strikes; what its works say against a step stands there; no page says two things;
no heat or acid that nobody reports; no first look after the first sprouting. Exit 1 if a plan breaks one of these laws."""
EPILOG = """examples:
  rousewort audit
  rousewort audit --every 10      (each tenth species, as CI does)
  rousewort audit 'Gentiana lutea' --json
"""
SHOWN = 30  # complaints printed of each law


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("species", nargs="*", help="accepted names; all if none is given")
    parser.add_argument("--every", type=int, default=1, metavar="N", help="only each Nth species")
    parser.add_argument("--json", action="store_true", help="print the complaints as JSON")


def run(arguments: argparse.Namespace) -> int:
    if arguments.every < 1:
        raise UserError(f"--every {arguments.every}: give a number from 1 up.")
    kb = load(layers(arguments))
    known = kb.names()
    strangers = sorted(set(arguments.species) - set(known))
    if strangers:
        raise UserError(*(f"'{name}' is the accepted name of no entry." for name in strangers))
    names = (arguments.species or known)[:: arguments.every]
    begun = time.monotonic()
    complaints, read = audit(kb, names)
    if arguments.json:
        print(json.dumps([complaint._asdict() for complaint in complaints], ensure_ascii=False, indent=2))
        return 1 if complaints else 0
    of = f"{len(names)} species under {len(settings(kb.vocabulary))} settings"
    print(f"{read} plans of {of}, in {time.monotonic() - begun:.0f} seconds")
    for law, count in counts(complaints).items():
        print(f"  {law.replace('_', ' '):<20} {count}")
        for complaint in [c for c in complaints if c.law == law][:SHOWN]:
            some = complaint.settings[0] + (
                f" and {len(complaint.settings) - 1} more" if complaint.settings[1:] else ""
            )
            print(f"    {complaint.species}: {complaint.text} ({some})", file=sys.stderr)
    return 1 if complaints else 0
