"""How many clean seeds of a plant are in a gram, for reckoning grams, and what says so in words: asked here only."""

from __future__ import annotations

from typing import NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase


class SeedWeight(NamedTuple):
    """Seeds in a gram of clean seed, and what says so. `rough`: not counted in this plant."""

    per_gram: float
    said_by: str
    rough: bool = False


def seeds_per_gram(kb: KnowledgeBase, name: str) -> SeedWeight | None:
    """The fewest that is stated, so that grams reckoned from it suffice; by the size of the seed alone the usual, since the
    ends of a size lie far apart. None where nothing is known."""
    found = kb.seeds_per_gram(name)
    if found is None:
        return None
    sources = ", ".join(found.sources) or found.held
    if found.basis == "species":
        return SeedWeight(found.low, f"the fewest that is stated, from {sources}")
    if found.basis == "genus":
        return SeedWeight(found.low, f"the fewest among {len(found.of)} of its genus, from {sources}", rough=True)
    return SeedWeight(found.use, "roughly, from the size of its seed", rough=True)
