"""What a dated plan is: its steps with their days, what is to be done on each, and what else when a day is missed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date


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
    """A step of the plan with its days. The next one begins on `planned` or later, never before.

    `container`: bag, pot or none; `begun`: what a label says of its first day (sown, potted). Of a batch, `state` and
    `course` say what became of it, as one word and in full (ledger/courses.py); of a plan alone nothing.
    """

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
    container: str
    begun: str
    state: str = ""
    course: str = ""

    @property
    def days(self) -> int:
        return (self.planned - self.start).days


@dataclass(frozen=True)
class OtherWay:
    """What else could be done when the wanted day is out of reach.

    `gain`: "in time" (it meets the day), "sooner" (it comes before the plan begun now), "outside" (it comes later, but
    the seasons do the work) or "later" (the same plan for the same day of a later year).
    """

    text: str
    start: date
    seedlings: date
    gain: str

    @property
    def reaches(self) -> bool:
        return self.gain == "in time"


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
class BenchCalendar:
    """Several plans on one bench."""

    schedules: tuple[Schedule, ...]

    def days(self) -> list[Doing]:
        """All that is to be done, in the order of days; within a day in the order of schedules and steps."""
        found = [doing for schedule in self.schedules for doing in _doings(schedule)]
        return sorted(found, key=lambda doing: doing.day)  # sorting is stable

    def between(self, first: date, last: date) -> list[Doing]:
        """What is due from `first` to `last`, both included."""
        return [doing for doing in self.days() if first <= doing.day <= last]


def _doings(made: Schedule) -> Iterator[Doing]:
    for step in made.steps:
        yield Doing(step.start, "begin", made, step)
        for check in step.checks:
            yield Doing(check.day, "look" if check.ready else "check", made, step)
    if made.seedlings:
        yield Doing(made.seedlings.earliest, "seedlings", made, made.steps[-1])
