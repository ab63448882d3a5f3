"""rousewort entry fmt: the one canonical form"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from rousewort.base.atomic_write import read_whole
from rousewort.base.errors import KnowledgeError, UserError
from rousewort.base.output import write_output
from rousewort.contribute.layout import root_of
from rousewort.contribute.tidy import schema_for, tidy
from rousewort.knowledge.files import yaml_files
from rousewort.knowledge.strict_yaml import read

YAML = (".yaml", ".yml")
HELP = "put files into the one canonical form, comments kept"
EPILOG = """examples:
  rousewort entry fmt kb/species/cercis
  rousewort entry fmt --check kb/species kb/genera kb/families

Only files of a knowledge base are put into form: those in its folders, and entries. Any other needs --force.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="files or folders")
    parser.add_argument(
        "--check", action="store_true", help="change nothing; exit 1 and name the files that are not in it"
    )
    parser.add_argument("--force", action="store_true", help="a YAML file that belongs to no knowledge base, too")


def run(arguments: argparse.Namespace) -> int:
    paths = [p for path in arguments.files for p in (yaml_files(path) if path.is_dir() else [path])]
    problems: list[Any] = []
    untidy: list[Path] = []
    for path in paths:
        try:
            text = read_whole(path)
            root = root_of(path)
            if not (arguments.force or _is_ours(path, root, partial(_data, text, path))):
                raise UserError(
                    f"{path} is no file of a knowledge base, and is left as it is."
                    + (" If it is YAML and meant, say --force." if path.suffix in YAML else "")
                )
            if path.suffix not in YAML:
                raise UserError(f"{path} is no YAML file (.yaml), and is left as it is.")
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


def _data(text: bytes, path: Path) -> Any:
    return read(text, str(path)).data


def _is_ours(path: Path, root: Path | None, data: Callable[[], Any]) -> bool:
    """A file in a folder of a knowledge base, or an entry on its way there."""
    if path.suffix not in YAML:
        return False
    if root is not None:
        return True
    said = data()
    return isinstance(said, dict) and ("name" in said and ("rank" in said or "adds_to" in said))
