"""What is due: for every batch in treatment the next thing to do and its day, from its stored plan and its record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from rousewort.ledger.courses import WANTING, StepCourse, courses, departures
from rousewort.ledger.events import Batch
from rousewort.schedule.dating import schedule
from rousewort.schedule.forward import look_every
from rousewort.schedule.model import DatedStep, Schedule
from rousewort.schedule.seasons import Seasons


@dataclass(frozen=True)
class Wait:
    """A step outside is not begun before `until`, when its season (`autumn`) comes."""

    until: date
    season: str


@dataclass(frozen=True)
class Due:
    """`what`: do (a step of one day), check (open, air, look), look (it may be over), end (the days have passed), hold
    (they have, but the next step waits for its season outside), sow, count (seedlings), decide (no more are expected).
    `held`: that season, where the next step would have to wait for it."""

    day: date
    what: str
    batch: Batch
    step: DatedStep
    held: Wait | None = None

    def late(self, today: date) -> int:
        """Days since it was due; 0 if it is not late."""
        return max(0, (today - self.day).days)


class Diary:
    """Dates batches by the habits of the bench (kb/vocabulary/calendar.yaml and bench.yaml)."""

    def __init__(self, calendar: Mapping[str, Any], bench: Mapping[str, Any]) -> None:
        self.calendar, self.bench = calendar, bench

    def dated(self, batch: Batch, today: date | None = None) -> Schedule:
        """Its plan with dates: what has happened as it happened, the rest moved. With `today`, what is late goes on.
        Every step says what became of it; a note says what was left out, on which the dates to come do not reckon."""
        made = schedule(
            batch.plan,
            self.calendar,
            start=batch.started,
            ended=batch.step_ends(),
            sown=batch.sown_on,
            today=today,
            past=True,
            lot=batch.code,
            south=batch.south,
        )
        went = {one.id: one for one in self.courses(batch)}
        steps = tuple(replace(step, state=went[step.id].state, course=str(went[step.id])) for step in made.steps)
        wanting = departures(went.values(), WANTING)
        notes = [f"Not given as planned: {'; '.join(wanting)}. Seedlings may be fewer or later."] if wanting else []
        return replace(made, steps=steps, notes=(*made.notes, *notes))

    def waits_for(self, batch: Batch, step_id: str, day: date) -> Wait | None:
        """What a step outside would have to wait for if it began that day; None where it need not wait."""
        step = next((step for step in batch.plan["steps"] if step["id"] == step_id), None)
        seasons = Seasons(self.calendar, batch.south)
        if step is None or seasons.on_or_after(step, day) == day:
            return None
        return Wait(seasons.on_or_after(step, day), seasons.name(step))

    def courses(self, batch: Batch) -> tuple[StepCourse, ...]:
        """What became of each step of its plan."""
        return courses(batch, self.calendar)

    def due(self, batches: Iterable[Batch], until: date) -> list[Due]:
        """The next thing of each batch in treatment, if it falls on or before `until`, in order of days."""
        found = [self.next(batch) for batch in batches if not batch.ended]
        return sorted((d for d in found if d.day <= until), key=lambda d: (d.day, d.batch.number))

    def next(self, batch: Batch) -> Due:
        made = self.dated(batch)
        what, day = self._counting(batch, made) if batch.sown_on else self._treating(batch, made)
        step = made.step(batch.step)
        held = self.waits_for(batch, self._onward(batch), day) if what in ("do", "hold", "look", "end") else None
        return Due(batch.wait or day, what, batch, step, held)

    def _onward(self, batch: Batch) -> str:
        return batch.following["id"] if batch.following else batch.step

    def _treating(self, batch: Batch, made: Schedule) -> tuple[str, date]:
        step = made.step(batch.step)
        looked = batch.looked or batch.begun[batch.step]
        every = timedelta(look_every(self.calendar, step.kind))
        if batch.following is None:  # the last step begins by being done: sowing, or putting outside
            moist = [before for before in made.steps[:-1] if before.days]
            if moist and looked + (often := timedelta(look_every(self.calendar, moist[-1].kind))) < step.start:
                return "hold", looked + often  # as before, until its season outside comes
            return "sow", step.start
        if step.planned == step.start:
            return "do", step.start
        check = next((c for c in step.checks if c.day > looked), None)
        if check and check.day < step.planned:
            return ("look" if check.ready else "check"), check.day
        if looked < step.planned:
            return "end", step.planned
        opens = made.step(batch.following["id"]).start  # later than planned where it waits for its season outside
        if looked < opens:
            return ("hold", looked + every) if looked + every < opens else ("end", opens)
        return "look", looked + every

    def _counting(self, batch: Batch, made: Schedule) -> tuple[str, date]:
        assert batch.sown_on is not None
        step, window = made.step(batch.step), made.seedlings
        every = timedelta(self.bench["own_record"]["count_every"])
        looked = batch.looked or batch.sown_on
        if window is None:
            return "count", looked + every
        if window.latest and looked >= window.latest:
            return "decide", looked
        if looked < window.earliest:
            check = next((c.day for c in step.checks if looked < c.day < window.earliest), None)
            return ("check", check) if check else ("count", window.earliest)
        return "count", looked + every


def said(due: Due) -> str:
    """What is to be done, as a grower would say it."""
    label, after = due.step.label, due.batch.following
    onward = f", then {after['label']}" if after else ""
    if due.held:
        onward += f", not before {due.held.until} ({due.held.season})"
    return {
        "do": f"{label}{onward}",
        "check": f"open, air and check ({label})",
        "look": f"may be ready: look ({label}; until {due.step.until})",
        "end": f"the days are over: look, then go on ({label}{onward})",
        "hold": f"keep it as it is: open, air and check ({label}{onward})",
        "sow": label,
        "count": "count new seedlings",
        "decide": f"no more are usual: close it, or {due.step.give_up or 'wait'}",
    }[due.what]
