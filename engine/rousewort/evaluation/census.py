"""On what the numbers that decide plans rest: how near, and how they are held."""

from __future__ import annotations

from collections import Counter
from typing import Any

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.summary import HELD_WEIGHT
from rousewort.planning.plan import Planner

NEAR = ("species", "genus")  # grounds that are near enough
FIRM = ("read", "table")  # ways of holding a fact that others can look up


def number_census(kb: KnowledgeBase, engine: str = "plain") -> dict[str, Any]:
    """Of the lengths and strengths of every step that wakes the seed, in the plans of all species.

    Shape: {"numbers": how many, "by": [{"from", "held", "share", "count"}], "near_and_firm": share of those that rest on
    the species or its genus and were read or are from a table}. `held` is the best of what a number rests on.
    """
    planner = Planner(kb, engine)
    counted: Counter[tuple[str, str]] = Counter()
    for name in kb.names():
        for step in planner.plan(name).steps:
            if not kb.vocabulary.kinds.wakes(step.kind):
                continue
            for amount in step.amounts.values():
                held = [str(source.get("held", "practice")) for source in amount.sources] or ["practice"]
                best = max(held, key=lambda word: HELD_WEIGHT.get(word, 0.0))
                counted[amount.basis, best] += 1
    total = counted.total()
    near = sum(n for (ground, held), n in counted.items() if ground in NEAR and held in FIRM)
    rows = [
        {"from": ground, "held": held, "count": n, "share": round(n / total, 3)}
        for (ground, held), n in sorted(counted.items(), key=lambda item: (-item[1], item[0]))
    ]
    return {"numbers": total, "by": rows, "near_and_firm": round(near / total, 3) if total else 0.0}
