"""A store with one species hidden, for leaving species out in turn: only its genus and family are reckoned again."""

from __future__ import annotations

from typing import Any

from rousewort.knowledge.protocols import works_of
from rousewort.knowledge.store import MemoryStore, genus_of
from rousewort.knowledge.summary import Record, summarise, unpool
from rousewort.knowledge.vocabulary import Vocabulary


class OneHidden:
    """`base` without one species and without all that rests on it. Shares everything else with `base`.

    What a genus or family file says may have been read off the very species that is hidden. So of those two files
    this also hides what comes from a source that the species cites, and what was inferred from members.
    """

    def __init__(self, base: MemoryStore, species: str) -> None:
        self.base, self.species = base, species
        entry = base.records[species]
        cited = sources_of(entry)
        self._records: dict[str, Record | None] = {species: None}
        self._summaries: dict[str, Record | None] = {species: None}
        self._groups: dict[tuple[str, str], Record] = {}
        for rank, name in (("genus", genus_of(species)), ("family", entry["family"])):
            record = base.record(name)
            if record:
                self._records[name] = kept = _without_sources(record, cited)
                self._summaries[name] = summarise(kept, base.vocabulary)
            self._groups[rank, name] = unpool(base.group(rank, name), species, base.summary(species) or {})

    def record(self, name: str) -> Record | None:
        return self._records[name] if name in self._records else self.base.record(name)

    def summary(self, name: str) -> Record | None:
        return self._summaries[name] if name in self._summaries else self.base.summary(name)

    def group(self, rank: str, name: str) -> Record:
        return self._groups[rank, name] if (rank, name) in self._groups else self.base.group(rank, name)

    def named(self, folded: str) -> list[tuple[str, str]]:
        return [row for row in self.base.named(folded) if row[0] != self.species]

    def near(self, folded: str) -> list[tuple[str, str]]:
        return [row for row in self.base.near(folded) if row[1] != self.species]

    def alike(self, folded: str) -> list[tuple[str, str]]:
        return [row for row in self.base.alike(folded) if row[1] != self.species]

    def listed(self, folded: str) -> list[str]:
        return [taxon for taxon in self.base.listed(folded) if taxon != self.species]

    def family_of(self, genus: str) -> str | None:
        return self.base.family_of(genus)

    def genera_from(self, initial: str) -> list[str]:
        return self.base.genera_from(initial)

    def names(self, rank: str) -> list[str]:
        return [name for name in self.base.names(rank) if name != self.species]

    def shared(self, part: str) -> Any:
        return self.base.shared(part)

    def to_memory(self, vocabulary: Vocabulary) -> MemoryStore:
        """Everything that is left, as a store that can be filtered again."""
        records = {**self.base.records, **self._records}
        return MemoryStore({name: r for name, r in records.items() if r is not None}, self.base._shared, vocabulary)


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
