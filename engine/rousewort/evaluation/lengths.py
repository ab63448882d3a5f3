"""How good planned lengths of cold are, on trials that the plan did not know; and the fit of what they rest on."""

from __future__ import annotations

import csv
import hashlib
import io
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rousewort.knowledge.chilling import TYPES, even
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.amounts import quantile
from rousewort.planning.need import EVERY, WORTH, responsible

ROUNDS = 12  # of the fit; many more, and types that trials cannot tell apart take all from one another
USUAL_LONGEST = 0.9  # share of the lengths tried in a group that are no longer than its longest
FEWEST = 4  # studies that make a group of its own


def fit(kb: KnowledgeBase) -> dict[str, dict[str, Any]]:
    """Group of plants → {"studies", "longest", "evidence": digest, "shares": one a type}: how common each type of need for
    cold is among studies of all plants, of each class, and of each level of it (`physiological/deep`).

    The likeliest shares given every study, those of the wider group counted as WORTH["class"] studies beside them.
    """
    of_group: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for name in kb.names():
        summary = kb.store.summary(name) or {}
        dormancy, level = (_word(summary, keys) for keys in ([kb.vocabulary.class_key], kb.vocabulary.level_keys[::-1]))
        for study in summary["chilled"]:
            for group in (EVERY, dormancy, f"{dormancy}/{level}" if dormancy and level else None):
                if group:
                    of_group[group].append(study)
    table: dict[str, dict[str, Any]] = {}
    for group in sorted(of_group, key=lambda name: (name != EVERY, name.count("/"), name)):
        wider = table.get(group.partition("/")[0]) or table.get(EVERY)
        studies = of_group[group]
        if wider is None or len(studies) >= FEWEST:
            longest = [study["longest"] for study in studies if study["longest"]]
            table[group] = {
                "studies": len(studies),
                "longest": round(quantile(longest, USUAL_LONGEST))
                if len(longest) >= FEWEST or not wider
                else wider["longest"],
                "evidence": digest(studies),
                "shares": _fitted(studies, wider["shares"] if wider else even()),
            }
    return table


def _word(summary: Mapping[str, Any], keys: Iterable[str]) -> str | None:
    return next((summary["traits"][key][0][0] for key in keys if key in summary["traits"]), None)


def _fitted(studies: Sequence[Mapping[str, Any]], wider: Sequence[float]) -> list[float]:
    shares = list(wider)
    for _ in range(ROUNDS):
        counts, total = [WORTH["class"] * share for share in wider], WORTH["class"]
        for study in studies:
            likely = responsible(shares, study["fits"])
            counts = [count + study["stands"] * one for count, one in zip(counts, likely, strict=True)]
            total += study["stands"]
        shares = [count / total for count in counts]
    return [round(share, 5) for share in shares]


def digest(studies: Iterable[Mapping[str, Any]]) -> str:
    """Changes whenever what the studies say does."""
    lines = sorted(f"{study.get('source')} {study['stands']} {study['longest']} {study['fits']}" for study in studies)
    return hashlib.blake2b("\n".join(lines).encode(), digest_size=6).hexdigest()


def to_csv(table: Mapping[str, Mapping[str, Any]]) -> str:
    """The table as kb/tables/chilling.csv holds it."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["group", "studies", "longest", "evidence", *(kind.word for kind in TYPES)])
    for group, row in table.items():
        shares = (f"{share:.5f}".rstrip("0").rstrip(".") for share in row["shares"])
        writer.writerow([group, row["studies"], row["longest"], row["evidence"], *shares])
    return text.getvalue()
