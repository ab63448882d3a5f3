"""The bench key of kb/vocabulary/observations.yaml as objects: tests, what to write down, and what each result says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.vocabulary import Vocabulary

Numbers = Mapping[str, Any]  # what the arithmetic of a test gave: numbers and chosen words by name


class Field(NamedTuple):
    """One thing to write down. kind: count, number, list, series or word."""

    name: str
    kind: str
    ask: str
    optional: bool
    default: Any
    words: tuple[str, ...]


class Clause(NamedTuple):
    """One possible result: when it holds, the traits it settles, and the classes and levels that it leaves."""

    when: Mapping[str, Any]
    then: Mapping[str, str]
    leaves: Mapping[str, tuple[str, ...]]
    says: str
    source: str | None
    held: str
    note: str
    share: float
    stop: bool

    def holds(self, numbers: Numbers) -> bool:
        """A condition on something that was not measured never holds."""
        return all(name in numbers and _meets(numbers[name], wanted) for name, wanted in self.when.items())

    @property
    def tells(self) -> bool:
        return bool(self.then or self.leaves)


def _meets(value: Any, wanted: Any) -> bool:
    if not isinstance(wanted, Mapping):
        return bool(value == wanted)
    return wanted.get("at_least", value) <= value and not ("below" in wanted and value >= wanted["below"])


class Test(NamedTuple):
    """One observation: how it is made, what it costs (`spends` seeds, `days`), and its results in order."""

    id: str
    label: str
    ask: str
    why: str
    do: tuple[str, ...]
    fields: Mapping[str, Field]
    gives: Mapping[str, str]
    reads: tuple[Clause, ...]
    data: Mapping[str, Any]

    @property
    def spends(self) -> int:
        seeds: int = self.data["spends"]
        return seeds

    @property
    def days(self) -> int:
        days: int = self.data["days"]
        return days


Test.__test__ = False  # type: ignore[attr-defined]  # for pytest, which collects by name; no field of the tuple


def tests(vocabulary: Vocabulary) -> dict[str, Test]:
    """All tests by id, in the order in which they are worth doing."""
    return {item["id"]: _test(item) for item in vocabulary.files["observations"]["tests"]}


def _test(item: Mapping[str, Any]) -> Test:
    fields = {
        name: Field(
            name,
            f["kind"],
            f["ask"],
            f.get("optional", False) or "default" in f,
            f.get("default"),
            tuple(f.get("words", ())),
        )
        for name, f in item["fields"].items()
    }
    clauses = tuple(
        Clause(
            c["when"],
            c.get("then", {}),
            {key: tuple(words) for key, words in c.get("leaves", {}).items()},
            c["says"],
            c.get("source"),
            c["held"],
            c.get("note", ""),
            c.get("share", 0.0),
            c.get("stop", False),
        )
        for c in item["reads"]
    )
    return Test(
        item["id"], item["label"], item["ask"], item["why"], tuple(item["do"]), fields, item["gives"], clauses, item
    )


def agrees(clause: Clause, vocabulary: Vocabulary, case: Mapping[str, str]) -> bool:
    """Whether seed of a class and level (`case`) can give this result."""
    shows = vocabulary.classes[case[vocabulary.class_key]]["shows"]
    by_words = all(word in shows.get(trait, [word]) for trait, word in clause.then.items())
    return by_words and all(case[key] in leaves for key, leaves in clause.leaves.items() if key in case)


def outcomes(test: Test, vocabulary: Vocabulary, case: Mapping[str, str]) -> tuple[int, ...]:
    """Which results (places in the key) seed of that class and level can give, among those that tell something."""
    return tuple(i for i, clause in enumerate(test.reads) if clause.share and agrees(clause, vocabulary, case))
