"""Where records come from: memory (computed) or a compiled SQLite index (a copy of the same computation)."""

from __future__ import annotations

import json
import os
import sqlite3
import threading
import time
import zlib
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

from rousewort.base.errors import CacheDamaged, UserError
from rousewort.knowledge.names import fold, triples
from rousewort.knowledge.summary import Record, empty_pool, pool, summarise
from rousewort.knowledge.vocabulary import Vocabulary

INDEX_FORMAT = 8


class Store(Protocol):
    """What a knowledge base needs of its records; keys are accepted names."""

    def record(self, name: str) -> Record | None: ...
    def summary(self, name: str) -> Record | None: ...
    def group(self, rank: str, name: str) -> Record: ...
    def named(self, folded: str) -> list[tuple[str, str]]: ...
    def alike(self, folded: str) -> list[tuple[str, str]]: ...
    def near(self, folded: str) -> list[tuple[str, str]]: ...
    def names(self, rank: str) -> list[str]: ...
    def family_of(self, genus: str) -> str | None: ...
    def clade_of(self, name: str) -> str | None: ...
    def classed(self, rank: str, name: str) -> Record: ...
    def of_genus(self, name: str) -> dict[str, list[str]]: ...
    def genera_from(self, initial: str) -> list[str]: ...
    def listed(self, folded: str) -> list[str]: ...
    def shared(self, part: str) -> Any: ...


def genus_of(name: str) -> str:
    return name.split()[0]


def name_rows(record: Record) -> Iterator[tuple[str, str]]:
    """(folded name, kind) of every name that a record answers to."""
    yield fold(record["name"]), {"genus": "genus", "family": "family"}.get(record["rank"], "accepted")
    for name in record.get("synonyms", ()):
        yield fold(name), "synonym"
    for name in record.get("common_names", ()):
        yield fold(name), "common_name"


def halves(folded: str) -> list[str]:
    """`acer rubrum` → [`acer *`, `* rubrum`]: a slip of one letter leaves one of them as it was."""
    first, _, rest = folded.partition(" ")
    return [f"{first} *", *([f"* {rest}"] if rest else [])]


def clades_by_member(clades: Record) -> dict[str, str]:
    """Genus → the subfamily or tribe that holds it, species → its section (kb/names/clades.yaml)."""
    return {
        member: name
        for name, clade in clades.items()
        for member in (*clade.get("genera", ()), *clade.get("species", ()))
    }


