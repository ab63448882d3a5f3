"""The plain evaluator: obviously right, deterministic, the oracle of the tests."""

from __future__ import annotations

from rousewort.knowledge.rules import FactKey, RuleSet

Fired = dict[str, frozenset[FactKey]]


class PlainEngine:
    """Evaluates rules in Python, one pass a phase."""

    name = "plain"

    def __init__(self, rules: RuleSet) -> None:
        self.rules = rules

    def fire(self, phase: str, facts: frozenset[FactKey]) -> Fired:
        """Which rules of `phase` fire on which of `facts`."""
        fired: Fired = {}
        for rule in self.rules.phases[phase]:
            hit = rule.matches(facts)
            if hit is not None:
                fired[rule.id] = hit
        return fired
