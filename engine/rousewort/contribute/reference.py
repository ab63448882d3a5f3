"""What one file is checked against, without reading all others: a kept index, and what has changed since.

The index is made from everything that is sound, so that one broken entry does not keep another from being checked.
It lives in the user's cache. Changed entries are read beside it; where anything else changed, it is made anew.
"""

from __future__ import annotations

import json
import os
import sqlite3
import zlib
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.atomic_write import read_whole
from rousewort.base.errors import KnowledgeError
from rousewort.contribute.layout import Layers
from rousewort.knowledge.build import lay
from rousewort.knowledge.files import TAXON_FOLDERS
from rousewort.knowledge.knowledge_base import A_DAY_S, KnowledgeBase, cache_folder
from rousewort.knowledge.store import IndexStore, MemoryStore, forget, is_whole, write_index
from rousewort.knowledge.strict_yaml import read
from rousewort.knowledge.vocabulary import Vocabulary

MOST_CHANGED = 100  # beyond this, reading the changed entries each time costs more than a new index
KEPT = 4

# path in full → [size, time of change, accepted name where it is a sound entry]
Listing = dict[str, list[Any]]


def sound_part(layers: Layers) -> KnowledgeBase:
    """The layers without what is broken in them: enough to begin an entry or add a work while others are unfinished."""
    found = reference(layers, [])
    if not found.hidden and not found.beside:
        return KnowledgeBase(found.store)
    # The kept index is behind: a check of one file can allow for that, a whole knowledge base cannot.
    return KnowledgeBase(_make(layers, _listing(layers), _index_of(layers))[0])


class Reference(NamedTuple):
    """Everything but the files being checked: an index, the names that it holds in an older form, and their new form."""

    store: IndexStore | MemoryStore
    vocabulary: Vocabulary
    hidden: frozenset[str]
    beside: list[dict[str, Any]]
    files: dict[str, str]

    def taken(self, checking: set[str]) -> dict[str, str]:
        """Accepted name → its file, of every entry that is not among the files being checked."""
        return {name: path for path, name in self.files.items() if path not in checking}


def reference(layers: Layers, checking: list[Path]) -> Reference:
    """The reference for some files. Raises KnowledgeError only where the vocabulary itself is broken."""
    now = _listing(layers)
    path = _index_of(layers)
    kept = _open(layers, path)
    if kept is not None:
        store, then = kept
        changed = [p for p in {*now, *then} if now.get(p) != then.get(p, [None])[:2]]
        if len(changed) <= MOST_CHANGED and all(_is_entry(p, layers.folders) for p in changed):
            return _beside(store, then, now, changed, {str(p.resolve()) for p in checking})
    return _beside(*_make(layers, now, path), now, [], set())


def _index_of(layers: Layers) -> Path:
    return cache_folder() / "check" / f"{_digest(layers)}.sqlite"


def _beside(store: Any, then: Listing, now: Listing, changed: list[str], checking: set[str]) -> Reference:
    hidden = {then[p][2] for p in (*changed, *(checking & set(then))) if p in then and then[p][2]}
    files = {p: row[2] for p, row in then.items() if row[2] and p not in changed}
    beside = []
    for path in changed:
        if path in now and path not in checking:
            try:
                data = read(read_whole(path), path).data
            except (KnowledgeError, OSError):
                continue  # it is broken, and told so when it is itself checked
            if isinstance(data, dict) and isinstance(data.get("name"), str) and isinstance(data.get("rank"), str):
                beside.append(data)
                files[path] = data["name"]
    return Reference(
        store, Vocabulary(store.shared("vocabulary"), store.shared("treatments")), frozenset(hidden), beside, files
    )


def _is_entry(path: str, folders: tuple[Path, ...]) -> bool:
    return any(Path(path).is_relative_to(folder.resolve() / top) for folder in folders for top in TAXON_FOLDERS)


def _listing(layers: Layers) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    if layers.base_index:
        status = layers.base_index.stat()
        found[str(layers.base_index)] = [status.st_size, status.st_mtime_ns]
    for layer in layers.folders:
        stack = [str(layer.resolve())]
        while stack:
            with os.scandir(stack.pop()) as entries:
                for entry in entries:
                    name = entry.name
                    if name.startswith(".") or name == "schema":
                        continue  # nobody's entries; the schemas are written from the vocabulary
                    if name.endswith((".yaml", ".yml")):
                        status = entry.stat()
                        found[entry.path] = [status.st_size, status.st_mtime_ns]
                    elif entry.is_dir(follow_symlinks=False):
                        stack.append(entry.path)
    return found


def _digest(layers: Layers) -> str:
    parts = [str(folder.resolve()) for folder in layers.folders]
    if layers.base_index:
        parts.append(str(layers.base_index))
    text = "\n".join(parts).encode()
    # Only a name: the listing inside tells what it was made from. (hashlib would take 3 ms to import.)
    return f"{zlib.crc32(text):08x}{zlib.adler32(text):08x}"


def _open(layers: Layers, path: Path) -> tuple[IndexStore, Listing] | None:
    if not path.exists():
        return None
    try:
        if not is_whole(path, A_DAY_S):
            raise ValueError("damaged")
        store = IndexStore(path, heal=lambda: _make(layers, _listing(layers), path))
        return store, json.loads(store.shared("stamp"))
    except Exception:  # a damaged or older index is only a cache
        forget(path)
        return None


def _make(layers: Layers, now: dict[str, list[int]], path: Path) -> tuple[IndexStore | MemoryStore, Listing]:
    laid = lay(layers.folders, layers.base_index)
    names = {
        str((folder / place).resolve()): document.data["name"]
        for folder, documents in zip(layers.folders, laid.documents, strict=True)
        for place, document in documents.items()
        if place.split("/")[0] in TAXON_FOLDERS
        and isinstance(document.data, dict)
        and document.data.get("name") in laid.store.records
    }
    listing = {p: [*stat, names.get(p)] for p, stat in now.items()}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for old in sorted(path.parent.glob("*.sqlite"), key=lambda p: p.stat().st_mtime, reverse=True)[KEPT:]:
            forget(old)
        write_index(laid.store, path, json.dumps(listing))
    except (OSError, sqlite3.Error):  # a full or read-only disk costs only the wait
        return laid.store, listing
    return IndexStore(path), listing