class MemoryStore:
    """Records in memory; summaries and groups computed when first asked for, then kept.

    `base`: a store of the same plants, of which some records differ. What it summed up of the others serves here too.
    """

    def __init__(
        self,
        records: dict[str, Record],
        shared: dict[str, Any],
        vocabulary: Vocabulary,
        base: MemoryStore | None = None,
    ) -> None:
        self.records, self._shared, self.vocabulary, self._base = records, shared, vocabulary, base
        self._summaries: dict[str, Record] = {}
        self._groups: dict[tuple[str, str], Record] = {}
        self._names: dict[str, list[tuple[str, str]]] | None = None
        self._members: dict[tuple[str, str], list[str]] | None = None
        self._parts: dict[str, list[tuple[str, str]]] | None = None
        self._clades: dict[str, str] | None = None
        self._classed: dict[tuple[str, str], Record] | None = None

    def record(self, name: str) -> Record | None:
        return self.records.get(name)

    def summary(self, name: str) -> Record | None:
        if name not in self._summaries:
            record = self.records.get(name)
            if record is None:
                return None
            if self._base and self._as_in_base(name):
                return self._base.summary(name)
            self._summaries[name] = summarise(record, self.vocabulary)
        return self._summaries[name]

    def _as_in_base(self, name: str) -> bool:
        return self._base is not None and self._base.records.get(name) is self.records[name]

    def members(self, rank: str, name: str) -> list[str]:
        if self._base:
            return self._base.members(rank, name)
        if self._members is None:
            self._members = defaultdict(list)
            for species, record in self.records.items():
                if record["rank"] == "species":
                    self._members["genus", genus_of(species)].append(species)
                    self._members["family", record["family"]].append(species)
                    for clade in filter(None, (self.clade_of(genus_of(species)), self.clade_of(species))):
                        self._members["clade", clade].append(species)
        return self._members.get((rank, name), [])

    def group(self, rank: str, name: str) -> Record:
        if (rank, name) not in self._groups:
            if self._base and all(map(self._as_in_base, self.members(rank, name))):
                return self._base.group(rank, name)
            self._groups[rank, name] = pool(
                ((m, self.summary(m) or {}) for m in self.members(rank, name)), self.vocabulary
            )
        return self._groups[rank, name]

    def _all_names(self) -> dict[str, list[tuple[str, str]]]:
        if self._names is None:
            self._names = defaultdict(list)
            for accepted, record in self.records.items():
                for folded, kind in dict.fromkeys(name_rows(record)):
                    self._names[folded].append((accepted, kind))
        return self._names

    def named(self, folded: str) -> list[tuple[str, str]]:
        return self._all_names().get(folded, [])

    def alike(self, folded: str) -> list[tuple[str, str]]:
        """(folded name, accepted name) of every scientific name with the same first word, or the same rest, as `folded`."""
        if self._parts is None:
            self._parts = defaultdict(list)
            for name, record in self.records.items():
                for known, kind in name_rows(record):
                    if kind != "common_name":
                        for part in halves(known):
                            self._parts[part].append((known, name))
        return [row for part in halves(folded) for row in self._parts.get(part, ())]

    def near(self, folded: str) -> list[tuple[str, str]]:
        wanted = triples(folded)
        scored = ((len(wanted & triples(known)), known) for known in self._all_names())
        best = sorted((item for item in scored if item[0] >= 2), reverse=True)[:200]
        return [(known, accepted) for _, known in best for accepted, _ in self._all_names()[known]]

    def names(self, rank: str) -> list[str]:
        return [name for name, record in self.records.items() if record["rank"] == rank]

    def family_of(self, genus: str) -> str | None:
        family: str | None = self._shared["genus_family"].get(genus)
        return family

    def clade_of(self, name: str) -> str | None:
        """The subfamily or tribe that a genus stands in, the section of a species, where that is on record."""
        if self._clades is None:
            self._clades = clades_by_member(self._shared["clades"])
        return self._clades.get(name)

    def classed(self, rank: str, name: str) -> Record:
        """What the table of classes says: of a genus species → its classes, of a clade or family class → species counted."""
        if self._classed is None:
            same = self._base is not None and self._base._shared["classed"] is self._shared["classed"]
            self._classed = self._base._all_classed() if self._base and same else self._sum_classed()
        return self._classed.get((rank, name), {})

    def _all_classed(self) -> dict[tuple[str, str], Record]:
        self.classed("genus", "")
        return self._classed or {}

    def _sum_classed(self) -> dict[tuple[str, str], Record]:
        made: dict[tuple[str, str], Record] = {}
        for species, words in self._shared["classed"].items():
            genus = genus_of(species)
            made.setdefault(("genus", genus), {})[species] = words
            for group in self.wider(species):
                counted = made.setdefault(group, {})
                for word in words:
                    counted[word] = counted.get(word, 0.0) + 1 / len(words)
        return made

    def wider(self, species: str) -> list[tuple[str, str]]:
        """The groups beside its genus in which the table counts a species: section, subfamily or tribe, family."""
        genus = genus_of(species)
        groups = (("clade", self.clade_of(species)), ("clade", self.clade_of(genus)), ("family", self.family_of(genus)))
        return [(rank, name) for rank, name in groups if name]

    def of_genus(self, name: str) -> dict[str, list[str]]:
        """What the table of genera says of nearly all species of one: trait → words, none where they differ."""
        told: dict[str, list[str]] = self._shared["of_genera"].get(name, {})
        return told

    def genera_from(self, initial: str) -> list[str]:
        """Every genus that begins with this letter."""
        return sorted(genus for genus in self._shared["genus_family"] if genus.startswith(initial))

    def listed(self, folded: str) -> list[str]:
        """The taxa that the tables of common names give for a name, those with most species first."""
        taxa: list[str] = self._shared["listed"].get(folded, [])
        return taxa

    def shared(self, part: str) -> Any:
        return self._shared[part]


