"""What the observations say together: each result with its threshold and source, what is settled, what contradicts.

Results are not averaged. A class of dormancy stands when every other is ruled out by some result; where two results
rule out all of them, none is given to the plan and both are shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any, NamedTuple

from rousewort.base.errors import Problem, UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.observe.arithmetic import sums_of, work_out
from rousewort.observe.entries import Observations
from rousewort.observe.key import Clause, Test, tests
from rousewort.planning.facts import gather
from rousewort.planning.plan import NoSingleMatch


class Reading(NamedTuple):
    """One result: the numbers, the clause of the key that holds, the words it gives. `clause` None: nothing to say."""

    test: Test
    numbers: Mapping[str, Any]
    clause: Clause | None
    words: Mapping[str, str]


class Contradiction(NamedTuple):
    """Two grounds that cannot both be right, and what becomes of it."""

    about: str
    one: str
    other: str
    outcome: str


@dataclass(frozen=True)
class Conclusion:
    """`words`: trait → word, what the plan gets. `left`: class and levels → words still possible, fewest first said by
    results alone. `stop`: results that end it (an empty or dead lot)."""

    readings: tuple[Reading, ...]
    words: Mapping[str, str]
    left: Mapping[str, tuple[str, ...]]
    contradictions: tuple[Contradiction, ...]
    stop: tuple[Reading, ...]


def read(test: Test, seen: Mapping[str, Any], vocabulary: Vocabulary) -> Reading:
    """One test's numbers and result. UserError where its fields cannot all be true."""
    try:
        numbers = work_out(sums_of(test.data), seen)
    except ValueError as impossible:
        raise UserError(f"{test.id}: {impossible}.") from None
    clause = next((c for c in test.reads if c.holds(numbers)), None)
    words = dict(clause.then) if clause else {}
    words |= {trait: vocabulary.band(trait, numbers[number]) for trait, number in test.data.get("bands", {}).items()}
    words |= {trait: numbers[field] for trait, field in test.data.get("words", {}).items() if field in numbers}
    return Reading(test, numbers, clause, words)


def read_all(observations: Observations, vocabulary: Vocabulary) -> tuple[Reading, ...]:
    key = tests(vocabulary)
    readings: list[Reading] = []
    problems: list[str | Problem] = []
    for name, test in key.items():
        if name in observations.seen:
            try:
                readings.append(read(test, observations.seen[name], vocabulary))
            except UserError as trouble:
                problems += trouble.problems
    if problems:
        raise UserError(*problems)
    return tuple(readings)


def conclude(
    vocabulary: Vocabulary,
    readings: Iterable[Reading],
    found: Mapping[str, str] | None = None,
    left_by_trial: Mapping[str, Iterable[str]] | None = None,
) -> Conclusion:
    """All results in one. `found`: words settled by a trial; `left_by_trial`: classes and levels that it left possible.
    They count as one more result."""
    readings = tuple(readings)
    words, contradictions = _agreed_words(readings, found or {})
    grounds = list(_grounds(vocabulary, readings, words))
    grounds += [("the trial", {key: tuple(still)}) for key, still in (left_by_trial or {}).items()]
    left: dict[str, tuple[str, ...]] = {}
    for key in vocabulary.dormancy_keys:
        every = tuple(vocabulary.traits[key]["values"])
        told = [(text, leaves[key]) for text, leaves in grounds if key in leaves]
        still = tuple(word for word in every if all(word in leaves for _, leaves in told))
        if told and not still:
            contradictions += list(_conflicts(vocabulary, key, told))
        elif told and len(still) < len(every):
            left[key] = still
    for key in vocabulary.dormancy_keys:
        fits = all(words.get(k) in allowed for k, allowed in vocabulary.traits[key].get("only_with", {}).items())
        if len(left.get(key, ())) == 1 and (key == vocabulary.class_key or fits):
            words.setdefault(key, left[key][0])
    stop = tuple(r for r in readings if r.clause and r.clause.stop)
    return Conclusion(readings, words, left, tuple(contradictions), stop)


def _agreed_words(
    readings: tuple[Reading, ...], found: Mapping[str, str]
) -> tuple[dict[str, str], list[Contradiction]]:
    said: dict[str, dict[str, str]] = {}
    for text, words in [("the trial", found), *((r.test.label, r.words) for r in readings)]:
        for trait, word in words.items():
            said.setdefault(trait, {}).setdefault(word, text)
    agreed = {trait: next(iter(words)) for trait, words in said.items() if len(words) == 1}
    return agreed, [_between(trait, words) for trait, words in said.items() if len(words) > 1]


