"""A kind, trait, obstacle, finding or observation of which nothing comes is named by the check, with file and line."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from rousewort.base.errors import Problem
from rousewort.knowledge.build import lay
from rousewort.knowledge.loose_ends import loose_ends
from rousewort.knowledge.store import MemoryStore


@pytest.fixture
def own(layer: Path, tmp_path: Path) -> Path:
    """A copy of words, treatments, rules and sources."""
    for part in ("vocabulary", "treatments", "rules"):
        shutil.copytree(layer / part, tmp_path / part)
    shutil.copy(layer / "sources.yaml", tmp_path)
    return tmp_path


@pytest.fixture
def told(memory: MemoryStore, own: Path) -> Callable[[], list[Problem]]:
    """The loose ends of the copy, with all species as they are shipped."""

    def ends() -> list[Problem]:
        laid = lay([own])
        assert laid.problems == []
        with_species = MemoryStore(memory.records, laid.store._shared, laid.store.vocabulary)
        return loose_ends(laid._replace(stores=[with_species]))

    return ends


def test_the_shipped_knowledge_has_no_loose_end(told: Callable[[], list[Problem]]) -> None:
    assert told() == []


def put(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text, f"{old!r} is not in {path.name}"
    path.write_text(text.replace(old, new, 1), "utf-8")


def add(path: Path, text: str) -> None:
    path.write_text(path.read_text("utf-8").rstrip("\n") + "\n" + text, "utf-8")


TEST = """\
  - id: shake
    label: shake it
    ask: Does it rattle?
    why: Somebody wondered.
    spends: 0
    days: 0
    do: [Shake it.]
    fields: {heard: {kind: word, ask: what was heard, words: [rattle, nothing]}}
    gives: {}
    reads:
      - {when: {heard: rattle}, says: It rattles., held: practice}
"""


@pytest.mark.parametrize(
    ("file", "change", "line", "what"),
    [
        (
            "vocabulary/traits.yaml",
            lambda p: add(p, "rattle: {means: Whether it rattles., inherits: 'no', values: {loud: {means: It does.}}}\n"),
            "rattle:",
            "no rule reads rattle",
        ),
        (
            "vocabulary/responses.yaml",
            lambda p: add(p, "reported_sow: {kinds: [sow], inherits: 'no', means: What reports say of sowing.}\n"),
            "reported_sow:",
            "no rule reads reported_sow",
        ),
        (
            "vocabulary/obstacles.yaml",
            lambda p: add(p, "- {id: needs_song, label: a wait for song, means: It waits to be sung to.}\n"),
            "needs_song",
            "no rule names the obstacle needs_song",
        ),
        (
            "vocabulary/obstacles.yaml",
            lambda p: add(p, "- {id: needs_song, label: a wait for song, means: It waits to be sung to.}\n"),
            "needs_song",
            "nothing removes the obstacle needs_song",
        ),
        ("vocabulary/findings.yaml", lambda p: add(p, "sings: {means: It sings.}\n"), "sings", "no rule finds sings"),
        ("vocabulary/findings.yaml", lambda p: add(p, "sings: {means: It sings.}\n"), "sings", "no rule reads the finding"),
        (
            "vocabulary/observations.yaml",
            lambda p: put(p, "tests:\n", "tests:\n" + TEST),
            "id: shake",
            "the observation shake leads nowhere",
        ),
        ("vocabulary/report_kinds.yaml", lambda p: add(p, "sung_to: {means: It was sung to.}\n"), "sung_to", "weighed by no"),
        (
            "treatments/nitrate.yaml",
            lambda p: put(p.parents[1] / "rules/sow-into-swings.yaml", "  - {offer: nitrate, for: needs_swings, standing: stand_in}\n", ""),
            "kind: nitrate",
            "no rule offers nitrate",
        ),
        (
            "treatments/nitrate.yaml",
            lambda p: put(p.parents[1] / "vocabulary/responses.yaml", "    - nitrate\n", "    - soak\n"),
            "kind: nitrate",
            "weighed nowhere",
        ),
        (
            "vocabulary/responses.yaml",
            lambda p: add(p, "reported_inspect: {kinds: [inspect], inherits: 'no', means: What reports say of looking.}\n"),
            "reported_inspect:",
            "no entry has a report that reported_inspect is read off",
        ),
        (
            "treatments/nick.yaml",
            lambda p: put(p, "group: coat", "group: coat\nfor_readers: Nobody does it."),
            "for_readers",
            "after all",
        ),
        ("vocabulary/hazards.yaml", lambda p: add(p, "song: {means: Loud song., short: sing low}\n"), "song:", "no caution names"),
        (
            "treatments/hot_water.yaml",
            lambda p: p.write_text(re.sub(r"(by_way:\n.*?)    short:\n      - .*?\n(?=    \w)", r"\1", p.read_text("utf-8"), flags=re.S), "utf-8"),
            "    do:",
            "the sheet would still print the usual",
        ),
        (
            "vocabulary/traits.yaml",
            lambda p: put(p, "  inherits: ", "  for_readers: No rule reads it.\n  inherits: "),
            "for_readers: No",
            "a rule reads dormancy_class after all",
        ),
    ],
)  # fmt: skip
def test_what_leads_nowhere_is_told_with_its_line(
    file: str, change: Callable[[Path], None], line: str, what: str, own: Path, told: Callable[[], list[Problem]]
) -> None:
    path = own / file
    change(path)
    ends = told()
    found = [p for p in ends if what in p.what]
    number = next(n for n, text in enumerate(path.read_text("utf-8").splitlines(), 1) if line in text)
    assert [(p.file, p.line) for p in found] == [(str(path), number)], ends


def test_where_a_file_is_broken_no_gap_is_told(own: Path) -> None:
    """A rule that cannot be read would make all that only it names seem a gap."""
    put(own / "rules/sow-into-swings.yaml", "phase:", "phas:")
    laid = lay([own])
    assert laid.problems and loose_ends(laid) == []
