"""What a reason rests on, work by work: on this plant, on a relative that is named, or in general; each says what it says.

A relative's record is read from the relative's own entry, so that none stands under a work which does not speak of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.summary import ground
from rousewort.planning.facts import Facts, Known, listed_in

THIS_PLANT, RELATIVE, GENERAL = ROLES = ("this plant", "relative", "general")  # nearest first
RELATIVES_SHOWN = 5  # of the relatives that agree; those with works go first


def role_of(basis: str) -> str:
    """The role of what rests on the species, the bench, the genus, the family, or on no plant in particular."""
    return {"bench": THIS_PLANT, "species": THIS_PLANT, "genus": RELATIVE, "family": RELATIVE}.get(basis, GENERAL)


class Evidence(NamedTuple):
    """One record behind a reason. `role`: this plant, relative, general; `name`: of the plant, genus or family whose entry it
    is from, None in general; `source`: a work's id, None for common practice and the bench; `held`: None at the bench; `kind`:
    experiment, advice, standard, table, practice, statement or observation; `says`: in words. `of_report`: whether it tells
    what came of a treatment; `treatment`: its kind, where it is of one."""

    role: str
    name: str | None
    source: str | None
    held: str | None
    kind: str
    says: str
    of_report: bool = False
    treatment: str | None = None

    def to_json(self) -> dict[str, Any]:
        return {key: value for key, value in self._asdict().items() if key not in ("of_report", "treatment")}


def of_fact(kb: KnowledgeBase, facts: Facts, known: Known) -> tuple[Evidence, ...]:
    """The records behind one fact: of the plant itself, or of those relatives that lent it."""
    vocabulary = kb.vocabulary
    key = vocabulary.class_key if known.key == "class_known_from" else known.key
    word = next((k.word for k in facts.of(key)), known.word) if key != known.key else known.word
    if known.basis == "bench":
        says = f"{_words(key)}: {vocabulary.label(key, word)}"
        return (Evidence(THIS_PLANT, facts.name, None, None, "observation", says, key not in vocabulary.traits),)
    if known.basis == "species":
        return tuple(_records(kb, THIS_PLANT, facts.name, key, word, known.sources))
    of_all = facts.genus if known.basis == "genus" else facts.family
    listed = [s for s in known.sources if s in listed_in(kb)]  # counted over many species, none of them named: a prior
    stated = _records(kb, RELATIVE, str(of_all), key, word, (s for s in known.sources if s not in listed))
    counted = _records(kb, GENERAL, "", key, word, listed)
    prior = (e._replace(name=None, says=f"{e.says}, of {of_all} in the table of classes") for e in counted)
    return (*stated, *_of_relatives(kb, known.relatives, key, word), *prior)


def of_rule(rule: Mapping[str, Any]) -> Iterator[Evidence]:
    """What a rule itself rests on: why such a treatment works, or such a trait tells, in any plant."""
    for source in rule["sources"]:
        kind = "statement" if "id" in source else "practice"
        yield Evidence(GENERAL, None, source.get("id"), source["held"], kind, source["says"])


def _of_relatives(kb: KnowledgeBase, names: Sequence[str], key: str, word: str) -> tuple[Evidence, ...]:
    memo = ("evidence", key, word, tuple(names))
    if memo not in kb.memo:
        made = {name: tuple(_of_relative(kb, name, key, word)) for name in names}
        first = sorted(names, key=lambda name: (not any(e.source for e in made[name]), name))[:RELATIVES_SHOWN]
        kb.memo[memo] = tuple(record for name in first for record in made[name])
    shown: tuple[Evidence, ...] = kb.memo[memo]
    return shown


def _of_relative(kb: KnowledgeBase, name: str, key: str, word: str) -> Iterator[Evidence]:
    """What a relative's own entry says; its word may be another, where relatives were counted together."""
    summary = kb.store.summary(name) or {}
    if key in summary.get("answers", {}):
        own, told = summary["answers"][key]
        yield from _records(kb, RELATIVE, name, key, own, told)
    said = summary.get("traits", {}).get(key, ())
    for own, statements, _ in [one for one in said if one[0] == word] or said[:1]:
        yield from _records(kb, RELATIVE, name, key, own, statements)


def _records(
    kb: KnowledgeBase, role: str, name: str, key: str, word: str, told: Iterable[Mapping[str, Any]]
) -> Iterator[Evidence]:
    """One record a work and what it says; what a genus file says for all its species is the genus'."""
    seen = set()
    for statement in told:
        whose, as_role = (statement["shared_by"], RELATIVE) if "shared_by" in statement else (name, role)
        on = ground(statement)
        says = _says(kb, key, word, statement)
        if (whose, on.get("source"), says) not in seen:
            seen.add((whose, on.get("source"), says))
            report = key not in kb.vocabulary.traits
            kind = _kind(kb, statement)
            yield Evidence(as_role, whose, on.get("source"), on.get("held"), kind, says, report, statement.get("kind"))


def _says(kb: KnowledgeBase, key: str, word: str, statement: Mapping[str, Any]) -> str:
    if "found" in statement:
        kind = statement["kind"]
        label = kb.treatments[kind]["label"] if kind in kb.treatments else _words(kind)
        return f"{label}: {kb.vocabulary.found[statement['found']]['label']}"
    if "low" in statement or "high" in statement:  # a number that a word was read off
        return f"{_words(kb.vocabulary.count_key)}: {statement.get('low')}–{statement.get('high')}"
    inferred = statement.get("inferred_from")
    mark = f" (inferred: {kb.vocabulary.files['inferred_from'][inferred]['label']})" if inferred else ""
    return f"{_words(key)}: {kb.vocabulary.label(key, word)}{mark}"


def _kind(kb: KnowledgeBase, statement: Mapping[str, Any]) -> str:
    """What kind of evidence it is. A protocol whose design nobody knows is a statement of its source."""
    if "source" not in statement:
        return "practice"
    if statement.get("held") == "table":
        return "table"
    design = statement.get("design")
    said: str = kb.vocabulary.files["protocol"]["design"][design]["evidence"] if design else "statement"
    return said


def _words(key: str) -> str:
    return key.replace("_", " ")
