"""Dates of a plan: forward from a start, or backward from the day seedlings are wanted or the last frost.

A plan is a Plan or its JSON (`rousewort-plan-1`), so that a stored plan can be dated too. Lengths are in days. A step
is planned for its `use`, may be over at its `low` and at the latest at its `high`; whatever comes early or late moves
the steps after it. Steps outside wait for their season (kb/vocabulary/calendar.yaml, here `habits`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil
from typing import Any

from rousewort.dose import UNITS, Amount
from rousewort.errors import Trouble
from rousewort.plan import FORMAT, Plan, Step
from rousewort.seasons import Seasons
from rousewort.wording import amount_text, temperature_text

OUTSIDE = "outdoor_winter"
YEARS = (1900, 2199)  # dates beyond are slips of the pen


@dataclass(frozen=True)
class Lasting:
    """Days from a step's beginning until it is over: at the earliest, as planned, at the latest (None: open)."""

    low: int
    use: int
    high: int | None


@dataclass(frozen=True)
class Window:
    """A day that is not certain: the earliest, the planned, the latest (None: open)."""

    earliest: date
    planned: date
    latest: date | None


@dataclass(frozen=True)
class Check:
    """A day to open, air and look; `ready`: the step may be over, so look whether it is."""

    day: date
    ready: bool


@dataclass(frozen=True)
class DatedStep:
    """A step of the plan with its days. The next one begins on `planned` or later, never before."""

    id: str
    kind: str
    label: str
    optional: bool
    start: date
    earliest: date
    planned: date
    latest: date | None
    ended: bool
    checks: tuple[Check, ...]
    lasts: str
    temperature: str
    medium: str
    do: tuple[str, ...]
    watch: tuple[str, ...]
    until: str
    success: str
    cautions: tuple[str, ...]
    give_up: str

    @property
    def days(self) -> int:
        return (self.planned - self.start).days


@dataclass(frozen=True)
class OtherWay:
    """What else could be done when the wanted day is out of reach."""

    text: str
    start: date
    seedlings: date
    reaches: bool


@dataclass(frozen=True)
class Missed:
    """The wanted day is out of reach: when it should have begun, what can be had instead.

    `nearest` and the days of other ways are of the first seedlings where a last frost was given (`first`), else of the
    day on which seedlings are counted; `at_best`: the first seedlings if every step ends as early as it may.
    """

    wanted: date
    first: bool
    begun_by: date
    nearest: date
    at_best: date
    others: tuple[OtherWay, ...]


@dataclass(frozen=True)
class Schedule:
    """One plan for one lot, with dates. `sown` and `seedlings` are None where the plan names no sowing."""

    name: str
    lot: str
    steps: tuple[DatedStep, ...]
    sown: Window | None
    seedlings: Window | None
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = ()
    missed: Missed | None = None

    @property
    def start(self) -> date:
        return self.steps[0].start

    def step(self, step_id: str) -> DatedStep:
        return next(step for step in self.steps if step.id == step_id)


@dataclass(frozen=True)
class Doing:
    """One thing to do on one day. `what`: begin, check, look (it may be over), seedlings."""

    day: date
    what: str
    schedule: Schedule
    step: DatedStep


@dataclass(frozen=True)
class Bench:
    """Several plans on one bench."""

    schedules: tuple[Schedule, ...]

    def days(self) -> list[Doing]:
        """All that is to be done, in the order of days; within a day in the order of schedules and steps."""
        found = [doing for schedule in self.schedules for doing in _doings(schedule)]
        return sorted(found, key=lambda doing: doing.day)  # sorting is stable

    def between(self, first: date, last: date) -> list[Doing]:
        """What is due from `first` to `last`, both included."""
        return [doing for doing in self.days() if first <= doing.day <= last]


