"""Cases in a treatment's file: what differs by what is known of the seed, by what stands in its way, and by the size of the lot.

`when` and `unless` name keys and words as the conditions of rules do, and after all rules have run.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from typing import Any

from rousewort.knowledge.rules import FactKey
from rousewort.knowledge.vocabulary import Vocabulary

LOT = "lot"  # the key under which a case asks for the size of the lot
SMALL, BULK = "small", "bulk"
Case = Mapping[str, Any]
Place = tuple[str | int, ...]


def cases(treatment: Mapping[str, Any]) -> Iterator[tuple[Place, Case]]:
    """Every case of a treatment with its place in the file."""
    for i, case in enumerate(treatment.get("by_case", ())):
        yield ("by_case", i), case
    for i, case in enumerate(treatment.get("warmth", ())):
        yield ("warmth", i), case
    for part, those in treatment.get("sowing", {}).items():
        for i, case in enumerate(those):
            yield ("sowing", part, i), case


def lines(case: Case, part: str) -> Iterator[frozenset[FactKey]]:
    """The facts of which one will do, a line."""
    for key, words in case.get(part, {}).items():
        yield frozenset((key, word) for word in ([words] if isinstance(words, str) else words))


def holds(case: Case, facts: Set[FactKey], optional: Set[str]) -> bool:
    """Whether a case holds for seed of which these facts are known. `optional`: obstacles that only slow it."""
    if not all(line & facts for line in lines(case, "when")) or any(line & facts for line in lines(case, "unless")):
        return False
    slows = any(word in optional for line in lines(case, "when") for key, word in line if key == "obstacle")
    return slows == case["optional"] if "optional" in case else True


def reads(treatment: Mapping[str, Any]) -> set[FactKey]:
    """Every fact that some case of a treatment asks about."""
    return {
        fact
        for _, case in cases(treatment)
        for part in ("when", "unless")
        for line in lines(case, part)
        for fact in line
    }


def wrong_words(treatment: Mapping[str, Any], vocabulary: Vocabulary) -> Iterator[tuple[Place, str, str]]:
    """(place, what is wrong, what to write instead): words that no seed can have, and parts whose cases can all fail."""
    for place, case in cases(treatment):
        for part in ("when", "unless"):
            for key, word in sorted(fact for line in lines(case, part) for fact in line):
                known = [SMALL, BULK] if key == LOT else sorted(vocabulary.keys.get(key, ()))
                if word not in known:
                    yield (
                        (*place, part),
                        f"`{word}` is no word for {key}, so this case never holds",
                        "Allowed: " + ", ".join(known),
                    )
    for name, those in treatment.get("sowing", {}).items():
        if those[-1]["when"] or "unless" in those[-1]:
            yield ("sowing", name, len(those) - 1), f"there may be no case of {name} that holds", "End with `when: {}`."
