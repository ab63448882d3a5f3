"""One line a species, in a file whose diff a person reads: a change of rule, treatment or entry shows what it did.

Rewrite it with `pytest tests/test_one_line_a_species.py --update-lines` (or ROUSEWORT_UPDATE=1), then read the diff.
"""

from __future__ import annotations

import difflib
import os
from pathlib import Path

import pytest
from rousewort.planning.plan import Plan

FILE = Path(__file__).with_name("one_line_a_species.txt")
HEAD = (
    "# What each plan does, in order, with days; an optional step in brackets. Written by the test of the same name.\n"
)


def line(name: str, plan: Plan) -> str:
    """`Cercis canadensis: [soak], nick, cold_moist 60, sow`; the inspection, which every plan has, is left out."""
    if plan.outcome != "plan":
        return f"{name}: ({plan.outcome})"
    words = []
    for step in plan.steps[1:]:
        days = step.amounts.get("days")
        word = f"{step.kind} {days.use}" if days else step.kind
        words.append(f"[{word}]" if step.optional else word)
    return f"{name}: {', '.join(words)}"


def test_no_plan_changes_unseen(plans: dict[str, Plan], request: pytest.FixtureRequest) -> None:
    now = HEAD + "".join(f"{line(name, plan)}\n" for name, plan in sorted(plans.items()))
    if request.config.getoption("--update-lines") or os.environ.get("ROUSEWORT_UPDATE") == "1":
        FILE.write_text(now, "utf-8")
    before = FILE.read_text("utf-8") if FILE.exists() else ""
    if now == before:
        return
    changed = list(
        difflib.unified_diff(
            before.splitlines(), now.splitlines(), "as it stands", "as plans are now", n=0, lineterm=""
        )
    )
    changed = [text for text in changed if not text.startswith("@@")]
    shown = "\n".join(changed[:80]) + (f"\n… and {len(changed) - 80} more lines" if len(changed) > 80 else "")
    pytest.fail(f"Plans changed. If each change is right, run this test with --update-lines.\n{shown}", pytrace=False)


def test_the_file_has_every_species_once(species: list[str]) -> None:
    named = [text.split(":")[0] for text in FILE.read_text("utf-8").splitlines() if not text.startswith("#")]
    assert named == species
