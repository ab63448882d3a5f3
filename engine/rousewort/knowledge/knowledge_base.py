"""The knowledge base: one immutable object that answers what is known of a name."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from functools import cached_property
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, NamedTuple

from rousewort.base.errors import KnowledgeError, UserError
from rousewort.knowledge.files import shipped_layer, stamp
from rousewort.knowledge.holdout import Hidden, sources_of
from rousewort.knowledge.names import fold
from rousewort.knowledge.protocols import works_of
from rousewort.knowledge.seed_counts import SeedCount, seeds_per_gram, without_source
from rousewort.knowledge.store import IndexStore, MemoryStore, Store, forget, genus_of, is_whole, write_index
from rousewort.knowledge.summary import Record
from rousewort.knowledge.vocabulary import Vocabulary

if TYPE_CHECKING:
    from rousewort.knowledge.packets import Reading

A_DAY_S = 24 * 60 * 60
PACKAGED_INDEX = Path(__file__).resolve().parents[1] / "kb.sqlite"


class Match(NamedTuple):
    """What a query was taken for. `candidates` holds several accepted names when it could mean each of them,
    `aside` what of it was not read as the plant, in sentences. `matched_by`: accepted, synonym, common_name, spelling, genus,
    family, part_of_name, observations; several (two plants named at once); none."""

    query: str
    name: str | None
    matched_by: str
    candidates: tuple[str, ...] = ()
    genus: str | None = None
    family: str | None = None
    aside: tuple[str, ...] = ()


def _packets() -> ModuleType:
    """The reader of packets, loaded where the plain look-up failed."""
    from rousewort.knowledge import packets

    return packets


def _rapidfuzz() -> ModuleType:
    """The library that compares spellings, loaded where one has to be compared."""
    import rapidfuzz

    return rapidfuzz


def _edits(one: str, other: str) -> int:
    """How many letters must be left out, put in, changed or swapped with the next to make one the other."""
    edits: int = _rapidfuzz().distance.OSA.distance(one, other)
    return edits


class KnowledgeBase:
    """Entries, genera, families, rules, treatments, vocabulary and sources. Nothing in it changes after loading."""

    def __init__(self, store: Store, held_out: str = "") -> None:
        self.store = store
        self.held_out = held_out
        self.memo: dict[tuple[Any, ...], Any] = {}  # answers worked out once: nothing they rest on can change

    @cached_property
    def vocabulary(self) -> Vocabulary:
        return Vocabulary(self.store.shared("vocabulary"), self.treatments)

    @cached_property
    def rules(self) -> list[Record]:
        rules: list[Record] = self.store.shared("rules")
        return rules

    @cached_property
    def treatments(self) -> dict[str, Record]:
        treatments: dict[str, Record] = self.store.shared("treatments")
        return treatments

    @cached_property
    def sources(self) -> dict[str, Record]:
        sources: dict[str, Record] = self.store.shared("sources")
        return sources

    @cached_property
    def calibration(self) -> Record:
        calibration: Record = self.store.shared("calibration")
        return calibration

    def seeds_per_gram(self, name: str) -> SeedCount | None:
        """How many clean seeds of a plant make a gram, and who says so; None where neither it nor its genus is known."""
        return seeds_per_gram(self.store, self.vocabulary, name)

    def taxon(self, name: str) -> Record | None:
        """The entry of an accepted name, spelled out, its protocols whole; or None."""
        return self.store.record(name)

    def names(self, rank: str = "species") -> list[str]:
        return self.store.names(rank)

    def genus_family(self, genus: str) -> str | None:
        """The family of a genus, from its file or from any entry in it."""
        record = self.store.record(genus)
        if record and record["rank"] == "genus":
            family: str | None = record["family"]
            return family
        return self.store.family_of(genus)

    def is_family(self, name: str) -> bool:
        return name in self.store.shared("families")

    def lookup(self, query: str, under: str | None = None) -> Match:
        """Find what `query` names: an accepted name, synonym, common name, genus or family; within what a packet says
        beside it; or a near spelling. `under`: the genus that the heading of a list names (`A. rubrum` below ACER)."""
        folded = fold(query)
        if not folded:
            raise UserError("The name is empty. Give a species, for example: rousewort plan 'black haw'")
        return self._by_name(query, folded) or self._by_packet(query, under) or self._by_spelling(query, folded)

    def _by_name(self, query: str, folded: str) -> Match | None:
        """A name written as it stands in an entry, or in the tables of common names."""
        found = self.store.named(folded)
        # A genus before a common name: `Geranium` is not the pelargonium that gardens call so.
        for kind in ("accepted", "synonym", "genus", "family", "common_name"):
            accepted = sorted({name for name, how in found if how == kind})
            if kind == "common_name" and accepted:  # a word for a whole genus, or its very name, is no one species
                own = [folded.capitalize()] if self.genus_family(folded.capitalize()) else []
                genera = [taxon for taxon in self.store.listed(folded) if " " not in taxon]
                accepted = list(dict.fromkeys((*accepted, *own, *genera)))
            if len(accepted) == 1:
                return self._match(query, accepted[0], kind)
            if accepted:
                return Match(query, None, kind, tuple(accepted))
        if " " not in folded and (self.genus_family(folded.capitalize()) or self.is_family(folded.capitalize())):
            return None  # the genus itself, not what one list calls so
        listed = self.store.listed(folded)
        if len(listed) == 1 and self.store.record(listed[0]) and " " in listed[0]:
            return self._match(query, listed[0], "common_name")
        return Match(query, None, "common_name", self._called(folded, listed)) if listed else None

    def _called(self, folded: str, listed: Sequence[str], most: int = 30) -> tuple[str, ...]:
        """Whom a common name of a whole genus may mean: the genera, then the species whose names hold the word."""
        species = {name: None for known, name in self.store.near(folded) if folded in known.split() and " " in name}
        genera = [taxon for taxon in listed if " " not in taxon]
        own = [name for genus in genera for name in sorted(species) if genus_of(name) == genus]
        return tuple(dict.fromkeys((*listed, *own)))[:most]

    def _match(self, query: str, name: str, kind: str, aside: tuple[str, ...] = ()) -> Match:
        record = self.store.record(name) or {}
        rank = record.get("rank")
        if rank == "family":
            return Match(query, name, "family", family=name, aside=aside)
        return Match(query, name, kind, genus=genus_of(name), family=record.get("family"), aside=aside)

    def _by_packet(self, query: str, under: str | None) -> Match | None:
        """A name within what stands on a packet; a species that has no entry, in a genus or family that exists."""
        known = _packets().Known(lambda genus: self.genus_family(genus) is not None, self._is_species, self._beginning)
        reading = _packets().read(query, known, under)
        if reading and reading.epithet:
            return self._of_reading(query, reading)
        match = self._by_phrases(query, _packets().phrases(query))
        if match:
            return match
        if reading:
            return self._of_reading(query, reading)
        family = next((word for word in query.split() if self.is_family(word.capitalize())), None)
        if family:
            return Match(query, family.capitalize(), "family", family=family.capitalize())
        return self._by_misspelt_part(query)

    def _by_phrases(self, query: str, phrases: Sequence[str]) -> Match | None:
        """A common name without the trade's words. The name alone of what has a quality too is no one plant:
        an American highbush cranberry is no cranberry."""
        for phrase in phrases:
            match = self._by_name(query, fold(phrase)) if fold(phrase) not in ("", fold(query)) else None
            if match and match.matched_by == "common_name":
                if match.name is None:
                    return match
                if phrase not in phrases[:-1] and len(phrases) > 1:
                    return Match(query, None, "common_name", (match.name,))
                return match._replace(matched_by="part_of_name")
        for phrase in phrases:
            within = self._within(fold(phrase))
            if within:
                return Match(query, None, "common_name", within)
        return None

    def _within(self, folded: str, most: int = 12) -> tuple[str, ...]:
        """Whose common names end with a name of two words or more, or it with theirs: a white pine may be an eastern
        white pine. They are offered, never taken."""
        if " " not in folded:
            return ()
        found = {
            accepted: None
            for known, accepted in self.store.near(folded)
            if (known.endswith(f" {folded}") or (" " in known and folded.endswith(f" {known}")))
            and not self._is_species(known)
        }
        return tuple(sorted(found))[:most]

    def _is_species(self, name: str) -> bool:
        return any(kind in ("accepted", "synonym") for _, kind in self.store.named(fold(name)))

    def _beginning(self, genus: str, start: str) -> list[str]:
        """Epithets of entries in a genus that begin so."""
        names = {known for known, _ in self.store.alike(fold(genus)) if known.startswith(f"{fold(genus)} {start}")}
        return sorted({known.split()[1] for known in names})

    def _of_reading(self, query: str, reading: Reading) -> Match:
        """The entry of what was read, else its place among relatives."""
        if reading.others:
            named = (reading.species, *reading.others)
            return Match(query, None, "several", named)
        if reading.infra and self._is_species(f"{reading.species} {reading.infra}"):
            match = self._by_name(query, fold(f"{reading.species} {reading.infra}"))
            if match:
                return self._as_written(match, reading.aside)
        family = self.genus_family(reading.genus)
        aside = reading.aside
        if not reading.epithet:
            return Match(query, reading.genus, "genus", genus=reading.genus, family=family, aside=aside)
        found = self._by_name(query, fold(reading.species))
        if found and found.matched_by in ("accepted", "synonym"):
            if reading.infra and found.name:
                aside = (*aside, f"“{reading.infra}” has no entry of its own: planned as {found.name}.")
            return self._as_written(found, aside)
        for ending in _packets().genders(reading.epithet):
            match = self._by_name(query, fold(f"{reading.genus} {ending}"))
            if match and match.name and match.matched_by in ("accepted", "synonym"):
                return match._replace(matched_by="spelling", aside=aside)
        near = self._nearest(fold(reading.species), 90)
        if len(near) == 1 and self._slips(fold(reading.species), near[0]) == 1:
            return self._match(query, near[0], "spelling", aside)
        return Match(query, reading.species, "genus", tuple(near), reading.genus, family, aside)

    def _as_written(self, match: Match, aside: tuple[str, ...]) -> Match:
        return match._replace(matched_by="part_of_name" if match.name else match.matched_by, aside=aside)

    def _by_misspelt_part(self, query: str) -> Match | None:
        """Two words written as a name are, whose genus is one slip away from one that exists."""
        for genus, epithet in _packets().pairs(query):
            name = fold(f"{genus} {epithet}")
            near = self._nearest(name, 86)
            if len(near) == 1 and self._slips(name, near[0]) <= 2:
                return self._match(query, near[0], "spelling")
            like = [g for g in self.store.genera_from(genus[0]) if self._mistyped(genus, g) and self._has_entries(g)]
            if len(like) == 1:
                said = f"“{genus}” is no genus known here; read as {like[0]}."
                family = self.genus_family(like[0])
                return Match(query, f"{like[0]} {epithet}", "genus", tuple(near), like[0], family, (said,))
        return None

    def _has_entries(self, genus: str) -> bool:
        return any(known.startswith(f"{fold(genus)} ") for known, _ in self.store.alike(fold(genus)))

    @staticmethod
    def _mistyped(written: str, genus: str) -> bool:
        """Whether a letter of a long name was left out, doubled or moved. One letter for another makes another genus:
        Polypodium, a fern, is no Polycodium."""
        moved = len(written) != len(genus) or sorted(written) == sorted(genus)
        return len(written) > 5 and moved and _edits(written, genus) == 1

    def _slips(self, folded: str, accepted: str) -> int:
        """How many letters at least were mistyped. Within a genus two make another species: the silver maple is the sugar
        maple but for two letters; *Blechnum vulgare*, a fern, is *Echium vulgare* but for three."""
        return min((_edits(folded, known) for known, name in self.store.near(folded) if name == accepted), default=9)

    def _by_spelling(self, query: str, folded: str) -> Match:
        close = self._nearest(folded, 86)
        if len(close) == 1 and self._slips(folded, close[0]) <= 2:
            return self._match(query, close[0], "spelling")
        like = close or self._nearest(folded, 78)
        return Match(query, None, "none", tuple(dict.fromkeys((*like, *self._genera_like(query)))))

    def _genera_like(self, query: str, most: int = 4) -> Iterator[str]:
        """The same name in each genus that is spelt nearly like its own, to be asked about and never taken."""
        for genus, epithet in _packets().pairs(query):
            if len(genus) < 5 or self.store.family_of(genus):
                continue
            slips = {like: _edits(genus, like) for like in self.store.genera_from(genus[0])}
            least = min(slips.values(), default=9)
            if least <= (1 if len(genus) < 8 else 2):
                yield from (f"{like} {epithet}" for like in [g for g, n in slips.items() if n == least][:most])

    def _nearest(self, folded: str, cutoff: int, most: int = 8) -> list[str]:
        fuzz = _rapidfuzz().fuzz
        best: dict[str, float] = {}
        for known, accepted in self.store.near(folded):
            score = fuzz.ratio(folded, known)
            if score >= cutoff:
                best[accepted] = max(score, best.get(accepted, 0))
        ranked = sorted(best, key=lambda name: (-best[name], name))
        if ranked and best[ranked[0]] >= 86:  # a clear best hides what is only vaguely like it
            ranked = [name for name in ranked if best[name] >= best[ranked[0]] - 4]
        return ranked[:most]

    def read_list(self, lines: Iterable[str]) -> Iterator[Match]:
        """What each line of a list names. A line that names only a genus heads those below it; a row of dashes repeats
        the plant above; `- oleraceum` and `C. oleraceum` are of the genus above. Blank lines name nothing."""
        under: str | None = None
        last: Match | None = None
        for line in lines:
            same = last if last and _packets().ditto(line) else None
            match = (
                same._replace(query=line)
                if same
                else self.lookup(line, under)
                if fold(line)
                else Match(line, None, "none")
            )
            if match.genus and match.matched_by != "common_name":
                under = match.genus
            last = match if match.name else last
            yield match

    def without(
        self,
        *,
        source: str | None = None,
        species: str | None = None,
        genus: str | None = None,
        protocols: bool = False,
    ) -> KnowledgeBase:
        """The same knowledge with a thing hidden, and all that rests on it.

        `source`: every statement and protocol of that source, or that it carries again. `species`: the whole entry, and what its genus and
        family files say from the same sources or infer from members. `genus`: all its species so,
        and what is said of the whole. `protocols`: every protocol, and
        every trait that was inferred.
        """
        if species or genus:
            rest = self.without(source=source, protocols=protocols) if source or protocols else self
            names = [species] if species else rest._of_genus(str(genus))
            return self._beside(Hidden(rest._memory, names), species or str(genus))
        records = self._memory.records
        if source:
            citing = {name: records[name] for name in self._citing.get(source, ())}
            records = {**records, **_filtered(citing, lambda fact: source not in works_of(fact))}
        if protocols:
            kept = _filtered(records, lambda fact: "inferred_from" not in fact)
            records = {
                n: {k: v for k, v in r.items() if k != "protocols"} if "protocols" in r else r for n, r in kept.items()
            }
        shared = self._memory._shared
        if source in shared["classed_from"]:
            shared = {**shared, "classed": {}, "classed_from": []}
        if source in shared["seed_tables"].get("sources", {}).values():
            shared = {**shared, "seed_tables": without_source(shared["seed_tables"], source)}
        store = MemoryStore(records, shared, self.vocabulary, self._memory)
        return self._beside(store, source or "protocols")

    def keeping(
        self, *, fact: Callable[[Record], bool] | None = None, genus: Callable[[str], bool] | None = None
    ) -> KnowledgeBase:
        """The same knowledge with only the statements, protocols and lots that `fact` keeps, of the genera that `genus` keeps;
        families stay. What is fitted to entries (`chilling`) may be changed in it without changing it here."""
        records = {
            name: record
            for name, record in self._memory.records.items()
            if genus is None or record["rank"] == "family" or genus(genus_of(name))
        }
        shared = {**self._memory._shared, "chilling": dict(self._memory._shared["chilling"])}
        store = MemoryStore(_filtered(records, fact) if fact else records, shared, self.vocabulary)
        return self._beside(store, "kept in part")

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

    def _of_genus(self, genus: str) -> list[str]:
        """The genus itself, its entries, and what the table of classes lists of it."""
        entries = self._memory.members("genus", genus)
        return [*([genus] if self.taxon(genus) else []), *entries, *self.store.classed("genus", genus)]

    @cached_property
    def _memory(self) -> MemoryStore:
        return self.store if isinstance(self.store, MemoryStore) else self.store.to_memory(self.vocabulary)  # type: ignore[attr-defined]  # as all others can


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
            raise UserError(f"There is no knowledge base folder at {layer}. Check --kb or ROUSEWORT_KB.")
    clone = shipped_layer()
    if clone is None and not extra:
        if not PACKAGED_INDEX.exists():
            raise UserError("This installation has no knowledge base. Install rousewort again.")
        return KnowledgeBase(IndexStore(PACKAGED_INDEX))
    every = [clone, *extra] if clone else extra
    mark = stamp(every)
    cached = cache_folder() / f"{mark}.sqlite"

    def make() -> Store:
        from rousewort.knowledge.build import build

        store = build(every, None if clone else PACKAGED_INDEX)
        with suppress(OSError, sqlite3.Error):  # a full or read-only disk costs only the wait
            cached.parent.mkdir(parents=True, exist_ok=True)
            _forget_old(cached.parent)
            write_index(store, cached, mark)
        return store

    if cached.exists():
        try:
            with suppress(OSError):
                cached.touch()  # in use: the others are forgotten first
            if not is_whole(cached, A_DAY_S):
                raise ValueError("damaged")
            return KnowledgeBase(IndexStore(cached, heal=make))
        except Exception:  # a damaged or older cache is only a cache
            forget(cached)
    store = make()
    return KnowledgeBase(IndexStore(cached, heal=make) if cached.exists() else store)


def _forget_old(folder: Path, keep: int = 5) -> None:
    old = sorted(folder.glob("*.sqlite"), key=lambda path: path.stat().st_mtime, reverse=True)[keep:]
    for path in old:
        forget(path)


def drop_damaged() -> bool:
    """Remove every index in the cache that is not what was written. Returns whether there was one."""
    damaged = [path for path in cache_folder().glob("**/*.sqlite") if not is_whole(path)]
    for path in damaged:
        forget(path)
    return bool(damaged)


__all__ = ["KnowledgeBase", "KnowledgeError", "Match", "load"]
