"""The hazards of a plan: each once, in few words, with a letter at the steps that have it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import Plan
from rousewort.planning.steps import Step, caution_text, hazard_note
from rousewort.planning.wording import fill

LETTERS = "abcdefghijklmnopqrstuvwxyz"
LONG = 40  # letters of a poison's note that the sheet can bear


class Hazard(NamedTuple):
    """A danger to people or land. `mark`: the letter at each step that has it; empty where it concerns the whole plan
    alone. `name`: its word in vocabulary/hazards.yaml. `in_full`: `text` is every caution in its whole length."""

    mark: str
    name: str
    text: str
    in_full: bool = False


class Hazards:
    """The hazards of a plan, each once, with a letter for those that a step has."""

    def __init__(self, kb: KnowledgeBase, plan: Plan) -> None:
        self._treatments, self._firings = kb.treatments, plan.findings.cautions
        self._name = plan.match.name or plan.query
        self._note = hazard_note(plan.facts)
        short = re.sub(r" \([^()]*\)", "", self._note.partition(";")[0])
        short = short.partition(",")[0] if len(short) > LONG else short
        self._short_note = f"{short.rstrip('.')}." if short else ""
        words, steps = kb.vocabulary.files["hazards"], plan.steps
        told = [word for step in steps for word in self._of(step)]
        whole = [then["hazard"] for then, _ in self._firings if "hazard" in then and "plan" in then["shows_on"]]
        # the gravest first: a letter in the order of the list of hazards, which stands so
        found = [word for word in words if word in {*told, *whole}]
        self._letters = {word: LETTERS[i] for i, word in enumerate(w for w in found if w in told)}
        self.listed = tuple(self._hazard(word, words[word], steps) for word in found)
        self.texts = {self._fill(then["caution"]) for then, _ in self._firings if "hazard" in then}

    def _of(self, step: Step) -> Iterator[str]:
        """The hazards of one step: those of its treatment that it shows, and those that a rule says it has."""
        by_text = {caution["text"]: caution.get("hazard") for caution in _cautions(self._treatments[step.kind])}
        yield from (word for text in step.cautions if (word := by_text.get(text)))
        for then, _ in self._firings:
            if "hazard" in then and step.kind in then["shows_on"]:
                yield then["hazard"]

    def marks(self, step: Step) -> tuple[str, ...]:
        return tuple(sorted({self._letters[word] for word in self._of(step)}))

    def notes(self, step: Step) -> Iterator[str]:
        """What a rule says at this step that is no hazard to people: how such seed is to be dealt with."""
        for then, _ in self._firings:
            if "hazard" not in then and step.kind in then["shows_on"] and then.get("on_sheet", True):
                yield self._fill(then["caution"])

    def _hazard(self, word: str, told: Mapping[str, Any], steps: tuple[Step, ...]) -> Hazard:
        full = (
            [text for step in steps if word in self._of(step) for text in step.cautions] if told.get("in_full") else []
        )
        text = " ".join(fill(told["short"], {"note": self._short_note}).split())
        return Hazard(self._letters.get(word, ""), word, " ".join(dict.fromkeys(full)) or text, bool(full))

    def _fill(self, text: str) -> str:
        return caution_text(text, self._name, self._note)


def _cautions(treatment: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Those of a treatment, and of all that is laid over it."""
    layers = [treatment, *treatment.get("by_case", ())]
    parts = ("by_obstacle", "by_way", "by_medium", "by_lot")
    layers += [layer for part in parts for layer in treatment.get(part, {}).values()]
    for layer in layers:
        yield from layer.get("cautions", ())
