"""The pieces that schemas are made of: each says what it is for, so that an editor can explain it."""

from __future__ import annotations

from typing import Any

from rousewort.knowledge.vocabulary import Vocabulary

Schema = dict[str, Any]

# Genus and epithets, hybrids (×) and ranks below species; author and cultivar stand elsewhere. The code of names allows
# a hyphen and the diaeresis, and no other accents.
_WORD = "[a-zëïöü]+(-[a-zëïöü]+)*"
SCIENTIFIC_NAME = f"^(× )?[A-Z]{_WORD}( (×|subsp\\.|var\\.|f\\.|sect\\.|subg\\.|{_WORD}))*$"
FAMILY_NAME = "^[A-Z][a-z]+aceae$"
# Any script, but nothing that a page or a terminal takes for markup, and nothing that cannot be seen.
_NO_MARKUP = r"\u0000-\u001f\u007f-\u009f\u200b\u2028-\u202e\u2066-\u2069\ufeff<>{}\[\]|\\`*_#&"
COMMON_NAME = f"^[^{_NO_MARKUP} ]([^{_NO_MARKUP}]*[^{_NO_MARKUP} ])?$"


def text(description: str, pattern: str = "") -> Schema:
    return {"type": "string", "minLength": 1, **({"pattern": pattern} if pattern else {}), "description": description}


def words(entries: dict[str, Any] | list[str], description: str) -> Schema:
    """One of a list of words, each with its meaning, so that an editor can explain it."""
    options: list[Schema] = []
    for word in entries:
        entry = entries[word] if isinstance(entries, dict) else {}
        means = entry if isinstance(entry, str) else entry.get("means")
        options.append({"const": word, **({"description": means} if means else {})})
    return {"description": description, "oneOf": options}


def closed(properties: dict[str, Schema], required: list[str], description: str) -> Schema:
    return {
        "type": "object",
        "description": description,
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }


def many(items: Schema, description: str, least: int = 1) -> Schema:
    return {"type": "array", "items": items, "minItems": least, "description": description}


def mapped(values: Schema, description: str) -> Schema:
    return {"type": "object", "description": description, "additionalProperties": values}


def span(description: str, top: float, whole: bool = False, use: bool = False) -> Schema:
    """A range; an open end is null. That low ≤ high is checked in Python: JSON Schema cannot say it."""
    one = {"type": ["integer" if whole else "number", "null"], "minimum": -90, "maximum": top}
    ends = {"low": {**one, "description": "Lower end."}, "high": {**one, "description": "Upper end."}}
    if use:
        ends["use"] = {
            "type": ["number", "object", "null"],
            "description": "The value to use; {day, night} for a temperature.",
        }
    return closed(ends, ["low", "high"], description)


SOURCE = text("The id of a work in sources.yaml.")


def held(vocabulary: Vocabulary) -> Schema:
    return words(vocabulary.files["held"], "How the fact is held.")


def provenance(vocabulary: Vocabulary) -> dict[str, Schema]:
    return {
        "source": SOURCE,
        "held": held(vocabulary),
        "where": text("Place in the work: page, table, abstract."),
        "low_standing": text("Why this counts less: alignment inferred, second-hand, pooled, believed."),
        "note": text("What a reader should know, in our own words."),
    }


def sourced() -> Schema:
    """`read`, `memory` and `table` name a source; `practice` and `demo` have none."""
    named = {"properties": {"held": {"enum": ["read", "memory", "table"]}}, "required": ["held"]}
    return {"if": named, "then": {"required": ["source"]}}