_SCHEMA = """
create table part (name text primary key, json text not null) without rowid;
create table taxon (name text primary key, rank text not null, json text not null, summary text not null) without rowid;
create table pooled (rank text, name text, json text not null, primary key (rank, name)) without rowid;
create table known_as (folded text, accepted text, kind text, primary key (folded, accepted, kind)) without rowid;
create table genus (name text primary key, family text not null) without rowid;
create table of_genus (name text primary key, json text not null) without rowid;
create table listed (folded text primary key, taxa text not null) without rowid;
create table clade (member text primary key, name text not null) without rowid;
create table classed (rank text, name text, json text not null, primary key (rank, name)) without rowid;
create table triple (three text, folded text, primary key (three, folded)) without rowid;
"""


def write_index(store: MemoryStore, path: Path | str, stamp: str) -> None:
    """Compile a store into one SQLite file. Raises OSError or sqlite3.Error, and then leaves nothing behind."""
    target = Path(path)
    fresh = target.with_name(f"{target.name}.{os.getpid()}.new")
    fresh.unlink(missing_ok=True)
    connection = sqlite3.connect(fresh)
    try:
        _fill(connection, store, stamp)
        connection.close()
        _sum_of(target).write_text(f"{zlib.crc32(fresh.read_bytes()):08x}", "ascii")
        fresh.replace(target)
    finally:
        connection.close()
        fresh.unlink(missing_ok=True)


def is_whole(path: Path, within_s: float = 0) -> bool:
    """Whether a compiled index is to the bit what was written. `within_s`: found so that short a time ago is good enough.

    Rows have checksums of their own; only the whole file's finds a name that is no longer where it would be looked for.
    """
    beside = _sum_of(path)
    try:
        if within_s and 0 <= time.time() - beside.stat().st_mtime < within_s:
            return True
        if beside.read_text("ascii") != f"{zlib.crc32(path.read_bytes()):08x}":
            return False
        beside.touch()
    except OSError:  # no sum beside it: nothing speaks against it
        return not beside.exists()
    except ValueError:
        return False
    return True


def forget(path: Path) -> None:
    """Remove a compiled index."""
    for file in (path, _sum_of(path)):
        file.unlink(missing_ok=True)


def _sum_of(path: Path) -> Path:
    return path.with_name(f"{path.name}.sum")


def _fill(connection: sqlite3.Connection, store: MemoryStore, stamp: str) -> None:
    connection.executescript(f"pragma journal_mode=off; pragma user_version={INDEX_FORMAT};" + _SCHEMA)
    parts = {**store._shared, "stamp": stamp}
    connection.executemany("insert into genus values (?, ?)", sorted(parts.pop("genus_family").items()))
    connection.executemany("insert into listed values (?, ?)", [(k, _dump(v)) for k, v in parts.pop("listed").items()])
    rows = [(name, _dump(told)) for name, told in parts.pop("of_genera").items()]
    connection.executemany("insert into of_genus values (?, ?)", rows)
    connection.executemany("insert into clade values (?, ?)", sorted(clades_by_member(parts["clades"]).items()))
    parts.pop("classed")
    sums = [(*key, _dump(value)) for key, value in store._all_classed().items()]
    connection.executemany("insert into classed values (?, ?, ?)", sums)
    connection.executemany("insert into part values (?, ?)", [(k, _dump(v)) for k, v in parts.items()])
    names: set[tuple[str, str, str]] = set()
    groups: dict[tuple[str, str], None] = {}
    for name, record in store.records.items():
        connection.execute(
            "insert into taxon values (?, ?, ?, ?)", (name, record["rank"], _dump(record), _dump(store.summary(name)))
        )
        names |= {(folded, name, kind) for folded, kind in name_rows(record)}
        if record["rank"] == "species":
            groups["genus", genus_of(name)] = groups["family", record["family"]] = None
            clades = (store.clade_of(genus_of(name)), store.clade_of(name))
            groups |= {("clade", clade): None for clade in clades if clade}
    connection.executemany("insert into known_as values (?, ?, ?)", sorted(names))
    pairs = sorted({(three, folded) for folded, _, _ in names for three in triples(folded)})
    connection.executemany("insert into triple values (?, ?)", pairs)
    connection.executemany("insert into pooled values (?, ?, ?)", [(*key, _dump(store.group(*key))) for key in groups])
    connection.commit()


