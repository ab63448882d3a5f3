"""What a new kind, trait, obstacle, finding or observation still lacks: it is well formed, and nothing comes of it.

Such a gap breaks no file, and is silent in every plan; so a check names each, with file and line. What is meant for readers
alone says so, and why, under `for_readers`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from rousewort.base.errors import Problem
from rousewort.knowledge.build import Laid
from rousewort.knowledge.cases import reads
from rousewort.knowledge.rules import FactKey
from rousewort.knowledge.strict_yaml import Path

Gap = tuple[str, Path, str, str]  # file of the layer, place in it, what is missing, how to mend it
WRITE_IT = "Write the rule, or say why it needs none under `for_readers:`."


def loose_ends(laid: Laid) -> list[Problem]:
    """Every gap of what stands in files here. Where files are broken none is told: what they hold would seem missing."""
    if laid.problems:
        return []
    found = []
    for path, place, what, mend in _Weave(laid).gaps():
        document = next((documents[path] for documents in reversed(laid.documents) if path in documents), None)
        if document:  # what an installed wheel carries was checked when it was made
            found.append(document.key_problem(place, what, mend))
    return found


class _Weave:
    """What the rules of all layers read, conclude and offer."""

    def __init__(self, laid: Laid) -> None:
        store = laid.store
        self.words = store.vocabulary
        self.treatments: Mapping[str, Mapping[str, Any]] = store.shared("treatments")
        rules = store.shared("rules")
        thens = [then for rule in rules for then in rule["then"]]
        self.warned = {then["hazard"] for then in thens if "hazard" in then}
        self.read = {fact for rule in rules for part in ("when", "unless") for fact in _facts(rule.get(part, ()))}
        self.read |= {fact for told in self.treatments.values() for fact in reads(told)}
        self.read_keys = {key for key, _ in self.read}
        self.offered = {then["offer"] for then in thens if "offer" in then}
        self.removed = {then["for"] for then in thens if "offer" in then}
        self.named = {then["obstacle"] for then in thens if "obstacle" in then}
        self.found = {then["finding"] for then in thens if "finding" in then}
        self.reported = {
            given["kind"]: name
            for name, record in sorted(store.records.items(), reverse=True)
            for protocol in record.get("protocols", ())
            for given in protocol.get("phases", ())
        }

    def gaps(self) -> Iterator[Gap]:
        for part in (
            self._kinds,
            self._sheet,
            self._hazards,
            self._facts,
            self._obstacles,
            self._findings,
            self._observations,
        ):
            yield from part()

    def _kinds(self) -> Iterator[Gap]:
        weighed = {kind for told in self.words.responses.values() for kind in told["kinds"]}
        for kind, told in self.treatments.items():
            path = f"treatments/{kind}.yaml"
            if "for_readers" in told:
                if kind in self.offered or kind in weighed:
                    yield path, ("for_readers",), f"{kind} is offered or weighed after all", "Take `for_readers` out."
                continue
            if kind not in self.offered and "place" not in told:
                yield path, ("kind",), f"no rule offers {kind}, so no plan ever gives it", WRITE_IT
            if kind in self.reported and kind not in weighed and "place" not in told:
                what = f"reports of {kind} (on {self.reported[kind]}) are weighed nowhere: no response reads them"
                yield (
                    path,
                    ("kind",),
                    what,
                    "Name the kind in vocabulary/responses.yaml, in a response that a rule reads.",
                )
        for kind in self.words.files["report_kinds"]:
            if kind not in weighed:
                mend = "Name the kind in vocabulary/responses.yaml."
                yield "vocabulary/report_kinds.yaml", (kind,), f"reports of {kind} are weighed by no response", mend

    def _sheet(self) -> Iterator[Gap]:
        """What replaces the instructions of a treatment that has a short form: the short form would still be the old one."""
        for kind, told in self.treatments.items():
            for place, layer in _layers(told) if "short" in told else ():
                if "do" in layer and "short" not in layer:
                    what = "`do` is replaced here, and the sheet would still print the usual `short`"
                    yield f"treatments/{kind}.yaml", (*place, "do"), what, "Write `short:` beside it."

    def _hazards(self) -> Iterator[Gap]:
        named = set(self.warned)
        for told in self.treatments.values():
            for layer in (told, *(layer for _, layer in _layers(told))):
                named |= {caution["hazard"] for caution in layer.get("cautions", ()) if "hazard" in caution}
        for word in self.words.files["hazards"]:
            if word not in named:
                mend = "Name it at the caution that warns of it, or remove it."
                yield "vocabulary/hazards.yaml", (word,), f"no caution names the hazard {word}", mend

    def _facts(self) -> Iterator[Gap]:
        """Traits and responses. A trait with a role is read by name; one that a band is read off, as its word."""
        banded = {told["from"] for told in self.words.files["bands"].values() if "from" in told}
        for stem, entries in (("traits", self.words.traits), ("responses", self.words.responses)):
            for key, told in entries.items():
                used = key in self.read_keys or key in banded or "role" in told
                if not used and "for_readers" not in told:
                    yield f"vocabulary/{stem}.yaml", (key,), f"no rule reads {key}, and nothing else does", WRITE_IT
                elif key in self.read_keys and "for_readers" in told:
                    place = (key, "for_readers")
                    yield f"vocabulary/{stem}.yaml", place, f"a rule reads {key} after all", "Take `for_readers` out."
                if stem == "responses" and not self.reported.keys() & set(told["kinds"]):
                    mend = "Enter the report that it is for, or remove it."
                    yield f"vocabulary/{stem}.yaml", (key,), f"no entry has a report that {key} is read off", mend

    def _obstacles(self) -> Iterator[Gap]:
        for i, obstacle in enumerate(self.words.files["obstacles"]):
            name, place = obstacle["id"], (i, "id")
            path = "vocabulary/obstacles.yaml"
            if name not in self.named:
                yield path, place, f"no rule names the obstacle {name}", "Write a rule of phase obstacles that does."
            if name not in self.removed:
                mend = "Write a rule of phase treatments that offers a treatment for it."
                yield path, place, f"nothing removes the obstacle {name}: no rule offers a treatment for it", mend

    def _findings(self) -> Iterator[Gap]:
        """`waits` and `lean` are read by the plan itself, as are the cases of what to say where nothing is known."""
        said = {word for case in self.words.files["observations"]["unknown"]["how_to_sow"] for word in case["when"]}
        for name, told in self.words.files["findings"].items():
            path, place = "vocabulary/findings.yaml", (name,)
            if name not in self.found:
                yield (
                    path,
                    place,
                    f"no rule finds {name}",
                    "Write a rule of phase traits that does, or remove the word.",
                )
            if ("finding", name) not in self.read and name not in said and not {"waits", "lean"} & set(told):
                yield path, place, f"no rule reads the finding {name}", "Write the rule that does, or remove the word."

    def _observations(self) -> Iterator[Gap]:
        for i, test in enumerate(self.words.files["observations"]["tests"]):
            keys = {*test.get("words", {}), *test.get("bands", {})}
            stops = False
            for reading in test["reads"]:
                keys |= {*reading.get("then", {}), *reading.get("leaves", {})}
                stops = stops or reading.get("stop", False)
            read = {key for key in keys if key in self.read_keys or "role" in self.words.traits.get(key, {})}
            if not stops and not read:
                what = f"the observation {test['id']} leads nowhere: no result of it says anything that a rule reads"
                mend = "Give a reading `then:`, `leaves:` or `stop: true`."
                yield "vocabulary/observations.yaml", ("tests", i, "id"), what, mend


def _layers(told: Mapping[str, Any]) -> Iterator[tuple[Path, Mapping[str, Any]]]:
    """What is laid over the texts of a treatment in some cases, with its place."""
    for part in ("by_obstacle", "by_way", "by_medium", "by_lot"):
        yield from (((part, name), layer) for name, layer in told.get(part, {}).items())
    yield from ((("by_case", i), layer) for i, layer in enumerate(told.get("by_case", ())))


def _facts(conditions: Iterable[Mapping[str, Any]]) -> Iterator[FactKey]:
    for condition in conditions:
        for key, words in condition.items():
            yield from ((key, word) for word in ([words] if isinstance(words, str) else words))
