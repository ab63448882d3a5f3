"""What may happen to a batch, and what a batch is: the sum of its events, in order.

An event is allowed if the batch with it still adds up (`add_up`); every rule about what may follow what is here and
nowhere else. Seeds are whole numbers, grams and shares are numbers, days are dates. `None` means not known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, NamedTuple

from rousewort.base.errors import UserError

# Every kind of event with what it may say. All are optional here; what a kind must say is asked where it is added up.
KINDS: dict[str, tuple[str, ...]] = {
    "start": (
        "seeds",
        "grams",
        "lot",
        "provenance",
        "viability",
        "south",
        "held",
        "other",
        "begun",
        "note",
        "past",
        "order",
    ),
    "check": ("finds", "lost", "note"),
    "move": ("step", "note", "skipped", "why"),
    "wait": ("until", "note"),
    "sow": ("seeds", "note", "skipped", "why"),
    "count": ("new", "note"),
    "split": ("seeds", "grams", "other", "note"),
    "take_in": ("seeds", "grams", "viability", "other", "since", "note", "past"),
    "merged": ("other", "note"),
    "discard": ("reason", "note"),
    "void": ("reason", "note"),
    "close": ("plants", "note"),
    "note": ("note",),
    "undo": ("undoes",),
    "redate": ("entry", "to", "note"),
    "set_aside": ("reason",),
    "taken_back": (),
}
# What each key holds. Data are plain JSON: dates stand as YYYY-MM-DD.
KEYS: dict[str, type] = {
    "seeds": int, "lost": int, "new": int, "plants": int, "undoes": int, "grams": float, "viability": float, "south": bool,
    "lot": str, "provenance": str, "held": str, "other": str, "step": str, "reason": str, "note": str, "until": date, "since": date,
    "finds": list, "begun": dict,
    "entry": int, "to": date,  # what is added goes last: columns of sheets are in this order
    "why": str, "skipped": list, "past": dict, "order": str,  # since version 3
}  # fmt: skip
ENDS = ("discard", "close", "merged", "void")
# Of the record itself, not of the seed: they stand in the log, and nothing follows from them but what they say of others.
ASIDE = ("set_aside", "taken_back")
YEARS = (1900, 2199)  # a day before or after is a slip of the pen, or a damaged file
MOST = 1_000_000_000  # seeds, seedlings, numbers of batches
# Undoing these would leave another batch, or nothing, behind.
FIRM = ("start", "split", "take_in", "merged")


@dataclass(frozen=True)
class Event:
    """One thing that was done or seen. `turn` counts from 1 within a batch; `recorded` is the moment, UTC, ISO 8601."""

    turn: int
    day: date
    kind: str
    recorded: str
    data: Mapping[str, Any] = field(default_factory=dict)


class Past(NamedTuple):
    """A step that lies behind. `begun` None: the batch went past it; `said`: the entry says that it was skipped (those
    before version 3 say nothing of it, and nobody knows). `why`: what the grower said of it."""

    begun: date | None
    ended: date
    why: str = ""
    said: bool = False

    @property
    def days(self) -> int:
        return 0 if self.begun is None else (self.ended - self.begun).days


@dataclass(frozen=True)
class Batch:
    """A batch as it stands. `begun`: the day each step that was reached began. `past`: the steps that lie behind, as they
    were: nothing else says that one was done. `counts`: new seedlings by day.

    `held`: "demo" for an invented one. `looked`: the last look in this step. `wait`: not before this day.
    """

    number: int
    code: str
    plan: Mapping[str, Any]
    digest: str
    events: tuple[Event, ...] = ()
    started: date = date.min
    seeds: int | None = None
    grams: float | None = None
    lot: str = ""
    provenance: str = ""
    viability: float | None = None
    south: bool = False
    held: str = ""
    begun: Mapping[str, date] = field(default_factory=dict)
    past: Mapping[str, Past] = field(default_factory=dict)
    step: str = ""
    looked: date | None = None
    wait: date | None = None
    sown: int | None = None
    sown_on: date | None = None
    counts: tuple[tuple[date, int], ...] = ()
    plants: int | None = None
    ended: Event | None = None
    parent: str = ""
    order: str = ""

    @property
    def species(self) -> str:
        name: str = self.plan["taxon"]["name"] or self.plan["query"]
        return name

    @property
    def steps(self) -> list[str]:
        return [step["id"] for step in self.plan["steps"]]

    @property
    def here(self) -> Mapping[str, Any]:
        """The step it is in, as the plan has it."""
        return next(step for step in self.plan["steps"] if step["id"] == self.step)

    @property
    def following(self) -> Mapping[str, Any] | None:
        """The step after it, or None in the last."""
        place = self.steps.index(self.step) + 1
        return self.plan["steps"][place] if place < len(self.steps) else None

    @property
    def germinated(self) -> int:
        return sum(new for _, new in self.counts)

    @property
    def turn(self) -> int:
        return self.events[-1].turn if self.events else 0

    @property
    def last_day(self) -> date:
        return self.standing[-1].day if self.events else date.min

    @property
    def standing(self) -> list[Event]:
        """Events that were not undone."""
        return standing(self.events, self.code)

    def step_ends(self) -> dict[str, date]:
        """The day on which each step before the present one ended: the next one's beginning."""
        ends: dict[str, date] = {}
        day = self.begun[self.step]
        for step in reversed(self.steps[: self.steps.index(self.step)]):
            ends[step] = day
            day = self.begun.get(step, day)
        return ends


