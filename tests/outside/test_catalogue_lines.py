"""Lines of real seed lists are read as a botanist reads them; none is taken for another plant (data/catalogue_lines.txt)."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import NamedTuple

import pytest
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.names import fold

DATA = Path(__file__).parent / "data"


class Line(NamedTuple):
    source: str
    text: str
    reading: str  # empty: a heading


def lines(file: str = "catalogue_lines.txt") -> list[Line]:
    found, source = [], ""
    for line in (DATA / file).read_text(encoding="utf-8").splitlines():
        if line.startswith("== "):
            source = line[3:]
        elif line.startswith("["):
            found.append(Line(source, line.strip("[]"), ""))
        elif " => " in line:
            text, _, reading = line.rpartition(" => ")
            found.append(Line(source, text, reading.strip()))
    return found


def entry(kb: KnowledgeBase, name: str) -> str | None:
    """The entry that a clean name has, whatever reads packets."""
    names = {a for a, kind in kb.store.named(fold(name)) if kind in ("accepted", "synonym")}
    return names.pop() if len(names) == 1 else None


def judged(kb: KnowledgeBase, match: Match, reading: str) -> str:
    """right; wrong: taken for another plant; missed: not read, or placed less near than it could be."""
    taken = match.name if match.name and match.name in kb.names("species") else None
    verdicts = [_one(kb, match, taken, one.strip()) for one in reading.split("|")]
    if "right" in verdicts:
        return "right"
    return "wrong" if taken or "wrong" in verdicts else "missed"


def _one(kb: KnowledgeBase, match: Match, taken: str | None, reading: str) -> str:
    if reading == "unknown":
        return "right" if match.name is None else "wrong"
    if reading.startswith("genus "):
        genus = reading.split()[1]
        placed = taken is None and match.name is not None and match.genus == genus
        return "right" if placed or (match.name is None and genus in match.candidates) else "missed"
    ambiguous, name = reading.startswith("?"), reading.strip("? ")
    own = entry(kb, name)
    if own:
        return "right" if taken == own or (ambiguous and taken is None and own in match.candidates) else "missed"
    family = kb.genus_family(name.split()[0])
    if taken is None and match.name is not None and match.family == family is not None:
        return "right"
    return "missed" if taken or match.name is None else "wrong"


def read_all(kb: KnowledgeBase, every: list[Line]) -> list[tuple[Line, Match, str]]:
    found = []
    for source in dict.fromkeys(line.source for line in every):
        of_source = [line for line in every if line.source == source]
        for line, match in zip(of_source, kb.read_list(line.text for line in of_source), strict=True):
            if line.reading:
                found.append((line, match, judged(kb, match, line.reading)))
    return found


@pytest.fixture(scope="module")
def read(kb: KnowledgeBase) -> list[tuple[Line, Match, str]]:
    return read_all(kb, lines())


def test_of_five_hundred_real_lines_97_in_a_hundred_are_read_right(read: list[tuple[Line, Match, str]]) -> None:
    assert len(read) >= 500 and len({line.source for line, _, _ in read}) >= 20
    counts = Counter(verdict for _, _, verdict in read)
    missed = [
        f"{line.text}: {match.name or match.candidates} by {match.matched_by}"
        for line, match, v in read
        if v != "right"
    ]
    assert counts["right"] >= 0.97 * len(read), "\n".join(missed)


def test_no_line_is_taken_for_another_plant(read: list[tuple[Line, Match, str]]) -> None:
    taken = [f"{line.text}: {match.name}, not {line.reading}" for line, match, v in read if v == "wrong"]
    assert not taken, "\n".join(taken)


def test_lists_gathered_later_are_read_too(kb: KnowledgeBase) -> None:
    found = read_all(kb, lines("catalogue_lines_later.txt"))
    counts = Counter(verdict for _, _, verdict in found)
    assert counts["wrong"] == 0 and counts["right"] >= 0.95 * len(found) > 100


def test_what_is_not_written_as_an_entry_names_it_is_said(
    kb: KnowledgeBase, read: list[tuple[Line, Match, str]]
) -> None:
    for line, match, _ in read:
        if match.matched_by in ("accepted", "synonym", "common_name"):
            whole = kb.store.named(fold(line.text)) or kb.store.listed(fold(line.text))
            assert whole or match.name is None, line.text


def test_two_names_are_never_glued_into_one(kb: KnowledgeBase) -> None:
    clean = [line.reading for line in lines() if line.reading and entry(kb, line.reading)]
    for one, other in zip(clean[::7], clean[3::7], strict=False):
        if one == other:
            continue
        for joined in (f"{one} {other}", f"{one}, {other}", f"{one} and {other}"):
            try:
                match = kb.lookup(joined)
            except UserError:
                continue
            assert match.name is None and match.matched_by == "several", joined
