"""How many seeds of a plant make a gram: by its own entry, else by a published table, else by the tables' other species of its
genus, else by the size of seed that its entry gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from rousewort.knowledge.store import Store, genus_of
from rousewort.knowledge.vocabulary import Vocabulary

SIZES_OFF = (
    2  # words of seed size between a table's count and the entry's own word, from which the count is passed over
)


class SeedCount(NamedTuple):
    """Seeds in a gram. `basis`: species, genus or size; `sources`: ids of works; `held`: how the entry holds it, or table; `of`:
    the names that were counted, several of a genus. `low` and `high` are those of the lots, of the species of a genus, or
    the ends of a word of size; the finest has no high end, and the largest, which has no low one, gives no count."""

    low: float
    use: float
    high: float | None
    basis: str
    sources: tuple[str, ...]
    held: str
    of: tuple[str, ...]


def seeds_per_gram(store: Store, vocabulary: Vocabulary, name: str) -> SeedCount | None:
    """None where entry, tables and genus are silent. `name`: an accepted name, or any name in a genus."""
    record = store.record(name) or {}
    summary = store.summary(name) if record.get("rank") == "species" else None
    own = (summary or {}).get("numbers", {}).get(vocabulary.count_key)
    if own:
        return _of_entry(name, own)
    size = next((word for word, _, _ in (summary or {}).get("traits", {}).get(vocabulary.size_key, ())), None)
    tables = store.shared("seed_tables")
    for known_as in (name, *record.get("synonyms", ())):
        listed = [c for c in [tables.get("counts", {}).get(known_as)] if c and not is_off(vocabulary, size, c[1])]
        disputed = [c for c in tables.get("disputed", {}).get(known_as, ()) if _band(vocabulary, c[1]) == size]
        for low, use, high, table in (*listed, *disputed):
            return SeedCount(low, use, high, "species", (tables["sources"][table],), "table", (known_as,))
    genus = _of_genus(tables, genus_of(name), {name, *record.get("synonyms", ())})
    return genus if genus and not is_off(vocabulary, size, genus.use) else _of_size(vocabulary, size, name)


def _band(vocabulary: Vocabulary, count: float) -> str:
    return vocabulary.band(vocabulary.size_key, count)


def is_off(vocabulary: Vocabulary, size: str | None, count: float) -> bool:
    """Whether a count is two sizes or more from what the entry says of the seed."""
    words = [word["is"] for word in vocabulary.files["bands"][vocabulary.size_key]["words"]]
    if size not in words:
        return False
    return abs(words.index(size) - words.index(_band(vocabulary, count))) >= SIZES_OFF


def _of_entry(name: str, own: Sequence[Mapping[str, Any]]) -> SeedCount:
    low, high = min(c["low"] for c in own), max(c["high"] for c in own)
    use = sum((c["low"] + c["high"]) / 2 for c in own) / len(own)
    works = tuple(dict.fromkeys(c["source"] for c in own if "source" in c))
    return SeedCount(low, use, high, "species", works, str(own[0].get("held", "practice")), (name,))


def _of_genus(tables: Mapping[str, Any], genus: str, but: set[str]) -> SeedCount | None:
    """What the other species of a genus have in the middle; `but`: the plant's own names, whose count was passed over."""
    counts = tables.get("counts", {}).items()
    found = {name: count for name, count in counts if genus_of(name) == genus and name not in but}
    if not found:
        return None
    uses = sorted(count[1] for count in found.values())
    middle = (uses[(len(uses) - 1) // 2] + uses[len(uses) // 2]) / 2
    works = tuple(sorted({tables["sources"][count[3]] for count in found.values()}))
    low, high = min(c[0] for c in found.values()), max(c[2] for c in found.values())
    return SeedCount(low, middle, high, "genus", works, "table", tuple(sorted(found)))


def _of_size(vocabulary: Vocabulary, size: str | None, name: str) -> SeedCount | None:
    """The ends of a word of size, and between them what is as many times more than the one as less than the other."""
    above = None
    for word in vocabulary.files["bands"][vocabulary.size_key]["words"]:
        if word["is"] == size:
            low, high = word["least"], above
            use = (low * high) ** 0.5 if high else low
            return SeedCount(low, use, high, "size", (), "practice", (name,)) if low else None
        above = word["least"]
    return None


def without_source(tables: Mapping[str, Any], source: str | None) -> dict[str, Any]:
    """The tables of seed weights and cold as if one work had never been brought in. What was judged by it (a disputed count)
    stays so."""
    hidden = {table for table, work in tables["sources"].items() if work == source}
    disputed = {
        name: kept for name, of in tables["disputed"].items() if (kept := [c for c in of if c[3] not in hidden])
    }
    kept_rows = {part: tables[part] for part in ("cold_yes", "chilled") if tables["from"][part] not in hidden}
    return {
        **tables,
        "sources": {table: work for table, work in tables["sources"].items() if work != source},
        "counts": {name: count for name, count in tables["counts"].items() if count[3] not in hidden},
        "disputed": disputed,
        "cold_yes": [],
        "chilled": {},
        **kept_rows,
    }
