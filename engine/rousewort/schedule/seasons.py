"""When a step outside may begin: it waits for its season (kb/vocabulary/calendar.yaml, `sow_outside`)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any


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
