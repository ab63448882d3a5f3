"""What is due: for every batch in treatment the next thing to do and its day, from its stored plan and its record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from rousewort.ledger.events import Batch
from rousewort.schedule import DatedStep, Schedule, Window, schedule


@dataclass(frozen=True)
class Due:
    """`what`: do (a step of one day), check (open, air, look), look (it may be over), end (the days have passed),
    sow, count (seedlings), decide (no more are expected)."""

    day: date
    what: str
    batch: Batch
    step: DatedStep

    def late(self, today: date) -> int:
        """Days since it was due; 0 if it is not late."""
        return max(0, (today - self.day).days)


class Diary:
    """Dates batches by the habits of the bench (kb/vocabulary/calendar.yaml and bench.yaml)."""

    def __init__(self, calendar: Mapping[str, Any], bench: Mapping[str, Any]) -> None:
        self.calendar, self.bench = calendar, bench

    def dated(self, batch: Batch, today: date | None = None) -> Schedule:
        """Its plan with dates: what has happened as it happened, the rest moved. With `today`, what is late goes on."""
        made = schedule(
            batch.plan,
            self.calendar,
            start=batch.started,
            ended=batch.step_ends(),
            today=today,
            past=True,
            lot=batch.code,
            south=batch.south,
        )
        return made

    def seedlings(self, batch: Batch, today: date | None = None) -> Window | None:
        """When seedlings are expected; reckoned from the day of sowing once it is sown."""
        made = self.dated(batch, today)
        window = made.seedlings
        if window is None or batch.sown_on is None:
            return window
        off = batch.sown_on - made.steps[-1].start
        latest = None if window.latest is None else window.latest + off
        return Window(window.earliest + off, window.planned + off, latest)

    def due(self, batches: Iterable[Batch], until: date) -> list[Due]:
        """The next thing of each batch in treatment, if it falls on or before `until`, in order of days."""
        found = [self.next(batch) for batch in batches if not batch.ended]
        return sorted((d for d in found if d.day <= until), key=lambda d: (d.day, d.batch.number))

    def next(self, batch: Batch) -> Due:
        step = self.dated(batch).step(batch.step)
        what, day = self._counting(batch, step) if batch.sown_on else self._treating(batch, step)
        return Due(batch.wait or day, what, batch, step)

    def _treating(self, batch: Batch, step: DatedStep) -> tuple[str, date]:
        if batch.following is None:  # the last step begins by being done: sowing, or putting outside
            return "sow", step.start
        if step.planned == step.start:
            return "do", step.start
        looked = batch.looked or step.start
        check = next((c for c in step.checks if c.day > looked), None)
        if check and check.day < step.planned:
            return ("look" if check.ready else "check"), check.day
        if looked < step.planned:
            return "end", step.planned
        every = self.calendar["look_every"]["kinds"].get(step.kind, self.calendar["look_every"]["usual"])
        return "look", looked + timedelta(every)

    def _counting(self, batch: Batch, step: DatedStep) -> tuple[str, date]:
        assert batch.sown_on is not None
        every = timedelta(self.bench["own_record"]["count_every"])
        window = self.seedlings(batch)
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
    return {
        "do": f"{label}{onward}",
        "check": f"open, air and check ({label})",
        "look": f"may be ready: look ({label}; until {due.step.until})",
        "end": f"the days are over: look, then go on ({label}{onward})",
        "sow": label,
        "count": "count new seedlings",
        "decide": f"no more are usual: close it, or {due.step.give_up or 'wait'}",
    }[due.what]
