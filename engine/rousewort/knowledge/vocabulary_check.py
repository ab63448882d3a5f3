"""What makes a vocabulary right: the form of every file first, then that every word that one names is there in another."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import jsonschema_rs

from rousewort.base.errors import Problem, capped
from rousewort.knowledge.check import nearest, schema_problems
from rousewort.knowledge.strict_yaml import Document, Path
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.knowledge.vocabulary_schemas import ROLES, vocabulary_schemas

GROW = "grow"  # the season of a trial's arm that is no treatment: warm days, cool nights, light


def vocabulary_problems(documents: Mapping[str, Document], treatments: Iterable[str]) -> list[Problem]:
    """Every problem of the vocabulary files, given by stem; `treatments`: the kinds that have a file."""
    files = {stem: document.data for stem, document in documents.items()}
    schemas = vocabulary_schemas(files)
    found: list[Problem] = []
    for stem, document in documents.items():
        found += capped(schema_problems(document, jsonschema_rs.Draft202012Validator(schemas[stem]), schemas[stem]))
    return found or _Words(documents, treatments).problems()


class _Words:
    """The words that one file takes from another. The form of every file is right."""

    def __init__(self, documents: Mapping[str, Document], treatments: Iterable[str]) -> None:
        self.documents = documents
        self.files = {stem: document.data for stem, document in documents.items()}
        self.treatments = set(treatments)
        self.found: list[Problem] = []

    def problems(self) -> list[Problem]:
        self._roles()
        if not self.found:  # without its roles a vocabulary cannot be asked what may be known
            vocabulary = Vocabulary(self.files)
            self.given = vocabulary.given
            self.obstacles, self.findings = set(vocabulary.obstacles), set(self.files["findings"])
            self._traits()
            self._responses()
            self._lists()
            self._observations()
            self._trials()
        return self.found

    def _say(self, stem: str, path: Path, what: str, mend: str = "") -> None:
        self.found.append(self.documents[stem].problem(path, what, mend))

    def _one_of(self, stem: str, path: Path, word: str, allowed: Iterable[str], what: str) -> None:
        if word not in allowed:
            known = sorted(allowed)
            self._say(stem, path, f"`{word}` is no {what}", nearest(word, known) + "Known: " + ", ".join(known))

    def _condition(self, stem: str, path: Path, condition: Mapping[str, Any]) -> None:
        """Traits or reports with one word or several, each of which must be there."""
        for key, said in condition.items():
            if key not in self.given:
                mend = nearest(key, list(self.given))
                self.found.append(
                    self.documents[stem].key_problem((*path, key), f"`{key}` is no trait or report", mend)
                )
                continue
            for i, word in [(None, said)] if isinstance(said, str) else enumerate(said):
                place = (*path, key) if i is None else (*path, key, i)
                self._one_of(stem, place, word, {*self.given[key], "unknown"}, f"word for {key}")

    def _roles(self) -> None:
        by_role: dict[str, list[str]] = {role: [] for role in ROLES}
        for key, trait in self.files["traits"].items():
            if "role" in trait:
                by_role[trait["role"]].append(key)
        for role, keys in by_role.items():
            if not keys:
                self._say("traits", (), f"no trait has the role `{role}`", "One must: " + ROLES[role])
            for extra in keys[1:] if role != "level" else ():
                self._say(
                    "traits", (extra, "role"), f"{keys[0]} has the role `{role}` already", "Keep it on one of them."
                )
        if by_role["class"]:
            dormancy = by_role["class"][0]
            for key in by_role["level"]:
                if dormancy not in self.files["traits"][key].get("only_with", {}):
                    mend = f"Name the classes that it is the level of under `only_with: {dormancy}:`."
                    self._say("traits", (key,), f"{key} is the level of no class", mend)

    def _lending(self, stem: str, path: Path, told: Mapping[str, Any]) -> None:
        for part in ("only_with", "never_with", "shows"):
            self._condition(stem, (*path, part), told.get(part, {}))

    def _traits(self) -> None:
        for key, trait in self.files["traits"].items():
            self._lending("traits", (key,), trait)
            for word, told in trait.get("values", {}).items():
                self._lending("traits", (key, "values", word), told)
                if "served_by" in told:
                    self._one_of(
                        "traits",
                        (key, "values", word, "served_by"),
                        told["served_by"],
                        trait["values"],
                        f"word for {key}",
                    )

    def _responses(self) -> None:
        kinds = self.treatments | set(self.files["report_kinds"])
        for key, told in self.files["responses"].items():
            for i, kind in enumerate(told["kinds"]):
                self._one_of("responses", (key, "kinds", i), kind, kinds, "kind of treatment")
            for i, kind in enumerate(told.get("failing_tells_nothing", ())):
                self._one_of("responses", (key, "failing_tells_nothing", i), kind, told["kinds"], f"kind of {key}")
            self._lending("responses", (key,), told)
            self._lending("responses", (key, "from_family"), told.get("from_family", {}))
        for kind, told in self.files["report_kinds"].items():
            if "group" in told:
                self._one_of("report_kinds", (kind, "group"), told["group"], self.files["treatment_groups"], "group")
        answers = self.files["answers"]["answer"]
        protocol = self.files["protocol"]
        for word, told in protocol["found"].items():
            if told["vote"] is not None:
                self._one_of("protocol", ("found", word, "vote"), told["vote"], answers, "answer")
        for part in ("design", "length_basis"):
            for word, told in protocol[part].items():
                if "counts_as" in told:
                    self._one_of("protocol", (part, word, "counts_as"), told["counts_as"], protocol["found"], "found")
        for i, clash in enumerate(self.files["contradictions"]):
            self._condition("contradictions", (i, "words"), clash["words"])

    def _lists(self) -> None:
        """Obstacles and findings that other lists name; `held` wherever it stands."""
        for i, season in enumerate(self.files["calendar"]["sow_outside"]["seasons"]):
            for j, word in enumerate(season.get("removes", ())):
                self._one_of("calendar", ("sow_outside", "seasons", i, "removes", j), word, self.obstacles, "obstacle")
        for name, group in self.files["treatment_groups"].items():
            for i, word in enumerate(group.get("obstacles", ())):
                self._one_of("treatment_groups", (name, "obstacles", i), word, self.obstacles, "obstacle")
        for name, asked in self.files["claims"]["questions"].items():
            words = {"group": self.files["treatment_groups"], "trait": self.files["traits"], "kind": self.treatments}
            for key in words.keys() & asked.keys():
                self._one_of("claims", ("questions", name, key), asked[key], words[key], key)
        for part, lots in self.files["lots"].items():
            for word, told in lots.items():
                for i, advice in enumerate(told.get("advice", ())):
                    for key, named in advice["when"].items():
                        known = self.obstacles if key == "obstacle" else self.findings
                        self._one_of("lots", (part, word, "advice", i, "when", key), named, known, key)
        seen = set()
        for i, obstacle in enumerate(self.files["obstacles"]):
            if obstacle["id"] in seen:
                self._say("obstacles", (i, "id"), f"the obstacle {obstacle['id']} stands twice", "Keep one of them.")
            seen.add(obstacle["id"])
        for stem, data in self.files.items():
            for path, word in _under(data, "held"):
                if isinstance(word, str):
                    self._one_of(stem, path, word, self.files["held"], "way in which a fact is held")

    def _observations(self) -> None:
        stem, data = "observations", self.files["observations"]
        for i, case in enumerate(data["unknown"]["how_to_sow"]):
            for j, word in enumerate(case["when"]):
                self._one_of(stem, ("unknown", "how_to_sow", i, "when", j), word, self.findings, "finding")
        for i, test in enumerate(data["tests"]):
            at: Path = ("tests", i)
            for part in ("facts", "without"):
                self._condition(stem, (*at, "asked_when", part), test.get("asked_when", {}).get(part, {}))
            for j, key in enumerate(test.get("without_known", ())):
                self._one_of(stem, (*at, "without_known", j), key, self.given, "trait")
            self._equipment(stem, at, test)
            for key, field in test.get("words", {}).items():
                self._one_of(stem, (*at, "words"), key, self.given, "trait")
                self._one_of(stem, (*at, "words", key), field, test["fields"], f"field of {test['id']}")
                for j, word in enumerate(test["fields"].get(field, {}).get("words", ())):
                    self._one_of(
                        stem, (*at, "fields", field, "words", j), word, self.given.get(key, ()), f"word for {key}"
                    )
            for key, number in test.get("bands", {}).items():
                self._one_of(stem, (*at, "bands"), key, self.files["bands"], "band of bands.yaml")
                self._one_of(stem, (*at, "bands", key), number, test["gives"], f"number that {test['id']} gives")
            for j, reading in enumerate(test["reads"]):
                for key in reading["when"]:
                    known = {*test["fields"], *test["gives"]}
                    self._one_of(stem, (*at, "reads", j, "when", key), key, known, f"field or number of {test['id']}")
                for part in ("then", "leaves"):
                    self._condition(stem, (*at, "reads", j, part), reading.get(part, {}))

    def _equipment(self, stem: str, path: Path, told: Mapping[str, Any]) -> None:
        for i, thing in enumerate(told.get("needs", ())):
            self._one_of(stem, (*path, "needs", i), thing, self.files["equipment"], "equipment")

    def _trials(self) -> None:
        stem, data = "trials", self.files["trials"]
        for i, arm in enumerate(data["arms"]):
            for j, season in enumerate(arm["seasons"]):
                self._one_of(
                    stem, ("arms", i, "seasons", j, "kind"), season["kind"], {*self.treatments, GROW}, "treatment"
                )
            self._equipment(stem, ("arms", i), arm)
            self._condition(stem, ("arms", i, "never_with"), arm.get("never_with", {}))
            for j, shows in enumerate(arm.get("shows", ())):
                self._condition(stem, ("arms", i, "shows", j, "says"), shows["says"])
        for i, pattern in enumerate(data["patterns"]):
            self._condition(stem, ("patterns", i, "is"), pattern["is"])
            self._condition(stem, ("patterns", i, "adds"), pattern.get("adds", {}))
        for kind in data["outdoors"]:
            self._one_of(stem, ("outdoors", kind), kind, self.treatments, "treatment")


def _under(data: Any, key: str, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """What stands under a key, wherever it does."""
    parts = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, value in parts:
        if step == key:
            yield (*path, step), value
        yield from _under(value, key, (*path, step))
