"""A published decision table for germination trials of fresh seed, evaluated as printed (observations.yaml, alpine_key)."""

from __future__ import annotations

import operator
from collections.abc import Mapping
from typing import Any, NamedTuple

from rousewort.base.errors import UserError

COMPARE = {">=": operator.ge, "<=": operator.le}
VARIABLES = ("F_light", "F_drycold", "F_wetcold", "F_scar", "M_light", "M_drycold", "M_wetcold", "M_scar")


class Decision(NamedTuple):
    """`words`: trait → word; `path`: the steps answered, each with yes or no."""

    words: Mapping[str, str]
    path: tuple[tuple[str, bool], ...]


def decide(key: Mapping[str, Any], start: str, values: Mapping[str, float]) -> Decision:
    """`key`: alpine_key of observations.yaml; `start`: passes_full_size, undergrown or stops; `values`: final
    germination F_… in per cent and mean germination time M_… in days, any of them missing.

    Published: Schwienbacher et al. 2011, Flora 206:845-856, table 4. A comparison with a missing value counts as true,
    one with the pass mark as false.
    """
    problems = [
        f"{name} is no value of this key. Known: {', '.join(VARIABLES)}." for name in values if name not in VARIABLES
    ]
    problems += [
        f"{n} must be from 0 to 100 %, not {v}." for n, v in values.items() if n[0] == "F" and not 0 <= v <= 100
    ]
    problems += [f"{n} must be 0 days or more, not {v}." for n, v in values.items() if n[0] == "M" and v < 0]
    if start not in key["starts"]:
        problems.append(f"'{start}' is no start of this key. Known: {', '.join(key['starts'])}.")
    if problems:
        raise UserError(*problems)
    step, path = key["starts"][start], []
    while True:
        question = key["steps"][step]
        each = [
            _compare(key, left, sign, right, values) for left, sign, right in question.get("all") or question["any"]
        ]
        answer = all(each) if "all" in question else any(each)
        path.append((step, answer))
        after = question["yes" if answer else "no"]
        if not isinstance(after, str):
            return Decision(after, tuple(path))
        step = after


def _compare(key: Mapping[str, Any], left: str, sign: str, right: str, values: Mapping[str, float]) -> bool:
    if right == "pass":
        return left in values and COMPARE[sign](values[left], key["pass"])
    return left not in values or right not in values or COMPARE[sign](values[left], values[right])
