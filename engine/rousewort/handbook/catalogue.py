"""What the handbook is about: every species with its plan, its dates and what it rests on; and the lists made of that."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

from rousewort.base.errors import UserError
from rousewort.handbook.places import Places
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.protocols import works_of
from rousewort.knowledge.store import genus_of
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.plan_json import plan_json
from rousewort.planning.rules.run import Engine, make_engine
from rousewort.schedule.dating import schedule
from rousewort.schedule.model import Schedule

# The day on which dated examples want their seedlings; the year is any that has no 29 February in its winter.
WANTED = date(2027, 5, 1)


@dataclass(frozen=True)
class Entry:
    """One species as the lists see it. `lead`: days from the first step until sowing, None where there is no plan.
    `begin`: the day to begin for seedlings on WANTED. `settled`: every fact of the plan's rules, given or concluded.
    `sure`: how sure the plan is, a share, None where nothing was measured."""

    name: str
    genus: str
    family: str
    common_names: tuple[str, ...]
    synonyms: tuple[str, ...]
    outcome: str
    dormancy: str | None
    lead: int | None
    begin: date | None
    outdoors: bool
    kinds: tuple[str, ...]
    needs: tuple[str, ...]
    obstacles: tuple[str, ...]
    rules: tuple[str, ...]
    settled: frozenset[tuple[str, str]]
    cited: Mapping[str, frozenset[str]]
    sure: float | None


class Remembering:
    """An engine that keeps what it found on the same facts: one run of the rules serves every setting of a species."""

    def __init__(self, engine: Engine) -> None:
        self.engine, self.name, self.rules = engine, engine.name, engine.rules
        self.kept: dict[tuple[str, frozenset[Any]], Any] = {}

    def fire(self, phase: str, facts: frozenset[Any]) -> Any:
        if (phase, facts) not in self.kept:
            self.kept[phase, facts] = self.engine.fire(phase, facts)
        return self.kept[phase, facts]


@dataclass
class Catalogue:
    """Everything that pages are made of. `only`: these species, or all that the knowledge base has."""

    kb: KnowledgeBase
    only: Sequence[str] | None = None
    entries: dict[str, Entry] = field(default_factory=dict)
    places: Places = field(default_factory=Places)

    def __post_init__(self) -> None:
        self.engine = Remembering(make_engine(self.kb.rules))
        self.planner = Planner(self.kb, self.engine)
        known = set(self.kb.names("species"))
        wanted = sorted(known if self.only is None else self.only)
        if missing := [name for name in wanted if name not in known]:
            raise UserError(*(f"{name} has no entry." for name in missing))
        self._give_places(wanted)
        self.species = wanted

    def _give_places(self, wanted: Iterable[str]) -> None:
        for name in wanted:
            record = self.kb.taxon(name) or {}
            self.places.add("species", name)
            self.places.add("genus", genus_of(name))
            self.places.add("family", record["family"])
        for rank in ("genus", "family") if self.only is None else ():
            for name in self.kb.names(rank):
                self.places.add(rank, name)
        for rule in self.kb.rules:
            self.places.add("rule", rule["id"])
        for kind in self.kb.treatments:
            self.places.add("treatment", kind)
        for word in self.kb.vocabulary.classes:
            self.places.add("class", word)
        for obstacle in self.kb.vocabulary.obstacles:
            self.places.add("obstacle", obstacle)
        for source in sorted(self.kb.sources if self.only is None else self._sources_of(wanted)):
            self.places.add("source", source)

    def _sources_of(self, wanted: Iterable[str]) -> set[str]:
        names = set(wanted) | set(self.places.all("genus")) | set(self.places.all("family"))
        found = {key for name in names for key in cited_by(self.kb.taxon(name) or {})}
        for thing in (*self.kb.rules, *self.kb.treatments.values(), *self._observations.values()):
            found |= {key for key in _source_ids(thing)}
        return found

    @cached_property
    def _observations(self) -> dict[str, Mapping[str, Any]]:
        return {test["id"]: test for test in self.kb.vocabulary.files["observations"]["tests"]}

    @cached_property
    def of_genus(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = defaultdict(list)
        for name in self.species:
            found[genus_of(name)].append(name)
        return found

    def plans(self) -> Iterator[tuple[Entry, Plan, dict[str, Any], Schedule | None]]:
        """`plan` of every species in turn."""
        return map(self.plan, self.species)

    def plan(self, name: str) -> tuple[Entry, Plan, dict[str, Any], Schedule | None]:
        """A species with its plan, the plan as JSON and its dates; the entry is kept for the lists."""
        self.engine.kept.clear()
        family = (self.kb.taxon(name) or {})["family"]
        plan = self.planner.plan_for(Match(name, name, "accepted", genus=genus_of(name), family=family))
        data = plan_json(plan)
        dated = schedule(plan, self.kb.vocabulary.calendar, wanted=WANTED) if plan.steps else None
        self.entries[name] = entry = self._entry(name, plan, data, dated)
        return entry, plan, data, dated

    def _entry(self, name: str, plan: Plan, data: Mapping[str, Any], dated: Schedule | None) -> Entry:
        record = self.kb.taxon(name) or {}
        kinds = tuple(dict.fromkeys(step["kind"] for step in data["steps"]))
        settled = frozenset(plan.findings.facts)
        return Entry(
            name=name,
            genus=genus_of(name),
            family=record["family"],
            common_names=tuple(record.get("common_names", ())),
            synonyms=tuple(record.get("synonyms", ())),
            outcome=plan.outcome,
            dormancy=next(
                (word for key, word in settled if key == self.kb.vocabulary.class_key and word != "unknown"), None
            ),
            lead=(dated.sown.planned - dated.start).days if dated and dated.sown else None,
            begin=dated.start if dated else None,
            outdoors=not self.kb.vocabulary.kinds.outdoors.isdisjoint(kinds),
            kinds=kinds,
            needs=tuple(dict.fromkeys(need for kind in kinds for need in self.kb.treatments[kind]["needs"])),
            obstacles=tuple(sorted(plan.findings.obstacles, key=self.kb.vocabulary.obstacle_rank.__getitem__)),
            rules=tuple(sorted({firing.rule.id for firing in plan.findings.firings})),
            settled=settled,
            cited=cited_by(record),
            sure=plan.basis["confidence"],
        )

    def having(self, key: str, word: str) -> list[Entry]:
        """Species of which a fact holds, given or concluded."""
        return [entry for entry in self.entries.values() if (key, word) in entry.settled]

    @cached_property
    def by(self) -> dict[str, dict[str, list[Entry]]]:
        """Species by family, genus, dormancy, kind of treatment, equipment, obstacle and rule. Read after all plans."""
        lists: dict[str, dict[str, list[Entry]]] = {
            part: defaultdict(list) for part in ("family", "genus", "dormancy", "kinds", "needs", "obstacles", "rules")
        }
        for entry in self.entries.values():
            for part, keys in lists.items():
                value = getattr(entry, part)
                for key in (value,) if isinstance(value, str) else value or ():
                    keys[key].append(entry)
        return lists

    @cached_property
    def resting_on(self) -> dict[str, dict[str, list[tuple[str, frozenset[str]]]]]:
        """Source → rank → (name, how held) of every entry that cites it; rules and treatments likewise."""
        found: dict[str, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
        for rank in ("species", "genus", "family"):
            for name in sorted(self.places.all(rank)):
                for source, held in cited_by(self.kb.taxon(name) or {}).items():
                    found[source][rank].append((name, held))
        rules = {rule["id"]: rule for rule in self.kb.rules}
        others = (("rule", rules), ("treatment", self.kb.treatments), ("observation", self._observations))
        for kind, things in others:
            for key, thing in sorted(things.items()):
                for source, ways in _source_ids(thing).items():
                    found[source][kind].append((key, frozenset(ways)))
        return found


def cited_by(record: Mapping[str, Any]) -> dict[str, frozenset[str]]:
    """Source → how its facts are held, over the statements, protocols and lots of one entry."""
    facts = [s for group in record.get("traits", {}).values() for s in group]
    found: dict[str, set[str]] = defaultdict(set)
    for fact in (*facts, *record.get("protocols", ()), *record.get("lots", ())):
        for work in works_of(fact):
            found[work].add(fact["held"])
    return {key: frozenset(held) for key, held in found.items()}


def _source_ids(thing: Any) -> dict[str, set[str]]:
    """Source → how held, anywhere in a rule or treatment."""
    found: dict[str, set[str]] = defaultdict(set)
    stack = [thing]
    while stack:
        part = stack.pop()
        if isinstance(part, Mapping):
            key = part.get("id") or part.get("source")
            if "held" in part and key:
                found[key].add(part["held"])
            stack += part.values()
        elif isinstance(part, list):
            stack += part
    return found
