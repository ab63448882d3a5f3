"""When a step outside may begin: it waits for its season (kb/vocabulary/calendar.yaml, `sow_outside`)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from rousewort.base.errors import UserError


class Seasons:
    """The table of seasons, for one half of the Earth. `habits`: `vocabulary.calendar`."""

    def __init__(self, habits: Mapping[str, Any], south: bool = False) -> None:
        self.table, self.kinds, self.south = habits["sow_outside"], habits["kinds"], south

    def rule(self, step: Mapping[str, Any]) -> bool:
        """Whether a step waits for its season."""
        return step["kind"] in self.kinds.outdoors

    def row(self, step: Mapping[str, Any]) -> Mapping[str, Any]:
        """The season of a step (a step of a plan's JSON), by the obstacles that it removes."""
        removes = set(step.get("removes", ()))
        rows = self.table["seasons"]
        return next(row for row in rows if "removes" not in row or removes & set(row["removes"]))

    def name(self, step: Mapping[str, Any]) -> str:
        """`autumn`: seasons bear the same names in both halves of the Earth, half a year apart."""
        season: str = self.row(step)["season"]
        return season

    def on_or_after(self, step: Mapping[str, Any], day: date) -> date:
        """The first day of the step's season from `day` on; any day is one for a step that is not outside."""
        if not self.rule(step):
            return day
        return next(max(day, first) for first, last in self._spans(step, day) if last >= day)

    def on_or_before(self, step: Mapping[str, Any], day: date) -> date:
        """The last day of the step's season up to `day`; any day is one for a step that is not outside."""
        if not self.rule(step):
            return day
        return next(min(day, last) for first, last in reversed(self._spans(step, day)) if first <= day)

    def spans(self, row: Mapping[str, Any], years: Iterable[int]) -> list[tuple[date, date]]:
        """First and last day of a season in each of these years."""
        return [(self._day(year, row["from"]), self._day(year, row["to"])) for year in years]

    def _spans(self, step: Mapping[str, Any], around: date) -> list[tuple[date, date]]:
        return self.spans(self.row(step), range(around.year - 2, around.year + 3))

    def _day(self, year: int, told: Mapping[str, int]) -> date:
        month = told["month"] + (6 if self.south else 0)
        return date(year + (month > 12), (month - 1) % 12 + 1, told["day"])


class WorkingDays:
    """The days of the week on which somebody is at the bench (0: Monday); every day, if none is named."""

    def __init__(self, days: Iterable[int] = ()) -> None:
        self.days = frozenset(days) or frozenset(range(7))

    def on_or_after(self, day: date) -> date:
        return next(d for n in range(7) if (d := day + timedelta(n)).weekday() in self.days)

    def on_or_before(self, day: date) -> date:
        return next(d for n in range(7) if (d := day - timedelta(n)).weekday() in self.days)

    def nearest(self, day: date) -> date:
        """The working day nearest to that day, of two the earlier one: a look a day early costs nothing."""
        before, after = self.on_or_before(day), self.on_or_after(day)
        return before if day - before <= after - day else after


def working_days(text: str | None) -> WorkingDays:
    """`mon,thu`, `Monday Thursday`; nothing: every day. Raises UserError for what is no day of the week."""
    words = re.findall(r"[^\W\d_]+", (text or "").casefold())
    if unknown := [word for word in words if len(word) < 2 or not any(_is_day(word, name) for name in NAMES)]:
        raise UserError(f"'{unknown[0]}' is no day of the week. Write them as mon,thu.")
    return WorkingDays(n for n, name in enumerate(NAMES) if any(_is_day(word, name) for word in words))


NAMES = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def _is_day(word: str, name: str) -> bool:
    return name.startswith(word) or (word == f"{name}s")
