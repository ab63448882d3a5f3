"""The words that entries, rules and plans may use, as data from kb/vocabulary."""

from __future__ import annotations

from functools import cached_property
from typing import Any

FILES = (
    "traits", "responses", "answers", "obstacles", "findings", "equipment", "standing", "protocol", "inferred_from", "held",
    "lots", "bands", "calendar", "label_sheets", "bench", "observations", "trials", "replicate_ranges", "contradictions",
    "doubts",
)  # fmt: skip

# Keys that `facts` and `summary` read off an entry rather than find in it, with what they mean; words in answers.yaml.
DERIVED = {
    "season_order": "In what order reports give warm and cold.",
    "class_known_from": "Whether the dormancy class is the species' own or its relatives'.",
}


class Vocabulary:
    """Every vocabulary file by its stem; helpers only look things up in them."""

    def __init__(self, files: dict[str, Any]) -> None:
        self.files = files

    @cached_property
    def traits(self) -> dict[str, dict]:
        return self.files["traits"]

    @cached_property
    def responses(self) -> dict[str, dict]:
        return self.files["responses"]

    @cached_property
    def obstacles(self) -> dict[str, dict]:
        """By id, in the order in which they must be removed."""
        return {item["id"]: item for item in self.files["obstacles"]}

    @cached_property
    def obstacle_rank(self) -> dict[str, int]:
        return {name: rank for rank, name in enumerate(self.obstacles)}

    @cached_property
    def standing_rank(self) -> dict[str, int]:
        return {name: rank for rank, name in enumerate(self.files["standing"])}

    @cached_property
    def found(self) -> dict[str, dict]:
        """What a source can have found of a treatment, with what that weighs (protocol.yaml)."""
        return self.files["protocol"]["found"]

    @cached_property
    def season_orders(self) -> dict[str, dict]:
        return self.files["answers"]["season_order"]

    @cached_property
    def given(self) -> dict[str, dict[str, dict]]:
        """Every key that can be known before any rule runs, with its allowed words."""
        keys = {name: trait["values"] for name, trait in self.traits.items() if not trait.get("number")}
        keys |= {name: self.files["answers"]["answer"] for name in self.responses}
        return keys | {key: self.files["answers"][key] for key in DERIVED}

    @cached_property
    def keys(self) -> dict[str, set[str]]:
        """Every key that a rule's condition may name, with its words (`unknown` included for what is given)."""
        keys = {name: set(words) | {"unknown"} for name, words in self.given.items()}
        return keys | {"finding": set(self.files["findings"]), "obstacle": set(self.obstacles)}

    def many(self, key: str) -> bool:
        return bool(self.traits.get(key, {}).get("many"))

    def label(self, key: str, word: str) -> str:
        entry = self.given.get(key, {}).get(word, {})
        return entry.get("label", word.replace("_", " "))

    def band(self, name: str, number: float) -> str:
        """The word of a banded number (bands.yaml), for example seeds per gram → seed_size."""
        return next(word["is"] for word in self.files["bands"][name]["words"] if number >= word["least"])
