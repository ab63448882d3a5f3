"""rousewort entry check: every mistake, then everything doubtful"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

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
        "--doubts", choices=["all", "count", "none"], help="how to show doubts (all for files, count for everything)"
    )
    parser.add_argument("--strict", action="store_true", help="doubts fail too")


def run(arguments: argparse.Namespace) -> int:
    from rousewort.app.bar import watched
    from rousewort.app.main import layers
    from rousewort.contribute.checking import check_all, check_files
    from rousewort.contribute.layout import all_layers

    over = all_layers(layers(arguments))
    bar = None if arguments.files else watched()
    result = check_files(arguments.files, over) if arguments.files else check_all(over, bar)
    if bar:
        bar.wipe()
    how = arguments.doubts or ("all" if arguments.files else "count")
    doubts = result.doubts if how == "all" else ()
    from rousewort.render.check_text import as_annotations, as_json, as_text, counted

    if arguments.json:
        import json

        print(json.dumps(as_json(result.problems, doubts), ensure_ascii=False, indent=2))
    elif arguments.annotations:
        sys.stdout.write(as_annotations(result.problems, doubts))
    else:
        from rousewort.render.terminal import page_for

        sys.stdout.write(as_text(result.problems, doubts, page_for()))
        if how == "count" and result.doubts:
            print(f"Doubts ({len(result.doubts)}; list them with --doubts all):\n{counted(result.doubts)}")
    files = f"{result.files} file{'' if result.files == 1 else 's'}"
    print(f"{files}: {len(result.problems) or 'no'} mistakes, {len(result.doubts) or 'no'} doubts", file=sys.stderr)
    return 1 if result.problems or (arguments.strict and result.doubts) else 0
