"""The options by which a grower says what they have, shared by the commands that make plans."""

from __future__ import annotations

import argparse

from rousewort.base.errors import UserError
from rousewort.cli.settings import Settings, settings
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.grower import Grower, make_grower


def add_repeatable(parser: argparse._ActionsContainer, option: str, metavar: str, text: str) -> None:
    """An option that may be given several times; its value is a list, empty if it is not given."""
    parser.add_argument(option, action="append", default=[], metavar=metavar, help=text)


def add_grower_arguments(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("what you have, and what the lot has had")
    add_repeatable(group, "--have", "THING", "equipment beyond the usual: smoke, gibberellic_acid, nitrate …")
    add_repeatable(
        group, "--without", "THING", "usual equipment that you lack: fridge, warm_place, blade, outdoor_bed …"
    )
    add_repeatable(group, "--allow", "THING", "dangerous means that you are trained and equipped for: acid")
    group.add_argument("--seeds", type=int, metavar="N", help="how many seeds the lot has")
    add_repeatable(group, "--had", "KIND=DAYS", "treatment already given, e.g. cold_moist=30")
    group.add_argument("--stored", metavar="HOW", help="fresh, dry, moist or frozen")
    group.add_argument("--provenance", metavar="WHERE", help="mild_winter or cold_winter")
    group.add_argument("--dried-since", action="store_true", help="the seed dried after a moist treatment")
    group.add_argument("--cleaned", action="store_true", help="pulp is off already")
    # One plan and out: to load durable_rules would cost a tenth of the time. On every plan of every species the two agree
    # (tests/rules/test_engines_agree.py, whole in CI).
    parser.add_argument("--engine", choices=["durable_rules", "plain"], default="plain", help=argparse.SUPPRESS)


def set_for_all(usual: Settings) -> list[str]:
    """What `rousewort config` adds to a plan unseen, in words, so that it is seen."""
    things = [f"with {word}" for word in usual.have] + [f"without {word}" for word in usual.without]
    return [f"As `rousewort config` has it: {', '.join(things).replace('_', ' ')}."] if things else []


def split_words(values: list[str]) -> list[str]:
    """`--have a,b --have c` → [a, b, c], with hyphens read as underscores."""
    return [word.strip().replace("-", "_") for value in values for word in value.split(",") if word.strip()]


def grower_from(arguments: argparse.Namespace, vocabulary: Vocabulary, kinds: list[str]) -> Grower:
    """Raises UserError for words that are not known or contradict each other."""
    had: dict[str, int] = {}
    for item in arguments.had:
        kind, _, days = item.partition("=")
        kind = kind.strip().replace("-", "_")
        if kind not in kinds:
            raise UserError(f"--had {item}: '{kind}' is no treatment. Known: {', '.join(sorted(kinds))}.")
        if not days.strip().isdigit():
            raise UserError(f"--had {item}: write the days as a number, e.g. {kind}=30.")
        had[kind] = int(days)
    have, without = split_words(arguments.have), split_words(arguments.without)
    usual = settings()
    return make_grower(
        vocabulary,
        have=[*have, *(word for word in usual.have if word not in without)],
        without=[*without, *(word for word in usual.without if word not in have)],
        allow=split_words(arguments.allow),
        seeds=arguments.seeds,
        had=had,
        stored=arguments.stored,
        provenance=arguments.provenance and arguments.provenance.replace("-", "_"),
        dried_since=arguments.dried_since,
        cleaned=arguments.cleaned,
    )
