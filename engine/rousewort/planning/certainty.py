"""What a plan says of the relatives that it rests on: which, and how they differ."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.facts import Facts

NAMED = 5  # relatives named for each class; the rest are counted
SHOWN_CHANCE = 0.05


def relatives_of(kb: KnowledgeBase, facts: Facts) -> dict[str, Any] | None:
    """The relatives behind a dormancy class that neither the species nor the bench gives; None where one does.

    Shape: {"rank", "name", "classes": [{"class", "words", "chance", "rank", "stated", "count", "species"}], "differ",
    "serving"}. `chance` is the class's, smoothed; `count` counts species of the nearest group that has any of it;
    `serving` is the class whose treatment serves most of them.
    """
    found = facts.relatives
    if found is None or found.nearest is None:
        return None
    classes = []
    for word, chance in found.chances.items():
        group = found.group_for(word)
        species = sorted(group.species.get(word, ())) if group else []
        if chance < SHOWN_CHANCE and not species:
            continue
        entry = kb.vocabulary.classes[word]
        classes.append(
            {
                "class": entry["short"],
                "words": entry["label"],
                "chance": round(chance, 2),
                "rank": group.rank if group else None,
                "stated": bool(group and word in group.stated),
                "count": len(species),
                "species": species[:NAMED],
            }
        )
    nearest = found.nearest
    differ = bool(found.others(found.serving))
    serving = kb.vocabulary.classes[found.serving]["short"]
    return {"rank": nearest.rank, "name": nearest.name, "classes": classes, "differ": differ, "serving": serving}


def differ_text(block: Mapping[str, Any]) -> str:
    """In one sentence, how the relatives differ; empty where they do not."""
    if not block["differ"]:
        return ""
    parts = []
    for item in block["classes"]:
        if item["chance"] >= 0.1:
            some = f" ({', '.join(item['species'][:2])})" if item["species"] else ""
            parts.append(f"{item['words']} {round(item['chance'] * 100)} %{some}")
    likeliest = block["classes"][0]
    serves = next((i["words"] for i in block["classes"] if i["class"] == block["serving"]), "")
    both = f". Treated as {serves}, which serves both" if block["serving"] != likeliest["class"] else ""
    return f"Its relatives differ: {'; '.join(parts)}{both}"
