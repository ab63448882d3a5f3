"""Lays the steps of one plan along the calendar, one after another, each as long as the plan says and outside in season."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from rousewort.base.errors import UserError
from rousewort.planning.wording import temperature_text
from rousewort.schedule.durations import Lasting, amount, emergence, lasting, lasts_text
from rousewort.schedule.model import Check, DatedStep, Schedule, Window
from rousewort.schedule.seasons import Seasons, WorkingDays


class Forward:
    """One plan (JSON), and what is known of the batch on it; for the arguments see `schedule.schedule`."""

    def __init__(
        self,
        plan: Mapping[str, Any],
        habits: Mapping[str, Any],
        *,
        ended: Mapping[str, date] | None = None,
        sown: date | None = None,
        today: date | None = None,
        lot: str = "",
        south: bool = False,
        working: WorkingDays | None = None,
    ) -> None:
        self.plan, self.habits, self.today, self.lot = plan, habits, today, lot
        self.seasons = Seasons(habits, south)
        self.working = working or WorkingDays()
        self.ended, self.running, self.sown = ended or {}, ended is not None, sown
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

    # --- from which day

    def in_season(self, start: date) -> date:
        """Not before `start`, and such that the last step, if it is outside, begins in its season without a wait."""
        offset = timedelta(self._before_sowing())
        return self.seasons.on_or_after(self.steps[-1], start + offset) - offset

    def start_before(self, day: date, first: bool) -> date:
        """The start from which seedlings come on that day, or earlier where the season outside forces it."""
        low, use, _ = self._expect()
        if low is None or use is None:
            raise UserError(f"{self.name}: the plan names no sowing, so no start can be reckoned from the day wanted.")
        sow = self.seasons.on_or_before(self.steps[-1], day - timedelta(low if first else use))
        if not first:
            begin = self.working.on_or_before(sow - timedelta(self._before_sowing()))
            return self._reaching(begin, lambda seedlings: seedlings.planned <= day, -1)
        if self.seasons.rule(self.steps[-1]):
            return sow - timedelta(self._before_sowing())
        begin = self.working.on_or_after(sow - timedelta(sum(self._lasting(step).low for step in self.steps[:-1])))
        return self._reaching(begin, lambda seedlings: seedlings.earliest >= day, 1)

    def _reaching(self, begin: date, met: Callable[[Window], bool], way: int) -> date:
        """Where days at the bench push steps on, the start is moved by so much that the day asked for is kept."""
        for n in range(15):
            found = begin + timedelta(way * n)
            seedlings = self.laid(found).seedlings
            if seedlings and met(seedlings) and self.working.nearest(found) == found:
                return found
        return begin

    def soonest(self, start: date) -> date | None:
        """The first seedlings if every step ends as early as it may."""
        low, sowing = self._expect()[0], self._sowing_day(start, "low")
        return None if low is None or sowing is None else sowing + timedelta(low)

    def _before_sowing(self) -> int:
        return sum(self._lasting(step).use for step in self.steps[:-1])

    # --- the whole plan

    def laid(self, start: date, notes: Iterable[str] = ()) -> Schedule:
        """The plan begun on that day."""
        steps = list(self._walk(start))
        sown = seedlings = None
        low, use, high = self._expect()
        if low is not None and use is not None:
            last = steps[-1]
            day = self.sown or (last.start if self.seasons.rule(self.steps[-1]) else last.planned)
            early, late = (self._sowing_day(start, part) for part in ("low", "high"))
            early = min(early or day, day)
            sown = Window(early, day, late)
            # Sown outside out of season, some may come as if it had been in season, the rest only after the next one.
            season = self.seasons.on_or_after(self.steps[-1], day)
            last_day = None if high is None else season + timedelta(high)
            seedlings = Window(day + timedelta(low), season + timedelta(use), last_day)
            if not self.running:  # a batch keeps the days that its calendar was written with
                last_day = None if high is None or late is None else max(late, season) + timedelta(high)
                seedlings = Window(early + timedelta(low), season + timedelta(use), last_day)
        cautions = tuple(self.plan.get("cautions", ()))
        return Schedule(self.name, self.lot, tuple(steps), sown, seedlings, cautions, tuple(notes))

    def _walk(self, start: date) -> Iterator[DatedStep]:
        day = start
        for i, step in enumerate(self.steps):
            over_by = self._over_by(i)
            sown = self.sown if step is self.steps[-1] else None
            begin = sown or (self._open_day(i, day) if over_by is None else day)
            made = self._dated(step, begin, over_by)
            yield made
            day = made.planned

    def _open_day(self, place: int, day: date) -> date:
        """The first day from then on on which the step in that place can begin: in its season, with somebody at the bench.
        The first step, and the one that a batch is in, begin when the grower says."""
        day = self.seasons.on_or_after(self.steps[place], day)
        begun = place == 0 or (self.running and self._over_by(place - 1) is not None)
        return day if begun else self.working.on_or_after(day)

    def _over_by(self, place: int) -> date | None:
        """The day by which a record says that the step in that place is over."""
        return next((self.ended[s["id"]] for s in self.steps[place:] if s["id"] in self.ended), None)

    def _dated(self, step: Mapping[str, Any], begin: date, over_by: date | None) -> DatedStep:
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
        temperature = amount(step, "temperature_c")
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
            checks=tuple(self._looks(step["kind"], begin, begin + timedelta(span.low), planned)),
            lasts=lasts_text(step),
            temperature=temperature_text(temperature) if temperature else "",
            medium=step.get("medium") or "",
            do=tuple(step.get("do", ())),
            watch=tuple(step.get("watch", ())),
            until=step.get("until", ""),
            success=step.get("success", ""),
            cautions=tuple(step.get("cautions", ())),
            give_up=(step.get("sowing") or {}).get("give_up", ""),
            container=self.habits["kinds"].container(step["kind"]),
            begun=self.habits["kinds"].begun(step["kind"]),
        )

    def _check_end(self, step: Mapping[str, Any], begin: date, really: date) -> None:
        if really < begin:
            raise UserError(
                f"{self.name}: {step['id']} cannot have ended on {really}, before it began on {begin}. "
                "Say when the steps before it ended."
            )
        if self.today and really > self.today:
            raise UserError(f"{self.name}: {step['id']} cannot have ended on {really}: that is still to come.")

    def _looks(self, kind: str, begin: date, ready: date, planned: date) -> Iterator[Check]:
        """The looks on days when somebody is there; within the step, and no day twice."""
        seen = begin
        for check in self._checks(kind, begin, ready, planned):
            day = self.working.on_or_after(check.day) if check.ready else self.working.nearest(check.day)
            if seen < day < planned:
                yield Check(day, check.ready)
                seen = day

    def _checks(self, kind: str, begin: date, ready: date, planned: date) -> Iterator[Check]:
        """Regular looks from the beginning; from the day it may be over, looks reckoned from that day."""
        every = look_every(self.habits, kind)
        day = begin + timedelta(every)
        while day < min(ready, planned):
            if ready > planned or (ready - day).days * 2 >= every:  # else the look at `ready` is near enough
                yield Check(day, False)
            day += timedelta(every)
        day = ready if ready > begin else begin + timedelta(every)
        while day < planned:
            yield Check(day, True)
            day += timedelta(every)

    # --- lengths

    def _lasting(self, step: Mapping[str, Any]) -> Lasting:
        return lasting(step, self.habits["overnight"]["hours"])

    def _expect(self) -> tuple[int | None, int | None, int | None]:
        """Days from sowing to seedlings: earliest, counted on, latest; all None where the plan does not sow."""
        span = emergence(self.steps[-1], self.habits)
        return (span.low, span.use, span.high) if span else (None, None, None)

    def _sowing_day(self, start: date, part: str) -> date | None:
        """When sowing comes if every step that has not ended takes its `low` or `high` (None: that end is open)."""
        if self.sown:
            return self.sown
        day = start
        for i, step in enumerate(self.steps):
            over_by = self._over_by(i)
            if self.seasons.rule(step) and over_by is None:
                return self._open_day(i, day)
            last = step is self.steps[-1]
            lasts = self._lasting(step)
            if over_by is None:
                day = self._open_day(i, day)
            days = 0 if last else lasts.use if over_by else getattr(lasts, part)
            if days is None:
                return None
            day += timedelta(days)
            if over_by:
                day = self.ended.get(step["id"], over_by if last else min(day, over_by))
            elif self.running and self.today:
                day = max(day, self.today)
        return day


def look_every(habits: Mapping[str, Any], kind: str) -> int:
    """Days between two looks at a step of that kind."""
    days: int = habits["kinds"].look_every(kind, habits["look_every"]["usual"])
    return days
