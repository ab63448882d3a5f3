"""Bench results, questions and conclusions as text for a terminal. Decides nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.observe.ask import Question
from rousewort.observe.conclude import Conclusion, Contradiction, Reading
from rousewort.render.terminal import Page


def number_text(value: Any) -> str:
    if isinstance(value, str):
        return value.replace("_", " ")
    if isinstance(value, float):
        return (
            f"{value:.0f}"
            if abs(value) >= 100
            else f"{value:.2g}"
            if abs(value) < 1
            else f"{value:.1f}".removesuffix(".0")
        )
    return str(value)


def threshold_text(when: Mapping[str, Any], gives: Mapping[str, str], numbers: Mapping[str, Any]) -> str:
    """The conditions of a result with the numbers that met them: `gain of the intact seeds, % 1.3 (below 10)`."""
    parts = []
    for name, wanted in when.items():
        label = gives.get(name, name.replace("_", " "))
        limits = (
            [f"{how.replace('_', ' ')} {limit:g}" for how, limit in wanted.items()]
            if isinstance(wanted, Mapping)
            else []
        )
        parts.append(f"{label}: {number_text(numbers[name])}" + (f" ({', '.join(limits)})" if limits else ""))
    return "; ".join(parts)


def source_text(kb: KnowledgeBase, clause: Any) -> str:
    held = kb.vocabulary.files["held"][clause.held]["label"]
    cited = (
        f"{kb.sources[clause.source]['citation']} ({held})"
        if clause.source
        else "a threshold of this project's own, chosen so that published readings agree"
    )
    return cited + (f". {clause.note}" if clause.note else "")


def say_reading(kb: KnowledgeBase, reading: Reading, page: Page) -> None:
    page.heading(reading.test.label[:1].upper() + reading.test.label[1:])
    if reading.clause is None:
        page.say("Nothing can be concluded from these numbers.", 2)
    else:
        page.say(reading.clause.says, 2, code="33" if reading.clause.stop else "")
        page.say(threshold_text(reading.clause.when, reading.test.gives, reading.numbers), 2, code="2")
        page.say(f"Source: {source_text(kb, reading.clause)}", 2, code="2")
    for trait, word in reading.words.items():
        page.say(f"{trait.replace('_', ' ')}: {kb.vocabulary.label(trait, word)}", 2, "= ")


def say_conclusion(
    kb: KnowledgeBase,
    match: Match,
    conclusion: Conclusion,
    clashes: Iterable[Contradiction],
    chances: Mapping[str, float],
    page: Page,
) -> None:
    """Every result with threshold and source, contradictions, what is settled and what is left."""
    page.say(page.bold(match.name or match.query) + (f"  ({match.family})" if match.family else ""))
    for reading in conclusion.readings:
        say_reading(kb, reading, page)
    contradictions = [*conclusion.contradictions, *clashes]
    if contradictions:
        page.heading("These contradict each other")
        for c in contradictions:
            page.say(f"{c.one}", 2, "- ", code="33")
            page.say(f"{c.other}", 2, "- ", code="33")
            page.say(f"so {c.outcome}.", 4)
    page.heading("Settled")
    if conclusion.words:
        page.each(
            (f"{t.replace('_', ' ')}: {kb.vocabulary.label(t, w)}" for t, w in sorted(conclusion.words.items())), 2
        )
    else:
        page.say("Nothing yet.", 2)
    left = {key: words for key, words in conclusion.left.items() if key not in conclusion.words}
    possible = [
        f"{kb.vocabulary.label(kb.vocabulary.class_key, w).split(' (')[0]} {round(100 * p)} %"
        for w, p in chances.items()
        if p >= 0.01
    ]
    if len(possible) > 1:
        page.heading("Still possible")
        page.say("; ".join(possible) + ". Chances are from relatives and what was seen, not from this lot alone.", 2)
    for key in kb.vocabulary.level_keys:
        if key in left:
            page.say(f"{key.replace('_', ' ')}: {', '.join(kb.vocabulary.label(key, w) for w in left[key])}", 2)


def say_question(question: Question, page: Page) -> None:
    test = question.test
    page.heading(f"Next: {test.label}  ({question.cost})")
    page.say(test.ask, 2)
    page.say(f"Why: {question.because}", 2, code="2")
    page.each(test.do, 2)
