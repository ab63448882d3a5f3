"""The words of a dated plan, shared by the calendar as text, CSV and iCalendar. Decides nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import pairwise
from typing import NamedTuple

from rousewort.schedule.model import DatedStep, Doing, Schedule, Window


def whose(schedule: Schedule) -> str:
    """The plant, and the lot where it has a word."""
    return schedule.name + (f" [{schedule.lot}]" if schedule.lot else "")


def step_words(step: DatedStep) -> str:
    """`Cold and moist, 60 (42–60) days, 4 °C (1–5)`."""
    parts = [step.label[:1].upper() + step.label[1:], step.lasts, step.temperature]
    return ", ".join(part for part in parts if part) + (" (optional)" if step.optional else "")


def doing_words(doing: Doing) -> str:
    """What to do, in one line without plant and day."""
    label = doing.step.label
    return {
        "begin": step_words(doing.step) + (f": until about {doing.step.planned}" if doing.step.days else ""),
        "check": f"Open, air, wet if it has paled; take out mould ({label})",
        "look": f"Is it over? Look, air, wet if it has paled ({label})",
        "seedlings": "First seedlings may show",
    }[doing.what]


def details(doing: Doing) -> list[str]:
    """How, until when and with what care; every caution of the step is among them."""
    step = doing.step
    lines = [*step.do, *([f"Medium: {step.medium}."] if step.medium else [])] if doing.what == "begin" else []
    lines.append(f"Until: {step.until}." if step.until else "")
    if step.days and doing.what == "begin":
        lines.append(f"{ends(step)}.")
    lines += [f"Watch: {text}" for text in step.watch]
    return [line for line in (*lines, *cautions(doing)) if line]


def cautions(doing: Doing) -> list[str]:
    """The step's cautions, then the plan's that the step does not repeat."""
    return [f"Caution: {text}" for text in dict.fromkeys((*doing.step.cautions, *doing.schedule.cautions))]


def ends(step: DatedStep) -> str:
    """`Over at the earliest 2027-01-13, planned 2027-01-31, at the latest 2027-02-10`."""
    if step.ended:
        return f"Ended {step.planned}"
    latest = f", at the latest {step.latest}" if step.latest else ", no latest day known"
    if step.earliest == step.planned == step.latest:
        return f"Planned to end {step.planned}"
    return f"Over at the earliest {step.earliest}, planned {step.planned}{latest}"


def window_words(window: Window) -> str:
    """`2027-01-31 (2027-01-12 to 2027-02-10)`."""
    if window.earliest == window.planned == window.latest:
        return str(window.planned)
    return f"{window.planned} ({window.earliest} to {window.latest or 'an open end'})"


def weekday(day: date) -> str:
    """Not by locale, so that output is the same everywhere."""
    return ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[day.weekday()]


def rhythm(days: Sequence[date]) -> int:
    """Days between each and the next, if they are always the same; else, or for a single day, 0."""
    between = {(later - day).days for day, later in pairwise(days)}
    return between.pop() if len(between) == 1 else 0


def looks(step: DatedStep) -> list[str]:
    """The looks at a step, rhythm by rhythm: `every 7 days from 2026-12-09`."""
    lines = []
    for ready, words in ((False, "Open and look"), (True, "It may be over: look")):
        days = [check.day for check in step.checks if check.ready is ready]
        every = rhythm(days)
        if every:
            lines.append(f"{words} every {every} days from {days[0]} to {days[-1]}.")
        elif days:
            lines.append(f"{words} on {', '.join(map(str, days))}.")
    return lines


class Line(NamedTuple):
    """A line of what to do when the wanted day is missed; `item`: one of the other ways."""

    text: str
    item: bool = False


def missed_lines(schedule: Schedule) -> Iterator[Line]:
    """Why the wanted day is out of reach, the nearest that can be had, and the other ways; nothing where it is met."""
    missed = schedule.missed
    if missed is None:
        return
    what = "the first seedlings show" if missed.first else "seedlings are counted"
    yield Line(f"{missed.wanted} can no longer be reached: this plan had to begin by {missed.begun_by}.")
    best = "" if missed.at_best == missed.nearest else (
        f" If every step ends as early as it may, the first show on {missed.at_best}."
    )  # fmt: skip
    yield Line(f"Nearest: begun on {schedule.start} (the dates below), {what} on {missed.nearest}.{best}")
    for way in missed.others:
        text = way.text[:1].lower() + way.text[1:]
        yield Line(f"{_GAINS[way.gain]}: {text}. Begin {way.start}, seedlings {way.seedlings}.", item=True)


_GAINS = {"in time": "In time", "sooner": "Sooner", "outside": "Outdoors", "later": "A season later"}
