"""An entry as written, and spelled out: each word under `practice` a statement of its own, and what a genus shares with its species.

Everything but the checks of one file reads entries spelled out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rousewort.knowledge.vocabulary import Vocabulary

Record = dict[str, Any]
SHORT = ("practice", "shared")
ORDER = ("name", "rank", "family", "adds_to", "synonyms", "common_names", *SHORT, "traits", "lots", "protocols")


def spelled_out(written: Record, vocabulary: Vocabulary) -> Record:
    """Each bare word under `practice` and `shared` as a statement held as common practice, after those that name a work."""
    if not any(part in written for part in SHORT):
        return written
    traits = {key: list(statements) for key, statements in written.get("traits", {}).items()}
    for part in SHORT:
        tag = {"shared_by": written["name"]} if part == "shared" else {}
        for key, words in written.get(part, {}).items():
            traits.setdefault(key, []).extend({"is": word, "held": "practice", **tag} for word in as_list(words))
    record = {key: value for key, value in written.items() if key != "practice"}
    record["traits"] = {key: traits[key] for key in vocabulary.traits if key in traits}
    return record


def as_written(record: Record) -> Record:
    """A spelled-out entry in the shortest form: traits of which only bare words stand go back under `practice` or `shared`."""
    made = {key: value for key, value in record.items() if key not in (*SHORT, "traits")}
    short: dict[str, Record] = {part: {} for part in SHORT}
    traits = {}
    for key, statements in record.get("traits", {}).items():
        own = [s for s in statements if s.get("shared_by") in (None, record["name"])]
        if own and all(set(s) <= {"is", "held", "shared_by"} and s["held"] == "practice" for s in own):
            words = [s["is"] for s in own]
            part = "shared" if "shared_by" in own[0] else "practice"
            short[part][key] = words[0] if len(words) == 1 else words
        elif own:
            traits[key] = own
    made |= {part: words for part, words in (*short.items(), ("traits", traits)) if words}
    return {key: made[key] for key in ORDER if key in made}


def as_list(words: Any) -> list[str]:
    return [words] if isinstance(words, str) else list(words)


def place_of_statement(written: Mapping[str, Any], key: str, index: int) -> tuple[str | int, ...]:
    """Where the statement `index` of a trait of the spelled-out entry stands in the entry as written."""
    full = len(written.get("traits", {}).get(key, ()))
    if index < full:
        return ("traits", key, index)
    return (next(part for part in SHORT if key in written.get(part, {})), key)


def share(records: Mapping[str, Record]) -> dict[str, Record]:
    """Every species that says nothing of a trait given what its genus shares; such a statement says so (`shared_by`).

    What was shared before is taken back first, so that a layer may replace the file of a genus. Untouched records stay the same
    objects.
    """
    made = dict(records)
    for name, record in records.items():
        if record["rank"] != "species":
            continue
        traits = record.get("traits", {})
        own = {key: of for key, of in traits.items() if not any("shared_by" in s for s in of)}
        genus = name.split()[0]
        given = records.get(genus, {}).get("shared", {})
        want = own | {
            key: [{"is": word, "held": "practice", "shared_by": genus} for word in as_list(words)]
            for key, words in given.items()
            if key not in own
        }
        if want != traits:
            made[name] = {**record, "traits": want}
    return made
