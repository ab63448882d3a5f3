"""Where an entry and a published table of kb/tables disagree: how heavy the seed is, whether it needs cold, its dormancy class."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rousewort.knowledge.protocols import treatments
from rousewort.knowledge.seed_counts import is_off
from rousewort.knowledge.seed_weights import CHARACTERISTICS, TESTS
from rousewort.knowledge.spelled_out import place_of_statement
from rousewort.knowledge.store import Store, genus_of
from rousewort.knowledge.strict_yaml import Path
from rousewort.knowledge.summary import Record, decide, firm, speaks_of, summarise
from rousewort.knowledge.vocabulary import Vocabulary

TIMES_APART = 3.0  # between two counts of one plant's seed: lots differ less

# What a reader should know of a doubt: where it stands in the entry as written, what disagrees, why that matters.
Said = tuple[Path, str, str]


def against_tables(written: Record, record: Record, store: Store, vocabulary: Vocabulary) -> Iterator[Said]:
    """Each disagreement of one species' entry with the tables."""
    if "adds_to" in record or record.get("rank") != "species":
        return
    tables = store.shared("seed_tables")
    names = [record["name"], *record.get("synonyms", ())]
    count = next((tables["counts"][name] for name in names if name in tables.get("counts", {})), None)
    if count:
        yield from _weights(written, record, vocabulary, count)
    said = _cold_by_tables(tables, names)
    if said:
        yield from _cold(record, vocabulary, said)


def _cold_by_tables(tables: Mapping[str, Any], names: Sequence[str]) -> str | None:
    """What the tables say for cold. A yes of the one counts; its no, the default where nobody knew, says nothing. A row of the other
    shows what was done, not what was needed: it speaks only where no lot came well without."""
    if any(name in tables.get("cold_yes", ()) for name in names):
        return f"the table {CHARACTERISTICS} says that it needs cold"
    days = next((tables["chilled"][name] for name in names if name in tables.get("chilled", {})), None)
    return f"every lot that came well in the table {TESTS} had {days:g} days of cold or more" if days else None


def class_against_table(
    written: Record, record: Record, store: Store, vocabulary: Vocabulary
) -> Iterator[tuple[bool, Said]]:
    """Where no class that the entry states is among those that the table of classes gives; the flag says whether a work states the
    entry's, or somebody inferred it. A species of several classes agrees by any: lots differ."""
    key, names = vocabulary.class_key, [record["name"], *record.get("synonyms", ())]
    statements = record.get("traits", {}).get(key, ())
    rows = (store.classed("genus", genus_of(name)).get(name) for name in names)
    given = next((words for words in rows if words), None)
    if not given or not statements or record.get("rank") != "species":
        return
    stated = [s["is"] for s in statements if firm(s)]
    said = stated or [decide(statements)[0]]
    if not set(said) & set(given):
        place = next(i for i, s in enumerate(statements) if s["is"] == said[0])
        what = f"{key}: {said[0]}, but {' or '.join(given)} in the table of classes"
        why = "The class decides what is done to the seed; one of the two is wrong, or speaks of another lot."
        yield bool(stated), (place_of_statement(written, key, place), what, why)


def _weights(written: Record, record: Record, vocabulary: Vocabulary, count: Sequence[Any]) -> Iterator[Said]:
    low, use, high, table = count
    why = "Grams are reckoned from it: a slip of ten times buys ten times too much or too little."
    for i, statement in enumerate(record.get("traits", {}).get(vocabulary.count_key, ())):
        if statement["low"] > TIMES_APART * high or statement["high"] < low / TIMES_APART:
            what = f"{statement['low']:g}–{statement['high']:g} seeds a gram, but {use:g} in the table {table}"
            yield place_of_statement(written, vocabulary.count_key, i), what, why
    for i, statement in enumerate(record.get("traits", {}).get(vocabulary.size_key, ())):
        if firm(statement) and is_off(vocabulary, statement["is"], use):
            what = f"{vocabulary.size_key}: {statement['is']}, but {use:g} seeds a gram in the table {table}"
            yield place_of_statement(written, vocabulary.size_key, i), what, why


def _cold(record: Record, vocabulary: Vocabulary, said: str) -> Iterator[Said]:
    """Where the entry's reports call cold unneeded, useless or harmful against what the tables say."""
    key = next(
        key for key, of in vocabulary.responses.items() if set(vocabulary.kinds.indoors("cold")) & set(of["kinds"])
    )
    word = next(iter(summarise(record, vocabulary)["answers"].get(key, ())), None)
    if word is None or word in ("needed", "helps", "mixed"):
        return
    for i, protocol in enumerate(record.get("protocols", ())):
        for treatment in treatments(protocol, vocabulary):
            vote = vocabulary.found[treatment["found"]]["vote"]
            if vote and speaks_of(vocabulary.responses[key], treatment["kind"], vote):
                what = f"{treatment['kind']}: {vocabulary.found[treatment['found']]['label']}, but {said}"
                yield (
                    ("protocols", i, "phases", treatment["phase"]),
                    what,
                    "Seed left unchilled that needed it loses a year.",
                )
                return
