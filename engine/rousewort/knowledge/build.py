"""From folders of YAML to a checked store: the slow path, run only when something changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.errors import KnowledgeTrouble, Problem
from rousewort.knowledge.check import Checked, check_layer
from rousewort.knowledge.files import read_layer
from rousewort.knowledge.spelled_out import share
from rousewort.knowledge.store import IndexStore, MemoryStore
from rousewort.knowledge.strict_yaml import Document, read
from rousewort.knowledge.vocabulary import FILES, Vocabulary


def read_vocabulary(layer: Path) -> Vocabulary:
    """The vocabulary of the shipped layer."""
    files, problems = {}, []
    for stem in FILES:
        path = layer / "vocabulary" / f"{stem}.yaml"
        try:
            files[stem] = read(path.read_bytes(), str(path)).data
        except FileNotFoundError:
            problems.append(Problem(str(path), 0, 0, "the vocabulary file is missing", "Restore it."))
        except KnowledgeTrouble as trouble:
            problems += trouble.problems
    if problems:
        raise KnowledgeTrouble(*problems)
    return Vocabulary(files)


class Laid(NamedTuple):
    """The layers as one store, every problem found (files with problems are left out of it), and each layer's files."""

    store: MemoryStore
    problems: list[Problem]
    documents: list[dict[str, Document]]


def build(layers: Sequence[Path], base_index: Path | None = None) -> MemoryStore:
    """Read, check and lay the layers over one another; `base_index` stands under them in an installed wheel.

    Raises KnowledgeTrouble with every problem of every file.
    """
    laid = lay(layers, base_index)
    if laid.problems:
        raise KnowledgeTrouble(*laid.problems)
    return laid.store


def lay(layers: Sequence[Path], base_index: Path | None = None, progress: Callable[[int], None] | None = None) -> Laid:
    """As `build`, but hands over what is sound beside the problems. `progress` is told how many files are read."""
    layers = list(layers)
    if base_index:
        bottom = IndexStore(base_index)
        vocabulary = Vocabulary(bottom.shared("vocabulary"))
        store = bottom.to_memory(vocabulary)
        records, shared = store.records, store._shared
    else:
        vocabulary = read_vocabulary(layers[0])
        records, shared = {}, {"vocabulary": vocabulary.files, "rules": [], "treatments": {}, "sources": {}}
        shared |= {"families": {}, "genus_family": {}, "calibration": {}}
    problems: list[Problem] = []
    every: list[dict[str, Document]] = []
    for layer in layers:
        documents, unreadable = read_layer(layer, progress)
        problems += unreadable
        checked = check_layer(documents, vocabulary, known=shared, names=set(records))
        problems += checked.problems
        every.append(documents)
        _lay_over(records, shared, checked)
    records = share(records)
    for record in records.values():
        if record["rank"] != "family":
            shared["genus_family"].setdefault(record["name"].split()[0], record["family"])
            shared["families"].setdefault(record["family"], {})
    return Laid(MemoryStore(records, shared, vocabulary), sorted(set(problems)), every)


def with_added(under: dict[str, Any], adds: dict[str, Any]) -> dict[str, Any]:
    """An entry with the protocols of a file that adds to it."""
    return {**under, "protocols": [*under.get("protocols", ()), *adds.get("protocols", ())]}


def _lay_over(records: dict[str, Any], shared: dict[str, Any], checked: Checked) -> None:
    for record in checked.taxa:
        if "adds_to" in record:
            under = records.get(record["adds_to"])
            if under:
                records[under["name"]] = with_added(under, record)
        else:
            records[record["name"]] = record
    replaced = {rule["id"] for rule in checked.rules}
    shared["rules"] = [r for r in shared["rules"] if r["id"] not in replaced] + checked.rules
    shared["rules"].sort(key=lambda rule: rule["id"])
    shared["treatments"] = {**shared["treatments"], **checked.treatments}
    for part in ("sources", "families", "genus_family", "calibration"):
        shared[part] = {**shared[part], **getattr(checked, part)}
