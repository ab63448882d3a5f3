"""rousewort entry fmt: the one canonical form"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from rousewort.base.errors import KnowledgeError, UserError
from rousewort.base.output import write_output
from rousewort.contribute.layout import root_of
from rousewort.contribute.tidy import schema_for, tidy
from rousewort.knowledge.files import yaml_files

HELP = "put files into the one canonical form, comments kept"
EPILOG = """examples:
  rousewort entry fmt kb/species/cercis
  rousewort entry fmt --check kb/species kb/genera kb/families
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="files or folders")
    parser.add_argument(
        "--check", action="store_true", help="change nothing; exit 1 and name the files that are not in it"
    )


def run(arguments: argparse.Namespace) -> int:
    paths = [p for path in arguments.files for p in (yaml_files(path) if path.is_dir() else [path])]
    problems: list[Any] = []
    untidy: list[Path] = []
    for path in paths:
        try:
            text = path.read_bytes()
            root = root_of(path)
            made = tidy(text, str(path), schema_for(path.resolve(), root) if root else None).encode()
        except OSError as error:
            raise UserError(f"{path} cannot be read: {error.strerror}.") from None
        except KnowledgeError as trouble:
            problems += trouble.problems
            continue
        if made != text:
            untidy.append(path)
            if not arguments.check:
                write_output(str(path), made, b"", force=True)
    for path in untidy:
        print(f"{path}{' is not in canonical form' if arguments.check else ''}")
    done = "to put into form (rousewort entry fmt)" if arguments.check else "put into form"
    print(f"{len(paths)} files, {len(untidy)} {done}", file=sys.stderr)
    if problems:
        raise KnowledgeError(*problems)
    return 1 if arguments.check and untidy else 0
