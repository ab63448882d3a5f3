"""Every result that a reader's choices can lead to, worked out at build: the page only looks them up and adds days.

One run of the rules serves them all. The choices are the things that some offer for this species takes; a number, one bit a
thing in that order, says which of them the reader has or allows, and the table says which result that leads to.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any, NamedTuple

from rousewort.choose import choose
from rousewort.grower import Grower
from rousewort.handbook.views import BARS
from rousewort.plan import Plan, Planner
from rousewort.render.plan_json import plan_json
from rousewort.schedule import schedule

# Any day will do: only days between steps are kept, and only of plans without a step that waits for its season.
SOME_DAY = date(2027, 1, 1)


class Result(NamedTuple):
    """One distinct result: the plan's JSON without what the page does not change, and its days from the beginning."""

    plan: dict[str, Any]
    days: list[dict[str, Any]] | None


class Settings(NamedTuple):
    """`needs`: words of equipment.yaml. `usual`: the number of the default choice. `table`: choice → place in `results`."""

    needs: tuple[str, ...]
    usual: int
    table: tuple[int, ...]
    results: tuple[Result, ...]


def growers(planner: Planner, needs: tuple[str, ...]) -> Iterator[Grower]:
    """One grower for each choice, in the order of the table: bit i set means `needs[i]` is had, or allowed."""
    equipment = planner.kb.vocabulary.files["equipment"]
    usual = planner.usual_grower
    for number in range(2 ** len(needs)):
        had = {need for bit, need in enumerate(needs) if number >> bit & 1}
        allowed = frozenset(need for need in had if equipment[need].get("permission"))
        yield usual._replace(has=frozenset((usual.has - set(needs)) | (had - allowed)), allows=allowed)


def settings(planner: Planner, plan: Plan) -> Settings:
    """The choices of one species and where each leads. Nothing is reasoned here that the planner does not reason."""
    kb = planner.kb
    offered = {need for offer in plan.findings.offers for need in kb.treatments[offer.kind]["needs"]}
    needs = tuple(word for word in kb.vocabulary.files["equipment"] if word in offered)
    places: dict[tuple, int] = {}
    table: list[int] = []
    results: list[Result] = []
    usual = planner.usual_grower
    for grower in growers(planner, needs):
        sequence = choose(plan.findings, grower, kb.treatments, kb.vocabulary)
        key = (sequence.shape(), tuple(sequence.unmet_optional))
        if key not in places:
            places[key] = len(results)
            results.append(_result(planner, planner.plan_for(plan.match, grower)))
        table.append(places[key])
    number = sum(1 << bit for bit, need in enumerate(needs) if need in usual.has)
    return Settings(needs, number, tuple(table), tuple(results))


def _result(planner: Planner, plan: Plan) -> Result:
    data = plan_json(plan)
    kept = {key: data[key] for key in ("outcome", "steps", "unmet", "advice")}
    if not plan.steps or any(step.kind == "outdoor_winter" for step in plan.steps):
        return Result(kept, None)
    dated = schedule(plan, planner.kb.vocabulary.files["calendar"], start=SOME_DAY)
    rows = []
    for step in dated.steps:
        last = dated.seedlings if step.kind == "sow" else None
        planned = last.planned if last else step.planned
        rows.append(
            {"label": step.label, "colour": BARS.get(step.kind, "mark"), "start": _from(step.start), "end": _from(planned),
             "low": _from(last.earliest if last else step.earliest), "high": _from(last.latest if last else step.latest)}
        )  # fmt: skip
    return Result(kept, rows)


def _from(day: Any) -> int | None:
    return None if day is None else (day - SOME_DAY) // timedelta(days=1)