def standing(events: Iterable[Event], code: str) -> list[Event]:
    """Events without those that were undone, each on the day that it was set right to.

    Only the last that stands can be undone, so nothing rests on it.
    """
    kept: list[Event] = []
    for event in events:
        if event.kind in ASIDE:
            continue
        if event.kind == "redate":
            _set_right(kept, event, code)
        elif event.kind != "undo":
            kept.append(event)
        elif not kept or kept[-1].turn != event.data.get("undoes"):
            raise UserError(f"{code}: only the last entry can be undone.")
        elif kept[-1].kind in FIRM:
            raise UserError(
                f"{code}: '{kept[-1].kind}' concerns more than one entry and cannot be undone. "
                + ("Void the batch instead." if kept[-1].kind == "start" else "Discard or merge instead.")
            )
        else:
            kept.pop()
    return kept


def _set_right(kept: list[Event], event: Event, code: str) -> None:
    place = next((n for n, old in enumerate(kept) if old.turn == event.data.get("entry")), None)
    if place is None:
        raise UserError(f"{code}: there is no entry {event.data.get('entry')} that stands.")
    if "begun" in kept[place].data or kept[place].kind in ("take_in", "merged", "split"):
        raise UserError(
            f"{code}: '{kept[place].kind}' concerns two batches, so its day cannot be set right in one of them."
        )
    kept[place] = replace(kept[place], day=read_day(event.data.get("to", "")))


def set_aside(events: Iterable[Event]) -> Event | None:
    """The entry that set the batch aside, if it still is."""
    last = next((event for event in reversed(list(events)) if event.kind in ASIDE), None)
    return last if last and last.kind == "set_aside" else None


def add_up(batch: Batch, events: Sequence[Event]) -> Batch:
    """The batch with these events, from the first. Raises UserError where one cannot follow those before it."""
    now = Batch(batch.number, batch.code, batch.plan, batch.digest, tuple(events))
    before: Event | None = None
    for event in events:
        _check_shape(now, event)
    for event in standing(events, batch.code):
        if (before is None) != (event.kind == "start"):
            raise UserError(f"{now.code}: a batch begins with its start, once.")
        if before and event.day < before.day:
            raise UserError(f"{now.code}: {event.day} lies before the last entry ({before.day}, {before.kind}).")
        if now.ended:
            raise UserError(
                f"{now.code} was ended on {now.ended.day} ({now.ended.kind}): nothing more can be recorded."
            )
        now = _HAPPENS[event.kind](now, event)
        before = event
    return now


