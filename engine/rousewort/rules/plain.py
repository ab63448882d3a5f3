"""The plain evaluator: obviously right, deterministic, the oracle of the tests.

A rule fires when every line of its `when` has a fact, and none of its `unless` is there.
"""

from __future__ import annotations

from collections.abc import Set

from rousewort.rules.compile import FactKey, Rule, RuleSet

Fired = dict[str, frozenset[FactKey]]


def matches(rule: Rule, facts: Set[FactKey]) -> frozenset[FactKey] | None:
    """The facts that a rule fires on (all of them), or None if it stays silent."""
    if not rule.unless.isdisjoint(facts):
        return None
    found: frozenset[FactKey] = frozenset()
    for line in rule.when:
        hit = line & facts
        if not hit:
            return None
        found |= hit
    return found


class PlainEngine:
    """Evaluates rules in Python, one pass a phase."""

    name = "plain"

    def __init__(self, rules: RuleSet) -> None:
        self.rules = rules

    def fire(self, phase: str, facts: frozenset[FactKey]) -> Fired:
        """Which rules of `phase` fire on which of `facts`."""
        fired: Fired = {}
        for rule in self.rules.phases[phase]:
            hit = matches(rule, facts)
            if hit is not None:
                fired[rule.id] = hit
        return fired
