"""What every genus of seed plants is told: steps, or what to observe next, and nothing that its seed could not survive.

A species that nobody entered is planned in each genus of kb/tables/genus_family.csv. Counted are the answers, and what must
not stand in one (`HARMS`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from rousewort.base.parallel import map_on_cores
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.planning.plan import Plan, Planner

HARMS = {
    "no_answer": "neither steps nor what to do next",
    "borrowed_wound": "an irreversible step on all of the seed that nothing of its genus speaks for",
    "winter_for_the_tropics": "a winter for a plant of which only homes without one are known",
    "opened_dry": "a coat opened on seed that dies when dry",
}
EPITHET = "nescia"  # of a species that no one has named


def every_genus(kb: KnowledgeBase) -> list[str]:
    return sorted(kb.store.shared("genus_family"))


def try_genera(kb: KnowledgeBase, genera: Sequence[str], engine: str = "plain") -> dict[str, Any]:
    """{"genera", "outcomes": outcome → how many, "harms": harm → genera}, over plans of an unknown species in each."""
    outcomes: Counter[str] = Counter()
    harms: dict[str, list[str]] = {harm: [] for harm in HARMS}
    answers = map_on_cores(Planner, (kb, engine), _answer, genera)
    for genus, (outcome, found) in zip(genera, answers, strict=True):
        outcomes[outcome] += 1
        for harm in found:
            harms[harm].append(genus)
    return {"genera": len(genera), "outcomes": dict(sorted(outcomes.items())), "harms": harms}


def _answer(planner: Planner, genus: str) -> tuple[str, list[str]]:
    name = f"{genus} {EPITHET}"
    match = Match(name, name, "genus", genus=genus, family=planner.kb.genus_family(genus))
    plan = planner.plan_for(match)
    return plan.outcome, list(harms_in(planner.kb, plan))


def harms_in(kb: KnowledgeBase, plan: Plan) -> Iterator[str]:
    """What must not stand in a plan that rests on kin alone."""
    vocabulary, facts = kb.vocabulary, plan.facts
    if not plan.steps and not plan.advice:
        yield "no_answer"
    given = [step for step in plan.steps if not step.optional]
    cuts = [step for step in given if kb.treatments[step.kind].get("irreversible")]
    if not _spoken_for(kb, plan, [step.kind for step in cuts if not step.only_if]):
        yield "borrowed_wound"
    homes = {known.word for known in facts.of(vocabulary.climate_key)}
    wintry = {
        word for home in vocabulary.files["claims"]["homes"].values() if home.get("winter") for word in home["words"]
    }
    if homes and not homes & wintry and any(_wintry(kb, step.kind) for step in given):
        yield "winter_for_the_tropics"
    dries = {known.word for known in facts.of(vocabulary.drying_key)}
    if dries & vocabulary.never_dried and any(vocabulary.kinds.group(step.kind) == "coat" for step in cuts):
        yield "opened_dry"


def _spoken_for(kb: KnowledgeBase, plan: Plan, kinds: Iterable[str]) -> bool:
    """Whether the genus, or the table's species of it, is known to be of a class or a report that bears such a step."""
    facts, wanted = plan.facts, set(kinds)
    if not wanted:
        return True
    keys = {key for key, response in kb.vocabulary.responses.items() if wanted & set(response["kinds"])}
    return any(known.basis != "family" for key in (*keys, kb.vocabulary.class_key) for known in facts.of(key))


def _wintry(kb: KnowledgeBase, kind: str) -> bool:
    """Whether a treatment is not lent to plants of homes without a winter."""
    climate = kb.vocabulary.climate_key
    return any(kind in r["kinds"] and climate in r.get("never_with", {}) for r in kb.vocabulary.responses.values())
