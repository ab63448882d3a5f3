"""What a grower reads of each kind of treatment (`rousewort how`): texts, spans, in what order; and which kind is gentler.

Plans follow what is reported of a plant; the spans of the treatments themselves, which few plans show, are held here.
Rewrite how.txt with `pytest tests/golden --update-lines`, then read the diff.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from rousewort.knowledge.cases import cases
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.render.how_text import how
from rousewort.render.terminal import Page
from test_golden_plans import updating  # type: ignore[import-not-found]

HELD = Path(__file__).with_name("how.txt")


def also(told: Mapping[str, Any]) -> Iterator[str]:
    """What a sheet says in short; and the cases of which the first that holds decides, in order."""
    if "short" in told:
        yield "In short: " + " / ".join(told["short"])
    for place, case in cases(told):
        asked = [f"{part} {key} {words}" for part in ("when", "unless") for key, words in case.get(part, {}).items()]
        yield f"{'.'.join(map(str, place[:-1]))}: {', '.join(asked) or 'else'}: {case.get('is', '…')}"


def as_read(kb: KnowledgeBase) -> str:
    """Every kind, the gentlest first; without the works, which are cited at the end."""
    gentle = sorted(kb.treatments, key=lambda kind: (kb.vocabulary.kinds.rank(kind), kind))
    texts = (
        "\n".join([how(kb, kind, Page(width=2000)).partition("\nSources\n")[0], *also(kb.treatments[kind])])
        for kind in gentle
    )
    return "\n\n".join(f"== {kind}\n{text.strip()}" for kind, text in zip(gentle, texts, strict=True)) + "\n"


def test_what_is_told_of_a_kind_changes_seen(kb: KnowledgeBase, request: pytest.FixtureRequest) -> None:
    now = as_read(kb)
    if updating(request):
        HELD.write_text(now, "utf-8")
    was, is_now = HELD.read_text("utf-8").splitlines(), now.splitlines()
    assert is_now == was, "If each change is right: pytest tests/golden --update-lines"


def test_spans_of_a_kind_are_all_told(kb: KnowledgeBase) -> None:
    """The numbers that the plan falls back on stand in the text, each one: a span that is not told is not held."""
    for kind, told in kb.treatments.items():
        text = how(kb, kind, Page(width=2000))
        for span in told.get("ranges", ()):
            for unit in ("days", "hours", "minutes"):
                if unit in span:
                    for number in span[unit].values():
                        assert f"{number:g}" in text, (kind, span)
