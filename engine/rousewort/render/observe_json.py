"""Bench conclusions as JSON (rousewort-bench-1). Decides nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from rousewort.knowledge.knowledge_base import Match
from rousewort.observe.ask import Question
from rousewort.observe.conclude import Conclusion, Contradiction


def as_data(
    match: Match,
    conclusion: Conclusion,
    clashes: Iterable[Contradiction],
    chances: Mapping[str, float],
    questions: Iterable[Question],
) -> dict[str, Any]:
    return {
        "format": "rousewort-bench-1",
        "plant": match.name or match.query,
        "matched_by": match.matched_by,
        "readings": [
            {
                "test": r.test.id,
                "numbers": dict(r.numbers),
                "words": dict(r.words),
                "says": r.clause.says if r.clause else None,
                "when": dict(r.clause.when) if r.clause else None,
                "source": r.clause.source if r.clause else None,
                "held": r.clause.held if r.clause else None,
            }
            for r in conclusion.readings
        ],
        "words": dict(conclusion.words),
        "left": {key: list(words) for key, words in conclusion.left.items()},
        "contradictions": [c._asdict() for c in (*conclusion.contradictions, *clashes)],
        "chances": {word: round(chance, 4) for word, chance in chances.items()},
        "stop": [r.test.id for r in conclusion.stop],
        "next": [{"test": q.test.id, "worth": q.worth, "because": q.because, "cost": q.cost} for q in questions],
    }
