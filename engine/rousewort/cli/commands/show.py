"""rousewort show NAME"""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from rousewort.base.errors import UserError
from rousewort.cli.naming import match_named
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.render.entry_text import render
from rousewort.render.terminal import page_for

HELP = "Show an entry: what is known of the plant and its seed, what was tried, and every source with how it is held."
EPILOG = """examples:
  rousewort show 'Cercis canadensis'
  rousewort show Viburnum
  rousewort show Fabaceae --json
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="+", help="a species, genus or family")
    parser.add_argument("--json", action="store_true", help="print the entry as JSON")


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    match = match_named(kb, arguments.name, arguments)
    record: dict[str, Any] | None = kb.taxon(match.name) if match.name else None
    if record is None:
        known = [part for part in (match.genus, match.family) if part and kb.taxon(part)]
        raise UserError(
            f"{match.name} has no entry. "
            + (
                f"There is one for {' and '.join(known)}: rousewort show {known[0]}"
                if known
                else "Nor has its genus or family."
            )
        )
    if arguments.json:
        print(json.dumps(record, ensure_ascii=False, indent=2))
    else:
        sys.stdout.write(render(kb, record, page_for()))
    return 0
