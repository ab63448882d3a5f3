"""How a plant is named on the command line: one name; its place where it has no entry; a choice where it is several."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.planning.plan import NoSingleMatch


def add_place_arguments(parser: argparse._ActionsContainer) -> None:
    """Where a plant belongs that has no entry."""
    parser.add_argument("--family", metavar="FAMILY", help="its family, where neither it nor its genus is known here")
    parser.add_argument("--genus", metavar="RELATIVE", help="its genus, or a near relative, to plan from")


def match_named(kb: KnowledgeBase, words: Sequence[str], arguments: argparse.Namespace) -> Match:
    """The plant that the words name. On a terminal a name of several plants, or of none, is asked about.

    Raises UserError for two plants at once, and NoSingleMatch where nobody can be asked.
    """
    name = one_name(kb, words)
    match = kb.lookup(name)
    family, genus = getattr(arguments, "family", None), getattr(arguments, "genus", None)
    if family or genus:
        return placed(kb, match, family, genus)
    if match.name is None and can_ask(arguments):
        return _choose(kb, match) if match.candidates else _place(kb, match)
    if match.name is None:
        raise NoSingleMatch(match)
    return match


def one_name(kb: KnowledgeBase, words: Sequence[str]) -> str:
    """One name from the words of a command: `Acer rubrum` without quotes is one, 'Acer rubrum' 'Quercus alba' are two.

    What stands in quotes with a space in it is a plant of its own, unless it is none: Cercis canadensis 'Forest Pansy'.
    """
    joined = " ".join(words)
    if len(words) == 1 or kb.store.named(joined.casefold()):
        return joined
    alone = [word for word in words if word.strip() and kb.lookup(word).matched_by != "none"]
    quoted = [word for word in words if " " in word.strip()]
    if len(quoted) > 1 or (len(alone) > 1 and len({kb.lookup(word).name for word in alone}) > 1):
        named = quoted if len(quoted) > 1 else alone
        raise UserError(
            f"Several plants are named: {', '.join(named)}. Name one here, in quotes; `rousewort calendar` takes several."
        )
    return joined


def placed(kb: KnowledgeBase, match: Match, family: str | None, genus: str | None) -> Match:
    """A name with the place that the grower gives it. Raises UserError for a place that does not exist, or is another's."""
    family = family.strip().capitalize() if family else None
    if family and not kb.is_family(family):
        raise UserError(f"--family {family}: no family of seed plants is called so. It ends in -aceae, e.g. Fabaceae.")
    relative = kb.lookup(genus) if genus else None
    if relative and not relative.genus:
        raise UserError(
            f"--genus {genus}: no genus or plant is known by that name. Give its family: --family Fabaceae."
        )
    there = relative.family if relative else None
    if family and there and there != family:
        raise UserError(f"{relative.genus if relative else ''} stands in {there}, not in {family}. Leave --family out.")
    family = family or there
    if match.name and match.family and family != match.family:
        raise UserError(f"{match.name} stands in {match.family} here, not in {family}. Leave --family and --genus out.")
    if match.name and match.matched_by not in ("genus", "family"):
        return match
    name = match.name or " ".join(match.query.split())
    own = name.split()[0].capitalize() if " " in name else None
    if relative:
        said = f"Planned from {relative.genus}, as you said."
        return Match(match.query, name, "genus", genus=relative.genus, family=family, aside=(*match.aside, said))
    return match if match.name else Match(match.query, name, "family", genus=own, family=family)


def can_ask(arguments: argparse.Namespace) -> bool:
    return not getattr(arguments, "json", False) and sys.stdin.isatty() and sys.stderr.isatty()


def ask(text: str) -> str:
    print(text, end="", file=sys.stderr, flush=True)
    try:
        return input().strip()
    except EOFError:
        return ""


def _choose(kb: KnowledgeBase, match: Match) -> Match:
    """A numbered choice; Enter alone ends it."""
    print(NoSingleMatch(match), file=sys.stderr)
    for _ in range(3):
        answer = ask(f"Which, 1 to {len(match.candidates)}? (Enter: none of them) ")
        if not answer:
            return _place(kb, match) if match.matched_by == "none" else _none(match)
        if answer.isdecimal() and 0 < int(answer) <= len(match.candidates):
            return kb.lookup(match.candidates[int(answer) - 1])._replace(query=match.query)
    return _none(match)


def _place(kb: KnowledgeBase, match: Match) -> Match:
    """A plant not known here: its family or a relative gives a plan, else what is seen does."""
    print(f"No plant called '{match.query}' is known here. If it is spelt as on the packet:", file=sys.stderr)
    answer = ask("its genus, its family or a near relative? (Enter: not known) ")
    if not answer:
        return _none(match)
    if kb.is_family(answer.capitalize()):
        return placed(kb, match, answer, None)
    return placed(kb, match, None, answer)


def _none(match: Match) -> Match:
    raise NoSingleMatch(match)
