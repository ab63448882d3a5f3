"""rousewort observe NAME"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rousewort.base.errors import UserError
from rousewort.cli.grower_options import add_grower_arguments, grower_from
from rousewort.cli.naming import add_place_arguments
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.observe.ask import Inquiry, Question
from rousewort.observe.conclude import against_books, match_for, read
from rousewort.observe.entries import Observations, as_text, checked, fault, load_file, parse, save
from rousewort.observe.key import tests
from rousewort.planning.plan import Planner
from rousewort.render.observe_json import as_data
from rousewort.render.observe_text import say_conclusion, say_question, say_reading
from rousewort.render.terminal import page_for

if TYPE_CHECKING:
    from rousewort.observe.ask import Inquiry
    from rousewort.observe.entries import Observations
    from rousewort.observe.key import Test
    from rousewort.render.terminal import Page

HELP = """What your own seed tells: from weights, lengths and counts to a class of dormancy, with thresholds and sources.
Without --saw or --file it asks, one observation at a time, whichever would most change the plan; Enter skips."""
EPILOG = """examples:
  rousewort observe 'Vigna marina'
  rousewort observe 'Vigna marina' --saw imbibition.intact_g=0:2.31,24:2.33,48:2.34 --saw imbibition.nicked_g=0:2.28,24:4.1,48:4.3
  rousewort observe 'Vigna marina' --file seen.yaml --saw cut_test.full=18 --saw cut_test.empty=2 --save seen.yaml
  rousewort observe 'Sallowia ripensis' --family Salicaceae --have gibberellic_acid
  rousewort observe --list
  rousewort plan 'Vigna marina' --observations seen.yaml
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="*", help="the plant; it need not have an entry")
    add_place_arguments(parser)
    parser.add_argument(
        "--saw",
        action="append",
        default=[],
        metavar="TEST.FIELD=VALUE",
        help="something seen; times and values as 0:2.31,24:2.33",
    )
    parser.add_argument(
        "--skip", action="append", default=[], metavar="TEST", help="an observation that you cannot or will not make"
    )
    parser.add_argument("--file", type=Path, metavar="FILE", help="observations saved before (YAML)")
    parser.add_argument("--save", type=Path, metavar="FILE", help="write all observations there (YAML)")
    parser.add_argument("--ask", action="store_true", help="go on asking after --saw and --file")
    parser.add_argument("--list", action="store_true", help="list every observation and what to write down")
    parser.add_argument("--json", action="store_true", help="print the conclusion as JSON")
    add_grower_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    if arguments.list:
        return _list(kb)
    known = _known(arguments, kb.vocabulary)
    known = checked(known, kb.vocabulary)
    match = match_for(kb, known.plant or "", known.family, arguments.genus)
    if match.matched_by == "observations" and match.query:
        near = kb.lookup(match.query).candidates
        print(
            f"No entry and no genus called '{match.query}': going by what you see."
            + (f" (Or did you mean {near[0]}?)" if near else ""),
            file=sys.stderr,
        )
    inquiry = Inquiry(
        kb, match, grower_from(arguments, kb.vocabulary, list(kb.treatments)), Planner(kb, arguments.engine or "plain")
    )
    if arguments.ask or not (arguments.saw or arguments.file):
        try:
            _converse(inquiry, known, page_for)
        except KeyboardInterrupt:
            if arguments.save:  # what was answered is kept
                save(arguments.save, as_text(known))
            raise
    inquiry.conclude(known)  # what cannot be true is told before anything is written
    if arguments.save:
        save(arguments.save, as_text(known))
        print(
            f"Saved to {arguments.save}. Now: rousewort plan '{known.plant}' --observations {arguments.save}",
            file=sys.stderr,
        )
    _print(inquiry, known, arguments.json, page_for())
    return 0


