"""Decisions that no plan of today shows on both sides: how a record is said, when kin are divided, what is pooled how."""

from __future__ import annotations

import pytest
from rousewort.knowledge.chilling import TYPES
from rousewort.planning.amounts import _pooled_temperature
from rousewort.planning.claims import Claim
from rousewort.planning.facts import _divided
from rousewort.planning.need import Need, length
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import plan_json
from rousewort.planning.sureness import _figure


@pytest.mark.parametrize(
    ("right", "tried", "said"),
    [
        (0.9, 40, "right in 36 of 40 (80–95 %)"),
        (0.9, 20, "right in 18 of 20 (80–95 %)"),
        (0.9, 19, "right in 90 % (80–95 %; only 19 tried)"),
        (0.5, 40, "right in 20 of 40 (80–95 %)"),
        (0.4, 40, "doubtful, right in 16 of 40 (80–95 %)"),
        (None, 40, None),
        (0.9, 0, None),
    ],
)
def test_record_of_like_claims_is_counted_and_a_short_one_says_so(
    right: float | None, tried: int, said: str | None
) -> None:
    assert _figure(Claim("cold", True, "kin", right, 0.8, 0.95, tried)) == said


def test_kin_are_divided_only_where_enough_of_them_differ() -> None:
    def found(least: int, **votes: list[str]) -> list[str]:
        return [known.word for known in _divided("reported_cold", "genus", votes, least)]

    assert found(2, needed=["a", "b"], unneeded=["c", "d"]) == ["mixed"]
    assert found(2, needed=["a", "b"], unneeded=["c"]) == []  # three of four
    assert found(1, needed=["a"], unneeded=["b"]) == ["mixed"]
    assert found(1, needed=["a", "b", "c"]) == []  # all say the same


def test_cold_is_no_longer_than_anybody_tried_and_at_least_a_day() -> None:
    shares = [1 / len(TYPES)] * len(TYPES)
    assert length(Need(shares, 0.2, "kin")).use == 1
    assert length(Need(shares, 9, "kin")).use == 9
    assert length(Need(shares, 14, "kin")).use == 14
    assert length(Need(shares, 300, "kin")).use <= 240
    short, usual, long = (length(Need(shares, 150, "kin"), lean).use for lean in ("short", None, "long"))
    assert short < long <= 150 and short <= usual <= long


def test_days_and_nights_are_pooled_apart_and_outweigh_as_many_fixed_degrees() -> None:
    pairs = [{"temperature_c": {"day": day, "night": night}} for day, night in ((20, 10), (25, 15), (30, 15))]
    amount = _pooled_temperature(pairs, "genus")
    assert (amount.low, amount.use, amount.high) == (10, {"day": 25, "night": 15}, 30)
    flat = [{"temperature_c": {"low": 4, "high": 6}}, {"temperature_c": {"low": None, "high": 3}}]
    assert _pooled_temperature([*pairs, *flat], "genus").use == {"day": 25, "night": 15}
    assert _pooled_temperature([*pairs[:2], *flat], "genus").use == {"day": 22, "night": 12}
    amount = _pooled_temperature([pairs[0], *flat], "genus")
    assert (amount.low, amount.use, amount.high) == (3, 4, 6)


def test_five_relatives_are_named_and_the_rest_counted(planner: Planner) -> None:
    named = [
        (item["count"], len(item["species"]))
        for name in ("Acer sallowbridgense", "Lupinus sallowbridgensis", "Prunus sallowbridgensis")
        for item in plan_json(planner.plan(name))["basis"].get("relatives", {}).get("classes", ())
    ]
    assert any(count > 5 for count, _ in named)
    assert all(some == min(count, 5) for count, some in named)
