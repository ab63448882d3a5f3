"""How far the handbook can be trusted: agreement and calibration, measured when it is built."""

from __future__ import annotations

from typing import Any

from rousewort.evaluation.agreement import measure
from rousewort.evaluation.calibrate import figures, leave_species_out
from rousewort.evaluation.census import number_census
from rousewort.evaluation.claim_trials import claim_reliability, claim_scores, try_claims
from rousewort.evaluation.readings import rates
from rousewort.knowledge.knowledge_base import KnowledgeBase


def measured(kb: KnowledgeBase) -> dict[str, Any]:
    """All figures of both measurements, some seconds of work on all cores."""
    agreed, left_out, alone = measure(kb)
    trials = try_claims(kb)
    return {
        "claim_scores": claim_scores(trials),
        "claim_reliability": claim_reliability(trials),
        "census": number_census(kb),
        "agreement": agreed,
        "calibration": figures(leave_species_out(kb)),
        "undisputed": _undisputed(left_out),
        "claims": len(left_out),
        "alone": len(alone),
        "readings": rates(kb.store.shared("readings")),
    }


def _undisputed(judged: list[Any]) -> tuple[float, int]:
    """Claims that no other source of the species disputes: with how many of them the plan agrees."""
    of = [
        item.gives[what] if wanted else 1 - item.gives[what]
        for item in judged
        for what, wanted in item.claim.give.items()
        if (not wanted) not in item.others.get(what, ())
    ]
    return sum(of), len(of)
