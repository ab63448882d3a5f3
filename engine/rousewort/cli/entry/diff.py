"""rousewort entry diff: what a change does to every plan"""

from __future__ import annotations

import argparse
import json
import sys
from contextlib import ExitStack
from pathlib import Path

from rousewort.base.errors import UserError
from rousewort.cli.options import layers
from rousewort.cli.progress import progress_bar
from rousewort.contribute.changes import at_commit, compare, open_whole
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.knowledge_base import load
from rousewort.render.changes_text import as_json, render
from rousewort.render.terminal import page_for

HELP = "show what a change does to every plan"
EPILOG = """examples:
  rousewort entry diff --kb ~/my-nursery-kb      (ours alone against yours laid over it)
  rousewort entry diff --before ../main/kb --after kb
  rousewort entry diff --since main              (this clone against a commit of it)
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--before", type=Path, metavar="DIR", help="a whole knowledge base, or a layer over ours")
    parser.add_argument("--after", type=Path, metavar="DIR", help="the same, changed")
    parser.add_argument("--since", metavar="COMMIT", help="compare with the knowledge base of a commit of this clone")
    parser.add_argument("--json", action="store_true", help="print the changes as JSON")
    parser.add_argument("--exit-code", action="store_true", help="exit 1 where any plan changes")
    parser.add_argument("--engine", choices=["durable_rules", "plain"], help=argparse.SUPPRESS)


def run(arguments: argparse.Namespace) -> int:
    private = layers(arguments)
    if sum(bool(x) for x in (arguments.before, arguments.since)) > 1:
        raise UserError("Give one of --before and --since.")
    if not (arguments.before or arguments.since or private or arguments.after):
        raise UserError("Say what to compare: --kb DIR, --before DIR --after DIR, or --since COMMIT.")
    with ExitStack() as stack:
        if arguments.since:
            clone = shipped_layer()
            if clone is None:
                raise UserError("--since works in a clone only. Compare two folders: --before DIR --after DIR")
            before = open_whole(stack.enter_context(at_commit(clone, arguments.since)))
        else:
            before = open_whole(arguments.before) if arguments.before else load()
        after = open_whole(arguments.after) if arguments.after else load(private)
        with progress_bar() as progress:
            comparison = compare(before, after, arguments.engine, progress)
    if arguments.json:
        print(json.dumps(as_json(comparison), ensure_ascii=False, indent=2))
    else:
        sys.stdout.write(render(comparison, page_for()))
    return 1 if arguments.exit_code and comparison.changes else 0
