"""Why a plan says what it says: each rule that fired, the facts that it fired on, and every source on the way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import FactKey
from rousewort.planning.facts import Facts
from rousewort.planning.rules.run import Findings, Firing
from rousewort.planning.wording import fill, ground_text


class Reason(NamedTuple):
    """Why a step stands in the plan: a sentence, the rule that says so, the facts it fired on, all their sources."""

    text: str
    rule: str
    facts: tuple[str, ...]
    sources: tuple[str, ...]


class Reasons:
    """Words the reasons of one plan and keeps every source that they cite; a reason is made once."""

    def __init__(self, kb: KnowledgeBase, facts: Facts, findings: Findings, display: str) -> None:
        self.kb, self.facts, self.findings, self.display = kb, facts, findings, display
        self._used: dict[str, set[str]] = {}
        self._reasons: dict[tuple[str, str], Reason] = {}
        self._trails: dict[FactKey, tuple[tuple[str, ...], tuple[str, ...]]] = {}

    def reason(self, firing: Firing) -> Reason:
        rule = firing.rule
        if (rule.id, rule.phase) not in self._reasons:
            facts, sources = self._trail(firing)
            own = [s["id"] for s in rule.data["sources"] if "id" in s]
            self.cite([{"source": s["id"], "held": s["held"]} for s in rule.data["sources"] if "id" in s])
            text = fill(f"{rule.data['because']['why']} {rule.data['because']['what']}", {"name": self.display})
            self._reasons[rule.id, rule.phase] = Reason(text, rule.id, facts, tuple(sorted({*own, *sources})))
        return self._reasons[rule.id, rule.phase]

    def _trail(self, firing: Firing) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The traits that a firing rests on, as text, and all sources on the way."""
        texts: dict[str, None] = {}
        sources: set[str] = set()
        for fact in firing.on:
            if fact not in self._trails:
                self._trails[fact] = self._fact_trail(fact)
            for text in self._trails[fact][0]:
                texts[text] = None
            sources |= set(self._trails[fact][1])
        return tuple(texts), tuple(sorted(sources))

    def _fact_trail(self, fact: FactKey) -> tuple[tuple[str, ...], tuple[str, ...]]:
        known = self.facts.known.get(fact)
        if known:
            return (ground_text(known, self.kb.vocabulary),), tuple(self.cite(known.sources))
        texts: dict[str, None] = {}
        sources: set[str] = set()
        for firing in self.findings.support.get(fact, ()):
            deeper, cited = self._trail(firing)
            texts |= dict.fromkeys(deeper)
            sources |= set(cited) | {s["id"] for s in firing.rule.data["sources"] if "id" in s}
            self.cite([{"source": s["id"], "held": s["held"]} for s in firing.rule.data["sources"] if "id" in s])
        return tuple(texts), tuple(sorted(sources))

    def cite(self, statements: Iterable[Mapping[str, Any]]) -> list[str]:
        ids = []
        for statement in statements:
            if "source" in statement:
                self._used.setdefault(statement["source"], set()).add(statement.get("held", "read"))
                ids.append(statement["source"])
        return sorted(set(ids))

    def sources(self) -> tuple[dict[str, Any], ...]:
        """Every work that the plan rests on. One that is recalled anywhere in it counts as recalled."""
        return tuple(
            {
                "id": key,
                "citation": self.kb.sources[key]["citation"],
                "held": "memory" if "memory" in held else min(held),
            }
            for key, held in sorted(self._used.items())
        )
