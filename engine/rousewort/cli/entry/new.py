"""rousewort entry new: start an entry"""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path
from typing import Any

from rousewort.base.errors import Problem, UserError
from rousewort.base.output import write_output
from rousewort.cli.options import layers
from rousewort.contribute import start
from rousewort.contribute.layout import all_layers
from rousewort.contribute.reference import sound_part
from rousewort.contribute.works import Work, with_works
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.strict_yaml import read

HELP = "start an entry, with what is known of its relatives as prompts"
EPILOG = """examples:
  rousewort entry new 'Sallowia ripensis'               (asks a few questions)
  rousewort entry new 'Sallowia ripensis' --family Fabaceae --source bridge-2001 --held read \\
      --where 'table 2' --trait dormancy_class=physical --phase nick:needed --phase cold_moist:advised=42-60
  rousewort entry new 'Sallowia ripensis' --observations seen.yaml --source own-records-2026
  rousewort entry new 'Sallowia ripensis' --trial sheet.csv --kb ~/my-nursery-kb
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
        "--phase",
        action="append",
        default=[],
        metavar="KIND:FOUND[=AMOUNT][@DEGREES]",
        help="what the work did and found, in order, e.g. cold_moist:needed=60-90@4, acid:effective=60-, "
        "hot_water/held:effective=5@80, warm_moist:tried=8@28/14, nick:advised",
    )
    parser.add_argument(
        "--germinated",
        metavar="PERCENT[@DEGREES]",
        help="how much germinated, treated/untreated, and at what warmth: 84-93/2, /0, 70@20/10",
    )
    parser.add_argument("--note", help="what a reader should know of it, in your own words")
    parser.add_argument("--trial", type=Path, metavar="SHEET", help="a filled-in sheet of rousewort trial")
    parser.add_argument("--observations", type=Path, metavar="FILE", help="observations saved by rousewort observe")
    parser.add_argument(
        "--ask",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="ask for what flags do not say (by default in a terminal)",
    )


def run(arguments: argparse.Namespace) -> int:
    private = layers(arguments)
    folder = Path(private[-1]) if private else shipped_layer()
    if folder is None:
        raise UserError("Say in which folder your knowledge base is: --kb DIR (it may be new), or set ROUSEWORT_KB.")
    if private and not folder.exists():
        folder.mkdir(parents=True)
    kb = sound_part(all_layers(private))
    name = start.accepted_form(" ".join(arguments.name))
    path = start.target_for(folder, name)
    known = start.known_already(kb, name)
    if known and not private:
        raise UserError(
            f"{name} is {'a synonym of ' + known if known != name else 'an entry'} already. See it: rousewort show '{known}'"
        )
    said = _said(arguments, kb, name)
    if said.family and (fault := start.family_fault(said.family)):
        raise UserError(fault)
    if arguments.ask or (arguments.ask is None and sys.stdin.isatty()):
        said = _ask(kb, said)
    own = None
    if arguments.observations and not said.source:
        own = start.own_source(said, "observations", date.today())
        said = said._replace(source=own, held="read", where=said.where or arguments.observations.name)
    if arguments.trial:
        made, of_trial = start.from_trial(kb, arguments.trial, said, date.today())
        said, own = said._replace(own=made), own or of_trial
    entry = start.entry_of(kb, said, own)
    if private:
        start.write_schemas(kb, folder)
    if own:
        _add_own_source(folder, own, name)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_output(
        str(path), start.text_of(kb, entry, "../../schema/taxon.schema.yaml").encode(), b"never over another file"
    )
    print(path)
    if known and "adds_to" not in entry:
        print(
            f"It replaces the whole entry of {known} beneath. To add protocols only, write `adds_to: {known}`.",
            file=sys.stderr,
        )
    print(f"Next: fill it in, then\n  rousewort entry check {path}\n  rousewort entry preview {path}", file=sys.stderr)
    return 0


def _add_own_source(folder: Path, source: str, name: str) -> None:
    """A work for what the author saw or tried, so that its facts can cite it."""
    path = folder / "sources.yaml"
    if path.exists() and source in read(path.read_bytes(), str(path)).data:
        return
    what = "germination trial" if source.startswith("own-trial") else "bench tests"
    work = Work(source, f"Own {what} of {name}, read {date.today().isoformat()}, not published")
    write_output(str(path), with_works(folder, [work]).encode(), b"", force=True)


def _said(arguments: argparse.Namespace, kb: Any, name: str) -> Any:
    """What the flags and the file of observations say. Raises UserError for every flag that cannot be read."""
    traits: dict[str, tuple[str, ...]] = {}
    phases: list[Any] = []
    problems: list[str | Problem] = []
    for parse, texts in ((start.parse_trait, arguments.trait), (start.parse_phase, arguments.phase)):
        for text in texts:
            try:
                made: Any = parse(kb, text)
                if parse is start.parse_trait:
                    traits[made[0]] = (*traits.get(made[0], ()), made[1])
                else:
                    phases.append(made)
            except UserError as trouble:
                problems += trouble.problems
    germinated = None
    if arguments.germinated:
        try:
            germinated = start.parse_germinated(arguments.germinated, kb.vocabulary.kinds.last)
        except UserError as trouble:
            problems += trouble.problems
    if problems:
        raise UserError(*problems)
    said = start.Said(
        name,
        arguments.family,
        tuple(arguments.common),
        tuple(arguments.synonym),
        arguments.source,
        arguments.held,
        arguments.where,
        traits,
        tuple(phases),
        arguments.note,
        germinated,
    )
    if arguments.observations:
        plant, seen = start.from_observations(kb, arguments.observations)
        if plant and plant.lower() != name.lower():
            raise UserError(f"{arguments.observations} is about {plant}, not {name}.")
        said = start.merged(said, seen)
    return said


def _ask(kb: Any, said: Any) -> Any:
    """Ask on the terminal; Enter leaves a thing out, the end of input ends the questions."""
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
        except UserError as trouble:
            print(trouble, file=sys.stderr)
    return said
