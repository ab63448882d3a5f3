"""The words that entries, rules and plans may use, as data from kb/vocabulary."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

from rousewort.knowledge.kinds import Kinds

FILES = (
    "traits", "responses", "answers", "obstacles", "findings", "equipment", "standing", "protocol", "inferred_from", "held",
    "lots", "bands", "calendar", "label_sheets", "bench", "observations", "trials", "replicate_ranges", "contradictions",
    "doubts", "treatment_groups", "colours", "report_kinds", "rule_status",
    "parts_read", "claims", "hazards",
)  # fmt: skip

# Keys that `facts` and `summary` read off an entry rather than find in it, with what they mean; words in answers.yaml.
DERIVED = {
    "season_order": "In what order reports give warm and cold.",
    "class_known_from": "Whether the dormancy class is the species' own or its relatives'.",
}


class Vocabulary:
    """Every vocabulary file by its stem, and the kinds of treatment; helpers only look things up in them."""

    def __init__(self, files: dict[str, Any], treatments: Mapping[str, Mapping[str, Any]] | None = None) -> None:
        self.files = files
        self.kinds = Kinds(treatments or {}, files["report_kinds"], files["treatment_groups"])

    @cached_property
    def traits(self) -> dict[str, dict[str, Any]]:
        traits: dict[str, dict[str, Any]] = self.files["traits"]
        return traits

    def _with_role(self, role: str) -> tuple[str, ...]:
        return tuple(key for key, trait in self.traits.items() if trait.get("role") == role)

    @cached_property
    def class_key(self) -> str:
        """The trait that is the class of dormancy."""
        return self._with_role("class")[0]

    @cached_property
    def level_keys(self) -> tuple[str, ...]:
        """The traits that say how deep it goes; of a seed that has two of them the last decides."""
        return self._with_role("level")

    @cached_property
    def dormancy_keys(self) -> tuple[str, ...]:
        """Class and levels."""
        return self.class_key, *self.level_keys

    @cached_property
    def size_key(self) -> str:
        return self._with_role("size")[0]

    @cached_property
    def count_key(self) -> str:
        """Seeds in a gram."""
        return self._with_role("count")[0]

    @cached_property
    def climate_key(self) -> str:
        return self._with_role("climate")[0]

    @cached_property
    def drying_key(self) -> str:
        return self._with_role("survives_drying")[0]

    @cached_property
    def never_dried(self) -> frozenset[str]:
        """Words of seed that drying kills."""
        return frozenset(
            word for word, entry in self.traits[self.drying_key]["values"].items() if entry.get("must_not_dry")
        )

    @cached_property
    def homes_silent_on_winter(self) -> frozenset[str]:
        """Words of climates with winters and without."""
        found = self.traits[self.climate_key]["values"].items()
        return frozenset(word for word, entry in found if entry.get("winter_varies"))

    @cached_property
    def homes_without_winter(self) -> frozenset[str]:
        """Words of climates that know no winter."""
        return frozenset(
            word for word, entry in self.traits[self.climate_key]["values"].items() if entry.get("no_winter")
        )

    @cached_property
    def hazard_key(self) -> str:
        return self._with_role("hazard")[0]

    @cached_property
    def cue_key(self) -> str:
        return self._with_role("native_cue")[0]

    @cached_property
    def typical(self) -> tuple[str, ...]:
        """Traits of which what is typical of a whole genus or family tells on the class."""
        return tuple(key for key, trait in self.traits.items() if trait.get("typical"))

    @cached_property
    def classes(self) -> dict[str, dict[str, Any]]:
        classes: dict[str, dict[str, Any]] = self.traits[self.class_key]["values"]
        return classes

    @cached_property
    def levels(self) -> dict[str, dict[str, Any]]:
        """Every word of every level."""
        return {word: entry for key in self.level_keys for word, entry in self.traits[key]["values"].items()}

    def level_key(self, dormancy: str) -> str | None:
        """The trait that says how deep dormancy of this class goes, or None where nothing does."""
        return next((k for k in self.level_keys if dormancy in self.traits[k]["only_with"][self.class_key]), None)

    @cached_property
    def calendar(self) -> dict[str, Any]:
        """What dating a plan needs: calendar.yaml, and how each kind of treatment is dated (`kinds`)."""
        return {**self.files["calendar"], "kinds": self.kinds}

    @cached_property
    def responses(self) -> dict[str, dict[str, Any]]:
        responses: dict[str, dict[str, Any]] = self.files["responses"]
        return responses

    @cached_property
    def obstacles(self) -> dict[str, dict[str, Any]]:
        """By id, in the order in which they must be removed."""
        return {item["id"]: item for item in self.files["obstacles"]}

    @cached_property
    def obstacle_rank(self) -> dict[str, int]:
        return {name: rank for rank, name in enumerate(self.obstacles)}

    @cached_property
    def standing_rank(self) -> dict[str, int]:
        return {name: rank for rank, name in enumerate(self.files["standing"])}

    @cached_property
    def shared_keys(self) -> tuple[str, ...]:
        """Traits that a genus may say once for all its species."""
        return tuple(key for key, trait in self.traits.items() if trait.get("shared"))

    @cached_property
    def found(self) -> dict[str, dict[str, Any]]:
        """What a source can have found of a treatment, with what that weighs (protocol.yaml)."""
        found: dict[str, dict[str, Any]] = self.files["protocol"]["found"]
        return found

    @cached_property
    def season_orders(self) -> dict[str, dict[str, Any]]:
        orders: dict[str, dict[str, Any]] = self.files["answers"]["season_order"]
        return orders

    @cached_property
    def given(self) -> dict[str, dict[str, dict[str, Any]]]:
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
        label: str = entry.get("label", word.replace("_", " "))
        return label

    def band(self, name: str, number: float) -> str:
        """The word of a banded number (bands.yaml), for example seeds per gram → seed_size."""
        found: str = next(word["is"] for word in self.files["bands"][name]["words"] if number >= word["least"])
        return found
