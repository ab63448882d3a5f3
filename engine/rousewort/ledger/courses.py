"""What became of each step of a batch's plan, and what an entry about to be made would contradict in it.

A step stands as done only if the record says that it was begun and given as long as the plan wants it at the least.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.ledger.events import Batch
from rousewort.schedule.durations import lasting, lasts_text

PLANNED, BEGUN, DONE = "planned", "begun", "done"
SKIPPED, CUT_SHORT, LENGTHENED, NOT_RECORDED = "skipped", "cut short", "lengthened", "not recorded"
STATES = (PLANNED, BEGUN, DONE, SKIPPED, CUT_SHORT, LENGTHENED, NOT_RECORDED)
DEPARTED = (SKIPPED, CUT_SHORT, LENGTHENED)  # from what the plan says
WANTING = (SKIPPED, CUT_SHORT)  # what the seed did not get


class StepCourse(NamedTuple):
    """One step as it went. `days` given so far or in all; `planned`: how long, in the plan's words; `why`: the grower's.
    `free`: the plan itself leaves it to the grower, or to what is seen (`optional`, `only_if`)."""

    id: str
    label: str
    state: str
    begun: date | None = None
    ended: date | None = None
    days: int | None = None
    planned: str = ""
    why: str = ""
    free: bool = False

    def __str__(self) -> str:
        """`cold and moist: cut short after 3 of 60 (42–90) days (roots out)`."""
        after = f" after {self.days} of {self.planned}" if self.state in (CUT_SHORT, LENGTHENED) else ""
        return f"{self.label}: {self.state}{after}" + (f" ({self.why})" if self.why else "")


class Against(NamedTuple):
    """One thing in which an entry would contradict the plan. `what`: skipped, cut short or out of season."""

    step: str
    what: str
    text: str


class Contradicted(UserError):
    """The plan says otherwise. Nothing was recorded: the grower is asked first."""

    def __init__(self, code: str, against: list[Against]) -> None:
        super().__init__(f"{code}: the plan says otherwise.", *(one.text for one in against))
        self.code, self.against = code, against


def courses(batch: Batch, calendar: Mapping[str, Any]) -> tuple[StepCourse, ...]:
    """Every step of the plan, in its order. `calendar`: kb/vocabulary/calendar.yaml."""
    return tuple(_course(batch, step, calendar["overnight"]["hours"]) for step in batch.plan["steps"])


def _course(batch: Batch, step: Mapping[str, Any], overnight: int) -> StepCourse:
    made = StepCourse(step["id"], step["label"], PLANNED, planned=lasts_text(step), free=_free(step))
    was = batch.past.get(step["id"])
    if was is None:
        if step["id"] != batch.step:
            return made
        state = DONE if batch.sown_on else BEGUN
        return made._replace(
            state=state, begun=batch.begun[batch.step], ended=batch.ended.day if batch.ended else batch.sown_on
        )
    if was.begun is None:
        return made._replace(state=SKIPPED if was.said else NOT_RECORDED, ended=was.ended, why=was.why)
    span = lasting(step, overnight)
    short, long = was.days < span.low, span.high is not None and was.days > span.high
    state = CUT_SHORT if short else LENGTHENED if long else DONE
    why = "" if state == DONE else was.why
    return made._replace(state=state, begun=was.begun, ended=was.ended, days=was.days, why=why)


def _free(step: Mapping[str, Any]) -> bool:
    return bool(step.get("optional") or step.get("only_if"))


def departures(steps: Iterable[StepCourse], states: Iterable[str] = DEPARTED) -> list[str]:
    """What was not as planned, in words. To leave out what the plan leaves free is no departure from it."""
    return [str(step) for step in steps if step.state in states and not (step.free and step.state == SKIPPED)]


def skipped_by(batch: Batch, step: str) -> list[str]:
    """The steps that going on to that one leaves out."""
    here = batch.steps.index(batch.step)
    return batch.steps[here + 1 : batch.steps.index(step)] if step in batch.steps else []


def against_plan(
    batch: Batch, step: str, day: date, calendar: Mapping[str, Any], finds: Mapping[str, Any]
) -> Iterator[Against]:
    """What is amiss with going on to that step that day: steps left out, the present one not over. Going back is nothing
    of the kind: what is begun again is no longer counted. `finds`: what can be found at a look (bench.yaml).
    """
    if batch.ended or batch.sown_on or step not in batch.steps[batch.steps.index(batch.step) + 1 :]:
        return
    plan = {one["id"]: one for one in batch.plan["steps"]}
    here = plan[batch.step]
    days, low = (day - batch.begun[batch.step]).days, lasting(here, calendar["overnight"]["hours"]).low
    if days < low and not seen_over(batch, finds):
        text = f"“{here['label']}” had {days} of {lasts_text(here)}: it would be cut short (at the least {low} days)."
        yield Against(batch.step, CUT_SHORT, text)
    for passed in skipped_by(batch, step):
        if not _free(plan[passed]):
            lasts = lasts_text(plan[passed])
            named = f"“{plan[passed]['label']}”" + (f", {lasts}," if lasts else "")
            yield Against(passed, SKIPPED, f"{named} was never begun: it would be skipped.")


def seen_over(batch: Batch, finds: Mapping[str, Any]) -> str:
    """What the last look in this step found, if that by itself ends a step (roots); else nothing."""
    looks = [e for e in batch.standing if e.kind == "check" and e.day >= batch.begun[batch.step]]
    found = looks[-1].data.get("finds", []) if looks else []
    return next((finds[word]["label"] for word in found if finds.get(word, {}).get("ends")), "")
