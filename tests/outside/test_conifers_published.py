"""Plans against a published table that no entry draws its lengths from.

Source: Dumroese RK, Landis TD, Wenny DL 1998, Raising forest tree seedlings at home, University of Idaho and USDA Forest
Service, appendix 6.1; read (tests/outside/data/conifers/SOURCE.md).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from rousewort.evaluation.agreement import lengths
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.plan import Plan, Planner

ROWS = list(csv.DictReader((Path(__file__).parent / "data/conifers/conifers.csv").open(encoding="utf-8")))


@pytest.fixture(scope="module")
def plans() -> list[tuple[dict, Plan]]:
    planner = Planner(load(), "plain")
    return [(row, planner.plan(" ".join(row["name"].split()[:2]))) for row in ROWS]


def cold(plan: Plan) -> tuple[float, float, float] | None:
    for step in plan.steps:
        if step.kind == "cold_moist":
            days = step.amounts["days"]
            return days.low, days.use, days.high
    return None


def test_conifers_that_the_table_chills_are_chilled(plans: list[tuple[dict, Plan]]) -> None:
    chilled = [(row, plan) for row, plan in plans if int(row["high"]) > 0]
    agree = [row["name"] for row, plan in chilled if cold(plan)]
    print(f"chilled: {len(agree)} of {len(chilled)}; missed: {[r['name'] for r, p in chilled if not cold(p)]}")
    assert len(chilled) >= 20
    assert len(agree) >= 0.85 * len(chilled)


def test_lengths_for_conifers_overlap_the_table_in_most(plans: list[tuple[dict, Plan]]) -> None:
    pairs = [(cold(plan), (int(row["low"]), int(row["high"]))) for row, plan in plans if int(row["high"]) > 0]
    made = lengths(pairs)
    print(made)
    assert made.overlap >= 0.5 * made.tried
