"""How long a step of a stored plan lasts: its amounts read back from JSON, as days of the calendar and as words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import Any

from rousewort.knowledge.protocols import UNITS
from rousewort.planning.amounts import Amount
from rousewort.planning.wording import amount_text


@dataclass(frozen=True)
class Lasting:
    """Days from a step's beginning until it is over: at the earliest, as planned, at the latest (None: open)."""

    low: int
    use: int
    high: int | None


def amount(step: Mapping[str, Any], key: str) -> Amount | None:
    """An amount of a step in JSON (`days`, `temperature_c` …), or None where the plan gives none."""
    told = step.get(key)
    return Amount(told["low"], told["use"], told["high"], told.get("from", "")) if told else None


def lasting(step: Mapping[str, Any], overnight: int) -> Lasting:
    """Whole days of a step in JSON; hours up to `overnight` and minutes are over the same day."""
    days = amount(step, "days")
    span = days or amount(step, "hours") or Amount(0, 0, 0, "")
    use = next((end for end in (span.use, span.high, span.low) if end is not None), 0)
    low, high = span.low, span.high
    if not days:
        use = _nights(use, overnight)
        low, high = (None if hours is None else _nights(hours, overnight) for hours in (low, high))
    low = min(use if low is None else low, use)
    return Lasting(low, use, None if high is None else max(high, use))  # type: ignore[arg-type]  # amounts of days are whole


def _nights(hours: float, overnight: int) -> int:
    return max(0, ceil((hours - overnight) / 24))


def emergence(step: Mapping[str, Any], habits: Mapping[str, Any]) -> Lasting | None:
    """Days from sowing to seedlings of a plan's last step in JSON: earliest, counted on, latest; None if it does not sow."""
    how = habits["kinds"].emergence(step["kind"])
    if how == "in_season":
        return lasting(step, habits["overnight"]["hours"])
    days = (step.get("sowing") or {}).get("expect_days")
    if how != "expected" or not days:
        return None
    counted = ceil(days["low"] + habits["expected"]["share"] * (days["high"] - days["low"]))
    return Lasting(days["low"], counted, days["high"])


def lasts_text(step: Mapping[str, Any]) -> str:
    """`60 (42–60) days`, `24 (12–24) hours`; nothing where the plan gives no length."""
    unit = next((unit for unit in UNITS if step.get(unit)), None)
    told = amount(step, unit) if unit else None
    if told is None or unit is None:
        return ""
    words = amount_text(told, unit)
    return words if words.endswith("seconds") else f"{words} {unit}"