def schedule(
    plan: Plan | Mapping[str, Any],
    habits: Mapping[str, Any],
    *,
    start: date | None = None,
    wanted: date | None = None,
    last_frost: date | None = None,
    ended: Mapping[str, date] | None = None,
    today: date | None = None,
    past: bool = False,
    lot: str = "",
    south: bool = False,
) -> Schedule:
    """Date a plan by one of three days, and say what can be had instead where that day is out of reach.

    `start`: the first step begins. `wanted`: seedlings are counted on. `last_frost`: no seedling shows before it.
    `habits`: `vocabulary.files["calendar"]`. `ended`: for a batch that has begun, the day on which each step really
    ended (empty: none yet); the rest moves, and what should be over but is not goes on until `today`. A step before
    one that has ended is over too, recorded or not. `past`: let the date lie before `today`. Without `today` nothing
    is out of reach. `lot`: the grower's own word for the lot. `south`: of the equator, for steps outside.
    Raises Trouble for contradictory or impossible dates and for a plan without steps.
    """
    given = {"start": start, "wanted": wanted, "last frost": last_frost}
    dater = _Dater(_plan_data(plan), habits, ended, today, lot, south)
    problems = [*_date_problems(given, today, past, ended is not None), *dater.problems()]
    if problems:
        raise Trouble(*problems)
    if start is not None:
        return dater.forward(start)
    return dater.backward(wanted or last_frost, first=wanted is None, past=past)  # type: ignore[arg-type]


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
        if plan.get("format") != FORMAT:
            said = plan.get("format")
            raise Trouble(f"This is no stored plan that can be dated: its format is {said!r}, not {FORMAT!r}.")
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


def _step_data(step: Step) -> dict[str, Any]:
    data = {**step._asdict(), **{unit: amount.to_json() for unit, amount in step.amounts.items()}}
    return {**data, "temperature_c": step.temperature.to_json() if step.temperature else None}


def lasting(step: Mapping[str, Any], overnight: int) -> Lasting:
    """Whole days of a step in JSON; hours up to `overnight` and minutes are over the same day."""
    span = step.get("days") or step.get("hours") or {}
    use = next((span[part] for part in ("use", "high", "low") if span.get(part) is not None), 0)
    low, high = span.get("low"), span.get("high")
    if not step.get("days"):
        use = _nights(use, overnight)
        low, high = (None if hours is None else _nights(hours, overnight) for hours in (low, high))
    low = min(use if low is None else low, use)
    return Lasting(low, use, high if high is None and span else max(high or 0, use))


def emergence(step: Mapping[str, Any], habits: Mapping[str, Any]) -> Lasting | None:
    """Days from sowing to seedlings of a plan's last step in JSON: earliest, counted on, latest; None if it does not sow."""
    if step["kind"] == OUTSIDE:
        return lasting(step, habits["overnight"]["hours"])
    days = (step.get("sowing") or {}).get("expect_days")
    if step["kind"] != "sow" or not days:
        return None
    counted = ceil(days["low"] + habits["expected"]["share"] * (days["high"] - days["low"]))
    return Lasting(days["low"], counted, days["high"])


def _nights(hours: float, overnight: int) -> int:
    return max(0, ceil((hours - overnight) / 24))


