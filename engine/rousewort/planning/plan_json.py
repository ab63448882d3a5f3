"""A plan as JSON in the form `rousewort-plan-2` (kb/schema/plan.schema.yaml). Decides nothing.

Keys of the form that nothing eligible is known for are null.
"""

from __future__ import annotations

import json
from typing import Any

from rousewort.planning.plan import FORMAT, Plan
from rousewort.planning.steps import Step


def step_json(step: Step) -> dict[str, Any]:
    """One step; amounts as {low, use, high, from}, sowing details beside them on the last step."""
    made: dict[str, Any] = {
        "id": step.id,
        "kind": step.kind,
        "label": step.label,
        "removes": list(step.removes),
        "optional": step.optional,
        "only_if": step.only_if,
        "to_get": list(step.lacks),
        "against": list(step.against),
        "first_look_days": step.first_look,
    }
    made |= {unit: amount.to_json() for unit, amount in step.amounts.items()}
    if step.temperature:
        made["temperature_c"] = step.temperature.to_json()
    if step.medium:
        made["medium"] = step.medium
    if step.sowing:
        made["sowing"] = dict(step.sowing)
    return made | {
        "do": list(step.do),
        "watch": list(step.watch),
        "until": step.until,
        "success": step.success,
        "because": [
            {
                "text": r.text,
                "rule": r.rule,
                "facts": list(r.facts),
                "sources": list(r.sources),
                "evidence": [record.to_json() for record in r.evidence],
            }
            for r in step.because
        ],
        "cautions": list(step.cautions),
    }


def plan_json(plan: Plan) -> dict[str, Any]:
    """The whole plan as plain data."""
    return {
        "format": FORMAT,
        "query": plan.query,
        "outcome": plan.outcome,
        "taxon": _taxon(plan),
        "line": plan.line,
        "follows": dict(plan.follows) if plan.follows else None,
        "claims": [claim._asdict() for claim in plan.claims],
        "expect": _expect(plan),
        "others": [dict(other) for other in plan.others] if plan.others else None,
        "basis": dict(plan.basis),
        "dormancy": dict(plan.dormancy),
        "steps": [step_json(step) for step in plan.steps],
        "alternatives": [
            {
                "when": {key: list(words) for key, words in alternative.when.items()},
                "text": alternative.text,
                "steps": [step_json(step) for step in alternative.steps],
                "unmet": list(alternative.unmet),
            }
            for alternative in plan.alternatives
        ],
        "ruled_out": [dict(item) for item in plan.ruled_out],
        "unmet": [dict(item) for item in plan.unmet],
        "cautions": list(plan.cautions),
        "advice": list(plan.advice),
        "splits": [dict(item) for item in plan.splits],
        "unknowns": list(plan.unknowns),
        "sources": [dict(source) for source in plan.sources],
    }


def _expect(plan: Plan) -> dict[str, Any] | None:
    """What came of the protocol that is followed; else when seedlings come, of the class at large, and no share."""
    sowing = plan.steps[-1].sowing if plan.steps else None
    usual = (
        {"germinated_pct": None, "untreated_pct": None, "days": sowing["expect_days"], "from": "class"}
        if sowing
        else None
    )
    if plan.expect is None:
        return usual
    days = plan.expect["days"] or (usual["days"] if usual else None)
    return {**plan.expect, "days": days, "days_from": "species" if plan.expect["days"] else "class"}


def _taxon(plan: Plan) -> dict[str, Any]:
    """What the name was taken for; `aside`, how it was read, and `candidates`, what it may mean, where there are any."""
    match = plan.match
    taxon: dict[str, Any] = {"name": match.name, "family": plan.family, "matched_by": match.matched_by}
    if match.aside:
        taxon["aside"] = list(match.aside)
    if match.candidates:
        taxon["candidates"] = list(match.candidates)
    return taxon


def to_text(plan: Plan) -> str:
    return json.dumps(plan_json(plan), ensure_ascii=False, indent=2)