def _dump(value: Any) -> str:
    """JSON behind its checksum: a bit that flipped on the disk is found before a plan rests on it."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return f"{zlib.crc32(text.encode()):08x}{text}"


def _load(text: str) -> Any:
    """Raises ValueError for what is not as it was written."""
    if not isinstance(text, str) or text[:8] != f"{zlib.crc32(text[8:].encode()):08x}":
        raise ValueError("a row of the index is not as it was written")
    return json.loads(text[8:])


class IndexStore:
    """Reads a compiled index, opened read-only; keeps what it has read. Threads may share it: they take turns.

    `heal` makes the file anew where it turns out to be damaged: a cache is only a cache.
    """

    def __init__(self, path: Path, contents: bytes | None = None, heal: Callable[[], object] | None = None) -> None:
        self._path, self._heal = path, heal
        # Two threads asking one question share its compiled statement: without turns, one reads the other's rows.
        self._turn = threading.Lock()
        self._kept: dict[tuple[Any, ...], Any] = {}
        self._open(contents)

    def _open(self, contents: bytes | None = None) -> None:
        path = self._path
        plain = str(path).replace("%", "%25").replace("?", "%3f").replace("#", "%23")
        uri = f"file:{plain}?mode=ro&immutable=1" if contents is None else ":memory:"
        self._connection = sqlite3.connect(uri, uri=True, check_same_thread=False)
        if contents is not None:
            self._connection.deserialize(contents)
        version = self._connection.execute("pragma user_version").fetchone()[0]
        if version != INDEX_FORMAT:
            raise UserError(
                f"The index {path} has format {version}; this version of Rousewort reads {INDEX_FORMAT}. Install it again."
            )

    def __reduce__(self) -> tuple[type[IndexStore], tuple[Path, bytes | None]]:
        """Sent to another process, it is opened there; whole, where the cache has dropped the file since."""
        return IndexStore, (self._path, None if self._path.exists() else self._connection.serialize())

    def _rows(self, sql: str, arguments: Sequence[str] | dict[str, str] = ()) -> list[tuple[Any, ...]]:
        try:
            with self._turn:
                return self._connection.execute(sql, arguments).fetchall()
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            raise self._damaged() from error

    def _read(self, sql: str, arguments: Sequence[str] | dict[str, str] = ()) -> list[tuple[Any, ...]]:
        """Rows with their last column read as JSON."""
        try:
            return [(*row[:-1], _load(row[-1])) for row in self._rows(sql, arguments)]
        except ValueError as error:
            raise self._damaged() from error

    def _damaged(self) -> CacheDamaged:
        """What is read from now on is sound again; what was read before may not be, so whoever asked begins anew."""
        heal, self._heal = self._heal, None  # once
        if heal:
            with self._turn, suppress(OSError, sqlite3.Error):
                forget(self._path)
                heal()
                self._kept.clear()
                self._open()
        return CacheDamaged(f"the index {self._path} was damaged")

    def _one(
        self, key: tuple[Any, ...], sql: str, arguments: tuple[Any, ...], otherwise: Callable[[], Any] = lambda: None
    ) -> Any:
        if key not in self._kept:
            rows = self._read(sql, arguments)
            self._kept[key] = rows[0][0] if rows else otherwise()
        return self._kept[key]

    def record(self, name: str) -> Record | None:
        record: Record | None = self._one(("record", name), "select json from taxon where name = ?", (name,))
        return record

    def summary(self, name: str) -> Record | None:
        summary: Record | None = self._one(("summary", name), "select summary from taxon where name = ?", (name,))
        return summary

    def group(self, rank: str, name: str) -> Record:
        sql = "select json from pooled where rank = ? and name = ?"
        pooled: Record = self._one(("group", rank, name), sql, (rank, name), empty_pool)
        return pooled

    def named(self, folded: str) -> list[tuple[str, str]]:
        return self._rows("select accepted, kind from known_as where folded = ?", (folded,))

    def alike(self, folded: str) -> list[tuple[str, str]]:
        """(folded name, accepted name) of every scientific name with the same first word, or the same rest, as `folded`."""
        first, _, rest = folded.partition(" ")
        return self._rows(
            "select folded, accepted from known_as where kind != 'common_name' and (folded = :first or"
            " (folded > :first || ' ' and folded < :first || '!') or (:rest != '' and substr(folded, instr(folded, ' ') + 1) = :rest))",
            {"first": first, "rest": rest},
        )

    def near(self, folded: str) -> list[tuple[str, str]]:
        wanted = sorted(triples(folded))
        marks = ",".join("?" * len(wanted))
        return self._rows(
            f"select folded, accepted from known_as where folded in (select folded from triple where three in ({marks})"
            " group by folded having count(*) >= 2 order by count(*) desc limit 200)",
            wanted,
        )

    def names(self, rank: str) -> list[str]:
        return [r[0] for r in self._rows("select name from taxon where rank = ? order by name", (rank,))]

    def family_of(self, genus: str) -> str | None:
        rows = self._rows("select family from genus where name = ?", (genus,))
        return rows[0][0] if rows else None

    def clade_of(self, name: str) -> str | None:
        """The subfamily or tribe that a genus stands in, the section of a species, where that is on record."""
        rows = self._rows("select name from clade where member = ?", (name,))
        return rows[0][0] if rows else None

    def classed(self, rank: str, name: str) -> Record:
        """What the table of classes says: of a genus species → its classes, of a clade or family class → species counted."""
        sql = "select json from classed where rank = ? and name = ?"
        told: Record = self._one(("classed", rank, name), sql, (rank, name), dict)
        return told

    def of_genus(self, name: str) -> dict[str, list[str]]:
        """What the table of genera says of nearly all species of one: trait → words."""
        sql = "select json from of_genus where name = ?"
        told: dict[str, list[str]] = self._one(("of_genus", name), sql, (name,), dict)
        return told

    def genera_from(self, initial: str) -> list[str]:
        """Every genus that begins with this letter."""
        sql = "select name from genus where name >= ? and name < ? order by name"
        return [name for (name,) in self._rows(sql, (initial, chr(ord(initial) + 1)))]

    def listed(self, folded: str) -> list[str]:
        """The taxa that the tables of common names give for a name, those with most species first."""
        rows = self._read("select taxa from listed where folded = ?", (folded,))
        taxa: list[str] = rows[0][0] if rows else []
        return taxa

    def shared(self, part: str) -> Any:
        """A part whole. Names of genera and the tables' common names have tables of their own, to look up one of them."""
        if part == "genus_family":
            return dict(self._rows("select name, family from genus order by name"))
        if part == "listed":
            return dict(self._read("select folded, taxa from listed"))
        if part == "of_genera":
            return dict(self._read("select name, json from of_genus order by name"))
        if part == "classed":
            genera = self._read("select json from classed where rank = 'genus'")
            return {species: words for (genus,) in genera for species, words in genus.items()}
        return self._one(("part", part), "select json from part where name = ?", (part,))

    def to_memory(self, vocabulary: Vocabulary) -> MemoryStore:
        """Everything, as a store that can be filtered or overlaid."""
        records = dict(self._read("select name, json from taxon order by name"))
        parts = dict(self._read("select name, json from part"))
        parts |= {part: self.shared(part) for part in ("genus_family", "listed", "classed", "of_genera")}
        return MemoryStore(records, parts, vocabulary)
