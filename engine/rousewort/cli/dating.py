"""The options by which a grower says which plans to date and from when, shared by calendar and labels."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from rousewort.base.atomic_write import read_text
from rousewort.base.errors import Problem, UserError
from rousewort.cli.grower_options import add_grower_arguments, add_repeatable, grower_from
from rousewort.cli.naming import add_place_arguments, match_named
from rousewort.cli.progress import progress_bar
from rousewort.cli.settings import SOUTH, settings
from rousewort.planning.plan import FORMAT, READABLE, Planner
from rousewort.schedule.dating import schedule
from rousewort.schedule.model import BenchCalendar

if TYPE_CHECKING:
    from rousewort.knowledge.knowledge_base import KnowledgeBase
    from rousewort.planning.plan import Plan
    from rousewort.schedule.model import BenchCalendar


def add_dating_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("names", nargs="*", metavar="NAME", help="a plant; put a name of two words in quotes")
    add_place_arguments(parser)
    add_repeatable(parser, "--plan", "FILE", "a stored plan (JSON) instead of a name")
    group = parser.add_argument_group("dates (YYYY-MM-DD, or today)")
    group.add_argument("--start", metavar="DATE", help="the first step begins")
    group.add_argument("--wanted", metavar="DATE", help="seedlings are wanted")
    group.add_argument("--last-frost", metavar="DATE", help="no seedling is to show before")
    add_repeatable(group, "--ended", "STEP=DATE", "a step of a begun batch ended, early or late; the rest moves")
    group.add_argument("--past", action="store_true", help="let the dates be past")
    add_south(group)
    add_repeatable(parser, "--lot", "LOT", "your word for the lot, once for each plant, in their order")
    add_grower_arguments(parser)


def add_south(parser: argparse._ActionsContainer) -> None:
    """`--south`, `--no-south`; neither: as `rousewort config` has it (`is_south`)."""
    parser.add_argument(
        "--south", action=argparse.BooleanOptionalAction, help="seasons of the southern half of the Earth"
    )


def is_south(arguments: argparse.Namespace) -> bool:
    return settings().hemisphere == SOUTH if arguments.south is None else bool(arguments.south)


def parse_day(option: str, text: str | None) -> date | None:
    """A date as ISO 8601 writes it; `today`."""
    if text is None:
        return None
    if text.strip().lower() == "today":
        return date.today()
    try:
        if len(text.strip()) != 10:
            raise ValueError
        return date.fromisoformat(text.strip())
    except ValueError:
        raise UserError(f"{option} {text}: write a day of the calendar as YYYY-MM-DD, e.g. 2027-03-01.") from None


def calendar_from(arguments: argparse.Namespace, kb: KnowledgeBase) -> tuple[BenchCalendar, list[str]]:
    """The plans asked for, dated, and what is wrong with those that could not be. Raises UserError if none could."""
    problems: list[str | Problem] = []
    plans = _plans(arguments, kb, problems)
    given = _given(arguments, plans, problems)
    if problems:
        raise UserError(*problems)
    habits = kb.vocabulary.calendar
    lots = arguments.lot or [""] * len(plans)
    made, left_out = [], []
    for plan, lot in zip(plans, lots, strict=True):
        try:
            made.append(
                schedule(
                    plan, habits, today=date.today(), past=arguments.past, lot=lot, south=is_south(arguments), **given
                )
            )
        except UserError as trouble:
            left_out += [str(problem) for problem in trouble.problems]
    left_out = list(dict.fromkeys(left_out))
    if not made:
        raise UserError(*left_out)
    return BenchCalendar(tuple(made)), left_out


def _plans(
    arguments: argparse.Namespace, kb: KnowledgeBase, problems: list[str | Problem]
) -> list[Plan | Mapping[str, Any]]:
    grower = grower_from(arguments, kb.vocabulary, list(kb.treatments))
    planner = Planner(kb, arguments.engine)
    plans: list[Plan | Mapping[str, Any]] = []
    with progress_bar(len(arguments.names)) as progress:
        for done, name in enumerate(arguments.names, 1):
            try:
                plans.append(planner.plan_for(match_named(kb, [name], arguments), grower))
            except UserError as trouble:
                problems += [str(problem) for problem in trouble.problems]
            progress("plans", done)
    if problems and len(arguments.names) > 1 and any(" " not in name for name in arguments.names):
        problems.append("Put a name of two words in quotes: 'Cercis canadensis'.")
    for path in arguments.plan:
        try:
            plans.append(stored_plan(path))
        except UserError as trouble:
            problems += [str(problem) for problem in trouble.problems]
    if not plans and not problems:
        problems.append("Name a plant, or give a stored plan with --plan FILE.")
    return plans


def stored_plan(path: str) -> Mapping[str, Any]:
    """A plan that `rousewort plan --json` wrote, from a file or from standard input (`-`)."""
    try:
        text = sys.stdin.read() if path == "-" else read_text(path)
        plan = json.loads(text)
    except OSError as error:
        raise UserError(f"{path} cannot be read: {error.strerror}.") from error
    except ValueError as error:
        raise UserError(f"{path} holds no plan: it is no JSON ({error}).") from error
    if not isinstance(plan, dict) or plan.get("format") not in READABLE:
        raise UserError(f"{path} holds no plan of the form {FORMAT}. Make one with: rousewort plan NAME --json > FILE")
    return plan


def _given(arguments: argparse.Namespace, plans: list[Any], problems: list[str | Problem]) -> dict[str, Any]:
    """The dates given; every problem with them is added to `problems`."""
    given: dict[str, Any] = {}
    for option in ("start", "wanted", "last_frost"):
        try:
            given[option] = parse_day("--" + option.replace("_", "-"), getattr(arguments, option))
        except UserError as trouble:
            problems += trouble.problems
    ended = {}
    for item in arguments.ended:
        step, sign, day = item.partition("=")
        try:
            if not sign:
                raise UserError(f"--ended {item}: write STEP=DATE, e.g. cold_moist-1=2027-02-01.")
            ended[step.strip()] = parse_day(f"--ended {step.strip()}", day)
        except UserError as trouble:
            problems += trouble.problems
    given["ended"] = ended or None
    if ended and len(plans) > 1:
        problems.append("--ended speaks of one batch: name one plant with it.")
    if ended and not problems:
        arguments.past = True  # what has ended began in the past
    if arguments.lot and len(arguments.lot) != len(plans):
        problems.append(
            f"{len(arguments.lot)} lots are given for {len(plans)} plants: give --lot once for each, in their order."
        )
    names = [plan["taxon"]["name"] if isinstance(plan, dict) else plan.match.name for plan in plans]
    pairs = list(zip(names, arguments.lot or [""] * len(names), strict=False))
    for name, lot in dict.fromkeys(pair for pair in pairs if pairs.count(pair) > 1):
        problems.append(f"{name} is there twice{f' for the lot {lot}' if lot else ''}: give each its own --lot.")
    return given
