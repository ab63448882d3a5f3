"""rousewort source add|show"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from rousewort.base.errors import UserError
from rousewort.base.output import needed, write_output
from rousewort.cli.actions import Action, add_actions, run_action
from rousewort.cli.options import layers
from rousewort.contribute import works
from rousewort.contribute.layout import all_layers
from rousewort.contribute.reference import sound_part
from rousewort.contribute.works import uses
from rousewort.knowledge.check import nearest
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.knowledge_base import load
from rousewort.knowledge.works import IDENTIFIERS
from rousewort.render.terminal import page_for

HELP = "Add a work to the sources, from CSL JSON, BibTeX or typed fields; or show what rests on one."
EPILOG = """examples:
  rousewort source add paper.bib
  rousewort source add library.json --id bridge-2001 --kb ~/my-nursery-kb
  rousewort source add --author 'Reed, A.; Sallow, B.' --year 2001 --title 'Waking seed' --journal 'Bridge Notes' --pages 1-9
  rousewort source show fao-1992
"""
FIELDS = {
    "author": "Family, Given; Family, Given",
    "year": "four digits",
    "title": "of the article or book",
    "journal": "in which it stands",
    "volume": "of the journal",
    "issue": "of the volume",
    "pages": "such as 12-19",
    "publisher": "of a book",
    "doi": "such as 10.1234/abc",
    "isbn": "of a book; its check digit is looked at",
    "url": "of a page that is nowhere else",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_actions(
        parser,
        (
            Action(
                "add", "add a work to sources.yaml of the top layer; nothing is fetched", EPILOG, _add_arguments, _add
            ),
            Action(
                "show",
                "show a work and every fact, rule and treatment that rests on it",
                EPILOG,
                _show_arguments,
                _show,
            ),
        ),
    )


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", nargs="?", type=Path, help="a CSL JSON (.json) or BibTeX (.bib) file, every work in it")
    for field, text in FIELDS.items():
        parser.add_argument(f"--{field}", default="", help=text)
    parser.add_argument("--citation", default="", help="the whole citation, as you would write it")
    parser.add_argument("--id", default="", help="its id (by default from author, year and title)")
    parser.add_argument("--note", help="what of it is uncertain")
    parser.add_argument("--force", action="store_true", help="add it though one much like it is there")


def _show_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("id", help="the id of a work")
    parser.add_argument("--json", action="store_true", help="print it as JSON")


run = run_action


def _add(arguments: argparse.Namespace) -> int:
    private = layers(arguments)
    folder = Path(private[-1]) if private else shipped_layer()
    if folder is None:
        raise UserError("Say in which folder your knowledge base is: --kb DIR, or set ROUSEWORT_KB.")
    if private:
        folder.mkdir(parents=True, exist_ok=True)
    kb = sound_part(all_layers(private))
    with needed("citeproc", "contribute"):
        made = list(_works(arguments, works, dict(kb.sources)))
    faults = [
        f"{work.id}: {fault}"
        for work in made
        for fault in works.faults(work, kb.sources)
        if not (arguments.force and "--force" in fault)
    ]
    if faults:
        raise UserError(*faults)
    write_output(str(folder / "sources.yaml"), works.with_works(folder, made).encode(), b"", force=True)
    for work in made:
        print(f"{work.id}: {work.citation}")
    print(f"Next: rousewort entry new 'NAME' --source {made[0].id} --held read --where PLACE", file=sys.stderr)
    return 0


def _works(arguments: argparse.Namespace, works: Any, taken: dict[str, Any]) -> Any:
    """The works that the file or the flags describe, each with an id of its own."""
    fields = {field: getattr(arguments, field) for field in FIELDS}
    given = [bool(arguments.file), bool(arguments.citation), any(fields.values())]
    if sum(given) != 1:
        raise UserError("Give a file, a --citation, or fields (--author, --year, --title …): one of them.")
    records = works.read_file(arguments.file) if arguments.file else [{} if arguments.citation else works.typed(fields)]
    if arguments.id and len(records) > 1:
        raise UserError(f"{arguments.file} holds {len(records)} works: --id names only one.")
    for record in records:
        citation = works.tidy_citation(arguments.citation) if arguments.citation else works.cite(record)
        known = {} if "bibtex" in record else record
        work = works.Work(arguments.id or works.id_for(known, citation, taken), citation, arguments.note)
        taken[work.id] = {"citation": citation}
        yield work


def _show(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    if arguments.id not in kb.sources:
        raise UserError(f"There is no work '{arguments.id}'. {nearest(arguments.id, sorted(kb.sources))}".strip())
    found = list(uses(kb, arguments.id))
    if arguments.json:
        print(
            json.dumps(
                {"id": arguments.id, **kb.sources[arguments.id], "uses": [u._asdict() for u in found]},
                ensure_ascii=False,
                indent=2,
            )
        )
        return 0

    page = page_for()
    page.say(page.bold(arguments.id))
    page.say(kb.sources[arguments.id]["citation"])
    known = kb.sources[arguments.id]
    page.each(f"{key}: {known[key]}" for key in IDENTIFIERS if key in known)
    if "read" in known:
        page.say(
            f"What of it was read: {kb.vocabulary.files['parts_read'][known['read']]['means'].rstrip('.').lower()}."
        )
    if "recalled" in known:
        page.say(f"Nobody here saw in a text: {', '.join(known['recalled'])}.", code="2")
    if "note" in kb.sources[arguments.id]:
        page.say(kb.sources[arguments.id]["note"], code="2")
    page.heading(f"What rests on it ({len(found)})")
    for kind, name in dict.fromkeys((u.kind, u.name) for u in found):
        of = [u for u in found if (u.kind, u.name) == (kind, name)]
        parts = ", ".join(
            f"{part.replace('_', ' ')} ({held})" for part, held in dict.fromkeys((u.part, u.held) for u in of)
        )
        page.say(f"{kind} {name}: {parts}", 2, "- ")
    if not found:
        page.say("Nothing.", 2)
    sys.stdout.write(page.text())
    return 0
