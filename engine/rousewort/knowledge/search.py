"""Finding plants by what is known of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.names import fold


def search(
    kb: KnowledgeBase,
    *,
    words: Sequence[str] = (),
    family: str | None = None,
    genus: str | None = None,
    dormancy: str | None = None,
    level: str | None = None,
    treatment: str | None = None,
    traits: Iterable[tuple[str, str]] = (),
) -> list[dict[str, Any]]:
    """Species for which every given condition holds, sorted by name. Raises UserError for words that are not known."""
    wanted = [(key, word.replace("-", "_")) for key, word in traits]
    classes = kb.vocabulary.classes
    if dormancy:
        word = next((w for w, e in classes.items() if dormancy.lower() in (w, e["short"].lower())), dormancy)
        wanted.append((kb.vocabulary.class_key, word))
    problems = [
        f"'{word}' is no word for {key}. Known: {', '.join(kb.vocabulary.given.get(key, {})) or 'no such trait'}."
        for key, word in wanted
        if word not in kb.vocabulary.given.get(key, {})
    ]
    levels = set(kb.vocabulary.levels)
    if level and level.replace("-", "_") not in levels:
        problems.append(f"'{level}' is no level. Known: {', '.join(sorted(levels))}.")
    if treatment and treatment.replace("-", "_") not in {*kb.treatments, *kb.vocabulary.files["report_kinds"]}:
        problems.append(f"'{treatment}' is no treatment. Known: {', '.join(sorted(kb.treatments))}.")
    if problems:
        raise UserError(*problems)
    found = []
    for name in kb.names("species"):
        record, summary = kb.taxon(name) or {}, kb.store.summary(name) or {}
        if (family and fold(record["family"]) != fold(family)) or (genus and fold(name.split()[0]) != fold(genus)):
            continue
        if words and not _named(record, words):
            continue
        has = {key: {entry[0] for entry in entries} for key, entries in summary["traits"].items()}
        has |= {key: {entry[0]} for key, entry in summary["answers"].items()}
        if not all(word in has.get(key, ()) for key, word in wanted):
            continue
        if level and not any(level.replace("-", "_") in has.get(k, ()) for k in kb.vocabulary.level_keys):
            continue
        if treatment and not any(
            phase["kind"] == treatment.replace("-", "_")
            for p in record.get("protocols", ())
            for phase in p.get("phases", ())
        ):
            continue
        word = next(iter(has.get(kb.vocabulary.class_key, ())), None)
        found.append(
            {
                "name": name,
                "family": record["family"],
                "class": classes[word]["short"] if word else None,
                "common_names": record.get("common_names", []),
                "protocols": len(record.get("protocols", ())),
            }
        )
    return sorted(found, key=lambda item: item["name"])


def _named(record: dict[str, Any], words: Sequence[str]) -> bool:
    names = " ".join(fold(n) for n in (record["name"], *record.get("synonyms", ()), *record.get("common_names", ())))
    return all(fold(word) in names for word in words)
