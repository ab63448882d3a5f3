"""A store with some species hidden, for leaving them out in turn: only their genera and families are reckoned again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from rousewort.knowledge.protocols import works_of
from rousewort.knowledge.store import MemoryStore, genus_of
from rousewort.knowledge.summary import Record, summarise, unpool
from rousewort.knowledge.vocabulary import Vocabulary


class Hidden:
    """`base` without some species and without all that rests on them. Shares everything else with `base`.

    What a genus or family file says may have been read off the very species that are hidden. So of those files
    this also hides what comes from a source that one of them cites, and what was inferred from members. A species of
    which only the table of classes knows is hidden there.
    """

    def __init__(self, base: MemoryStore, species: Sequence[str]) -> None:
        self.base = base
        self.entries = {name: base.records[name] for name in species if name in base.records}
        self.hidden = {*species, *(name for entry in self.entries.values() for name in entry.get("synonyms", ()))}
        self._records: dict[str, Record | None] = dict.fromkeys(self.entries)
        self._summaries: dict[str, Record | None] = dict.fromkeys(self.entries)
        self._groups: dict[tuple[str, str], Record] = {}
        self._classed = _without_rows(base, self.hidden)
        for name, entry in self.entries.items():
            if entry["rank"] == "species":
                self._hide(name, entry)

    def _hide(self, species: str, entry: Record) -> None:
        clades = (self.base.clade_of(genus_of(species)), self.base.clade_of(species))
        groups = [("genus", genus_of(species)), ("family", entry["family"]), *(("clade", c) for c in clades if c)]
        for rank, name in groups:
            record = self.record(name)
            if record:  # and not hidden itself
                self._records[name] = kept = _without_sources(record, sources_of(entry))
                self._summaries[name] = summarise(kept, self.base.vocabulary)
            self._groups[rank, name] = unpool(self.group(rank, name), species, self.base.summary(species) or {})

    def record(self, name: str) -> Record | None:
        return self._records[name] if name in self._records else self.base.record(name)

    def summary(self, name: str) -> Record | None:
        return self._summaries[name] if name in self._summaries else self.base.summary(name)

    def group(self, rank: str, name: str) -> Record:
        return self._groups[rank, name] if (rank, name) in self._groups else self.base.group(rank, name)

    def named(self, folded: str) -> list[tuple[str, str]]:
        return [row for row in self.base.named(folded) if row[0] not in self.entries]

    def near(self, folded: str) -> list[tuple[str, str]]:
        return [row for row in self.base.near(folded) if row[1] not in self.entries]

    def alike(self, folded: str) -> list[tuple[str, str]]:
        return [row for row in self.base.alike(folded) if row[1] not in self.entries]

    def listed(self, folded: str) -> list[str]:
        return [taxon for taxon in self.base.listed(folded) if taxon not in self.entries]

    def family_of(self, genus: str) -> str | None:
        return self.base.family_of(genus)

    def clade_of(self, name: str) -> str | None:
        return self.base.clade_of(name)

    def classed(self, rank: str, name: str) -> Record:
        return self._classed[rank, name] if (rank, name) in self._classed else self.base.classed(rank, name)

    def of_genus(self, name: str) -> dict[str, list[str]]:
        return self.base.of_genus(name)

    def genera_from(self, initial: str) -> list[str]:
        return self.base.genera_from(initial)

    def names(self, rank: str) -> list[str]:
        return [name for name in self.base.names(rank) if name not in self.entries]

    def shared(self, part: str) -> Any:
        return self.base.shared(part)

    def to_memory(self, vocabulary: Vocabulary) -> MemoryStore:
        """Everything that is left, as a store that can be filtered again."""
        records = {**self.base.records, **self._records}
        classed = {name: words for name, words in self.base.shared("classed").items() if name not in self.hidden}
        shared = {**self.base._shared, "classed": classed}
        return MemoryStore({name: r for name, r in records.items() if r is not None}, shared, vocabulary)


def _without_rows(base: MemoryStore, names: Iterable[str]) -> dict[tuple[str, str], Record]:
    """What the table of classes says of the genera, clades and families of these names, without their own rows."""
    left: dict[tuple[str, str], Record] = {}
    for name in names:
        genus = genus_of(name)
        words = base.classed("genus", genus).get(name)
        if not words:
            continue
        rows = left.setdefault(("genus", genus), dict(base.classed("genus", genus)))
        rows.pop(name, None)
        for rank, group in base.wider(name):
            counted = left.setdefault((rank, group), dict(base.classed(rank, group)))
            for word in words:
                counted[word] -= 1 / len(words)
    return left


def sources_of(record: Record) -> set[str]:
    """Every source that an entry cites."""
    statements = [s for group in record.get("traits", {}).values() for s in group]
    facts = (*statements, *record.get("protocols", ()), *record.get("lots", ()))
    return {work for fact in facts for work in works_of(fact)}


def _without_sources(record: Record, cited: set[str]) -> Record:
    def independent(fact: Record) -> bool:
        return not cited.intersection(works_of(fact)) and "inferred_from" not in fact

    traits = {key: [s for s in group if independent(s)] for key, group in record.get("traits", {}).items()}
    rest: Record = {
        part: [fact for fact in record[part] if independent(fact)] for part in ("protocols", "lots") if part in record
    }
    return {**record, "traits": {key: group for key, group in traits.items() if group}, **rest}
