"""How many clean seeds of a plant are in a gram, and what says so: asked here only."""

from __future__ import annotations

from typing import NamedTuple

from rousewort.planning.plan import Plan
from rousewort.schedule.quantities import fewest_per_gram


class SeedCount(NamedTuple):
    """Seeds in a gram of clean seed, and what says so."""

    per_gram: float
    said_by: str


def seeds_per_gram(plan: Plan, key: str) -> SeedCount | None:
    """The fewest that is stated, so that grams reckoned from it suffice; None where nothing is. `key`:
    vocabulary.count_key."""
    least = fewest_per_gram(plan.facts.numbers.get(key, []))
    if least is None:
        return None
    return SeedCount(least["low"], f"the fewest that is stated, from {least.get('source', least['held'])}")
