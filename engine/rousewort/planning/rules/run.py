"""Fires the phases in order over one set of facts, on either engine, and remembers where every conclusion came from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

from rousewort.knowledge.rules import PHASES, FactKey, Rule, RuleSet, compile_rules
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.rules.plain import Fired, PlainEngine


class Engine(Protocol):
    """Facts in; which rules fired on which facts out."""

    name: str
    rules: RuleSet

    def fire(self, phase: str, facts: frozenset[FactKey]) -> Fired: ...


class Firing(NamedTuple):
    """One rule that fired, and all the facts it fired on."""

    rule: Rule
    on: tuple[FactKey, ...]


class Offer(NamedTuple):
    """A treatment offered for an obstacle by the firings of one or more rules."""

    kind: str
    obstacle: str
    standing: str
    medium: str | None
    firings: tuple[Firing, ...]


@dataclass(eq=False, repr=False)
class Findings:
    """All that the rules concluded. `support` leads from every derived fact to the firings that gave it."""

    facts: frozenset[FactKey] = frozenset()
    support: dict[FactKey, list[Firing]] = field(default_factory=dict)
    optional: set[str] = field(default_factory=set)
    offers: list[Offer] = field(default_factory=list)
    ruled_out: dict[tuple[str, str | None], list[Firing]] = field(default_factory=dict)
    cautions: list[tuple[dict[str, Any], Firing]] = field(default_factory=list)
    outcome: list[tuple[dict[str, Any], Firing]] = field(default_factory=list)
    firings: list[Firing] = field(default_factory=list)

    @property
    def obstacles(self) -> list[str]:
        return [word for key, word in self.facts if key == "obstacle"]


def durable_works() -> bool:
    """Whether durable_rules can be imported here (it builds but does not import on Python 3.13)."""
    try:
        import durable.engine  # noqa: F401
    except Exception:
        return False
    return True


def make_engine(rules: Sequence[dict[str, Any]], which: str | None = None) -> Engine:
    """Compile once per process. `which`: durable_rules, plain, or None for durable_rules wherever it works."""
    compiled = compile_rules(rules)
    if which == "plain" or (which is None and not durable_works()):
        return PlainEngine(compiled)
    from rousewort.planning.rules.durable_engine import DurableEngine

    return DurableEngine(compiled)


def fire(engine: Engine, given: frozenset[FactKey], vocabulary: Vocabulary) -> Findings:
    """Run all phases once each. A phase reads only what earlier phases settled."""
    findings = Findings()
    facts = given
    for phase in PHASES:
        fired = engine.fire(phase, facts)
        by_id = {rule.id: rule for rule in engine.rules.phases[phase]}
        firings = [Firing(by_id[rule_id], tuple(sorted(on))) for rule_id, on in sorted(fired.items())]
        findings.firings += firings
        if phase == "traits":
            facts = _settle_traits(facts, firings, findings, vocabulary)
        elif phase == "obstacles":
            facts = facts | _settle_obstacles(firings, findings)
        elif phase == "treatments":
            _settle_offers(firings, findings, vocabulary)
        else:
            _settle_cautions(firings, findings)
    findings.facts = facts
    return findings


def _settle_traits(
    facts: frozenset[FactKey], firings: list[Firing], findings: Findings, vocabulary: Vocabulary
) -> frozenset[FactKey]:
    """Add findings and concluded traits; a trait that is already known stands. Then every key has a value."""
    known = {key for key, _ in facts}
    added: set[FactKey] = set()
    for firing in firings:
        for then in firing.rule.data["then"]:
            new = [("finding", then["finding"])] if "finding" in then else list(then["conclude"].items())
            for fact in new:
                if fact[0] == "finding" or vocabulary.many(fact[0]) or fact[0] not in known:
                    added.add(fact)
                    findings.support.setdefault(fact, []).append(firing)
    known |= {key for key, _ in added}
    return facts | added | {(key, "unknown") for key in vocabulary.given if key not in known}


def _settle_obstacles(firings: list[Firing], findings: Findings) -> frozenset[FactKey]:
    firm: set[str] = set()
    for firing in firings:
        for then in firing.rule.data["then"]:
            findings.support.setdefault(("obstacle", then["obstacle"]), []).append(firing)
            if not then.get("optional"):
                firm.add(then["obstacle"])
    found = {word for key, word in findings.support if key == "obstacle"}
    findings.optional = found - firm
    return frozenset(("obstacle", word) for word in found)


def _settle_offers(firings: list[Firing], findings: Findings, vocabulary: Vocabulary) -> None:
    found = {word for key, word in findings.support if key == "obstacle"}
    grouped: dict[tuple[str, str], list[tuple[int, dict[str, Any], Firing]]] = {}
    for firing in firings:
        for then in firing.rule.data["then"]:
            if "offer" in then:
                if then["for"] in found:
                    rank = vocabulary.standing_rank[then["standing"]]
                    grouped.setdefault((then["offer"], then["for"]), []).append((rank, then, firing))
            else:
                findings.ruled_out.setdefault((then["rules_out"], then.get("for")), []).append(firing)
    for (kind, obstacle), made in sorted(grouped.items()):
        made.sort(key=lambda item: (item[0], item[2].rule.id))
        medium = next((then["medium"] for _, then, _ in made if "medium" in then), None)
        findings.offers.append(Offer(kind, obstacle, made[0][1]["standing"], medium, tuple(f for _, _, f in made)))


def _settle_cautions(firings: list[Firing], findings: Findings) -> None:
    for firing in firings:
        for then in firing.rule.data["then"]:
            (findings.cautions if "caution" in then else findings.outcome).append((then, firing))
