"""A bench calendar as iCalendar (RFC 5545, by the icalendar library). Decides nothing.

All-day events. The identity of an event comes from lot, plant and step, never from the time: a calendar that imports
the file again moves its events and adds none. Looks are one recurring event for each rhythm of a step, with an end,
or on days that are named, where they fall on chosen days of the week.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID, uuid5

from icalendar import Alarm, Calendar, Event

from rousewort.render.calendar_words import details, doing_words, rhythm, step_words, whose
from rousewort.schedule.model import BenchCalendar, Doing, Schedule

if TYPE_CHECKING:
    from icalendar import Event

PRODUCT = "-//Rousewort//bench calendar//EN"
OURS = UUID("6f1b1c3a-6d1f-4f0e-9a39-0d6c6f5d7b21")  # drawn once; names the space of our events
MORNING = timedelta(hours=8)
FIRST_MOMENT = datetime(2020, 1, 1, tzinfo=UTC)  # versions are seconds since: a whole number of 32 bits until 2088
LOOKS = (("check", False), ("look", True))  # what the event is called, whether the step may be over


def to_ics(bench: BenchCalendar, stamp: datetime, earlier: bytes = b"") -> bytes:
    """`stamp`: when the file is made, in UTC; with the same stamp and earlier file the bytes are the same.

    `earlier`: the file that this one replaces. Events of the same plants and lots that stood in it and are no more are
    given as cancelled, so that a calendar which imported it takes them away. So are looks at a step that has ended.
    """

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", "Rousewort bench")
    events = {event["uid"]: event for schedule in bench.schedules for event in _events(schedule, stamp)}
    gone = [*_ended_looks(bench, stamp), *_earlier(bench, earlier, stamp)]
    for event in {**{event["uid"]: event for event in gone}, **events}.values():
        calendar.add_component(event)
    made: bytes = calendar.to_ical()
    return made


def _ended_looks(bench: BenchCalendar, stamp: datetime) -> Iterator[Event]:
    """Looks that ended steps no longer have: they may have stood in a calendar before the end was known."""
    for schedule in bench.schedules:
        for step in schedule.steps:
            for what, ready in LOOKS:
                if step.ended and not any(check.ready is ready for check in step.checks):
                    doing = Doing(step.start, what, schedule, step)
                    yield _cancelled(_event(doing, doing_words(doing), step.start + timedelta(1), stamp))


def _earlier(bench: BenchCalendar, earlier: bytes, stamp: datetime) -> Iterator[Event]:
    """The events of these plants and lots in an earlier file of ours."""
    if PRODUCT.encode() not in earlier:
        return
    ours = tuple(_one_kind_of_line_end(f"{whose(schedule)}: ") for schedule in bench.schedules)
    try:
        old = Calendar.from_ical(earlier).walk("VEVENT")
    except ValueError:  # cut short or changed by hand: what stood in it cannot be known
        return
    for event in old:
        if isinstance(event, Event) and str(event.get("summary", "")).startswith(ours):
            yield _cancelled(_versioned(event, stamp))


def _cancelled(event: Event) -> Event:
    """Told as taken away; without alarm and without recurrence."""
    event.subcomponents.clear()
    for key in ("rrule", "rdate", "status"):
        event.pop(key, None)
    event.add("status", "CANCELLED")
    return event


def _versioned(event: Event, stamp: datetime) -> Event:
    """Marked as made now. A later file counts as a later version of the event, even within a day."""
    for key in ("dtstamp", "last-modified", "sequence"):
        event.pop(key, None)
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", int((stamp - FIRST_MOMENT).total_seconds()))
    return event


def uid(schedule: Schedule, step_id: str, what: str) -> str:
    """The same for the same lot, plant, step and kind of event, whatever the dates."""
    return str(uuid5(OURS, "\x1f".join((schedule.lot, schedule.name, step_id, what))))


def _events(schedule: Schedule, stamp: datetime) -> Iterator[Event]:
    for step in schedule.steps:
        begin = Doing(step.start, "begin", schedule, step)
        yield _event(begin, step_words(step), max(step.planned, step.start + timedelta(1)), stamp)
        for what, ready in LOOKS:
            days = [check.day for check in step.checks if check.ready is ready]
            if days:
                doing = Doing(days[0], what, schedule, step)
                event = _event(doing, doing_words(doing), days[0] + timedelta(1), stamp)
                if every := rhythm(days):
                    event.add("rrule", {"freq": "daily", "interval": every, "count": len(days)})
                elif len(days) > 1:  # moved to working days
                    event.add("rdate", days[1:], parameters={"VALUE": "DATE"})
                yield event
    if schedule.seedlings:
        doing = Doing(schedule.seedlings.earliest, "seedlings", schedule, schedule.steps[-1])
        last = schedule.seedlings.latest or schedule.seedlings.planned
        yield _event(doing, "Seedlings expected", last + timedelta(1), stamp)


def _one_kind_of_line_end(text: str) -> str:
    """A bare carriage return within a text cuts the line in two for some readers, and is not escaped by all writers."""
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _event(doing: Doing, title: str, end: date, stamp: datetime) -> Event:
    """All day from doing.day to before `end`; busy for nobody; an alarm on the first morning."""
    event = Event()
    event.add("uid", uid(doing.schedule, doing.step.id, doing.what))
    summary = _one_kind_of_line_end(f"{whose(doing.schedule)}: {title}")
    event.add("summary", summary)
    event.add("description", _one_kind_of_line_end("\n".join(details(doing))))
    event.add("dtstart", doing.day)
    event.add("dtend", end)
    event.add("transp", "TRANSPARENT")
    event.add("categories", [doing.what])
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", summary)
    alarm.add("trigger", MORNING)
    event.add_component(alarm)
    return _versioned(event, stamp)
