"""rousewort table export|import"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from rousewort.base.errors import KnowledgeError, UserError
from rousewort.base.output import write_output
from rousewort.cli.actions import Action, add_actions, run_action
from rousewort.cli.options import layers
from rousewort.contribute.checking import check_all
from rousewort.contribute.layout import Layers, all_layers, place_of
from rousewort.contribute.reference import reference
from rousewort.contribute.table import DESCRIPTION, export, read_folder
from rousewort.contribute.works import Work, with_works
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.plan import NoSingleMatch

HELP = "Traits and protocols as CSV tables with open terms and a description of every column; and back into entries."
EPILOG = """examples:
  rousewort table export facts/
  rousewort table export facts/ Cercis canadensis Viburnum
  rousewort table import facts/ --kb ~/my-nursery-kb
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    export = "write tables into a folder that is new, empty or an earlier export"
    back = "write the entries of tables into the top layer; all or none, and never over another file"
    add_actions(
        parser,
        (
            Action("export", export, EPILOG, _export_arguments, _export),
            Action("import", back, EPILOG, _folder_argument, _import),
        ),
    )


def _folder_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="the folder of the tables")


def _export_arguments(parser: argparse.ArgumentParser) -> None:
    _folder_argument(parser)
    parser.add_argument("names", nargs="*", metavar="NAME", help="species or genera; none: everything")


run = run_action


def _export(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    files = export(kb, _chosen(kb, arguments.names))
    folder: Path = arguments.folder
    if folder.exists() and (not folder.is_dir() or (any(folder.iterdir()) and not (folder / DESCRIPTION).exists())):
        raise UserError(f"{folder} is there already and is no earlier export. Name another folder.")
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        write_output(str(folder / name), text.encode(), b"", force=True)
    for name, text in files.items():
        print(f"{folder / name}: {text.count(chr(10))} lines")
    return 0


def _chosen(kb: Any, words: list[str]) -> list[str] | None:
    """The entries that the words name: `Cercis canadensis` in two words or one, or a genus with its species."""
    if not words:
        return None
    names, rest = [], list(words)
    while rest:
        size = 2 if len(rest) > 1 and rest[1][:1].islower() and " " not in rest[0] else 1
        match = kb.lookup(" ".join(rest[:size]))
        if match.name is None:
            raise NoSingleMatch(match)
        genus = [n for n in kb.names() if n.split()[0] == match.name]
        found = [n for n in (match.name, *genus) if kb.taxon(n)]
        if not found:
            raise UserError(f"{match.name} has no entry.")
        names += found
        rest = rest[size:]
    return list(dict.fromkeys(names))


def _import(arguments: argparse.Namespace) -> int:
    private = layers(arguments)
    if not private:
        raise UserError("Say which of your folders the entries go to: --kb DIR (it may be new).")
    records, works = read_folder(arguments.folder)
    target = Path(private[-1])
    target.mkdir(parents=True, exist_ok=True)
    over = all_layers(private)
    made = {place_of(name, record.get("rank", "species")): record for name, record in records.items()}
    there = [str(target / place) for place in made if (target / place).exists()]
    if there:
        raise UserError(*(f"{path} is there already; nothing was imported." for path in there))
    with tempfile.TemporaryDirectory(prefix="rousewort-") as name:
        trial = Path(name) / "layer"  # checked as a copy first, so that a mistake leaves nothing half written
        shutil.copytree(target, trial)
        _write(trial, made, works, over)
        result = check_all(Layers((*over.folders[:-1], trial), over.base_index))
        if result.problems:
            raise KnowledgeError(*(p._replace(file=p.file.replace(str(trial), str(target))) for p in result.problems))
    _write(target, made, works, over)
    print(f"{len(made)} entries written to {target}")
    print(
        f"Next: rousewort entry check --kb {target} --doubts all; rousewort entry diff --kb {target}", file=sys.stderr
    )
    return 0


def _write(folder: Path, made: dict[str, Any], works: dict[str, Any], over: Any) -> None:
    for place, record in made.items():
        path = folder / place
        path.parent.mkdir(parents=True, exist_ok=True)
        depth = "../" * (len(Path(place).parts) - 1)
        write_output(str(path), dump(record, f"{depth}schema/taxon.schema.yaml").encode(), b"never over another file")
    known = _known_works(over)
    new = [Work(s, w.get("citation", ""), w.get("note")) for s, w in sorted(works.items()) if s not in known]
    if new:
        write_output(str(folder / "sources.yaml"), with_works(folder, new).encode(), b"", force=True)


def _known_works(over: Any) -> set[str]:
    return set(reference(over, []).store.shared("sources"))
