"""rousewort layer"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from rousewort.base.errors import UserError
from rousewort.cli.options import layers
from rousewort.contribute.layout import all_layers
from rousewort.contribute.overlay import report
from rousewort.render.terminal import page_for

HELP = "What your own layer replaces of the knowledge base beneath it, and what it adds."
EPILOG = """examples:
  rousewort layer --kb ~/my-nursery-kb
  ROUSEWORT_KB=~/my-nursery-kb rousewort layer --json

What it does to plans: rousewort entry diff --kb ~/my-nursery-kb
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print it as JSON")


def run(arguments: argparse.Namespace) -> int:
    private = layers(arguments)
    if not private:
        raise UserError("There is no layer over ours. Name one: --kb DIR, or set ROUSEWORT_KB.")
    over = all_layers(private)
    found = {path: report(over, Path(path)) for path in private}
    if arguments.json:
        print(
            json.dumps(
                {path: [p._asdict() for p in parts] for path, parts in found.items()}, ensure_ascii=False, indent=2
            )
        )
        return 0

    page = page_for()
    titles = {"replaces": "Replaces", "adds protocols": "Adds protocols to", "adds": "Adds", "same": "Changes nothing"}
    for path, parts in found.items():
        page.blank()
        page.say(page.bold(path) + ("" if parts else ": nothing in it"))
        for does, title in titles.items():
            of = [p for p in parts if p.does == does]
            if of:
                page.heading(f"{title} ({len(of)})")
                for p in of:
                    page.say(f"{p.kind} {p.name}" + (f": {p.note}" if p.note else ""), 2, "- ")
    sys.stdout.write(page.text())
    return 0
