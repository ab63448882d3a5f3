"""Rules as data → conditions over facts, and everything about a rule that can be known before it runs.

A fact is a pair of a key and a word, both from the vocabulary: `("obstacle", "needs_cold")`.
"""

from __future__ import annotations

import difflib
import re
from collections import defaultdict
from collections.abc import Iterator, Sequence, Set
from typing import Any, NamedTuple

from rousewort.base.errors import Problem, RuleFault
from rousewort.knowledge.vocabulary import Vocabulary

FactKey = tuple[str, str]
PHASES = ("traits", "obstacles", "treatments", "cautions")
_DOES = {
    "traits": ("conclude", "finding"),
    "obstacles": ("obstacle",),
    "treatments": ("offer", "rules_out"),
    "cautions": ("caution", "outcome"),
}
_DERIVED_IN = {"finding": "traits", "obstacle": "obstacles"}
_PLACEHOLDERS = {"name", "toxic_note"}


class Rule(NamedTuple):
    """One compiled rule. `when`: for every line, the facts of which any will do. `unless`: facts that forbid it."""

    id: str
    phase: str
    when: tuple[frozenset[FactKey], ...]
    unless: frozenset[FactKey]
    data: dict[str, Any]

    @property
    def reads(self) -> frozenset[FactKey]:
        return frozenset().union(*self.when)

    def matches(self, facts: Set[FactKey]) -> frozenset[FactKey] | None:
        """The facts that the rule fires on (all of them), or None if it stays silent.

        It fires when every line of its `when` has a fact, and none of its `unless` is there.
        """
        if not self.unless.isdisjoint(facts):
            return None
        found: frozenset[FactKey] = frozenset()
        for line in self.when:
            hit = line & facts
            if not hit:
                return None
            found |= hit
        return found


class RuleSet:
    """All rules by phase, sorted by id, with the facts that each phase reads."""

    def __init__(self, phases: dict[str, tuple[Rule, ...]]) -> None:
        self.phases = phases

    def reads(self, phase: str) -> frozenset[FactKey]:
        return frozenset().union(*(rule.reads for rule in self.phases[phase]))

    def asks_absent(self, phase: str) -> frozenset[FactKey]:
        """The facts whose absence some rule of the phase asks about."""
        return frozenset().union(*(rule.unless for rule in self.phases[phase]))


def lines(conditions: Sequence[dict[str, Any]]) -> tuple[frozenset[FactKey], ...]:
    """`[{a: [x, y]}, {b: z}]` → ({(a,x),(a,y)}, {(b,z)})."""
    made = []
    for condition in conditions:
        ((key, value),) = condition.items()
        made.append(frozenset((key, word) for word in (value if isinstance(value, list) else [value])))
    return tuple(made)


def compile_rule(data: dict[str, Any]) -> Rule:
    unless = frozenset().union(*lines(data.get("unless", ())))
    return Rule(data["id"], data["phase"], lines(data["when"]), unless, data)


def compile_rules(data: Sequence[dict[str, Any]]) -> RuleSet:
    by_phase: dict[str, list[Rule]] = defaultdict(list)
    for rule in sorted(map(compile_rule, data), key=lambda rule: rule.id):
        if rule.phase not in PHASES:
            raise RuleFault(f"rule {rule.id}: there is no phase {rule.phase}")
        by_phase[rule.phase].append(rule)
    return RuleSet({phase: tuple(by_phase[phase]) for phase in PHASES})


def concluded(rule: dict[str, Any]) -> Iterator[FactKey]:
    """The facts that a rule can add for later phases."""
    for then in rule["then"]:
        if "conclude" in then:
            yield from then["conclude"].items()
        elif "finding" in then:
            yield "finding", then["finding"]
        elif "obstacle" in then:
            yield "obstacle", then["obstacle"]


def rule_problems(
    data: list[dict[str, Any]], vocabulary: Vocabulary, documents: dict[str, Any] | None = None
) -> list[Problem]:
    """Why rules could never match, or read what is not settled yet. Examples need species: contribute/rule_examples."""
    derivable = {fact for rule in data for fact in concluded(rule)}
    found: list[Problem] = []
    for rule in data:
        document = (documents or {}).get(rule["id"])

        def say(
            path: tuple[Any, ...], what: str, mend: str = "", rule: dict[str, Any] = rule, document: Any = document
        ) -> None:
            found.append(
                document.problem(path, what, mend)
                if document
                else Problem(f"rules/{rule['id']}.yaml", 0, 0, what, mend)
            )

        broken = len(found)
        for part in ("when", "unless"):
            for i, condition in enumerate(rule.get(part, ())):
                for key, word in sorted(lines([condition])[0]):
                    _check_condition(rule, part, i, key, word, derivable, vocabulary, say)
        _check_effects(rule, vocabulary, say)
        if len(found) == broken:
            _check_reach(rule, derivable, vocabulary, say)
    return found


