"""A plan's seasons laid over the temperatures of one place: would sowing outside give them, and when, against a fridge.

Each warm or cold step of the plan in turn is counted from the day after the one before it was met. The fridge is that
of the plan: the days that it says to use, one season after the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.observe.winter import Day, Winter, cold_ends, outdoor_winter
from rousewort.planning.plan import Plan


class Stage(NamedTuple):
    """One season of the plan. `winter` None: it was never reached, since the one before it was not met."""

    kind: str
    cold: bool
    label: str
    need: int
    low_c: float
    high_c: float
    basis: str
    winter: Winter | None
    fridge_until: date


@dataclass(frozen=True)
class Outdoors:
    """`enough`: True if every season is met, None if missing days could tip one, False otherwise."""

    stages: tuple[Stage, ...]
    enough: bool | None
    ready_on: date | None
    fridge_ready: date
    notes: tuple[str, ...]


def outdoors(
    vocabulary: Vocabulary,
    plan: Plan,
    days: Mapping[date, Day],
    sown: date,
    *,
    southern: bool = False,
    until: date | None = None,
    depth_cm: float = 0.0,
    limits: tuple[float, float] | None = None,
    skip_frost: bool = False,
) -> Outdoors:
    """Judge the plan's warm and cold seasons outside. `limits`: the chilling range in °C, else that of trials.yaml.

    UserError where the plan asks for no season, or where there is no temperature on the day of sowing.
    """
    kinds = vocabulary.kinds
    seasons = {*kinds.indoors("warm"), *kinds.indoors("cold")}
    steps = [step for step in plan.steps if step.kind in seasons and "days" in step.amounts]
    if not steps:
        done = (
            "sown outside by itself" if any(s.kind in kinds.outdoors for s in plan.steps) else "no warm or cold season"
        )
        raise UserError(
            f"The plan for {plan.match.name or plan.query} has {done}: there is nothing to count. See rousewort plan."
        )
    if not days or sown > max(days):
        raise UserError(
            f"The temperatures end on {max(days)}, before sowing on {sown}." if days else "There is no temperature."
        )
    table = vocabulary.files["trials"]["outdoors"]
    stages: list[Stage] = []
    before = [s.label for s in plan.steps[: plan.steps.index(steps[0])] if s.kind != kinds.first and not s.optional]
    notes = [f"before sowing outside, as in the plan: {', then '.join(before)}"] if before else []
    when, fridge = sown, sown
    met = True
    for step in steps:
        cold = kinds.group(step.kind) == "cold"
        low, high = limits if limits and cold else (table[step.kind]["low"], table[step.kind]["high"])
        need = int(step.amounts["days"].use)
        fridge_until = fridge + timedelta(need - 1)
        winter = None
        if met and when <= max(days):
            end = _end(cold, when, days, southern, until)
            winter = outdoor_winter(
                days, when, need, low, high, southern=southern, until=end, depth_cm=depth_cm, skip_frost=skip_frost
            )
            notes += [note for note in winter.notes if note not in notes]
        stages.append(
            Stage(step.kind, cold, step.label, need, low, high, step.amounts["days"].basis, winter, fridge_until)
        )
        met = winter is not None and winter.met_on is not None
        when = winter.met_on + timedelta(1) if winter and winter.met_on else when
        fridge = fridge_until + timedelta(1)
    verdicts = [stage.winter.enough if stage.winter else False for stage in stages]
    open_verdict = None in verdicts
    enough = True if all(v is True for v in verdicts) else None if open_verdict else False
    if _short(stages, days, until):
        notes.append(f"the temperatures end on {max(days)}; a season that was not met by then may still come")
        enough = None if enough is False else enough
    ready = stages[-1].winter.met_on if enough and stages[-1].winter else None
    return Outdoors(tuple(stages), enough, ready, fridge, tuple(notes))


def _end(cold: bool, when: date, days: Mapping[date, Day], southern: bool, until: date | None) -> date:
    """A cold season ends with the cold half year; a warm one with the temperatures, at most a year on."""
    last = min(max(days), until) if until else max(days)
    end = cold_ends(when, southern) if cold and not until else when + timedelta(365)
    return max(when, min(end, last))


def _short(stages: list[Stage], days: Mapping[date, Day], until: date | None) -> bool:
    """Whether a season was cut off by the end of the temperatures before it was met."""
    unmet = next((s for s in stages if s.winter is None or s.winter.met_on is None), None)
    if unmet is None or until:
        return False
    last = max(days)
    return unmet.winter is None or (unmet.winter.end == last and (last.month, last.day) not in ((4, 30), (10, 31)))
