"""From folders of YAML to a checked store: the slow path, run only when something changed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.errors import KnowledgeError, Problem
from rousewort.knowledge.check import Checked, check_layer
from rousewort.knowledge.files import read_layer
from rousewort.knowledge.readings import read_readings
from rousewort.knowledge.seed_weights import seed_tables
from rousewort.knowledge.spelled_out import share
from rousewort.knowledge.store import IndexStore, MemoryStore
from rousewort.knowledge.strict_yaml import Document, read
from rousewort.knowledge.tables import CLASSES, GENERA, read_tables
from rousewort.knowledge.vocabulary import FILES, Vocabulary
from rousewort.knowledge.vocabulary_check import vocabulary_problems


def read_vocabulary(layer: Path) -> Vocabulary:
    """The vocabulary of the shipped layer. Raises KnowledgeError with every problem of its files."""
    documents: dict[str, Document] = {}
    problems: list[Problem] = []
    for stem in FILES:
        path = layer / "vocabulary" / f"{stem}.yaml"
        try:
            documents[stem] = read(path.read_bytes(), str(path))
        except FileNotFoundError:
            problems.append(Problem(str(path), 0, 0, "the vocabulary file is missing", "Restore it."))
        except KnowledgeError as trouble:
            problems += [p for p in trouble.problems if isinstance(p, Problem)]
    if not problems:
        kinds = [path.stem for path in (layer / "treatments").glob("*.yaml")]
        problems += vocabulary_problems(documents, kinds)
    if problems:
        raise KnowledgeError(*problems)
    return Vocabulary({stem: document.data for stem, document in documents.items()})


class Laid(NamedTuple):
    """Every problem found (files with problems are left out of the stores); of each layer, from the bottom up, its files
    and the store that it makes with all beneath it."""

    stores: list[MemoryStore]
    problems: list[Problem]
    documents: list[dict[str, Document]]

    @property
    def store(self) -> MemoryStore:
        """All layers as one."""
        return self.stores[-1]


def build(layers: Sequence[Path], base_index: Path | None = None) -> MemoryStore:
    """Read, check and lay the layers over one another; `base_index` stands under them in an installed wheel.

    Raises KnowledgeError with every problem of every file.
    """
    laid = lay(layers, base_index)
    if laid.problems:
        raise KnowledgeError(*laid.problems)
    return laid.store


def lay(layers: Sequence[Path], base_index: Path | None = None, progress: Callable[[int], None] | None = None) -> Laid:
    """As `build`, but hands over what is sound beside the problems. `progress` is told how many files are read."""
    layers = list(layers)
    if base_index:
        bottom = IndexStore(base_index)
        vocabulary = Vocabulary(bottom.shared("vocabulary"), bottom.shared("treatments"))
        store = bottom.to_memory(vocabulary)
        records, shared = store.records, store._shared
    else:
        vocabulary = read_vocabulary(layers[0])
        records, shared = {}, {"vocabulary": vocabulary.files, "rules": [], "treatments": {}, "sources": {}}
        shared |= {"families": {}, "genus_family": {}, "listed": {}, "calibration": {}, "chilling": {}}
        shared |= {"clades": {}, "classed": {}, "classed_from": [], "seed_tables": {}, "readings": []}
        shared |= {"of_genera": {}, "of_genera_from": []}
    problems: list[Problem] = []
    every: list[dict[str, Document]] = []
    stores: list[MemoryStore] = []
    for layer in layers:
        documents, unreadable = read_layer(layer, progress)
        problems += unreadable
        problems += _other_words(documents, vocabulary)
        checked = check_layer(documents, vocabulary, known=shared, names=set(records))
        problems += checked.problems
        every.append(documents)
        tables = read_tables(layer)
        problems += tables.problems
        seeds, wrong = seed_tables(layer)
        problems += wrong
        shared["seed_tables"] = {**shared["seed_tables"], **seeds}
        shared["genus_family"] = {**shared["genus_family"], **tables.genus_family}
        shared["listed"] = {**shared["listed"], **tables.listed}
        if tables.classed:
            shared["classed"] = {**shared["classed"], **_in_words(tables.classed, vocabulary)}
            shared["classed_from"] = _cited(documents, CLASSES)
        shared["chilling"] = {**shared["chilling"], **tables.chilling}
        if tables.of_genera:
            problems += _no_words(layer, tables.of_genera, vocabulary)
            shared["of_genera"] = {**shared["of_genera"], **tables.of_genera}
            shared["of_genera_from"] = _cited(documents, GENERA)
        _lay_over(records, shared, checked)
        readings, wrong = read_readings(layer, records)
        problems += wrong
        shared["readings"] = [*shared["readings"], *readings]
        stores.append(_store(share(records), shared, vocabulary))
    return Laid(stores or [_store(records, shared, vocabulary)], sorted(set(problems)), every)


def _in_words(classed: Mapping[str, Sequence[str]], vocabulary: Vocabulary) -> dict[str, list[str]]:
    """Species → its classes in the words of the vocabulary; one that it has no word for is left out."""
    words = {entry["short"]: word for word, entry in vocabulary.classes.items()}
    return {species: [words[short] for short in shorts if short in words] for species, shorts in classed.items()}


def _no_words(
    layer: Path, of_genera: Mapping[str, Mapping[str, Sequence[str]]], vocabulary: Vocabulary
) -> Iterator[Problem]:
    """Each word in the table of genera that its trait does not have, once."""
    found = {
        (trait, word): genus for genus, told in of_genera.items() for trait, words in told.items() for word in words
    }
    for (trait, word), genus in sorted(found.items()):
        allowed = vocabulary.traits.get(trait, {}).get("values", {})
        if word not in allowed:
            yield Problem(
                str(layer / "tables" / f"{GENERA}.csv"),
                0,
                0,
                f"of {genus} it says {trait}: {word}, which is no word of the vocabulary",
                f"Write one of {', '.join(allowed)}." if allowed else "Name each column by a trait of traits.yaml.",
            )


def _cited(documents: Mapping[str, Document], stem: str) -> list[str]:
    """The works that a table is from, by its description."""
    told = documents.get(f"tables/{stem}.yaml")
    source = told.data["source"] if told else []
    return [source] if isinstance(source, str) else list(source)


def _store(records: dict[str, Any], shared: dict[str, Any], vocabulary: Vocabulary) -> MemoryStore:
    """What is laid so far, as a store that a further layer does not change."""
    named = {**shared, "genus_family": dict(shared["genus_family"]), "families": dict(shared["families"])}
    for record in records.values():
        if record["rank"] != "family":
            named["genus_family"].setdefault(record["name"].split()[0], record["family"])
            named["families"].setdefault(record["family"], {})
    return MemoryStore(dict(records), named, Vocabulary(vocabulary.files, shared["treatments"]))


def _other_words(documents: dict[str, Document], vocabulary: Vocabulary) -> Iterator[Problem]:
    """Words are those of the shipped knowledge base: what a layer says of them would be read by nobody."""
    for path, document in documents.items():
        folder, _, name = path.partition("/")
        if folder == "vocabulary" and document.data != vocabulary.files.get(Path(name).stem):
            yield document.problem(
                (),
                "the words of a private layer are not read: they are those of the shipped vocabulary",
                "Remove the file. A new word goes into the shipped vocabulary/, where every tool learns it.",
            )


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
    for part in ("sources", "families", "genus_family", "clades", "calibration"):
        shared[part] = {**shared[part], **getattr(checked, part)}
