"""A bench calendar as text for a terminal. Decides nothing."""

from __future__ import annotations

from rousewort.render.calendar_words import (
    doing_words,
    ends,
    looks,
    missed_lines,
    step_words,
    weekday,
    whose,
    window_words,
)
from rousewort.render.terminal import Page
from rousewort.schedule.model import BenchCalendar, DatedStep, Schedule


def render(calendar: BenchCalendar, page: Page, days: bool) -> str:
    """Each plan with its dates; with `days`, then all that is to be done, day by day."""
    for schedule in calendar.schedules:
        page.blank()
        _schedule(schedule, page)
    if days:
        page.heading("Day by day")
        month = None
        for doing in calendar.days():
            if month != (doing.day.year, doing.day.month):
                month = (doing.day.year, doing.day.month)
                page.blank()
            when = f"{doing.day} {weekday(doing.day)}  "
            page.say(f"{whose(doing.schedule)}: {doing_words(doing)}", bullet=when)
    return page.text()


def _schedule(schedule: Schedule, page: Page) -> None:
    page.say(page.bold(whose(schedule)))
    page.each(schedule.notes, bullet="* ", code="33")
    for line in missed_lines(schedule):
        page.say(line.text, 2 if line.item else 0, bullet="- " if line.item else "* ", code="" if line.item else "33")
    page.say(f"Begin {schedule.start} {weekday(schedule.start)}.")
    if schedule.sown and schedule.seedlings:
        page.say(f"Sow {window_words(schedule.sown)}.")
        page.say(f"Seedlings counted on {window_words(schedule.seedlings)}.")
    page.each(schedule.cautions, bullet="! ", code="33")
    page.blank()
    for step in schedule.steps:
        _step(step, page)


def _step(step: DatedStep, page: Page) -> None:
    when = f"{step.start} {weekday(step.start)}  "
    page.say(step_words(step), bullet=when)
    indent = len(when)
    if step.days or step.ended:
        page.say(f"{ends(step)}.", indent)
    page.each(looks(step), indent, bullet="")
    page.say(f"Until: {step.until}.", indent)
    page.each(step.cautions, indent, bullet="! ", code="33")
