"""What a private layer replaces and adds, beside what lies beneath it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.errors import KnowledgeError
from rousewort.contribute.layout import Layers
from rousewort.knowledge.build import lay
from rousewort.knowledge.check import kind_of


class Part(NamedTuple):
    """One file (or work) of a layer. `does`: adds, replaces, adds protocols, same; `note`: how it differs."""

    kind: str
    name: str
    does: str
    note: str
    file: str


def report(layers: Layers, layer: Path) -> list[Part]:
    """Every part of `layer`, which is the top one of `layers`. Raises KnowledgeError where it is not sound."""
    place = next(i for i, folder in enumerate(layers.folders) if folder.resolve() == layer.resolve())
    whole = lay(layers.folders, layers.base_index)
    if whole.problems:
        raise KnowledgeError(*whole.problems)
    beneath = lay(layers.folders[:place], layers.base_index).store
    shared: dict[str, Mapping[str, Any]] = {
        "rule": {r["id"]: r for r in beneath.shared("rules")},
        "treatment": beneath.shared("treatments"),
        "source": beneath.shared("sources"),
    }
    parts = []
    for path, document in whole.documents[place].items():
        kind = kind_of(path)
        if kind == "taxon":
            parts.append(_taxon(path, document.data, whole.store.records, beneath.records))
        elif kind == "sources":
            parts += [_part("source", name, work, shared["source"], path) for name, work in document.data.items()]
        elif kind in ("rule", "treatment"):
            name = document.data["id" if kind == "rule" else "kind"]
            parts.append(_part(kind, name, document.data, shared[kind], path))
    return sorted(parts)


def _part(kind: str, name: str, data: Any, beneath: Mapping[str, Any], path: str) -> Part:
    if name not in beneath:
        return Part(kind, name, "adds", "", path)
    if beneath[name] == data:
        return Part(kind, name, "same", "the same as beneath: it may be left out, and then follows ours", path)
    changed = [key for key in dict.fromkeys([*beneath[name], *data]) if beneath[name].get(key) != data.get(key)]
    return Part(kind, name, "replaces", "other " + ", ".join(changed), path)


def _taxon(path: str, written: Mapping[str, Any], over: Mapping[str, Any], beneath: Mapping[str, Any]) -> Part:
    """`over`, `beneath`: entries spelled out, with this layer and without it."""
    record = written
    if "adds_to" in record:
        count = len(record.get("protocols", ()))
        return Part(beneath[record["adds_to"]]["rank"], record["adds_to"], "adds protocols", f"{count} protocols", path)
    record, under = over[record["name"]], beneath.get(record["name"])
    if under is None or under == record:
        return _part(record["rank"], record["name"], record, beneath, path)
    return Part(
        record["rank"], record["name"], "replaces", "; ".join(_differences(under, record)) or "other order only", path
    )


def _differences(under: Mapping[str, Any], over: Mapping[str, Any]) -> Iterator[str]:
    """Traits that are lost, new or otherwise; then how many protocols; then the other keys."""
    old, new = under.get("traits", {}), over.get("traits", {})
    for label, keys in (
        ("no longer", [k for k in old if k not in new]),
        ("new", [k for k in new if k not in old]),
        ("other", [k for k in new if k in old and old[k] != new[k]]),
    ):
        if keys:
            yield f"{label} {', '.join(keys)}"
    if under.get("protocols", []) != over.get("protocols", []):
        yield f"{len(over.get('protocols', ()))} protocols instead of {len(under.get('protocols', ()))}"
    rest = [
        k for k in dict.fromkeys([*under, *over]) if k not in ("traits", "protocols") and under.get(k) != over.get(k)
    ]
    if rest:
        yield f"other {', '.join(rest)}"
