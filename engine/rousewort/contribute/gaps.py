"""Where help is worth most: facts nobody re-read, entries on one source, kinds of plants that are thinly covered."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase

THIN = 5  # fewer species than this in a cell of class × home climate is thin


class FromMemory(NamedTuple):
    """A work from which facts were recalled and not re-read: how many, in which entries, rules and treatments."""

    source: str
    citation: str
    facts: int
    names: tuple[str, ...]


class Gaps(NamedTuple):
    """`one_source`, `no_source`: species. `table`: class → home climate → species; `thin_families`: family →
    (species with an entry, genera known of it)."""

    memory: tuple[FromMemory, ...]
    one_source: tuple[str, ...]
    no_source: tuple[str, ...]
    no_class: tuple[str, ...]
    no_protocols: tuple[str, ...]
    table: Mapping[str, Mapping[str, int]]
    thin_families: tuple[tuple[str, int, int], ...]


def gaps(kb: KnowledgeBase) -> Gaps:
    records = kb._memory.records
    species = {name: r for name, r in sorted(records.items()) if r["rank"] == "species"}
    cited = {name: {f["source"] for f in facts(r) if "source" in f} for name, r in species.items()}
    return Gaps(
        memory=tuple(_memory(kb, records)),
        one_source=tuple(name for name, works in cited.items() if len(works) == 1),
        no_source=tuple(name for name, works in cited.items() if not works),
        no_class=tuple(name for name, r in species.items() if kb.vocabulary.class_key not in r.get("traits", {})),
        no_protocols=tuple(name for name, r in species.items() if not r.get("protocols")),
        table=_table(kb, species),
        thin_families=tuple(_families(kb, species)),
    )


def facts(record: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Every statement, protocol and remark on lots of an entry."""
    for statements in record.get("traits", {}).values():
        yield from statements
    yield from record.get("protocols", ())
    yield from record.get("lots", ())


def _memory(kb: KnowledgeBase, records: Mapping[str, Any]) -> Iterator[FromMemory]:
    names: dict[str, list[str]] = defaultdict(list)
    for name, record in sorted(records.items()):
        for fact in facts(record):
            if fact["held"] == "memory" and "source" in fact:
                names[fact["source"]].append(name)
    for rule in kb.rules:
        for source in rule["sources"]:
            if source["held"] == "memory" and "id" in source:
                names[source["id"]].append(f"rule {rule['id']}")
    for kind, treatment in kb.treatments.items():
        for source in _held_from_memory(treatment):
            names[source].append(f"treatment {kind}")
    for source in sorted(names, key=lambda s: (-len(names[s]), s)):
        yield FromMemory(
            source, kb.sources[source]["citation"], len(names[source]), tuple(dict.fromkeys(names[source]))
        )


def _held_from_memory(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        source = value.get("id") or value.get("source")
        if value.get("held") == "memory" and isinstance(source, str):
            yield source
        for item in value.values():
            yield from _held_from_memory(item)
    elif isinstance(value, list):
        for item in value:
            yield from _held_from_memory(item)


def _table(kb: KnowledgeBase, species: Mapping[str, Any]) -> dict[str, dict[str, int]]:
    """Species by class and home climate, each cell of the vocabulary in it; a species may have several climates."""
    counts: Counter = Counter()
    dormancy, home = kb.vocabulary.class_key, kb.vocabulary.climate_key
    for name in species:
        traits = (kb.store.summary(name) or {"traits": {}})["traits"]
        word = traits[dormancy][0][0] if dormancy in traits else "unknown"
        climates = [w for w, *_ in traits.get(home, ())] or ["unknown"]
        counts.update((word, climate) for climate in climates)
    classes = [*kb.vocabulary.classes, "unknown"]
    climates = [*kb.vocabulary.traits[home]["values"], "unknown"]
    return {c: {climate: counts[c, climate] for climate in climates} for c in classes}


def _families(kb: KnowledgeBase, species: Mapping[str, Any]) -> Iterator[tuple[str, int, int]]:
    """Families with many genera and few entries, the barest first."""
    have = Counter(r["family"] for r in species.values())
    genera = Counter(kb.store.shared("genus_family").values())
    order = sorted(genera, key=lambda f: (-(genera[f] / (1 + have[f])), f))
    yield from (
        (family, have[family], genera[family]) for family in order if genera[family] > 1 and have[family] < THIN
    )