class _Dater:
    """Lays the steps of one plan along the calendar. Holds what one call was given, nothing else."""

    def __init__(
        self,
        plan: Mapping,
        habits: Mapping,
        ended: Mapping[str, date] | None = None,
        today: date | None = None,
        lot: str = "",
        south: bool = False,
    ) -> None:
        self.plan, self.habits, self.today, self.lot = plan, habits, today, lot
        self.seasons = Seasons(habits["sow_outside"], south)
        self.ended, self.running = ended or {}, ended is not None
        self.name = plan["taxon"]["name"] or plan["query"]
        self.steps: Sequence[Mapping[str, Any]] = plan["steps"]

    def problems(self) -> Iterator[str]:
        if not self.steps:
            yield (
                f"{self.name}: there are no steps to date (outcome: {self.plan['outcome']}). "
                f"See: rousewort plan '{self.name}'"
            )
            return
        ids = [step["id"] for step in self.steps]
        for unknown in sorted(set(self.ended) - set(ids)):
            yield f"{self.name}: '{unknown}' is no step of the plan. Its steps are: {', '.join(ids)}."

    # --- forward and backward

    def forward(self, start: date) -> Schedule:
        notes = []
        begun = start if self.running else self._begin_for_season(start)
        if begun != start:
            season = self.seasons.row(self.steps[-1])["season"]
            notes.append(f"Begin on {begun}, not {start}: the step outside waits for its season ({season}).")
        return self._schedule(self._walk(begun), notes)

    def backward(self, day: date, first: bool, past: bool) -> Schedule:
        """Begin so that seedlings are counted on that day, or, `first`, so that none shows before it."""
        start = self._start_before(day, first)
        if self.today is None or past or start >= self.today:
            return self._schedule(self._walk(start), [])
        reached = self.forward(self.today)
        return replace(reached, missed=self._missed(day, first, start, reached))

    def _missed(self, day: date, first: bool, begun_by: date, reached: Schedule) -> Missed:
        assert self.today is not None and reached.seedlings is not None
        later = _a_year_after(day)
        others = [self._other(a, day, first) for a in self.plan.get("alternatives", ()) if not a["when"].get("allow")]
        same = OtherWay("The same plan a year later", self._start_before(later, first), later, False)
        low = self._expect()[0] or 0
        soonest = self._sowing_day(reached.start, "low")
        at_best = soonest + timedelta(low) if soonest else reached.seedlings.earliest
        nearest = reached.seedlings.earliest if first else reached.seedlings.planned
        ways = sorted((*others, same), key=lambda way: (not way.reaches, way.seedlings))
        return Missed(day, first, begun_by, nearest, min(at_best, nearest), tuple(ways))

    def _other(self, alternative: Mapping[str, Any], day: date, first: bool) -> OtherWay:
        """An alternative, begun in time where that can still be done, else today."""
        assert self.today is not None
        plan = {**self.plan, "steps": alternative["steps"]}
        other = _Dater(plan, self.habits, today=self.today, lot=self.lot, south=self.seasons.south)
        start = other._start_before(day, first)
        reaches = start >= self.today
        made = other._schedule(other._walk(start if reaches else other._begin_for_season(self.today)), [])
        assert made.seedlings is not None
        seedlings = made.seedlings.earliest if first else made.seedlings.planned
        return OtherWay(alternative["text"].rstrip("."), made.start, seedlings, reaches)

    def _start_before(self, day: date, first: bool) -> date:
        """The start from which seedlings come on that day, or earlier where the season outside forces it."""
        low, use, _ = self._expect()
        if use is None:
            raise Trouble(f"{self.name}: the plan names no sowing, so no start can be reckoned from the day wanted.")
        sow = day - timedelta(low if first else use)  # type: ignore[arg-type]
        outside = self._outside()
        if outside is not None:
            sow = self.seasons.on_or_before(outside, sow)
        return sow - timedelta(self._before_sowing())

    def _before_sowing(self) -> int:
        return sum(self._lasting(step).use for step in self.steps[:-1])

    # --- seasons outside

    def _outside(self) -> Mapping | None:
        """The step that sows outside, when the plan ends with it."""
        return self.steps[-1] if self.steps[-1]["kind"] == OUTSIDE else None

    def _begin_for_season(self, start: date) -> date:
        """Not before `start`, and such that the step outside begins in its season without a wait before it."""
        outside = self._outside()
        if outside is None:
            return start
        offset = timedelta(self._before_sowing())
        return self.seasons.on_or_after(outside, start + offset) - offset

    # --- one step after another

    def _lasting(self, step: Mapping) -> Lasting:
        return lasting(step, self.habits["overnight"]["hours"])

    def _expect(self) -> tuple[int | None, int | None, int | None]:
        """Days from sowing to seedlings: earliest, counted on, latest; all None where the plan does not sow."""
        span = emergence(self.steps[-1], self.habits)
        return (span.low, span.use, span.high) if span else (None, None, None)

    def _walk(self, start: date) -> list[DatedStep]:
        made, day = [], start
        for i, step in enumerate(self.steps):
            over_by = next((self.ended[s["id"]] for s in self.steps[i:] if s["id"] in self.ended), None)
            begin = self.seasons.on_or_after(step, day) if step["kind"] == OUTSIDE and over_by is None else day
            made.append(self._dated(step, begin, over_by))
            day = made[-1].planned
        return made

    def _dated(self, step: Mapping, begin: date, over_by: date | None) -> DatedStep:
        """`over_by`: the day by which a record says that this step is over."""
        span = self._lasting(step)
        earliest, planned = begin + timedelta(span.low), begin + timedelta(span.use)
        latest = None if span.high is None else begin + timedelta(span.high)
        if over_by is not None:
            really = self.ended.get(step["id"], min(planned, over_by))
            self._check_end(step, begin, really)
            earliest = planned = latest = really
        elif self.running and self.today and planned < self.today:  # begun, not over: it goes on until it is
            earliest = planned = self.today
            latest = None if latest is None else max(latest, planned)
        temperature = step.get("temperature_c")
        return DatedStep(
            id=step["id"],
            kind=step["kind"],
            label=step["label"],
            optional=step.get("optional", False),
            start=begin,
            earliest=earliest,
            planned=planned,
            latest=latest,
            ended=over_by is not None,
            checks=tuple(self._checks(step["kind"], begin, begin + timedelta(span.low), planned)),
            lasts=_lasts(step),
            temperature=temperature_text(_amount(temperature)) if temperature else "",
            medium=step.get("medium") or "",
            do=tuple(step.get("do", ())),
            watch=tuple(step.get("watch", ())),
            until=step.get("until", ""),
            success=step.get("success", ""),
            cautions=tuple(step.get("cautions", ())),
            give_up=(step.get("sowing") or {}).get("give_up", ""),
        )

    def _check_end(self, step: Mapping, begin: date, really: date) -> None:
        if really < begin:
            raise Trouble(
                f"{self.name}: {step['id']} cannot have ended on {really}, before it began on {begin}. "
                "Say when the steps before it ended."
            )
        if self.today and really > self.today:
            raise Trouble(f"{self.name}: {step['id']} cannot have ended on {really}: that is still to come.")

    def _checks(self, kind: str, begin: date, ready: date, planned: date) -> Iterator[Check]:
        """Regular looks from the beginning; from the day it may be over, looks reckoned from that day."""
        every = self.habits["look_every"]["kinds"].get(kind, self.habits["look_every"]["usual"])
        day = begin + timedelta(every)
        while day < min(ready, planned):
            if ready > planned or (ready - day).days * 2 >= every:  # else the look at `ready` is near enough
                yield Check(day, False)
            day += timedelta(every)
        day = ready if ready > begin else begin + timedelta(every)
        while day < planned:
            yield Check(day, True)
            day += timedelta(every)

    def _schedule(self, steps: list[DatedStep], notes: Iterable[str]) -> Schedule:
        low, use, high = self._expect()
        sown = seedlings = None
        if low is not None and use is not None:
            sowing = steps[-1]
            day = sowing.planned if sowing.kind == "sow" else sowing.start
            early, late = (self._sowing_day(steps[0].start, part) for part in ("low", "high"))
            sown = Window(early or day, day, late)
            seedlings = Window(_after(day, low), _after(day, use), None if high is None else _after(day, high))
        return Schedule(
            self.name, self.lot, tuple(steps), sown, seedlings, tuple(self.plan.get("cautions", ())), tuple(notes)
        )

    def _sowing_day(self, start: date, part: str) -> date | None:
        """When sowing comes if every step that has not ended takes its `low` or `high` (None: that end is open)."""
        day = start
        for i, step in enumerate(self.steps):
            over_by = next((self.ended[s["id"]] for s in self.steps[i:] if s["id"] in self.ended), None)
            if step["kind"] == OUTSIDE and over_by is None:
                return self.seasons.on_or_after(step, day)
            last = step is self.steps[-1]
            lasts = self._lasting(step)
            days = 0 if last else lasts.use if over_by else getattr(lasts, part)
            if days is None:
                return None
            day += timedelta(days)
            if over_by:
                day = self.ended.get(step["id"], over_by if last else min(day, over_by))
            elif self.running and self.today:
                day = max(day, self.today)
        return day


def _after(day: date, days: int) -> date:
    return day + timedelta(days)


def _lasts(step: Mapping[str, Any]) -> str:
    """`60 (42–60) days`, `24 (12–24) hours`; nothing where the plan gives no length."""
    unit = next((unit for unit in UNITS if step.get(unit)), None)
    if unit is None:
        return ""
    words = amount_text(_amount(step[unit]), unit)
    return words if words.endswith("seconds") else f"{words} {unit}"


def _amount(data: Mapping[str, Any]) -> Amount:
    return Amount(data["low"], data["use"], data["high"], data.get("from", ""))


def _a_year_after(day: date) -> date:
    return date(day.year + 1, 2, 28) if (day.month, day.day) == (2, 29) else day.replace(year=day.year + 1)


def _doings(made: Schedule) -> Iterator[Doing]:
    for step in made.steps:
        yield Doing(step.start, "begin", made, step)
        for check in step.checks:
            yield Doing(check.day, "look" if check.ready else "check", made, step)
    if made.seedlings:
        yield Doing(made.seedlings.earliest, "seedlings", made, made.steps[-1])
