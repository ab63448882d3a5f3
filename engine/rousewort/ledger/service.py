"""What the command line and the bench pages both do with the ledger, decided once."""

from __future__ import annotations

from typing import Any

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.ledger.due import Diary
from rousewort.ledger.results import keep_expected
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import plan_json


def diary_of(kb: KnowledgeBase) -> Diary:
    return Diary(kb.vocabulary.calendar, kb.vocabulary.files["bench"])


def plan_to_keep(kb: KnowledgeBase, name: str | Match, grower: Any = None, engine: str | None = None) -> dict[str, Any]:
    """The plan of a plant as JSON, with what is published on its germination. Raises UserError where it has no steps."""
    planner = Planner(kb, engine)
    plan = planner.plan(name, grower) if isinstance(name, str) else planner.plan_for(name, grower)
    if not plan.steps:
        advice = "\n".join(plan.advice)
        raise UserError(
            f"There is no bench plan for {plan.match.name} to start a batch on (outcome: {plan.outcome}).\n{advice}"
        )
    return keep_expected(plan_json(plan), kb.taxon(plan.match.name) if plan.match.name else None)
