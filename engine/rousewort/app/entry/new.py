"""rousewort entry new: start an entry"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

HELP = "start an entry, with what is known of its relatives as prompts"
EPILOG = """examples:
  rousewort entry new 'Sallowia ripensis'               (asks a few questions)
  rousewort entry new 'Sallowia ripensis' --family Fabaceae --source bridge-2001 --held read \\
      --where 'table 2' --trait dormancy_class=physical --report nick:found_needed \\
      --report cold_moist:recommended=42-60
  rousewort entry new 'Sallowia ripensis' --observations seen.yaml --source own-records-2026
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="+", help="the accepted name, without author")
    parser.add_argument("--family", help="its family, where its genus is not known here")
    parser.add_argument("--common", action="append", default=[], metavar="NAME", help="a common name")
    parser.add_argument("--synonym", action="append", default=[], metavar="NAME", help="another scientific name")
    parser.add_argument("--source", metavar="ID", help="the work that the facts are from, by its id in sources.yaml")
    parser.add_argument(
        "--held",
        choices=["read", "memory", "practice"],
        help="how you hold them: read in the work, from memory, common practice",
    )
    parser.add_argument("--where", metavar="PLACE", help="the place in the work, e.g. 'p. 12, table 3'")
    parser.add_argument(
        "--trait", action="append", default=[], metavar="TRAIT=WORD", help="what the work says of the seed"
    )
    parser.add_argument(
        "--report",
        action="append",
        default=[],
        metavar="KIND:MEANING[=DAYS]",
        help="what the work did, e.g. cold_moist:found_needed=60-90",
    )
    parser.add_argument("--observations", type=Path, metavar="FILE", help="observations saved by rousewort observe")
    parser.add_argument(
        "--ask",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="ask for what flags do not say (by default in a terminal)",
    )


def run(arguments: argparse.Namespace) -> int:
    from rousewort.app.main import layers
    from rousewort.app.output import write_output
    from rousewort.contribute import start
    from rousewort.contribute.layout import all_layers
    from rousewort.contribute.reference import sound_part
    from rousewort.errors import Trouble
    from rousewort.knowledge.files import shipped_layer

    private = layers(arguments)
    folder = Path(private[-1]) if private else shipped_layer()
    if folder is None:
        raise Trouble("Say in which folder your knowledge base is: --kb DIR (it may be new), or set ROUSEWORT_KB.")
    if private and not folder.exists():
        folder.mkdir(parents=True)
    kb = sound_part(all_layers(private))
    name = start.accepted_form(" ".join(arguments.name))
    path = start.target_for(folder, name)
    known = start.known_already(kb, name)
    if known and not private:
        raise Trouble(
            f"{name} is {'a synonym of ' + known if known != name else 'an entry'} already. See it: rousewort show '{known}'"
        )
    said = _said(arguments, kb, name)
    if arguments.ask or (arguments.ask is None and sys.stdin.isatty()):
        said = _ask(kb, said)
    entry = start.entry_of(kb, said)
    if private:
        start.write_schemas(kb, folder)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_output(
        str(path), start.text_of(kb, entry, "../../schema/taxon.schema.yaml").encode(), b"never over another file"
    )
    print(path)
    if known:
        print(
            f"It replaces the whole entry of {known} beneath. To add reports only, write `adds_to: {known}`.",
            file=sys.stderr,
        )
    print(f"Next: fill it in, then\n  rousewort entry check {path}\n  rousewort entry preview {path}", file=sys.stderr)
    return 0


def _said(arguments: argparse.Namespace, kb: Any, name: str) -> Any:
    """What the flags and the file of observations say. Raises Trouble for every flag that cannot be read."""
    from rousewort.contribute import start
    from rousewort.errors import Trouble

    traits: dict[str, tuple[str, ...]] = {}
    treatments, problems = [], []
    for parse, texts in ((start.parse_trait, arguments.trait), (start.parse_report, arguments.report)):
        for text in texts:
            try:
                made: Any = parse(kb, text)
                if parse is start.parse_trait:
                    traits[made[0]] = (*traits.get(made[0], ()), made[1])
                else:
                    treatments.append(made)
            except Trouble as trouble:
                problems += trouble.problems
    if problems:
        raise Trouble(*problems)
    said = start.Said(
        name,
        arguments.family,
        tuple(arguments.common),
        tuple(arguments.synonym),
        arguments.source,
        arguments.held,
        arguments.where,
        traits,
        tuple(treatments),
    )
    if arguments.observations:
        plant, seen = start.from_observations(kb, arguments.observations)
        if plant and plant.lower() != name.lower():
            raise Trouble(f"{arguments.observations} is about {plant}, not {name}.")
        said = start.merged(said, seen)
    return said


def _ask(kb: Any, said: Any) -> Any:
    """Ask on the terminal; Enter leaves a thing out, the end of input ends the questions."""
    from rousewort.contribute import start
    from rousewort.errors import Trouble

    print("Enter leaves a question open.", file=sys.stderr)
    asked: set[str] = set()
    while question := next((q for q in start.questions(kb, said) if q.key not in asked), None):
        print(f"\n{question.text}", file=sys.stderr)
        for word, label in question.choices.items():
            print(f"  {word:<24} {label}", file=sys.stderr)
        print("> ", end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        if not line:
            break
        if not line.strip():
            asked.add(question.key)
            continue
        try:
            said = start.answered(kb, said, question.key, line.strip())
            asked.add(question.key)
        except Trouble as trouble:
            print(trouble, file=sys.stderr)
    return said
