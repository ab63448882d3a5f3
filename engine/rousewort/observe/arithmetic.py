"""From what was written down to the numbers that thresholds are put on: works out a test's formulas (observations.yaml).

The key page of the handbook does the same in key.js, from the same formulas: the table of functions there must have the
names of `FUNCTIONS`, and a test runs both. A formula that reads what was not written down, or divides by nought, has no
value, and a number without a value is left out.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator, Mapping
from math import exp, log10
from statistics import mean
from typing import Any, NamedTuple

from rousewort.observe.expressions import Formula, parsed, with_constants, worded
from rousewort.observe.measures import fisher

Series = Mapping[float, float]  # time → value


class Sums(NamedTuple):
    """The formulas of one test, as data that can be sent to a page.

    numbers: name → formula. refuses: [condition, words], or [series, refuses] for rules on each of a series' values.
    """

    numbers: Mapping[str, Formula]
    refuses: list[Any]


def sums_of(data: Mapping[str, Any]) -> Sums:
    """The formulas of a test (its entry in observations.yaml)."""
    constants = data.get("model", {})
    numbers = {name: with_constants(parsed(str(text)), constants) for name, text in data["sums"].items()}
    return Sums(numbers, [_rule(rule) for rule in data.get("refuses", ())])


def _rule(rule: Mapping[str, Any]) -> list[Any]:
    if "each" in rule:
        return ["each", parsed(rule["each"]), [_rule(one) for one in rule["refuses"]]]
    return [parsed(rule["if"]), worded(rule["say"])]


def work_out(sums: Sums, seen: Mapping[str, Any]) -> dict[str, Any]:
    """The numbers of a test from its checked fields. ValueError says what is impossible between fields."""
    scope = _Scope(seen, sums.numbers)
    scope.refuse(sums.refuses)
    found = {name: scope.value(formula) for name, formula in sums.numbers.items()}
    return {name: value for name, value in found.items() if value is not None}


class _Scope:
    """What names stand for: fields first, then other numbers of the test."""

    def __init__(self, seen: Mapping[str, Any], numbers: Mapping[str, Formula]) -> None:
        self.seen, self.numbers = seen, numbers

    def value(self, formula: Formula) -> Any:
        if isinstance(formula, str):
            if formula in self.seen:
                return self.seen[formula]
            other = self.numbers.get(formula)
            return None if other == formula else self.value(other)  # `life: life` is the field itself
        if not isinstance(formula, list):
            return formula
        name, *rest = formula
        if name == "text":
            return rest[0]
        if name == "checked":
            self.refuse(rest[1])
            return self.value(rest[0])
        values = [self.value(part) for part in rest]
        if name not in TAKE_NONE and any(value is None for value in values):
            return None
        return FUNCTIONS[name](*values)

    def refuse(self, rules: list[Any]) -> None:
        for rule in rules:
            if rule[0] == "each":
                for inner in self._each(self.value(rule[1])):
                    inner.refuse(rule[2])
            elif self.value(rule[0]):
                raise ValueError(
                    "".join(part if isinstance(part, str) else _said(self.value(part[1])) for part in rule[1])
                )

    def _each(self, series: Series | None) -> Iterator[_Scope]:
        """One scope for each time, in order: with `time`, `value` and, but for the first, `before`."""
        before: dict[str, float] = {}
        for time, value in sorted((series or {}).items()):
            yield _Scope({**self.seen, "time": time, "value": value, **before}, self.numbers)
            before = {"before": value}


def _said(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _over(a: float, b: float) -> float | None:
    return a / b if b else None


def _last_shared(one: Series, other: Series, most: float) -> float:
    later = sorted(time for time in set(one) & set(other) if time > 0)
    return max((time for time in later if time <= most), default=later[-1] if later else 0)


def _series(*pairs: float) -> dict[float, float]:
    return dict(zip(pairs[::2], pairs[1::2], strict=True))


# Signs and functions by name. What each does is told in the head of observations.yaml.
FUNCTIONS: Mapping[str, Callable[..., Any]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": _over,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "==": operator.eq,
    "!=": operator.ne,
    "and": lambda a, b: a and b,
    "or": lambda a, b: a or b,
    "not in": lambda time, series: time not in series,
    "at": lambda series, time: series.get(time),
    "missing": lambda value: value is None,
    "otherwise": lambda value, other: other if value is None else value,
    "fraction": lambda value: value % 1 != 0,
    "smaller": min,
    "exp": exp,
    "log10": lambda value: log10(value) if value > 0 else None,
    "mean": mean,
    "series": _series,
    "weighings": len,
    "smallest": lambda series: min(series.values()),
    "last": lambda series: series[max(series)],
    "last_time": max,
    "last_shared": _last_shared,
    "most_by": lambda series, by: max((value for time, value in series.items() if time <= by), default=0),
    "fisher": fisher,
}
TAKE_NONE = ("missing", "otherwise")
