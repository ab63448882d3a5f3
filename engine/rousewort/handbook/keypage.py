"""The page on which a reader finds out what an unknown seed waits for: the whole key as text, and its tables as data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rousewort.handbook.escape import as_data
from rousewort.handbook.formulas import page_sums
from rousewort.handbook.pages import Page, Writer, first_up
from rousewort.handbook.seedkey import Input, Key, seed_key
from rousewort.observe.key import Clause, Test, tests
from rousewort.planning.plan_json import plan_json


def key_pages(write: Writer) -> Iterator[Page]:
    """The page, and its tables beside it."""
    kb = write.kb
    key = seed_key(kb)
    sections = [_section(write, key, test) for test in tests(kb.vocabulary).values()]
    yield write.page(
        "key",
        "key.md",
        "Unknown seed",
        "What to look at, and what it says: from the bench to a class of dormancy.",
        {"script": "key.js", "data": "key.data.js"},
        sections=sections,
        levels=kb.vocabulary.level_keys,
    )
    yield Page("key.data.js", f"rousewortKey({as_data(_data(write, key, sections), separators=(',', ':'))});\n")


def _section(write: Writer, key: Key, test: Test) -> dict[str, Any]:
    kb = write.kb
    own = [one for one in key.inputs.values() if one.test.id == test.id]
    results = next((one for one in own if not one.words), None)
    return {
        "id": test.id,
        "label": first_up(test.label),
        "ask": test.ask,
        "why": test.why,
        "do": test.do,
        "cost": cost(test),
        "needs": [kb.vocabulary.files["equipment"][need]["label"] for need in test.data.get("needs", ())],
        "findings": [_finding(write, test, clause) for clause in (test.reads if results else ())],
        "choices": [
            {
                "name": one.name,
                "ask": first_up(one.name.replace("_", " ")),
                "words": [(word, kb.vocabulary.label(one.name, word)) for word in one.words],
                "bands": _bands(write, one),
            }
            for one in own
            if one.words
        ],
    }


def _bands(write: Writer, one: Input) -> list[dict[str, Any]]:
    number = one.test.data.get("bands", {}).get(one.name)
    if not number:
        return []
    rows = write.kb.vocabulary.files["bands"][one.name]["words"]
    return [
        {"word": row["is"], "label": write.kb.vocabulary.label(one.name, row["is"]), "least": row["least"]}
        for row in rows
    ]


def _finding(write: Writer, test: Test, clause: Clause) -> dict[str, Any]:
    held = write.kb.vocabulary.files["held"][clause.held]["label"]
    return {
        "when": when_text(test, clause),
        "says": clause.says,
        "then": list(clause.then.items()),
        "leaves": list(clause.leaves.items()),
        "stop": clause.stop,
        "source": clause.source,
        "held": held if clause.source else "a threshold of this project's own, chosen so that published readings agree",
        "note": clause.note,
    }


def when_text(test: Test, clause: Clause) -> str:
    """The threshold in words: `gain of the intact seeds, %: below 10`."""
    said = []
    for name, wanted in clause.when.items():
        label = test.gives.get(name) or (test.fields[name].ask if name in test.fields else name.replace("_", " "))
        limits = (
            " and ".join(f"{how.replace('_', ' ')} {limit:g}" for how, limit in wanted.items())
            if isinstance(wanted, Mapping)
            else str(wanted).replace("_", " ")
        )
        said.append(f"{label}: {limits}")
    return "; ".join(said)


def cost(test: Test) -> str:
    """Seeds and time, in words."""
    seeds = f"{test.spends} seeds" if test.spends else "no seed"
    return f"{seeds}, about {test.days} day{'s' if test.days != 1 else ''}" if test.days else f"{seeds}, no time"


def _data(write: Writer, key: Key, sections: list[dict[str, Any]]) -> dict[str, Any]:
    """What the page's script reads. It holds no condition but thresholds, and no text that was not escaped or is set as text."""
    vocabulary = write.kb.vocabulary
    classes = vocabulary.classes
    told = {trait for part in key.parts.values() for result in part.results for trait in ([part.key] if result else [])}
    steps_as_html = write.templates.get_template("_parts.md").make_module({"root": ""}).step  # type: ignore[attr-defined]  # a macro of the template
    pieces: dict[str, int] = {}
    plans: dict[str, dict[str, Any]] = {}
    for (word, level), plan in key.plans.items():
        data = plan_json(plan)
        steps = [pieces.setdefault(str(steps_as_html(step, False)), len(pieces)) for step in data["steps"]]
        plans[f"{word}.{level}"] = {"steps": steps, "advice": [*data["cautions"]]}
    return {
        "tests": [
            {
                "id": test.id,
                "label": first_up(test.label),
                "why": test.why,
                "cost": cost(test),
                "inputs": [one.name for one in key.inputs.values() if one.test.id == test.id],
                "gate": bool(test.data.get("gate")),
                "without": list(test.data.get("without_known", ())),
                "sums": page_sums(test),
                "stops": [int(clause.stop) for clause in test.reads],
                "says": [clause.says for clause in test.reads],
            }
            for test in tests(vocabulary).values()
        ],
        "inputs": {name: list(one.words) or len(one.options) for name, one in key.inputs.items()},
        "parts": [
            {
                "key": part.key,
                "inputs": part.inputs,
                "effects": part.effects,
                "table": part.table,
                "results": part.results,
            }
            for part in key.parts.values()
        ],
        "class": vocabulary.class_key,
        "levels": vocabulary.level_keys,
        "settles": key.settles,
        "stateOf": key.state_of,
        "states": [
            {
                "chances": [[word, round(100 * chance)] for word, chance in state.chances.items() if chance >= 0.01],
                "likely": state.likely,
                "levels": [int(matters) for matters in state.levels],
            }
            for state in key.states
        ],
        "order": {**key.order._asdict(), "drying_key": vocabulary.drying_key},
        "labels": {
            trait: {word: vocabulary.label(trait, word) for word in vocabulary.given[trait]} for trait in sorted(told)
        },
        "means": {word: entry["means"] for word, entry in classes.items()},
        "pages": {word: f"{write.catalogue.places.path('class', word)}.html" for word in classes},
        "plans": plans,
        "pieces": list(pieces),
        "bands": {
            choice["name"]: {"of": one.test.data["bands"][choice["name"]], "words": choice["bands"]}
            for section in sections
            for choice in section["choices"]
            if choice["bands"]
            for one in [key.inputs[choice["name"]]]
        },
    }
