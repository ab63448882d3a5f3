"""rousewort entry preview: the plan that an entry leads to"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

from rousewort.base.atomic_write import read_whole
from rousewort.base.errors import KnowledgeError, UserError
from rousewort.cli.grower_options import add_grower_arguments, grower_from
from rousewort.cli.options import layers
from rousewort.contribute.changes import committed, difference, line_of, with_entry
from rousewort.contribute.checking import check_files
from rousewort.contribute.layout import all_layers, root_of
from rousewort.knowledge.knowledge_base import load
from rousewort.knowledge.names import slug
from rousewort.knowledge.strict_yaml import read
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import to_text
from rousewort.render import changes_text, plan_text
from rousewort.render.terminal import page_for

HELP = "show the plan that an entry leads to, and what it changes"
EPILOG = """examples:
  rousewort entry preview kb/species/cercis/cercis-canadensis.yaml
  rousewort entry preview FILE --page            (the handbook page, as Markdown)
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="FILE", help="an entry")
    parser.add_argument("--page", action="store_true", help="print the handbook page as Markdown instead")
    parser.add_argument("--json", action="store_true", help="print plan, changes and rules as JSON")
    add_grower_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    over = layers(arguments)
    problems = check_files([arguments.file], all_layers(over)).problems
    if problems:
        raise KnowledgeError(*problems)
    record = read(read_whole(arguments.file), str(arguments.file)).data
    if not isinstance(record, dict) or record.get("rank") != "species":
        raise UserError(
            f"{arguments.file} is no entry of a species. For rules, treatments and genera: rousewort entry diff"
        )
    current, what = _current(load(over), arguments.file, all_layers(over).folders)
    changed = with_entry(load(over), record)
    name = str(record.get("adds_to", record["name"]))
    if arguments.page:
        return _page(changed, name)
    return _print_preview(arguments, current, changed, name, what)


def _current(kb: Any, file: Path, folders: Any) -> tuple[Any, str]:
    """What to compare with, and what that is in words. A file that is part of the knowledge base already is compared
    with its last commit, or, where there is none, with plans made without it."""

    record = read(read_whole(file), str(file)).data
    if root_of(file) not in [folder.resolve() for folder in folders] or "adds_to" in record:
        return kb, "the knowledge base as it is"
    text = committed(file)
    if text is not None:
        return with_entry(kb, read(text, str(file)).data), "the last commit of this file"
    return kb.without(species=record["name"]) if kb.taxon(
        record["name"]
    ) else kb, "the knowledge base without this entry"


def _print_preview(arguments: argparse.Namespace, current: Any, changed: Any, name: str, what: str) -> int:
    grower = grower_from(arguments, changed.vocabulary, list(changed.treatments))
    plan = Planner(changed, arguments.engine).plan(name, grower)
    match = current.lookup(name)
    before = Planner(current, arguments.engine).plan_for(match, grower) if match.name else None
    change = difference(name, before, plan)
    if arguments.json:
        rules = [f.rule.id for f in plan.findings.firings]
        print(
            json.dumps(
                {"plan": json.loads(to_text(plan)), "change": change and change._asdict(), "rules": rules},
                ensure_ascii=False,
                indent=2,
            )
        )
        return 0
    page = page_for()
    plan_text.render(plan, page)
    page.heading(f"What changes, against {what}")
    if before is not None and match.matched_by not in ("accepted", "synonym"):
        page.say(f"There was no entry of {name}; the plan was made from its {match.matched_by}: {line_of(before)}", 2)
    changes_text.one(change, page) if change else page.say("Nothing: the plan is the same.", 2)
    page.heading("Rules that fire")
    changes_text.rules_text(plan.findings.firings, {"name": name, "toxic_note": ""}, page)
    sys.stdout.write(page.text())
    return 0


def _page(kb: Any, name: str) -> int:
    """The Markdown of the page that the handbook would have."""
    from rousewort.handbook.writing import write_pages

    with tempfile.TemporaryDirectory(prefix="rousewort-") as folder:
        write_pages(kb, Path(folder), [name])
        page = next(Path(folder).rglob(f"{slug(name)}.md"))
        sys.stdout.write(page.read_text("utf-8"))
    return 0
