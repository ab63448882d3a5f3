"""Why a plan says what it says: each rule that fired, and the records behind it by role: on this plant, on relatives, in general."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import FactKey
from rousewort.planning.evidence import GENERAL, ROLES, Evidence, of_fact, of_rule
from rousewort.planning.facts import Facts
from rousewort.planning.rules.run import Findings, Firing
from rousewort.planning.wording import fill, ground_text, reports_text


class Reason(NamedTuple):
    """Why a step stands in the plan: a sentence, the rule that says so, the facts it fired on, what is behind them,
    nearest role first, and the works among that."""

    text: str
    rule: str
    facts: tuple[str, ...]
    sources: tuple[str, ...]
    evidence: tuple[Evidence, ...]


class Reasons:
    """Words the reasons of one plan and keeps every work that they cite; a reason is made once."""

    def __init__(self, kb: KnowledgeBase, facts: Facts, findings: Findings, display: str) -> None:
        self.kb, self.facts, self.findings, self.display = kb, facts, findings, display
        self._used: dict[str, dict[str, Any]] = {}
        self._reasons: dict[tuple[str, str], Reason] = {}
        self._trails: dict[FactKey, tuple[dict[str, None], dict[Evidence, None]]] = {}

    def reason(self, firing: Firing) -> Reason:
        rule = firing.rule
        if (rule.id, rule.phase) not in self._reasons:
            facts, found = self._trail(firing)
            found = {**found, **self._own_reports(firing), **dict.fromkeys(of_rule(rule.data))}
            evidence = tuple(sorted(found, key=lambda e: ROLES.index(e.role)))
            self._cite_evidence(evidence)
            works = tuple(dict.fromkeys(e.source for e in evidence if e.source))
            self._reasons[rule.id, rule.phase] = Reason(self.text(firing), rule.id, tuple(facts), works, evidence)
        return self._reasons[rule.id, rule.phase]

    def text(self, firing: Firing) -> str:
        """The sentence of a rule that fired, worded by whose reports it rests on."""
        because = firing.rule.data["because"]
        values = {"name": self.display, "toxic_note": ""}
        if "{reports}" in because["why"]:
            values["reports"] = reports_text(self.display, self._reports(firing))
        return fill(f"{because['why']} {because['what']}", values)

    def evidence(self, fact: FactKey) -> tuple[Evidence, ...]:
        """The records behind one fact, through whatever rules concluded it."""
        return tuple(self._fact_trail(fact)[1])

    def _reports(self, firing: Firing) -> list[Evidence]:
        """What tells of treatments behind a firing; what it fired on itself before what that was concluded from."""
        direct = [e for fact in firing.on if fact in self.facts.known for e in self.evidence(fact) if e.of_report]
        return direct or [e for e in self._trail(firing)[1] if e.of_report]

    def _own_reports(self, firing: Firing) -> dict[Evidence, None]:
        """What reports on this very plant say of a treatment that a rule offers, of whatever else the rule reads."""
        offered = {then["offer"] for then in firing.rule.data["then"] if "offer" in then}
        asked = [key for key, response in self.kb.vocabulary.responses.items() if offered & set(response["kinds"])]
        own = [known for key in asked for known in self.facts.of(key) if known.basis == "species"]
        records = [e for known in own for e in self.evidence(known.fact)]
        return {e: None for e in records if e.treatment in offered or e.treatment not in self.kb.treatments}

    def _trail(self, firing: Firing) -> tuple[dict[str, None], dict[Evidence, None]]:
        """The traits that a firing rests on, as text, and the records behind them. Beside reports of a treatment the obstacle
        that it removes adds no records: it has reasons of its own."""
        texts: dict[str, None] = {}
        evidence: dict[Evidence, None] = {}
        reported = any(key not in self.kb.vocabulary.traits for key, _ in self.facts.known.keys() & set(firing.on))
        for fact in firing.on:
            said, records = self._fact_trail(fact)
            texts |= said
            if not (reported and fact[0] == "obstacle"):
                evidence |= records
        return texts, evidence

    def _fact_trail(self, fact: FactKey) -> tuple[dict[str, None], dict[Evidence, None]]:
        if fact not in self._trails:
            self._trails[fact] = self._make_trail(fact)
        return self._trails[fact]

    def _make_trail(self, fact: FactKey) -> tuple[dict[str, None], dict[Evidence, None]]:
        known = self.facts.known.get(fact)
        if known:
            text = ground_text(known, self.kb.vocabulary)
            return {text: None}, dict.fromkeys(of_fact(self.kb, self.facts, known))
        texts: dict[str, None] = {}
        evidence: dict[Evidence, None] = {}
        for firing in self.findings.support.get(fact, ()):
            said, records = self._trail(firing)
            texts |= said
            evidence |= records
            self._cite_evidence(of_rule(firing.rule.data))
        return texts, evidence

    def _cite_evidence(self, evidence: Iterable[Evidence]) -> None:
        for record in evidence:
            if record.source:
                self._use(record.source, record.held or "read", record.role, record.name)

    def cite(self, statements: Iterable[Mapping[str, Any]], role: str = GENERAL) -> list[str]:
        """Keeps the works of statements of one role; returns their ids."""
        ids = []
        for statement in statements:
            if "source" in statement:
                self._use(statement["source"], statement.get("held", "read"), role, None)
                ids.append(statement["source"])
        return sorted(set(ids))

    def _use(self, source: str, held: str, role: str, name: str | None) -> None:
        used = self._used.setdefault(source, {"held": set(), "roles": set(), "about": {}})
        used["held"].add(held)
        used["roles"].add(role)
        if name:
            used["about"][name] = None

    def sources(self) -> tuple[dict[str, Any], ...]:
        """Every work that the plan rests on, by its nearest role, those about the plant first. One that is recalled anywhere
        in it counts as recalled. `about`: the plants, genera and families whose entries it stands in here."""
        works = [
            {
                "id": key,
                "citation": self.kb.sources[key]["citation"],
                "held": "memory" if "memory" in used["held"] else min(used["held"]),
                "role": min(used["roles"], key=ROLES.index),
                "about": list(used["about"]),
            }
            for key, used in sorted(self._used.items())
        ]
        return tuple(sorted(works, key=lambda work: ROLES.index(work["role"])))