def _known(arguments: argparse.Namespace, vocabulary: Any) -> Observations:
    """What the file and the flags say together; flags win. UserError for every flag that cannot be read."""
    known = load_file(arguments.file, vocabulary) if arguments.file else Observations()
    key, problems = tests(vocabulary), []
    for item in arguments.saw:
        left, sign, text = item.partition("=")
        name, dot, field = left.strip().replace("-", "_").partition(".")
        if not sign or not dot:
            problems.append(f"--saw {item}: write TEST.FIELD=VALUE, e.g. cut_test.full=18.")
        elif name not in key or field not in key[name].fields:
            known_words = ", ".join(key[name].fields) if name in key else ", ".join(key)
            problems.append(f"--saw {item}: '{field if name in key else name}' is not known. Known: {known_words}.")
        else:
            try:
                known.seen.setdefault(name, {})[field] = parse(text, key[name].fields[field])
            except ValueError as wrong:
                problems.append(f"--saw {item}: {wrong}.")
    if problems:
        raise UserError(*problems)
    known.skipped += [word.replace("-", "_") for word in arguments.skip]
    known.plant = " ".join(arguments.name) or known.plant
    known.family = arguments.family or known.family
    if not known.plant:
        raise UserError("Say which plant: rousewort observe 'Vigna marina'. A name that is in no book will do.")
    return known


def _converse(inquiry: Inquiry, known: Observations, page_for: Any) -> None:
    """Ask until nothing more is worth asking. Enter skips a test; `q`, or the end of input, ends it. Nothing is lost."""
    print("Enter skips an observation; q ends. Times and values: 0=2.31, 24=2.33. Lists: 1.2 1.4 1.3.", file=sys.stderr)
    while True:
        question = inquiry.ask(known)
        if not isinstance(question, Question):
            return
        page = page_for()
        say_question(question, page)
        sys.stdout.write(page.text() + "\n")
        try:
            answered = _answers(question.test, inquiry, known)
        except EOFError:
            return
        if answered is None:
            return
        if not answered:
            known.skipped.append(question.test.id)
            continue
        page = page_for()
        say_reading(
            inquiry.kb, next(r for r in inquiry.conclude(known).readings if r.test.id == question.test.id), page
        )
        sys.stdout.write(page.text() + "\n")


def _answers(test: Test, inquiry: Inquiry, known: Observations) -> bool | None:
    """Fill one test's fields. False: skipped; None: the grower wants to end. What cannot be true is asked again."""
    values: dict[str, Any] = {f.name: f.default for f in test.fields.values() if f.default is not None}
    for field in test.fields.values():
        hint = (
            f" ({'/'.join(field.words)})" if field.words else f" [{field.default}]" if field.default is not None else ""
        )
        while True:
            text = input(f"  {field.ask}{hint}: ").strip()
            if text.lower() in ("q", "quit"):
                return None
            if not text:
                if not field.optional:
                    return False
                break
            try:
                value = parse(text, field)
                wrong = fault(value, field)
                if wrong:
                    raise ValueError(wrong)
            except ValueError as wrong:
                print(f"  {field.name}: {wrong}", file=sys.stderr)
                continue
            values[field.name] = value
            break
    try:
        read(test, values, inquiry.kb.vocabulary)
    except UserError as trouble:
        print(f"  {trouble}\n  Once more, or Enter to skip.", file=sys.stderr)
        return _answers(test, inquiry, known)
    known.seen[test.id] = values
    return True


def _print(inquiry: Inquiry, known: Observations, as_json: bool, page: Page) -> None:
    conclusion = inquiry.conclude(known)
    clashes = against_books(inquiry.kb, inquiry.match, conclusion)
    chances = inquiry.chances(conclusion)
    questions = [] if conclusion.stop else inquiry.questions(known, conclusion)
    if as_json:
        print(json.dumps(as_data(inquiry.match, conclusion, clashes, chances, questions), ensure_ascii=False, indent=2))
        return
    say_conclusion(inquiry.kb, inquiry.match, conclusion, clashes, chances, page)
    if conclusion.stop:
        page.heading("Stop here")
        page.each(r.clause.says for r in conclusion.stop if r.clause)
    elif questions:
        say_question(questions[0], page)
    else:
        page.heading("Nothing more to ask")
        page.say(
            "No observation left would change the plan much. Where classes are still open, a trial decides: rousewort trial design.",
            2,
        )
    sys.stdout.write(page.text())


def _list(kb: Any) -> int:
    page = page_for()
    for test in tests(kb.vocabulary).values():
        page.heading(f"{test.id}: {test.label}  ({test.spends} seeds, {test.days} days)")
        page.say(test.why, 2)
        for field in test.fields.values():
            what = f"{', '.join(field.words)}" if field.words else field.kind
            page.say(f"{test.id}.{field.name} ({what}{', optional' if field.optional else ''}): {field.ask}", 2, "- ")
    sys.stdout.write(page.text())
    return 0
