"""Dates of a plan: forward from a start, or backward from the day seedlings are wanted or the last frost.

A plan is a Plan or its JSON (`rousewort-plan-2`, or an older form), so that a stored plan can be dated too. Lengths are in days. A step
is planned for its `use`, may be over at its `low` and at the latest at its `high`; whatever comes early or late moves
the steps after it. Steps outside wait for their season (kb/vocabulary/calendar.yaml, here `habits`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from rousewort.base.errors import UserError
from rousewort.planning.plan import READABLE, Plan
from rousewort.schedule.forward import Forward
from rousewort.schedule.model import Missed, OtherWay, Schedule
from rousewort.schedule.seasons import WorkingDays

YEARS = (1900, 2199)  # dates beyond are slips of the pen


def schedule(
    plan: Plan | Mapping[str, Any],
    habits: Mapping[str, Any],
    *,
    start: date | None = None,
    wanted: date | None = None,
    last_frost: date | None = None,
    ended: Mapping[str, date] | None = None,
    sown: date | None = None,
    today: date | None = None,
    past: bool = False,
    lot: str = "",
    south: bool = False,
    working: WorkingDays | None = None,
) -> Schedule:
    """Date a plan by one of three days, and say what can be had instead where that day is out of reach.

    `start`: the first step begins. `wanted`: seedlings are counted on. `last_frost`: no seedling shows before it.
    `habits`: `vocabulary.calendar`. `ended`: for a batch that has begun, the day on which each step really
    ended (empty: none yet); the rest moves, and what should be over but is not goes on until `today`. A step before
    one that has ended is over too, recorded or not. `sown`: of such a batch, the day on which it was sown, in season or
    not. `past`: let the date lie before `today`. Without `today` nothing is out of reach. `lot`: the grower's own word
    for the lot. `south`: of the equator, for steps outside.
    `working`: the days of the week on which steps begin and looks are made; every day, if it is left out.
    Raises UserError for contradictory or impossible dates and for a plan without steps.
    """
    given = {"start": start, "wanted": wanted, "last frost": last_frost}
    dater = Forward(
        _plan_data(plan), habits, ended=ended, sown=sown, today=today, lot=lot, south=south, working=working
    )
    problems = [*_date_problems(given, today, past, ended is not None), *dater.problems()]
    if problems:
        raise UserError(*problems)
    if start is not None:
        return dater.laid(start) if dater.running else _forward(dater, start)
    day, first = (last_frost, True) if wanted is None else (wanted, False)
    assert day is not None  # one of the three is given
    begin = dater.start_before(day, first)
    if today is None or past or begin >= today:
        return _frost_told(dater.laid(begin), last_frost)
    reached = _frost_told(_forward(dater, today), last_frost)
    return replace(reached, missed=_missed(dater, day, first, begin, reached))


def _frost_told(made: Schedule, last_frost: date | None) -> Schedule:
    """Outside, the season decides when seedlings show, not the start: that is said where it may be before the frost."""
    if last_frost is None or made.seedlings is None or made.seedlings.earliest >= last_frost:
        return made
    text = (
        f"Seedlings may show from {made.seedlings.earliest}, before the last frost ({last_frost}): the step outside keeps "
        "its own season. Have a cover at hand."
    )
    return replace(made, notes=(*made.notes, text))


def _date_problems(given: Mapping[str, date | None], today: date | None, past: bool, ended: bool) -> Iterator[str]:
    named = {name: day for name, day in given.items() if day is not None}
    if len(named) != 1:
        said = " and ".join(named) or "none of them"
        yield f"Give one date to reckon from: the start, the day seedlings are wanted, or the last frost; not {said}."
    for name, day in named.items():
        if not YEARS[0] <= day.year <= YEARS[1]:
            yield f"The {name} {day} lies in no year that a bench will see ({YEARS[0]} to {YEARS[1]})."
        elif today and day < today and not past:
            yield f"The {name} {day} is past: today is {today}. Say so on purpose (--past) or give a later day."
    if ended and "start" not in named:
        yield "Steps that have ended belong to a batch that has begun: give its start, not the day wanted."


def _plan_data(plan: Plan | Mapping[str, Any]) -> Mapping[str, Any]:
    """The parts of a plan that dating reads, in the shape of its JSON."""
    if not isinstance(plan, Plan):
        if plan.get("format") not in READABLE:
            said = plan.get("format")
            raise UserError(
                f"This is no stored plan that can be dated: its format is {said!r}, not one of {', '.join(READABLE)}."
            )
        return plan
    return {
        "query": plan.query,
        "taxon": {"name": plan.match.name},
        "outcome": plan.outcome,
        "cautions": plan.cautions,
        "steps": [_step_data(step) for step in plan.steps],
        "alternatives": [
            {"when": a.when, "text": a.text, "steps": [_step_data(step) for step in a.steps]} for a in plan.alternatives
        ],
    }


def _step_data(step: Any) -> dict[str, Any]:
    data = {**step._asdict(), **{unit: amount.to_json() for unit, amount in step.amounts.items()}}
    return {**data, "temperature_c": step.temperature.to_json() if step.temperature else None}


def _forward(dater: Forward, start: date) -> Schedule:
    begun = dater.in_season(start)
    if begun == start:
        return dater.laid(start)
    season = dater.seasons.name(dater.steps[-1])
    return dater.laid(begun, [f"Begin on {begun}, not {start}: the step outside waits for its season ({season})."])


# --- when the day wanted is out of reach


def _missed(dater: Forward, day: date, first: bool, begun_by: date, reached: Schedule) -> Missed:
    assert reached.seedlings is not None
    nearest = _shown(reached, first)
    ways = [_other(dater, other, day, first, nearest) for other in dater.plan.get("alternatives", ())]
    found = [way for way in ways if way is not None]
    found.sort(key=lambda way: (not way.reaches, way.seedlings))
    at_best = dater.soonest(reached.start) or reached.seedlings.earliest
    return Missed(day, first, begun_by, nearest, min(at_best, nearest), (*found, _a_later_year(dater, day, first)))


def _shown(made: Schedule, first: bool) -> date:
    """The day that was asked for: of the first seedlings, or on which they are counted."""
    assert made.seedlings is not None
    return made.seedlings.earliest if first else made.seedlings.planned


def _other(dater: Forward, alternative: Mapping[str, Any], day: date, first: bool, nearest: date) -> OtherWay | None:
    """An alternative, begun in time where that can still be done, else as soon as it can; None where it gains nothing.

    What needs a danger allowed is never offered to save time.
    """
    assert dater.today is not None
    steps = alternative["steps"]
    if alternative["when"].get("allow") or not steps:
        return None
    other = Forward(
        {**dater.plan, "steps": steps}, dater.habits, today=dater.today, lot=dater.lot, south=dater.seasons.south,
        working=dater.working,
    )  # fmt: skip
    begin = other.start_before(day, first)
    reaches = begin >= dater.today
    made = other.laid(begin if reaches else other.in_season(dater.today))
    seedlings, outside = _shown(made, first), other.seasons.rule(steps[-1])
    if not reaches and seedlings >= nearest and not outside:
        return None
    gain = "in time" if reaches else "sooner" if seedlings < nearest else "outside"
    return OtherWay(alternative["text"].rstrip("."), made.start, seedlings, gain)


def _a_later_year(dater: Forward, day: date, first: bool) -> OtherWay:
    """The same plan for the same day of the first later year for which it can still be begun."""
    assert dater.today is not None
    later = day
    while (begin := dater.start_before(later, first)) < dater.today:
        later = _a_year_after(later)
    return OtherWay("The same plan", begin, _shown(dater.laid(begin), first), "later")


def _a_year_after(day: date) -> date:
    return date(day.year + 1, 2, 28) if (day.month, day.day) == (2, 29) else day.replace(year=day.year + 1)
