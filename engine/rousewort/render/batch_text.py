"""Batches, what is due and what came of them, as text for a terminal. Decides nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from rousewort.ledger.courses import PLANNED, StepCourse, departures
from rousewort.ledger.due import Diary, Due, said
from rousewort.ledger.events import Batch, Event
from rousewort.ledger.results import BatchResult, Expected, OwnRecord
from rousewort.planning.wording import amount_text
from rousewort.render.table import table
from rousewort.render.terminal import Page


def due_list(found: Sequence[Due], today: date, page: Page) -> str:
    """Late first, then today, then the days to come; the cautions of every step named, once, at the end."""
    groups = [
        ("Late", [d for d in found if d.day < today]),
        (f"Today, {today:%A} {today}", [d for d in found if d.day == today]),
        ("To come", [d for d in found if d.day > today]),
    ]
    if not found:
        page.say("Nothing is due.")
    for title, some in groups:
        if some:
            page.heading(title)
        for due in some:
            when = "" if due.day == today else f"{due.day}  "
            page.say(f"{page.bold(due.batch.code)}  {due.batch.species}", 2, bullet=when)
            page.say(said(due), 6)
    _cautions(found, page)
    return page.text()


def _cautions(found: Iterable[Due], page: Page) -> None:
    about: dict[tuple[str, str], list[str]] = {}
    for due in found:
        coming = due.batch.following if due.what in ("do", "end") else None
        steps = [(due.step.label, due.step.cautions), *([(coming["label"], coming["cautions"])] if coming else [])]
        for label, cautions in steps:
            for text in cautions:
                about.setdefault((label, text), []).append(due.batch.code)
    if about:
        page.heading("Take care")
    for (label, text), codes in about.items():
        page.say(f"{text} ({label}: {', '.join(codes)})", 2, "! ", "33")


def one_line(batch: Batch, diary: Diary) -> str:
    """`7R Cercis canadensis: cold and moist since 2025-11-03; on 2025-12-15: open, air and check`."""
    head = f"{batch.code} {batch.species}: "
    if batch.ended:
        return head + f"{_ENDED[batch.ended.kind]} on {batch.ended.day}"
    due = diary.next(batch)
    if batch.sown_on:
        head += f"sown on {batch.sown_on}, {batch.germinated} of {_of(batch.sown)} up"
    elif batch.following is None:
        head += "ready to sow"
    else:
        head += f"{batch.here['label']} since {batch.begun[batch.step]}"
    return head + f"; on {due.day}: {said(due)}" + _departed(batch, diary)


def _departed(batch: Batch, diary: Diary) -> str:
    """What was not done as planned, so that no list shows such a batch as one that had all."""
    found = [f"{one.label} {one.state}" for one in diary.courses(batch) if departures([one])]
    return f" [{', '.join(found)}]" if found else ""


_ENDED = {"close": "closed", "discard": "discarded", "merged": "merged into another", "void": "void (never was)"}


def _of(seeds: int | None) -> str:
    return "an unknown number" if seeds is None else f"{seeds}"


def amount(batch: Batch) -> str:
    """`200 seeds, 5 g`, or what is known of it."""
    parts = [f"{batch.seeds} seeds"] if batch.seeds is not None else []
    parts += [f"{batch.grams:g} g"] if batch.grams is not None else []
    return ", ".join(parts) or "not counted"


def whole(batch: Batch, diary: Diary, today: date, page: Page) -> str:
    """One batch: where it stands, what is next, its dates, and everything that was recorded."""
    page.say(page.bold(f"{batch.code}  {batch.species}"))
    about = [amount(batch), batch.lot and f"lot {batch.lot}", batch.provenance and f"from {batch.provenance}"]
    page.say("; ".join(part for part in about if part) + (" (invented)" if batch.held == "demo" else ""))
    page.say(one_line(batch, diary))
    if not batch.ended:
        due = diary.next(batch)
        page.heading(f"Next, {'today' if due.day == today else due.day}: {due.step.label}")
        page.each(due.step.do, 2)
        page.each((f"Watch: {text}" for text in due.step.watch), 2, "")
        page.each(due.step.cautions, 2, "! ", "33")
        _dates(batch, diary, today, page)
    page.heading("Recorded")
    kept = {event.turn for event in batch.standing}
    for event in batch.events:
        undone = "" if event.turn in kept or event.kind == "undo" else " (undone)"
        page.say(f"{event_text(event)}{undone}", 2, f"{event.day}  ")
    return page.text()


def _dates(batch: Batch, diary: Diary, today: date, page: Page) -> None:
    page.heading("Dates")
    made = diary.dated(batch, today)
    page.each(made.notes, 2, "! ", "33")
    for step in made.steps:
        sign = "here" if step.id == batch.step else "" if step.state == PLANNED else step.state
        said = step.course.partition(f": {step.state}")[2] if step.ended else ""
        page.say(f"{step.start}  {sign:<12}  {step.label}{said}", 2)
    window = made.seedlings
    if window:
        latest = f" to {window.latest}" if window.latest else ""
        page.say(f"{window.earliest}{latest}: seedlings expected", 2)


def event_text(event: Event) -> str:
    """`check: mould, 3 lost`."""
    parts = []
    for key, value in event.data.items():
        if key == "finds":
            parts.append(", ".join(value))
        elif key == "skipped":
            parts.append(f"skipped {', '.join(value)}")
        elif key == "past":
            continue
        elif key == "begun":
            parts.append("steps begun: " + ", ".join(f"{step} {day}" for step, day in value.items()))
        elif key == "note":
            parts.append(f"“{value}”")
        else:
            parts.append(_SAID.get(key, "{key} {value}").format(key=key, value=value))
    return event.kind.replace("_", " ") + (": " + ", ".join(parts) if parts else "")


_SAID = {
    "seeds": "{value} seeds", "grams": "{value:g} g", "lost": "{value} lost", "new": "{value} new", "plants": "{value} plants",
    "step": "to {value}", "until": "until {value}", "other": "with {value}", "reason": "{value}", "undoes": "entry {value}",
    "entry": "entry {value}", "to": "was on {value}",
    "provenance": "from {value}", "why": "because {value}", "order": "order {value}", "held": "{value}", "south": "southern seasons",
}  # fmt: skip


BATCH_COLUMNS = (
    "batch", "species", "lot", "origin", "seeds", "grams", "stands", "since", "next", "what to do", "up", "not as planned",
)  # fmt: skip
DUE_COLUMNS = ("day", "late days", "batch", "species", "what to do", "step")
RESULT_COLUMNS = (
    "batch",
    "species",
    "lot",
    "origin",
    "seeds sown",
    "came up",
    "share",
    "expected",
    "first day",
    "half by day",
)


def batch_rows(batches: Iterable[Batch], diary: Diary) -> list[tuple[object, ...]]:
    """A row a batch, as BATCH_COLUMNS says; empty where nothing is known or to be done."""
    return [_batch_row(batch, diary) for batch in batches]


def _batch_row(batch: Batch, diary: Diary) -> tuple[object, ...]:
    due = None if batch.ended else diary.next(batch)
    if batch.ended:
        stands, since = _ENDED[batch.ended.kind], batch.ended.day
    elif batch.sown_on:
        stands, since = "sown", batch.sown_on
    else:
        stands = "ready to sow" if batch.following is None else batch.here["label"]
        since = batch.begun[batch.step]
    up = "" if batch.sown_on is None else batch.germinated
    amount_of = ["" if n is None else n for n in (batch.seeds, batch.grams)]
    coming = ("", "") if due is None else (str(due.day), said(due))
    return (batch.code, batch.species, batch.lot, batch.provenance, *amount_of, stands, str(since), *coming, up, _departed(batch, diary).strip(" []"))  # fmt: skip # noqa: E501


def due_rows(found: Iterable[Due], today: date) -> list[tuple[object, ...]]:
    return [(str(d.day), d.late(today), d.batch.code, d.batch.species, said(d), d.step.label) for d in found]


def result_rows(results: Iterable[BatchResult]) -> list[tuple[object, ...]]:
    """A row a closed batch; shares of the seeds sown, days from sowing."""
    found: list[tuple[object, ...]] = []
    for one in results:
        batch = one.batch
        figures = (batch.sown, batch.germinated, one.share, one.expected.share, one.first, one.half)
        told = ["" if n is None else round(n, 3) for n in figures]
        found.append((batch.code, batch.species, batch.lot, batch.provenance, *told))
    return found


def listing(batches: Sequence[Batch], diary: Diary, page: Page) -> str:
    """A line a batch, in columns that fit the page."""
    if not batches:
        return "No batches.\n"
    shown = [BATCH_COLUMNS.index(name) for name in ("batch", "species", "stands", "next", "what to do")]
    rows = [[str(row[n]) for n in shown] for row in batch_rows(batches, diary)]
    head, *lines = table([BATCH_COLUMNS[n] for n in shown], rows, page.width)
    page.lines += [page.quiet(head), *lines]
    for row in batch_rows(batches, diary):
        if row[-1]:
            page.say(f"{row[0]}: {row[-1]}", 2, "! ", "33")
    return page.text()


# --- results


def percent(share: float | None) -> str:
    return "not known" if share is None else f"{round(100 * share)} %"


def result_lines(results: Iterable[BatchResult], page: Page) -> None:
    for result in results:
        batch = result.batch
        page.say(
            f"{page.bold(batch.code)}  {batch.species}: {batch.germinated} of {_of(batch.sown)} ({percent(result.share)})"
        )
        page.say(f"expected: {expected_text(result.expected)}", 4)
        if result.first is not None:
            usual = f"; usual {result.expected_days[0]}–{result.expected_days[1]}" if result.expected_days else ""
            page.say(f"first seedlings {result.first} days after sowing, half of them {result.half}{usual}", 4)
        for given in result.given:
            page.say(f"{given.label}: {given.days} days; planned {amount_text(given.planned, 'days')}", 4)


def expected_text(expected: Expected) -> str:
    return expected.said_by if expected.share is None else f"{percent(expected.share)} ({expected.said_by})"


def record_text(record: OwnRecord, page: Page) -> None:
    """The own record beside what is published, each under its own name."""
    page.heading(f"{record.species}: sources side by side")
    page.say(f"Published: {expected_text(record.prior)}.", 2)
    page.say(f"{record.citation}.", 2)
    page.say(
        f"Taken together: {percent(record.share)} to be expected of the next batch "
        f"({percent(record.low)} to {percent(record.high)} with {percent(record.sure)} probability).",
        2,
    )
    for length in record.lengths:
        tried = ", ".join(map(str, length.tried))
        page.say(
            f"{length.label}: planned {length.planned} days, given {tried}; with the own record {length.own} days.", 2
        )


def as_data(batch: Batch, diary: Diary, today: date) -> dict[str, Any]:
    """A batch as JSON: where it stands, what is next, every event. The plan is left to the export."""
    due = None if batch.ended else diary.next(batch)
    return {
        "code": batch.code,
        "number": batch.number,
        "species": batch.species,
        "seeds": batch.seeds,
        "grams": batch.grams,
        "lot": batch.lot,
        "provenance": batch.provenance,
        "held": batch.held or None,
        "step": batch.step,
        "begun": {step: str(day) for step, day in batch.begun.items()},
        "steps": [_course_data(one) for one in diary.courses(batch)],
        "sown": None if batch.sown_on is None else {"day": str(batch.sown_on), "seeds": batch.sown},
        "germinated": batch.germinated if batch.sown_on else None,
        "ended": None if batch.ended is None else {"day": str(batch.ended.day), "how": batch.ended.kind},
        "next": None if due is None else due_data(due, today),
        "events": [
            {"turn": e.turn, "day": str(e.day), "kind": e.kind, "recorded": e.recorded, "data": dict(e.data)}
            for e in batch.events
        ],
    }


def _course_data(one: StepCourse) -> dict[str, Any]:
    days = {"begun": one.begun and str(one.begun), "ended": one.ended and str(one.ended), "days": one.days}
    return {"id": one.id, "state": one.state, **days, "planned": one.planned or None, "why": one.why or None}


def due_data(due: Due, today: date) -> dict[str, Any]:
    return {
        "day": str(due.day),
        "what": due.what,
        "text": said(due),
        "late_days": due.late(today),
        "code": due.batch.code,
        "species": due.batch.species,
        "step": due.step.id,
        "do": list(due.step.do),
        "cautions": list(due.step.cautions),
    }


def record_data(record: OwnRecord) -> dict[str, Any]:
    return {
        "species": record.species,
        "provenance": record.provenance or None,
        "citation": record.citation,
        "held": record.held,
        "published": {
            "share": record.prior.share,
            "said_by": record.prior.said_by,
            "sources": list(record.prior.sources),
        },
        "seeds": record.seeds,
        "germinated": record.germinated,
        "expected": {"share": record.share, "low": record.low, "high": record.high, "probability": record.sure},
        "lengths": [
            {"step": n.step, "planned": n.planned, "own": n.own, "tried": list(n.tried)} for n in record.lengths
        ],
    }
