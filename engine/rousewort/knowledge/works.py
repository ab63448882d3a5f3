"""What can be said of a cited work by itself: whether its fields agree, and which plants its title is about."""

from __future__ import annotations

import re
from collections.abc import Container, Iterator, Mapping
from typing import Any

from rousewort.base.errors import Problem
from rousewort.knowledge.strict_yaml import Document

# What names one work and no other: two ids with one of these are one work.
IDENTIFIERS = ("doi", "isbn", "report", "pmc", "pmid", "handle")
# One report or handbook may be cited by chapter, one volume of proceedings by paper.
_SHARED = {"report"}
# `Leucaena leucocephala`, `Iris, a`, `Cuphea (Lythraceae)`: a word that can be a genus. Places and journals that are genera
# too stand before a capital or a number (Victoria Bulletin, Vitis 58).
_NAMES = re.compile(r"\b([A-Z][a-z]+)(?= (?:[a-z]|\([A-Z])|[),;:.]|$)")


def work_problems(document: Document) -> Iterator[Problem]:
    """Where a work's fields disagree: an author or a year that its citation lacks, or one identifier under two ids."""
    taken: dict[tuple[str, str], str] = {}
    for key, work in document.data.items():
        citation, author, year = work["citation"], work.get("author"), work.get("year")
        if author and author.casefold() not in citation.casefold():
            yield document.problem(
                (key, "author"), f"`{author}` does not stand in the citation", "Write both as the work has it."
            )
        if year and str(year) not in citation:
            yield document.problem(
                (key, "year"), f"{year} does not stand in the citation", "Write both as the work has it."
            )
        for kind in IDENTIFIERS:
            number = str(work.get(kind, "")).lower()
            other = taken.setdefault((kind, number), key) if number else key
            if other != key and kind not in _SHARED:
                yield document.problem(
                    (key, kind), f"{number} is the {kind} of `{other}` too", "Keep one id, and cite it everywhere."
                )


def subjects(work: Mapping[str, Any], genera: Container[str]) -> frozenset[str]:
    """Genera that the citation of a work names, of `genera`; its authors and its journal are none of its subjects."""
    title = work["citation"].removeprefix(work.get("author", ""))
    return frozenset(word for word in _NAMES.findall(title) if word in genera)
