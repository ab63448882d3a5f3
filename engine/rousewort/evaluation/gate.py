"""The gate: every plan, for every kind of grower and lot, held against the species' own entry before anything is released.

A complaint is a plan that does what its own evidence speaks against without saying so, or a page that says two things. Each is told
once a species and law, with the settings under which it stands.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from rousewort.base.parallel import map_on_cores
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.follow import counts as counts_as_step
from rousewort.planning.follow import heats, in_some_lots
from rousewort.planning.grower import Grower, make_grower
from rousewort.planning.own_evidence import Own, own
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.protocols import sprouted
from rousewort.planning.steps import Step

LOT_SIZES = (1, 15, 60, 5000)
DAYS_HAD = (30, 500)
# A share of the lot, as steps and reasons name it.
SHARE = re.compile(r"\b(?:a|sow|chill|treat|leave|keep) (quarter|half)\b")


class Complaint(NamedTuple):
    """A law that a plan breaks, how, and for which growers."""

    species: str
    law: str
    text: str
    settings: tuple[str, ...]


class Page(NamedTuple):
    """What one grower reads: the plan as it stands for the usual grower, and the steps and refusals of this one."""

    kb: KnowledgeBase
    plan: Plan
    own: Own
    steps: tuple[Step, ...]
    refused: frozenset[str]  # kinds that the page says must not be used


def settings(vocabulary: Vocabulary) -> dict[str, Grower]:
    """A grower for each thing that can be had, lacked or allowed, and a lot for each thing that can be said of it; the usual one first."""
    equipment = vocabulary.files["equipment"]
    lots = vocabulary.files["lots"]
    told: dict[str, dict[str, Any]] = {"as usual": {}}
    for word, item in equipment.items():
        how = "without" if item["assumed"] else "allow" if item.get("permission") else "have"
        told[f"{how} {word}"] = {how: [word]}
    assumed = [word for word, item in equipment.items() if item["assumed"]]
    told["without all"] = {"without": assumed}
    told["with all"] = {
        "have": [w for w, item in equipment.items() if not item["assumed"] and not item.get("permission")],
        "allow": [w for w, item in equipment.items() if item.get("permission")],
    }
    told |= {f"{seeds} seeds": {"seeds": seeds} for seeds in LOT_SIZES}
    kinds = vocabulary.kinds.given_before
    told |= {f"had {days} days of {kind}": {"had": {kind: days}} for days in DAYS_HAD for kind in kinds}
    told["had all, dried since"] = {"had": dict.fromkeys(kinds, max(DAYS_HAD)), "dried_since": True}
    told["cleaned"] = {"cleaned": True}
    told |= {f"{part} {word}": {part: word} for part in ("stored", "provenance") for word in lots[part]}
    return {label: make_grower(vocabulary, **how) for label, how in told.items()}


# --- laws: from a page to complaints


def vetoed(page: Page) -> Iterator[str]:
    """No step is asked for that the species' own evidence strikes."""
    for step in page.steps:
        if not step.optional and not step.lacks and page.own.verdict(step.kind).vetoed:
            yield f"{step.kind} is asked for: {'; '.join(page.own.verdict(step.kind).against)}"


def silent(page: Page) -> Iterator[str]:
    """What its own works say against a step stands at the step."""
    for step in page.steps:
        said = page.own.verdict(step.kind).against
        if said and counts_as_step(page.kb, step.kind) and not step.optional and not step.against:
            yield f"{step.kind}: nothing said of {'; '.join(said)}"


def refused_and_used(page: Page) -> Iterator[str]:
    """What must not be used is not in the plan."""
    for step in page.steps:
        if step.kind in page.refused:
            yield f"{step.kind} stands in the plan and among what is not used"


def two_shares(page: Page) -> Iterator[str]:
    """A step names one share of the lot to leave out, not two."""
    for step in page.steps:
        text = " ".join((*step.do, *step.watch, *step.cautions, *(reason.text for reason in step.because))).casefold()
        named = sorted(set(SHARE.findall(text)))
        if len(named) > 1:
            yield f"{step.kind} names {' and '.join(named)} of the lot"


def opposites(page: Page) -> Iterator[str]:
    """No two obstacles are removed of which one is the opposite of the other."""
    removed = {obstacle for step in page.steps for obstacle in step.removes}
    for obstacle in sorted(removed):
        other = page.kb.vocabulary.obstacles[obstacle].get("opposite")
        if other in removed:
            yield f"{obstacle} and {other}"


def unreported_heat(page: Page) -> Iterator[str]:
    """No heat or acid that cannot be undone is asked for unless it is reported for the species or its genus."""
    for step in page.steps:
        cooks = heats(page.kb.treatments[step.kind])
        asked = not step.optional and not in_some_lots(page.kb.vocabulary, step.removes)
        if cooks and asked and not page.own.reported(step.kind, page.plan.facts):
            yield f"{step.kind} is reported neither for the species nor for its genus"


def late_look(page: Page) -> Iterator[str]:
    """The first look is no later than the first sprouting that its own works report in such a step."""
    for step in page.steps:
        first = min(
            (day for course in page.own.courses for day in sprouted(course, step.kind, page.kb.vocabulary)),
            default=None,
        )
        if first is not None and step.first_look is not None and step.first_look > max(1, first):
            yield f"{step.kind}: first look after {step.first_look} days, sprouted by day {first}"


LAWS: tuple[Callable[[Page], Iterator[str]], ...] = (
    vetoed, silent, refused_and_used, two_shares, opposites, unreported_heat, late_look,
)  # fmt: skip


def audit(kb: KnowledgeBase, names: Sequence[str], engine: str | None = None) -> tuple[list[Complaint], int]:
    """(complaints, plans read) of these species under every setting."""
    complaints: list[Complaint] = []
    read = 0
    for told, pages in map_on_cores(_prepared, (kb, engine), _complaints, names):
        complaints += told
        read += pages
    return complaints, read


def _prepared(kb: KnowledgeBase, engine: str | None) -> tuple[Planner, dict[str, Grower]]:
    return Planner(kb, engine), settings(kb.vocabulary)


def _complaints(prepared: tuple[Planner, dict[str, Grower]], name: str) -> tuple[list[Complaint], int]:
    planner, growers = prepared
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    pages = 0
    for label, page in _pages(planner, name, growers):
        pages += 1
        for law in LAWS:
            for text in law(page):
                found[law.__name__, text].append(label)
    return [Complaint(name, law, text, tuple(labels)) for (law, text), labels in found.items()], pages


def _pages(planner: Planner, name: str, growers: Mapping[str, Grower]) -> Iterator[tuple[str, Page]]:
    plan = planner.plan(name)
    variations = planner.variations(plan)
    entry = own(planner.kb, plan.facts.name)
    for label, grower in growers.items():
        done = variations.done(variations.answer(grower), grower)
        if done is not None:
            refused = frozenset(item["kind"] for item in variations.ruled_out(done) if "when" not in item)
            yield label, Page(planner.kb, plan, entry, variations.steps(done, grower), refused)


def counts(complaints: Iterable[Complaint]) -> dict[str, int]:
    """Complaints by law, each law named even where nothing is to complain of."""
    made = {law.__name__: 0 for law in LAWS}
    for complaint in complaints:
        made[complaint.law] += 1
    return made
