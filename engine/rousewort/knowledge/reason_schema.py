"""The schema of a plan's reasons: what is behind each, by role, and the works."""

from __future__ import annotations

from rousewort.knowledge.schema_parts import Schema, closed, text, words

_STRINGS: Schema = {"type": "array", "items": {"type": "string"}}
_ROLES: dict[str, str] = {
    "this plant": "Of the plant itself.",
    "relative": "Of a relative, or of its genus or family as a whole.",
    "general": "Of seed in general.",
}
_KINDS: dict[str, str] = {
    "experiment": "Seed was treated and counted.",
    "advice": "A handbook advises it.",
    "standard": "A standard prescribes it.",
    "table": "A row of a published table.",
    "practice": "What is usually done.",
    "statement": "A work states it.",
    "observation": "Seen at the bench.",
}


def _or_null(description: str) -> Schema:
    return {"type": ["string", "null"], "minLength": 1, "description": description}


def reason() -> Schema:
    """One reason of a step."""
    evidence = closed(
        {
            "role": words(dict(_ROLES), "On whom it speaks."),
            "name": _or_null("Plant, genus or family whose entry it is from; null in general."),
            "source": _or_null("A work by its id; null for common practice and for the bench."),
            "held": _or_null("How it is held; null for what was observed at the bench."),
            "kind": words(dict(_KINDS), "What kind of evidence."),
            "says": text("What it says, in words."),
        },
        ["role", "name", "source", "held", "kind", "says"],
        "One record behind a reason.",
    )
    return {
        "type": "object",
        "description": "A reason.",
        "required": ["text"],
        "properties": {
            "text": text("In words."),
            "rule": text("The rule that says so."),
            "facts": {**_STRINGS, "description": "What it fired on."},
            "sources": {**_STRINGS, "description": "The works among `evidence`, nearest first."},
            "evidence": {"type": "array", "description": "What is behind it, nearest role first.", "items": evidence},
        },
    }


def work() -> Schema:
    """One work that a plan rests on."""
    return {
        "type": "object",
        "description": "A work that the plan rests on.",
        "required": ["id", "citation", "held", "role"],
        "properties": {
            "id": text("Its id in sources.yaml."),
            "citation": text("How to cite it."),
            "held": text("How the facts taken from it are held."),
            "role": words(dict(_ROLES), "The nearest on whom it speaks here."),
            "about": {**_STRINGS, "description": "Plants, genera and families whose entries it stands in here."},
        },
    }
