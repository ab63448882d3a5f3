"""What a change does to plans, as text and as JSON. Decides nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rousewort.planning.wording import OF_ANY_PLANT
from rousewort.planning.wording import fill as filled
from rousewort.render.terminal import Page

if TYPE_CHECKING:
    from rousewort.contribute.changes import Change, Comparison

TITLES = {
    "outcome": "Outcome changes",
    "sequence": "Steps change",
    "numbers": "Numbers change",
    "added": "New plans",
    "removed": "No plan any more",
    "words": "Wording, cautions or alternatives change",
}


def render(comparison: Comparison, page: Page) -> str:
    counts = {what: [c for c in comparison.changes if c.what == what] for what in TITLES}
    count = len(comparison.changes)
    differ = "1 plan differs" if count == 1 else f"{count or 'no'} plans differ"
    page.say(f"{comparison.compared} species compared; {differ}.")
    for label, ids in (("Rules", comparison.rules), ("Treatments", comparison.treatments)):
        if ids:
            page.say(f"{label} changed: {', '.join(ids)}", 0)
    for what, title in TITLES.items():
        if counts[what]:
            page.heading(f"{title} ({len(counts[what])})")
            for change in counts[what]:
                one(change, page)
    return page.text()


def one(change: Change, page: Page) -> None:
    page.say(page.bold(change.name), 2)
    if change.before != change.after:
        for mark, line in (("- ", change.before), ("+ ", change.after)):
            if line:
                page.say(line, 4, mark, code="31" if mark == "- " else "32")
    else:
        page.say(change.after, 4)
    page.each(change.because, 6, "because ", code="2")


def as_json(comparison: Comparison) -> dict[str, Any]:
    return {
        "format": "rousewort-changes-1",
        "compared": comparison.compared,
        "rules": list(comparison.rules),
        "treatments": list(comparison.treatments),
        "changes": [{**c._asdict(), "because": list(c.because)} for c in comparison.changes],
    }


def rules_text(firings: Sequence[Any], fill: dict[str, str], page: Page) -> None:
    """The rules that fired, by phase, each with why it may."""
    for phase in ("traits", "obstacles", "treatments", "cautions"):
        of_phase = [f for f in firings if f.rule.phase == phase]
        if of_phase:
            page.say(page.bold(phase), 2)
            for firing in of_phase:
                page.say(f"{firing.rule.id}: {filled(firing.rule.data['because']['why'], {**OF_ANY_PLANT, **fill})}", 4)
