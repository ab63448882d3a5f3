"""How often what was read in a work is found so by a second reader who had not seen the entry."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import treatments
from rousewort.knowledge.readings import VERDICTS
from rousewort.observe.measures import wilson

FOUND = VERDICTS[:3]  # the verdicts on what could be read again
# What a reader is asked; the entry's own words are kept from the sheet.
QUESTIONS = {
    "treatments": "What was done to the seed of this plant before sowing, in order?",
    "length": "For how long, each treatment by itself? Both ends of a range.",
    "temperature": "At what temperature, of the treatments and of sowing? A pair, a range or a limit as printed.",
    "outcome": "What came of it, and of what was left untreated? What does the work call needed, helpful or useless?",
}


class Drawn(NamedTuple):
    """One row of a blind sheet. `protocol`: its place in the entry from 1, since its id may tell what was done."""

    taxon: str
    protocol: int
    work: str
    where: str
    field: str
    question: str


def sample(kb: KnowledgeBase, count: int, seed: int) -> list[Drawn]:
    """`count` protocols drawn at random of those held as read that vote or give a length and were not read again yet, with
    every question of each. The same seed draws the same from the same entries."""
    again = {(row["taxon"], row["protocol"]) for row in kb.store.shared("readings")}
    able = [
        (name, place, protocol)
        for name in sorted(kb.names())
        for place, protocol in enumerate((kb.taxon(name) or {}).get("protocols", ()), 1)
        if protocol["held"] == "read" and (name, protocol["id"]) not in again and _decides(kb, protocol)
    ]
    drawn = random.Random(seed).sample(able, min(count, len(able)))
    return [
        Drawn(name, place, kb.sources[p["source"]]["citation"], p.get("where", ""), field, question)
        for name, place, p in drawn
        for field, question in QUESTIONS.items()
    ]


def _decides(kb: KnowledgeBase, protocol: Mapping[str, Any]) -> bool:
    found = kb.vocabulary.found
    told = [found[t["found"]] for t in treatments(protocol, kb.vocabulary)]
    return any(word["vote"] or word["rank"] for word in told)


def rates(rows: Iterable[Mapping[str, str]]) -> dict[str, Any]:
    """{"protocols", "found", "verdicts": {verdict: share}, "fields": {field: {verdict: share}}}; a share is {"count", "of", "low",
    "high"}, its interval Wilson's at 95 %. A protocol has the worst verdict of its fields; what could not be had again counts in no
    share."""
    listed = list(rows)
    worst: dict[tuple[str, str], str] = {}
    for row in listed:
        key = row["taxon"], row["protocol"]
        worst[key] = max(worst.get(key, VERDICTS[0]), row["verdict"], key=VERDICTS.index)
    fields = list(dict.fromkeys(row["field"] for row in listed))
    return {
        "protocols": len(worst),
        "found": sum(verdict in FOUND for verdict in worst.values()),
        "verdicts": _shares(list(worst.values())),
        "fields": {field: _shares([row["verdict"] for row in listed if row["field"] == field]) for field in fields},
    }


def _shares(verdicts: list[str]) -> dict[str, dict[str, float]]:
    of = sum(verdict in FOUND for verdict in verdicts)
    made = {}
    for verdict in FOUND if of else ():
        interval = wilson(verdicts.count(verdict), of)
        made[verdict] = {
            "count": verdicts.count(verdict),
            "of": of,
            "low": round(interval.low, 3),
            "high": round(interval.high, 3),
        }
    return made