def _check_shape(now: Batch, event: Event) -> None:
    if event.kind not in KINDS:
        raise UserError(f"{now.code}: '{event.kind}' is no kind of entry.")
    if not YEARS[0] <= event.day.year <= YEARS[1]:
        raise UserError(f"{now.code}: {event.day} lies in no year that a bench will see ({YEARS[0]} to {YEARS[1]}).")
    for key, value in event.data.items():
        if key not in KINDS[event.kind]:
            raise UserError(f"{now.code}: an entry '{event.kind}' says nothing of '{key}'.")
        wanted = KEYS[key]
        kinds: Any = (int, float) if wanted is float else (str,) if wanted is date else (wanted,)
        if not isinstance(value, kinds) or (isinstance(value, bool) and wanted is not bool):
            raise UserError(f"{now.code}: {key} cannot be {value!r}.")
        if (wanted is int and value < 0) or (wanted is float and not 0 < value < 1e9):
            raise UserError(f"{now.code}: {key} must be more than nothing, not {value}." if wanted is float
                          else f"{now.code}: {key} must be 0 or more, not {value}.")  # fmt: skip
        if wanted is int and value > MOST:
            raise UserError(f"{now.code}: {key} cannot be so large ({str(value)[:20]}).")
        if wanted is date and not YEARS[0] <= read_day(value).year <= YEARS[1]:
            raise UserError(
                f"{now.code}: {key} {value} lies in no year that a bench will see ({YEARS[0]} to {YEARS[1]})."
            )
        if isinstance(value, str) and ("\x00" in value or (not value.isprintable() and _unwritable(value))):
            raise UserError(f"{now.code}: {key} holds signs that are no text.")


