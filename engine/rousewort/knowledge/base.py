"""The knowledge base: one immutable object that answers what is known of a name."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.errors import KnowledgeTrouble, Trouble
from rousewort.knowledge.files import shipped_layer, stamp
from rousewort.knowledge.holdout import OneHidden, sources_of
from rousewort.knowledge.names import fold
from rousewort.knowledge.protocols import works_of
from rousewort.knowledge.store import IndexStore, MemoryStore, Store, genus_of, write_index
from rousewort.knowledge.summary import Record
from rousewort.knowledge.vocabulary import Vocabulary

PACKAGED_INDEX = Path(__file__).resolve().parents[1] / "kb.sqlite"


class Match(NamedTuple):
    """What a query was taken for. `candidates` holds several accepted names when it could mean each of them."""

    query: str
    name: str | None
    matched_by: str
    candidates: tuple[str, ...] = ()
    genus: str | None = None
    family: str | None = None


class KnowledgeBase:
    """Entries, genera, families, rules, treatments, vocabulary and sources. Nothing in it changes after loading."""

    def __init__(self, store: Store, held_out: str = "") -> None:
        self.store = store
        self.held_out = held_out
        self.memo: dict[tuple, Any] = {}  # answers worked out once: nothing they rest on can change

    @cached_property
    def vocabulary(self) -> Vocabulary:
        return Vocabulary(self.store.shared("vocabulary"))

    @cached_property
    def rules(self) -> list[Record]:
        return self.store.shared("rules")

    @cached_property
    def treatments(self) -> dict[str, Record]:
        return self.store.shared("treatments")

    @cached_property
    def sources(self) -> dict[str, Record]:
        return self.store.shared("sources")

    @cached_property
    def calibration(self) -> Record:
        return self.store.shared("calibration")

    def taxon(self, name: str) -> Record | None:
        """The entry of an accepted name, spelled out, its protocols whole; or None."""
        return self.store.record(name)

    def names(self, rank: str = "species") -> list[str]:
        return self.store.names(rank)

    def genus_family(self, genus: str) -> str | None:
        """The family of a genus, from its file or from any entry in it."""
        record = self.store.record(genus)
        if record and record["rank"] == "genus":
            return record["family"]
        return self.store.shared("genus_family").get(genus)

    def is_family(self, name: str) -> bool:
        return name in self.store.shared("families")

    def lookup(self, query: str) -> Match:
        """Find what `query` names: an accepted name, synonym, common name, genus or family, or a near spelling."""
        folded = fold(query)
        if not folded:
            raise Trouble("The name is empty. Give a species, for example: rousewort plan 'black haw'")
        found = self.store.named(folded)
        # A genus before a common name: `Geranium` is not the pelargonium that gardens call so.
        for kind in ("accepted", "synonym", "genus", "family", "common_name"):
            accepted = sorted({name for name, how in found if how == kind})
            if len(accepted) == 1:
                return self._match(query, accepted[0], kind)
            if accepted:
                return Match(query, None, kind, tuple(accepted))
        return self._by_genus(query) or self._by_spelling(query, folded)

    def _match(self, query: str, name: str, kind: str) -> Match:
        record = self.store.record(name) or {}
        rank = record.get("rank")
        if rank == "family":
            return Match(query, name, "family", family=name)
        return Match(query, name, kind, genus=genus_of(name), family=record.get("family"))

    def _by_genus(self, query: str) -> Match | None:
        """A name that has no entry, in a genus or family that we know of."""
        words = query.replace("×", " ").split()
        first = words[0].capitalize()
        family = self.genus_family(first)
        if family:
            name = f"{first} {' '.join(w.lower() for w in words[1:])}".strip()
            near = self._nearest(fold(name), 90) if len(words) > 1 else []
            if len(near) == 1 and self._one_slip_away(fold(name), near[0]):
                return self._match(query, near[0], "spelling")
            return Match(query, name, "genus", tuple(near), genus=first, family=family)
        if self.is_family(first):
            return Match(query, first, "family", family=first)
        return None

    def _one_slip_away(self, folded: str, accepted: str) -> bool:
        """Whether one letter was mistyped. Two may be another species: the silver maple is one but for two letters."""
        from rapidfuzz.distance import OSA

        names = (known for known, name in self.store.near(folded) if name == accepted)
        return any(OSA.distance(folded, known) == 1 for known in names)

    def _by_spelling(self, query: str, folded: str) -> Match:
        close = self._nearest(folded, 86)
        if len(close) == 1:
            return self._match(query, close[0], "spelling")
        return Match(query, None, "none", tuple(close or self._nearest(folded, 55)))

    def _nearest(self, folded: str, cutoff: int, most: int = 8) -> list[str]:
        from rapidfuzz import fuzz

        best: dict[str, float] = {}
        for known, accepted in self.store.near(folded):
            score = fuzz.ratio(folded, known)
            if score >= cutoff:
                best[accepted] = max(score, best.get(accepted, 0))
        ranked = sorted(best, key=lambda name: (-best[name], name))
        if ranked and best[ranked[0]] >= 86:  # a clear best hides what is only vaguely like it
            ranked = [name for name in ranked if best[name] >= best[ranked[0]] - 4]
        return ranked[:most]

    def without(self, *, source: str | None = None, species: str | None = None, protocols: bool = False) -> KnowledgeBase:
        """The same knowledge with a thing hidden, and all that rests on it.

        `source`: every statement and protocol of that source, or that it carries again. `species`: the whole entry, and what its genus and
        family files say from the same sources or infer from members. `protocols`: every protocol, and
        every trait that was inferred.
        """
        if species:
            rest = self.without(source=source, protocols=protocols) if source or protocols else self
            return rest if rest.taxon(species) is None else self._beside(OneHidden(rest._memory, species), species)
        records = self._memory.records
        if source:
            citing = {name: records[name] for name in self._citing.get(source, ())}
            records = {**records, **_filtered(citing, lambda fact: source not in works_of(fact))}
        if protocols:
            kept = _filtered(records, lambda fact: "inferred_from" not in fact)
            records = {
                n: {k: v for k, v in r.items() if k != "protocols"} if "protocols" in r else r for n, r in kept.items()
            }
        store = MemoryStore(records, self._memory._shared, self.vocabulary, self._memory)
        return self._beside(store, source or "protocols")

    def _beside(self, store: Store, held_out: str) -> KnowledgeBase:
        """A knowledge base on another store that shares this one's vocabulary."""
        other = KnowledgeBase(store, held_out)
        other.vocabulary = self.vocabulary
        return other

    @cached_property
    def _citing(self) -> dict[str, list[str]]:
        """Source → names of the records that cite it."""
        citing: dict[str, list[str]] = {}
        for name, record in self._memory.records.items():
            for source in sources_of(record):
                citing.setdefault(source, []).append(name)
        return citing

    @cached_property
    def _memory(self) -> MemoryStore:
        return self.store if isinstance(self.store, MemoryStore) else self.store.to_memory(self.vocabulary)  # type: ignore[attr-defined]