def _check_condition(
    rule: dict[str, Any],
    part: str,
    i: int,
    key: str,
    word: str,
    derivable: set[FactKey],
    vocabulary: Vocabulary,
    say: Any,
) -> None:
    path = (part, i)
    if key not in vocabulary.keys:
        close = difflib.get_close_matches(key, vocabulary.keys, n=1)
        say(
            path,
            f"`{key}` is no trait, report, finding or obstacle, so this can never match",
            f"Did you mean `{close[0]}`?" if close else "",
        )
        return
    if word not in vocabulary.keys[key]:
        close = difflib.get_close_matches(str(word), vocabulary.keys[key], n=1)
        hint = f"Did you mean `{close[0]}`?" if close else "Allowed: " + ", ".join(sorted(vocabulary.keys[key]))
        say(path, f"`{word}` is no word for {key}, so this can never match", hint)
        return
    if key in _DERIVED_IN:
        if PHASES.index(_DERIVED_IN[key]) >= PHASES.index(rule["phase"]):
            say(
                path,
                f"a rule of phase {rule['phase']} cannot read a {key}: it is settled only in phase {_DERIVED_IN[key]}",
                "Move the rule to a later phase.",
            )
        elif (key, word) not in derivable:
            say(
                path,
                f"no rule ever concludes {key} `{word}`, so this can never match",
                "Add the rule that concludes it, or mend the word.",
            )
    elif part == "unless":
        say(
            path,
            f"`unless` speaks only of findings and obstacles, not of the trait {key}",
            "Conclude a finding from the trait in phase traits.",
        )
    elif word == "unknown" and rule["phase"] == "traits":
        say(path, f"`{key}: unknown` is settled only after phase traits", "Move the rule to a later phase.")


def _check_reach(rule: dict[str, Any], derivable: set[FactKey], vocabulary: Vocabulary, say: Any) -> None:
    """Conditions whose every word is right, and that still can never hold together or would differ between engines."""
    when = lines(rule["when"])
    forbidden = compile_rule(rule).unless
    for i, line in enumerate(when):
        if line <= forbidden:
            say(("when", i), "`unless` forbids what this line needs, so this can never match", "Take one of them out.")
        for earlier in when[:i]:
            keys = {key for key, _ in line | earlier}
            if line & earlier:  # durable_rules takes each fact for one line only; the plain engine for both
                both = ", ".join(f"{key}: {word}" for key, word in sorted(line & earlier))
                say(
                    ("when", i),
                    f"two lines can be met by the same fact ({both})",
                    "Each line must speak of other facts.",
                )
            elif len(keys) == 1 and keys.isdisjoint(_DERIVED_IN) and not vocabulary.many(*keys):
                say(("when", i), f"a seed has one {keys.pop()}, so this can never match", "List the words in one line.")
    for i, then in enumerate(rule["then"]):
        if "offer" in then and ("obstacle", then["for"]) not in derivable:
            say(
                ("then", i),
                f"no rule ever names the obstacle `{then['for']}`, so this offer is never taken",
                "Mend it.",
            )


def _check_effects(rule: dict[str, Any], vocabulary: Vocabulary, say: Any) -> None:
    for i, then in enumerate(rule["then"]):
        does = next(iter(then))
        if does not in _DOES[rule["phase"]]:
            say(
                ("then", i),
                f"a rule of phase {rule['phase']} cannot `{does}`",
                "It may: " + ", ".join(_DOES[rule["phase"]]),
            )
        for key, word in then.get("conclude", {}).items():
            if word not in vocabulary.given.get(key, {}):
                say(("then", i), f"`{key}: {word}` is not in the vocabulary", "Conclude a trait and one of its words.")
    texts = [("because", key, value) for key, value in rule["because"].items()]
    texts += [("then", i, then["caution"]) for i, then in enumerate(rule["then"]) if "caution" in then]
    for part, key, text in texts:
        for placeholder in re.findall(r"\{(.*?)\}", text):
            if placeholder not in _PLACEHOLDERS and (key, placeholder) != ("why", "reports"):
                say(
                    (part, key),
                    f"{{{placeholder}}} cannot be filled in",
                    "Only {name} and {toxic_note} can, and in `why` {reports}: whose reports say so.",
                )