def _between(trait: str, words: Mapping[str, str]) -> Contradiction:
    (one, by), (other, by_other) = list(words.items())[:2]
    return Contradiction(
        trait, f"{by}: {one}", f"{by_other}: {other}", "neither is used; repeat the one that is easier to get wrong"
    )


def _grounds(
    vocabulary: Vocabulary, readings: tuple[Reading, ...], words: Mapping[str, str]
) -> Iterable[tuple[str, Mapping[str, tuple[str, ...]]]]:
    """What each agreed word and each result leaves of classes and levels, with the words to say so."""
    classes = vocabulary.classes
    for trait, word in words.items():
        leaves = tuple(c for c, entry in classes.items() if word in entry["shows"].get(trait, [word]))
        if len(leaves) < len(classes):
            yield f"{trait.replace('_', ' ')}: {vocabulary.label(trait, word)}", {vocabulary.class_key: leaves}
    for reading in readings:
        if reading.clause and reading.clause.leaves:
            yield f"{reading.test.label}: {reading.clause.says}", reading.clause.leaves


def _conflicts(vocabulary: Vocabulary, key: str, told: list[tuple[str, tuple[str, ...]]]) -> Iterable[Contradiction]:
    """The pairs that leave nothing between them; failing such a pair, all together."""
    outcome = f"no {key.replace('_', ' ')} is taken from them"
    pairs = [(a, b) for a, b in combinations(told, 2) if not set(a[1]) & set(b[1])]
    for (one, leaves), (other, leaves_other) in pairs:
        yield Contradiction(
            key, _leaving(vocabulary, key, one, leaves), _leaving(vocabulary, key, other, leaves_other), outcome
        )
    if not pairs:
        yield Contradiction(key, "; ".join(text for text, _ in told[:-1]), told[-1][0], outcome)


def _leaving(vocabulary: Vocabulary, key: str, text: str, leaves: tuple[str, ...]) -> str:
    return f"{text.rstrip('.')} (leaves {' or '.join(vocabulary.label(key, word) for word in leaves)})"


def against_books(kb: KnowledgeBase, match: Match, conclusion: Conclusion) -> tuple[Contradiction, ...]:
    """Where this lot does otherwise than what is recorded of its species or relatives. What was seen outranks that."""
    recorded = gather(kb, match)
    clashes = []
    for trait, words in {**{t: (w,) for t, w in conclusion.words.items()}, **conclusion.left}.items():
        known = recorded.of(trait)
        if known and not kb.vocabulary.many(trait) and known[0].word not in words:
            seen = " or ".join(kb.vocabulary.label(trait, word) for word in words)
            of = {
                "species": "this species",
                "genus": f"its genus ({match.genus})",
                "family": f"its family ({match.family})",
            }
            clashes.append(
                Contradiction(
                    trait,
                    f"seen: {trait.replace('_', ' ')} {seen}",
                    f"recorded of {of.get(known[0].basis, 'it')}: {kb.vocabulary.label(trait, known[0].word)}",
                    "what was seen is used, for this lot; look again if it surprises you",
                )
            )
    return tuple(clashes)


def match_for(kb: KnowledgeBase, name: str, family: str | None = None, relative: str | None = None) -> Match:
    """What a plan made from observations is for. A name that is nowhere may still be planned for, with its family or
    with the genus of a relative.

    UserError for an empty name, a name of several species, or a family that does not exist here.
    """
    match = kb.lookup(name)
    if match.name is not None:
        return match
    if match.matched_by != "none":
        raise NoSingleMatch(match)
    if family and not kb.is_family(family):
        raise UserError(
            f"'{family}' is no family that is known here. Leave it out, or see: rousewort find --family NAME."
        )
    genus = name.split()[0].capitalize() if " " in name.strip() else None
    if relative:
        near = kb.lookup(relative)
        if not near.genus:
            raise UserError(f"'{relative}' is no genus or plant that is known here. Leave it out, or give its family.")
        genus, family = near.genus, family or near.family
    return Match(name, " ".join(name.split()), "observations", genus=genus, family=family)