def _filtered(records: dict[str, Record], keep: Callable[[Record], bool]) -> dict[str, Record]:
    """Records without the statements, protocols and lots that `keep` refuses; untouched ones are shared, not copied."""
    out = {}
    for name, record in records.items():
        facts = [s for group in record.get("traits", {}).values() for s in group]
        if (
            all(map(keep, facts))
            and all(map(keep, record.get("protocols", ())))
            and all(map(keep, record.get("lots", ())))
        ):
            out[name] = record
            continue
        traits = {key: [s for s in group if keep(s)] for key, group in record.get("traits", {}).items()}
        out[name] = {
            **record,
            "traits": {key: group for key, group in traits.items() if group},
            "protocols": [r for r in record.get("protocols", ()) if keep(r)],
            "lots": [x for x in record.get("lots", ()) if keep(x)],
        }
    return out


def cache_folder() -> Path:
    base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "rousewort"


def load(layers: Sequence[Path | str] = ()) -> KnowledgeBase:
    """The shipped knowledge base, with the given layers over it.

    An installed wheel without layers opens its compiled index. A clone, or any private layer, is scanned; its index
    is kept in the user's cache and made anew whenever a file changes, or held in memory where nothing can be written.
    """
    extra = [Path(layer) for layer in layers]
    for layer in extra:
        if not layer.is_dir():
            raise Trouble(f"There is no knowledge base folder at {layer}. Check --kb or ROUSEWORT_KB.")
    clone = shipped_layer()
    if clone is None and not extra:
        if not PACKAGED_INDEX.exists():
            raise Trouble("This installation has no knowledge base. Install rousewort again.")
        return KnowledgeBase(IndexStore(PACKAGED_INDEX))
    every = [clone, *extra] if clone else extra
    mark = stamp(every)
    cached = cache_folder() / f"{mark}.sqlite"
    if cached.exists():
        try:
            with suppress(OSError):
                cached.touch()  # in use: the others are forgotten first
            return KnowledgeBase(IndexStore(cached))
        except Exception:  # a damaged or older cache is only a cache
            cached.unlink(missing_ok=True)
    from rousewort.knowledge.build import build

    store = build(every, None if clone else PACKAGED_INDEX)
    try:
        cached.parent.mkdir(parents=True, exist_ok=True)
        _forget_old(cached.parent)
        write_index(store, cached, mark)
    except (OSError, sqlite3.Error):  # a full or read-only disk costs only the wait
        return KnowledgeBase(store)
    return KnowledgeBase(IndexStore(cached))


def _forget_old(folder: Path, keep: int = 5) -> None:
    old = sorted(folder.glob("*.sqlite"), key=lambda path: path.stat().st_mtime, reverse=True)[keep:]
    for path in old:
        path.unlink(missing_ok=True)


__all__ = ["KnowledgeBase", "KnowledgeTrouble", "Match", "load"]
