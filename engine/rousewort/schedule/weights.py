"""How many clean seeds of a plant are in a gram, for reckoning grams, and what says so in words: asked here only."""

from __future__ import annotations

from typing import NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase


class SeedWeight(NamedTuple):
    """Seeds in a gram of clean seed; in words what says so, and by which works. `rough`: not counted in this plant."""

    per_gram: float
    words: str
    sources: tuple[str, ...] = ()
    rough: bool = False

    @property
    def said_by(self) -> str:
        return ", from ".join(filter(None, (self.words, ", ".join(self.sources))))


def seeds_per_gram(kb: KnowledgeBase, name: str) -> SeedWeight | None:
    """The fewest that is stated, so that grams reckoned from it suffice; by the size of the seed alone the usual, since the
    ends of a size lie far apart. None where nothing is known."""
    found = kb.seeds_per_gram(name)
    if found is None:
        return None
    if found.basis == "species":
        return SeedWeight(found.low, "the fewest that is stated", found.sources or (found.held,))
    if found.basis == "genus":
        return SeedWeight(found.low, f"the fewest among {len(found.of)} of its genus", found.sources, rough=True)
    return SeedWeight(found.use, "roughly, from the size of its seed", rough=True)
