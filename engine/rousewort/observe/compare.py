"""How far plans differ: the share of them (steps, lengths, depth and light of sowing, by WEIGHT) that they do not have in common."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rousewort.planning.plan import Plan

Parts = frozenset[tuple[Any, ...]]
# What a difference counts: a step more or less, its length, light and depth of sowing.
WEIGHT = {"step": 1.0, "length": 0.3, "light": 0.3, "depth": 0.1, "never": 0.3, "outcome": 2.0}


def parts_of(plan: Plan, first: str, never: bool) -> Parts:
    """A plan as far as two plans can differ: its steps, their lengths, how it is sown; with `never`, what it must
    not get. `first`: the kind of step with which every plan begins."""
    parts = set()
    for step in plan.steps:
        if step.kind != first:
            parts |= {("step", step.kind), ("length", step.kind, *((u, a.use) for u, a in step.amounts.items()))}
        if step.sowing:
            parts |= {("light", step.sowing["light"]), ("depth", str(step.sowing["depth_mm"]))}
    parts |= {("never", item["kind"]) for item in plan.ruled_out if never}
    parts |= {("outcome", plan.outcome)} if plan.outcome != "plan" else set()
    return frozenset(parts)


def apart(one: Parts, other: Parts) -> float:
    """How far two plans differ: 0 alike, 1 nothing in common."""
    both, either = (sum(WEIGHT[part[0]] for part in parts) for parts in (one & other, one | other))
    return 1 - both / either if either else 0.0


class Compared:
    """Plans under numbers, each once, with how far any two are apart: a few hundred, compared for every question."""

    def __init__(self) -> None:
        self._numbers: dict[Parts, int] = {}
        self._apart: list[list[float]] = []

    def number(self, parts: Parts) -> int:
        if parts not in self._numbers:
            far = [apart(parts, other) for other in self._numbers]
            for row, value in zip(self._apart, far, strict=True):
                row.append(value)
            self._numbers[parts] = len(self._apart)
            self._apart.append([*far, 0.0])
        return self._numbers[parts]

    def spread(self, cases: Iterable[tuple[float, int]]) -> float:
        """Weighed distance of the plan that is nearest to all, from all. `cases`: weight and number of a plan."""
        weight: dict[int, float] = {}
        for p, number in cases:
            weight[number] = weight.get(number, 0.0) + p
        if len(weight) < 2:
            return 0.0
        rows = (self._apart[mine] for mine in weight)
        return min(sum(p * row[number] for number, p in weight.items()) for row in rows)
