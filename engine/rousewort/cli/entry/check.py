"""rousewort entry check: every mistake, then everything doubtful"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from rousewort.base.errors import UserError
from rousewort.cli.options import layers
from rousewort.cli.progress import progress_bar
from rousewort.contribute.checking import check_all, check_files
from rousewort.contribute.layout import all_layers
from rousewort.knowledge.check import nearest
from rousewort.render.check_text import as_annotations, as_json, as_text, counted
from rousewort.render.terminal import page_for

HELP = "find every mistake, then everything doubtful"
EPILOG = """examples:
  rousewort entry check kb/species/cercis/cercis-canadensis.yaml
  rousewort entry check                          (everything, with a count of doubts)
  rousewort entry check --doubts all --json
  rousewort entry check --annotations            (in a CI run)

Exit code 1 where there is a mistake; doubts alone do not fail, except with --strict.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE", help="files to check; none: everything")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print what was found as JSON")
    form.add_argument("--annotations", action="store_true", help="print it as annotations of a CI run (::error file=…)")
    parser.add_argument(
        "--doubts",
        metavar="WHICH",
        help="all, count, none, judged (those that an author answered), or a kind of doubt such as no-place "
        "(all for files, count for everything; all of everything leaves out what is only counted)",
    )
    parser.add_argument("--strict", action="store_true", help="doubts fail too")


def run(arguments: argparse.Namespace) -> int:
    over = all_layers(layers(arguments))
    if arguments.files:
        result = check_files(arguments.files, over)
    else:
        with progress_bar() as progress:
            result = check_all(over, progress)
    how = arguments.doubts or ("all" if arguments.files else "count")
    doubts = _chosen(result, how, bool(arguments.files))

    if arguments.json:
        print(json.dumps(as_json(result.problems, doubts), ensure_ascii=False, indent=2))
    elif arguments.annotations:
        sys.stdout.write(as_annotations(result.problems, doubts))
    else:
        sys.stdout.write(as_text(result.problems, doubts, page_for()))
        left = [d for d in result.doubts if d not in set(doubts)]
        if left and how in ("all", "count"):
            say = "list them with --doubts all" if how == "count" else "list them by kind, such as --doubts no-place"
            print(f"Doubts not listed ({len(left)}; {say}):\n{counted(left, result.codes)}")
    found = (
        f"{result.files} file{'' if result.files == 1 else 's'}",
        f"{len(result.problems) or 'no'} mistake{'' if len(result.problems) == 1 else 's'}",
        f"{len(result.doubts) or 'no'} doubt{'' if len(result.doubts) == 1 else 's'}",
        *([f"{len(result.judged)} judged"] if result.judged else []),
    )
    print(f"{found[0]}: {', '.join(found[1:])}", file=sys.stderr)
    return 1 if result.problems or (arguments.strict and result.doubts) else 0


def _chosen(result: Any, how: str, files: bool) -> tuple[Any, ...]:
    """The doubts to list. Raises UserError for a kind that is none."""
    if how in ("count", "none"):
        return ()
    if how == "judged":
        judged: tuple[Any, ...] = result.judged
        return judged
    if how == "all":
        return tuple(d for d in result.doubts if files or not result.codes[d.code].get("quiet"))
    if how not in result.codes:
        words = ["all", "count", "none", "judged", *result.codes]
        raise UserError(f"--doubts {how}: {nearest(how, words)}Write one of: {', '.join(words)}.")
    return tuple(d for d in result.doubts if d.code == how)
