"""Kinds, traits, responses, obstacles and findings describe themselves in kb/: no module of engine/ names one.

Some are everyday words that stand for something else there. The list of those may only shrink.
"""

from __future__ import annotations

import ast
from pathlib import Path

from rousewort.knowledge.knowledge_base import KnowledgeBase

PACKAGE = Path(__file__).resolve().parents[1] / "engine" / "rousewort"
LEDGER = "what is done to a batch, an act of the ledger, named as growers do; it is no kind of treatment"
LIGHT = "key of the JSON of a step, which says how light a sowing wants it"
PHASE = "key of a phase of a protocol: light or dark"
# (module, word) → what it means there
HOMONYMS = {
    ("cli/batching.py", "sow"): LEDGER,
    ("cli/commands/batch.py", "sow"): LEDGER,
    ("ledger/due.py", "sow"): LEDGER,
    ("ledger/events.py", "sow"): LEDGER,
    ("ledger/season.py", "sow"): LEDGER,
    ("web/forms.py", "sow"): LEDGER,
    ("ledger/service.py", "sow"): LEDGER,
    ("knowledge/schemas.py", "light"): LIGHT,
    ("observe/compare.py", "light"): LIGHT,
    ("planning/steps.py", "light"): LIGHT,
    ("contribute/table.py", "light"): PHASE,
    ("knowledge/taxon_schema.py", "light"): PHASE,
    ("knowledge/vocabulary_schemas.py", "light"): PHASE,
    ("render/protocol_text.py", "light"): PHASE,
}


def words(kb: KnowledgeBase) -> set[str]:
    vocabulary = kb.vocabulary
    kinds = {*kb.treatments, *vocabulary.files["report_kinds"]}
    return kinds | {*vocabulary.traits, *vocabulary.responses, *vocabulary.obstacles, *vocabulary.files["findings"]}


def quoted(source: str, looked_for: set[str]) -> list[tuple[int, str]]:
    """Line and word of every string that is one of these words."""
    return [
        (node.lineno, node.value)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value in looked_for
    ]


def test_the_walk_finds_a_quoted_word() -> None:
    assert quoted('KIND = "nick"\nTOLD = f"{x} nick"\nSTEPS = {"soak": 1}\n', {"nick", "soak"}) == [
        (1, "nick"),
        (3, "soak"),
    ]


def test_no_kind_trait_obstacle_or_finding_is_quoted_in_engine(kb: KnowledgeBase) -> None:
    looked_for = words(kb)
    found = {
        (path.relative_to(PACKAGE).as_posix(), word): line
        for path in sorted(PACKAGE.rglob("*.py"))
        for line, word in quoted(path.read_text("utf-8"), looked_for)
    }
    new = [
        f"{module}:{line} quotes {word}"
        for (module, word), line in sorted(found.items())
        if (module, word) not in HOMONYMS
    ]
    assert not new, "ask the vocabulary instead (knowledge/kinds.py, knowledge/vocabulary.py):\n" + "\n".join(new)
    # Compared with a bound and not removed by each who takes one out: several work at once, and the list may only shrink.
    assert len(HOMONYMS) <= 14
