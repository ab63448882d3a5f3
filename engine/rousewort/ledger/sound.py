"""Whether a stored plan can be worked with: everything that dating, pages, labels and results read of it.

Plans that Rousewort made are sound; one that came with an import, or out of a damaged file, may be anything. The JSON
Schema of a plan says what others may rely on; this says, quickly and without a library, what would break a ledger.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from rousewort.base.errors import UserError
from rousewort.planning.plan import READABLE, Plan

DEEPEST = 40  # levels of a plan's JSON
MOST_STEPS = 60
LONGEST = {"days": 3660, "hours": 24 * 366, "minutes": 60 * 24 * 31}
_TEXTS = ("medium", "until", "success")
_LISTS = ("removes", "do", "watch", "cautions")


def refuse_unfit(plan: Plan) -> None:
    """Raises UserError for a plan that no batch can be begun on: none, or the nearest to one that is out of reach."""
    if not plan.steps or plan.outcome == "unreachable":
        raise UserError(
            f"There is no bench plan for {plan.match.name} to start a batch on (outcome: {plan.outcome}).",
            "\n".join(plan.advice),
        )


def plan_faults(plan: Any) -> list[str]:
    """What keeps a plan (JSON) from being worked with; nothing where it is sound."""
    if not isinstance(plan, Mapping):
        return ["its plan is no plan at all"]
    if plan.get("format") not in READABLE:
        return [f"its plan has the format {plan.get('format')!r}; {', '.join(READABLE)} can be read here"]
    if _deeper(plan, DEEPEST):
        return [f"its plan is nested more than {DEEPEST} deep"]
    return list(_faults(plan))


def _faults(plan: Mapping[str, Any]) -> Iterator[str]:
    taxon = plan.get("taxon")
    if not isinstance(taxon, Mapping) or not isinstance(taxon.get("name"), str | None) or "name" not in taxon:
        yield "its plan does not say of which plant it is (taxon)"
    elif not isinstance(plan.get("query"), str) or not (taxon["name"] or plan["query"]).strip():
        yield "its plan does not say what was asked for (query)"
    if not isinstance(plan.get("outcome"), str):
        yield "its plan does not say how it ends (outcome)"
    if not _words(plan.get("cautions", [])):
        yield "the cautions of its plan are no list of text"
    if not isinstance(plan.get("alternatives", []), list) or not isinstance(plan.get("sources", []), list):
        yield "the alternatives or sources of its plan are no list"
    if not _expected(plan.get("expected_germination")):
        yield "what its plan expects of germination cannot be read (expected_germination)"
    steps = plan.get("steps")
    if not isinstance(steps, list) or len(steps) > MOST_STEPS:
        yield f"the steps of its plan are no list of at most {MOST_STEPS}"
        return
    seen: set[str] = set()
    for turn, step in enumerate(steps, 1):
        faults = list(_step_faults(step))
        yield from (f"step {turn} of its plan: {fault}" for fault in faults)
        if not faults and (step["id"] in seen or seen.add(step["id"])):  # type: ignore[func-returns-value]  # adds, and is never true
            yield f"step {turn} of its plan: the id '{step['id']}' stands twice"


def _step_faults(step: Any) -> Iterator[str]:
    if not isinstance(step, Mapping):
        yield "no step at all"
        return
    for key in ("id", "kind", "label"):
        if not isinstance(step.get(key), str) or not step[key].strip():
            yield f"{key} is missing"
    for key in _TEXTS:
        if not isinstance(step.get(key), str | None):
            yield f"{key} is no text"
    for key in _LISTS:
        if not _words(step.get(key, [])):
            yield f"{key} is no list of text"
    for unit, most in LONGEST.items():
        if not _span(step.get(unit), 0, most, whole=unit == "days"):
            yield f"{unit} are no range from 0 to {most}"
    if not _span(step.get("temperature_c"), -200, 1000, pairs=True):
        yield "the temperature is no range"
    sowing = step.get("sowing")
    if not isinstance(sowing, Mapping | None):
        yield "sowing cannot be read"
    elif sowing:
        days = sowing.get("expect_days")
        if days and not (
            _span({**days, "use": None}, 0, LONGEST["days"], whole=True)
            and None not in (days.get("low"), days.get("high"))
        ):
            yield "the days to seedlings are no range"
        if not isinstance(sowing.get("give_up", ""), str | None):
            yield "when to give up is no text"


def _words(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(text, str) for text in value)


def _number(value: Any, low: float, high: float, whole: bool) -> bool:
    kinds = int if whole else (int, float)
    return isinstance(value, kinds) and not isinstance(value, bool) and math.isfinite(value) and low <= value <= high


def _span(told: Any, low: float, high: float, *, whole: bool = False, pairs: bool = False) -> bool:
    """Nothing, or low, use and high within bounds and in order; open ends are null. `pairs`: use may be a day and a night."""
    if told is None:
        return True
    if not isinstance(told, Mapping) or not {"low", "use", "high"} <= set(told):
        return False
    use = told["use"]
    if pairs and isinstance(use, Mapping):
        return all(_number(use.get(part), low, high, whole) for part in ("day", "night"))
    ends = [end for end in (told["low"], use, told["high"]) if end is not None]
    return all(_number(end, low, high, whole) for end in ends) and ends == sorted(ends)


def _expected(told: Any) -> bool:
    if told is None:
        return True
    return (
        isinstance(told, Mapping)
        and (told.get("share") is None or _number(told["share"], 0, 1, False))
        and "share" in told
        and isinstance(told.get("said_by"), str)
        and _words(told.get("sources"))
    )


def _deeper(value: Any, levels: int) -> bool:
    """Whether JSON is nested deeper than that; looked at level by level, so that no depth can exhaust the machine."""
    level = [value]
    for _ in range(levels):
        level = [
            inner
            for item in level
            if isinstance(item, dict | list)
            for inner in (item.values() if isinstance(item, dict) else item)
        ]
        if not level:
            return False
    return True
