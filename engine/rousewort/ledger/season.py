"""The invented year of the Sallow Bridge community nursery: loaded, and worked through day by day as a grower would.

What is done each day is what the diary says is due; what is found is in sallow_bridge.yaml. Every step is handed out
as a `Deed`, so that the ledger, the commands or the pages can carry it out. For demonstration and tests.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from rousewort.base.errors import UserError
from rousewort.knowledge.strict_yaml import read
from rousewort.ledger.book import Ledger, Progress, quiet
from rousewort.ledger.due import Diary, Due
from rousewort.ledger.events import Batch
from rousewort.ledger.exchange import everything, take
from rousewort.ledger.opening import open_ledger

PLACE = Path(__file__).with_name("sallow_bridge.yaml")
NEVER = 10_000  # days
SETTLED = 30  # days after which there is something to see


@dataclass(frozen=True)
class Deed:
    """One thing the grower does. `kind`: start, split, merge or a kind of event; `data`: what it says; `code`: of the
    batch."""

    kind: str
    data: Mapping[str, Any]
    code: str = ""
    lot: Mapping[str, Any] | None = None


class InventedSeason:
    """The year's data, and the grower who follows it. `later`: as if it had been so many years later."""

    def __init__(self, diary: Diary, later: int = 0) -> None:
        self.data: dict[str, Any] = read(PLACE.read_bytes(), str(PLACE)).data
        self.diary, self.later = diary, later
        self.first, self.last = (self._day(self.data[key]) for key in ("first", "last"))
        self._reckoned: dict[tuple[str, int], Due] = {}
        self.lots = {lot["lot"]: lot for lot in self.data["batches"]}

    def days(self) -> Iterator[date]:
        for n in range((self.last - self.first).days + 1):
            yield self.first + timedelta(n)

    def _day(self, text: str) -> date:
        day = date.fromisoformat(text)
        return day.replace(year=day.year + self.later)

    def beginnings(self, day: date) -> Iterator[Deed]:
        for lot in self.data["batches"]:
            if self._day(lot["start"]) == day:
                data = {key: lot[key] for key in ("seeds", "lot", "viability") if key in lot}
                yield Deed("start", data | {"provenance": lot["from"], "held": self.data["held"]}, lot=lot)

    def deed(self, batch: Batch, day: date) -> Deed | None:
        """The next thing to be done with a batch that day, or None. Asked again until there is nothing left."""
        lot, age = self.lots[batch.lot], (day - batch.started).days
        happened = {event.kind for event in batch.events}
        if "discard" in lot and age >= lot["discard"]["after"]:
            return Deed("discard", {"reason": lot["discard"]["reason"]}, batch.code)
        if (
            "split" in lot
            and age >= lot["split"]["after"]
            and not batch.parent
            and "split" not in happened
            and not batch.sown_on
        ):
            return Deed("split", {"seeds": lot["split"]["seeds"]}, batch.code)
        if batch.parent and age >= lot["split"].get("merge", NEVER) and not batch.sown_on:
            return Deed("merge", {"into": batch.parent}, batch.code)
        if "wait" in lot and age >= lot["wait"]["after"] and "wait" not in happened and not batch.sown_on:
            return Deed("wait", {"until": day + timedelta(lot["wait"]["days"])}, batch.code)
        if day == self.last:
            return self._ending(batch)
        if batch.events[-1].data.get("finds") == ["roots"]:
            return Deed("sow", {}, batch.code)
        due = self._next(batch)
        return self._answer(due, lot, age, day) if due.day <= day else None

    def _next(self, batch: Batch) -> Due:
        """Asked every day of every batch: reckoned anew only when something was recorded."""
        key = (batch.code, batch.turn)
        if key not in self._reckoned:
            self._reckoned[key] = self.diary.next(batch)
        return self._reckoned[key]

    def _ending(self, batch: Batch) -> Deed:
        if batch.sown_on:
            return Deed("close", {"plants": batch.germinated * 9 // 10}, batch.code)
        return Deed("discard", {"reason": "the season ended before it could be sown"}, batch.code)

    def _answer(self, due: Due, lot: Mapping[str, Any], age: int, day: date) -> Deed:
        batch = due.batch
        if due.what == "sow":
            return Deed("sow", {}, batch.code)
        if due.what in ("count", "decide"):
            if due.what == "decide":
                return self._ending(batch)
            return Deed("count", {"new": self._new(batch, lot, day)}, batch.code)
        at_last = batch.following is not None and batch.following["id"] == batch.steps[-1]
        early = due.what == "look" and at_last and (due.step.planned - day).days <= lot.get("roots_early", -1)
        if early:
            return Deed("check", {"finds": ["roots"]}, batch.code)
        if due.what in ("do", "end"):
            return Deed("sow", {}, batch.code) if at_last else Deed("move", {"step": batch.following["id"]}, batch.code)  # type: ignore[index]  # not the last
        seen = [e.data.get("finds", [""])[0] for e in batch.events if e.kind == "check"]
        for after, find in lot.get("finds", {}).items():
            if age >= int(after) and find not in seen:
                return Deed("check", {"finds": [find], "lost": 2}, batch.code)
        return Deed("check", {"finds": ["fine"]}, batch.code)

    def _new(self, batch: Batch, lot: Mapping[str, Any], day: date) -> int:
        """Seedlings come evenly over the time in which they are expected, up to the lot's share."""
        window = self.diary.dated(batch).seedlings
        assert window is not None and batch.sown is not None
        latest = window.latest or window.planned
        part = min(1.0, ((day - window.earliest).days + 1) / max(1, (latest - window.earliest).days))
        new: int = max(0, round(batch.sown * lot["germinates"] * part) - batch.germinated)
        return new


def work(ledger: Ledger, season: InventedSeason, day: date, plan_of: Callable[[str], Mapping[str, Any]]) -> int:
    """Do all that is to be done on one day, straight in the ledger (whose `today` must be that day). Returns how much."""
    done = 0
    for deed in season.beginnings(day):
        assert deed.lot is not None
        ledger.start(plan_of(deed.lot["species"]), day=day, **deed.data)
        done += 1
    waiting = ledger.batches()
    while waiting:
        batch = waiting.pop()
        next_deed = season.deed(batch, day)
        if next_deed is None:
            continue
        deed = next_deed
        done += 1
        if deed.kind == "split":
            waiting += ledger.split(batch.code, day=day, **deed.data)
        elif deed.kind == "merge":
            ledger.merge(batch.code, day=day, **deed.data)
        else:
            after = ledger.record(batch.code, deed.kind, day=day, **deed.data)
            waiting += [] if after.ended else [after]
    return done


def running(diary: Diary, today: date) -> InventedSeason:
    """The season as if it were under way today, or just over."""
    invented = InventedSeason(diary)
    later = today.year - invented.first.year
    begun = invented.first.replace(year=today.year) + timedelta(SETTLED)
    return InventedSeason(diary, later if begun <= today else later - 1)


def load(
    ledger: Ledger,
    season: InventedSeason,
    until: date,
    plan_of: Callable[[str], Mapping[str, Any]],
    progress: Progress = quiet,
) -> int:
    """Fill an empty ledger with the season up to and with a day, all or nothing. Returns the number of batches.

    Raises UserError for a ledger that holds batches: what is recorded can never be taken out again.
    """
    if there := len(ledger.batches(ended=None)):
        raise UserError(
            f"{ledger.store.shown} holds {there} batches: the invented season is only for an empty ledger, since nothing "
            "can be taken out of a ledger again. Name a new file with --ledger."
        )
    today = [season.first]
    with open_ledger("sqlite://", today=lambda: today[0]) as aside:  # in memory: nothing is half loaded
        for day in season.days():
            if day > until:
                break
            today[0] = day
            work(aside, season, day, plan_of)
            progress("days of the season", (day - season.first).days + 1)
        new, _ = take(ledger, everything(aside))
    return new