def _unwritable(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return True
    return False


def read_day(text: str) -> date:
    """YYYY-MM-DD. Raises UserError for anything else."""
    try:
        if len(text) != 10:
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise UserError(f"'{text}' is no day. Write it as year-month-day, e.g. 2026-03-01.") from None


# --- what each kind of event does


def _start(now: Batch, event: Event) -> Batch:
    data = event.data
    if not now.steps:
        raise UserError(
            f"{now.species}: its plan has no steps (outcome: {now.plan['outcome']}); there is nothing to start."
        )
    for key in ("seeds", "grams"):
        if data.get(key) is not None and data[key] <= 0:
            raise UserError(f"A batch of {data[key]} {key} cannot be started: give a number above 0.")
    if not 0 < data.get("viability", 1) <= 1:
        raise UserError(f"Viability is a share above 0 and up to 1, not {data['viability']}; 80 % is 0.8.")
    begun = {step: read_day(day) for step, day in data.get("begun", {}).items()} or {now.steps[0]: event.day}
    if unknown := set(begun) - set(now.steps):
        raise UserError(f"{now.code}: no step of the plan: {', '.join(sorted(unknown))}.")
    return replace(
        now,
        started=min(begun.values()),
        seeds=data.get("seeds"),
        grams=data.get("grams"),
        lot=data.get("lot", ""),
        provenance=data.get("provenance", ""),
        viability=data.get("viability"),
        south=data.get("south", False),
        held=data.get("held", ""),
        begun=begun,
        past=_past_at_start(now.steps, begun, data),
        step=max(begun, key=now.steps.index),
        looked=event.day if "begun" in data else None,  # a part of another batch was in the hand that day
        parent=data.get("other", ""),
        order=data.get("order", ""),
    )


def _past_at_start(steps: list[str], begun: Mapping[str, date], data: Mapping[str, Any]) -> dict[str, Past]:
    """What a part of another batch brings with it. Parts before version 3 say when each step began, and no more."""
    if "past" in data:
        return read_past(data["past"], steps)
    found: dict[str, Past] = {}
    here = max(begun, key=steps.index)
    day = begun[here]
    for step in reversed(steps[: steps.index(here)]):
        found[step] = Past(begun.get(step), day)
        day = begun.get(step, day)
    return {step: found[step] for step in steps if step in found}


def read_past(told: Mapping[str, Any], steps: list[str]) -> dict[str, Past]:
    """Steps that lie behind, from an entry. Raises UserError for a step that the plan does not have."""
    if unknown := set(told) - set(steps):
        raise UserError(f"no step of the plan: {', '.join(sorted(map(str, unknown)))}.")
    return {
        step: Past(
            read_day(told[step]["begun"]) if told[step].get("begun") else None,
            read_day(told[step]["ended"]),
            str(told[step].get("why", "")),
            bool(told[step].get("said", False)),
        )
        for step in steps
        if step in told
    }


def past_data(past: Mapping[str, Past]) -> dict[str, Any]:
    """Steps that lie behind, as an entry says them: plain JSON, nothing that is empty."""
    found = {}
    for step, was in past.items():
        told: dict[str, Any] = {"begun": str(was.begun)} if was.begun else {}
        told |= {"ended": str(was.ended)} | ({"why": was.why} if was.why else {}) | ({"said": True} if was.said else {})
        found[step] = told
    return found


def _check(now: Batch, event: Event) -> Batch:
    return replace(now, looked=event.day, wait=None, seeds=_less(now, event.data.get("lost", 0), "lost"))


def _less(now: Batch, seeds: int, what: str) -> int | None:
    if now.seeds is None:
        return None
    if seeds > now.seeds:
        raise UserError(f"{now.code} holds {now.seeds} seeds; {seeds} cannot be {what}.")
    return now.seeds - seeds


def _not_sown(now: Batch, what: str) -> None:
    if now.sown_on:
        raise UserError(f"{now.code} was sown on {now.sown_on}: it can no longer be {what}.")


def _move(now: Batch, event: Event) -> Batch:
    _not_sown(now, "moved to another step")
    step = event.data.get("step")
    if step not in now.steps:
        raise UserError(f"{now.code}: '{step}' is no step of its plan. Its steps are: {', '.join(now.steps)}.")
    return _enter(now, step, event)


def _enter(now: Batch, step: str, event: Event) -> Batch:
    """Into a later step, or back to begin an earlier one (or this one) again: what came after it then no longer stands."""
    before = now.steps[: now.steps.index(step)]
    begun = {s: d for s, d in now.begun.items() if s in before} | {step: event.day}
    past = {s: was for s, was in now.past.items() if s in before}
    if now.step in before:
        why, said = event.data.get("why", ""), event.data.get("skipped", [])
        past[now.step] = Past(now.begun[now.step], event.day, why)
        for passed in now.steps[now.steps.index(now.step) + 1 : len(before)]:
            past[passed] = Past(None, event.day, why if passed in said else "", passed in said)
    return replace(now, begun=begun, past=past, step=step, started=min(begun.values()), looked=None, wait=None)


def _wait(now: Batch, event: Event) -> Batch:
    until = read_day(event.data.get("until", ""))
    if until <= event.day:
        raise UserError(f"{now.code}: wait until a day after {event.day}, not {until}.")
    return replace(now, looked=event.day, wait=until)


def _sow(now: Batch, event: Event) -> Batch:
    _not_sown(now, "sown again")
    seeds = event.data.get("seeds", now.seeds)
    if seeds is not None and seeds < 1:
        raise UserError(f"{now.code}: {seeds} seeds cannot be sown.")
    if seeds is not None and now.seeds is not None and seeds > now.seeds:
        raise UserError(f"{now.code} holds {now.seeds} seeds; {seeds} cannot be sown.")
    there = _enter(now, now.steps[-1], event)
    return replace(there, seeds=seeds, sown=seeds, sown_on=event.day)


def _count(now: Batch, event: Event) -> Batch:
    if not now.sown_on:
        raise UserError(f"{now.code} is not sown yet: record roots in a bag as a check, and sow before counting.")
    new = event.data.get("new")
    if new is None:
        raise UserError(f"{now.code}: say how many new seedlings there are (0 is a count too).")
    if now.sown is not None and now.germinated + new > now.sown:
        raise UserError(f"{now.code}: {now.germinated} + {new} seedlings from {now.sown} seeds sown cannot be.")
    return replace(now, counts=(*now.counts, (event.day, new)), looked=event.day, wait=None)


def _part(now: Batch, event: Event) -> Batch:
    _not_sown(now, "split")
    seeds, grams = event.data.get("seeds"), event.data.get("grams")
    if not seeds and not grams:
        raise UserError(f"{now.code}: say how many seeds (or grams) go into the new batch.")
    if seeds and now.seeds is not None and seeds >= now.seeds:
        raise UserError(f"{now.code} holds {now.seeds} seeds; a part of it is fewer than that, not {seeds}.")
    if grams and now.grams is not None and grams >= now.grams:
        raise UserError(f"{now.code} weighs {now.grams:g} g; a part of it is less than that, not {grams:g} g.")
    left = None if now.seeds is None or not seeds else now.seeds - seeds
    weight = None if now.grams is None or not grams else round(now.grams - grams, 6)
    return replace(now, seeds=left, grams=weight)


def _take_in(now: Batch, event: Event) -> Batch:
    """The step counts from the later of the two beginnings: too long a treatment does less harm than too short. So do
    the steps behind: of two that were given differently, the lesser stands for both."""
    _not_sown(now, "merged")
    theirs = read_past(event.data.get("past", {}), now.steps)
    past = {step: _lesser(was, theirs.get(step, was)) for step, was in now.past.items()}
    data, since = event.data, read_day(event.data.get("since", ""))
    both = [
        None if a is None or b is None else a + b
        for a, b in ((now.seeds, data.get("seeds")), (now.grams, data.get("grams")))
    ]
    begun = {**now.begun, now.step: max(now.begun[now.step], since)}
    alike = now.viability if now.viability == data.get("viability") else None
    return replace(now, seeds=both[0], grams=both[1], begun=begun, past=past, viability=alike)


def _lesser(one: Past, other: Past) -> Past:
    if (one.begun is None) != (other.begun is None):
        return one if one.begun is None else other
    return min(one, other, key=lambda was: (was.days, was.said))


def _merged(now: Batch, event: Event) -> Batch:
    _not_sown(now, "merged")
    return replace(now, ended=event)


def _discard(now: Batch, event: Event) -> Batch:
    if not event.data.get("reason", "").strip():
        raise UserError(f"{now.code}: say why it is discarded.")
    return replace(now, ended=event)


def _void(now: Batch, event: Event) -> Batch:
    """The batch never was: begun by mistake, for the wrong plant, twice."""
    if not event.data.get("reason", "").strip():
        raise UserError(f"{now.code}: say why it never was.")
    if now.parent or any(e.kind in ("split", "take_in") for e in now.standing):
        raise UserError(
            f"{now.code} shares its seed with another batch, so it was there: discard it, or merge it back."
        )
    return replace(now, ended=event)


def _close(now: Batch, event: Event) -> Batch:
    if not now.sown_on:
        raise UserError(f"{now.code} was never sown: discard it with a reason instead of closing it.")
    plants = event.data.get("plants")
    if plants is not None and plants > now.germinated:
        raise UserError(
            f"{now.code}: {plants} plants from {now.germinated} seedlings cannot be. Count the seedlings first."
        )
    return replace(now, ended=event, plants=plants)


def _note(now: Batch, event: Event) -> Batch:
    if not event.data.get("note", "").strip():
        raise UserError(f"{now.code}: the note is empty.")
    return now


_HAPPENS: dict[str, Callable[[Batch, Event], Batch]] = {
    "start": _start, "check": _check, "move": _move, "wait": _wait, "sow": _sow, "count": _count, "split": _part,
    "take_in": _take_in, "merged": _merged, "discard": _discard, "void": _void, "close": _close, "note": _note,
}  # fmt: skip
