"""What the key page needs to add up a reader's numbers: what to type, and the test's own formulas (observations.yaml).

Nothing is decided here; `observe.arithmetic` and key.js both run what stands there.
"""

from __future__ import annotations

from typing import Any

from rousewort.observe.arithmetic import sums_of
from rousewort.observe.expressions import parsed
from rousewort.observe.key import Test

TYPED = ("count", "number", "list")  # kinds that a single box takes


def page_sums(test: Test) -> dict[str, Any] | None:
    """`asks`: [name, words, kind] of each box; `fields`: field → formula on what was typed, the rest being typed as they
    are; formulas and thresholds. None for a test whose fields no boxes can hold."""
    page = test.data.get("page", {})
    made = {name: parsed(text) for name, text in page.get("fields", {}).items()}
    if any(f.kind not in TYPED and not f.optional and name not in made for name, f in test.fields.items()):
        return None
    sums = sums_of(test.data)
    return {
        "asks": _asks(test, page.get("asks", {}), made),
        "fields": made,
        "numbers": sums.numbers,
        "refuses": sums.refuses,
        "when": [clause.when for clause in test.reads],
        "gives": test.gives,
    }


def _asks(test: Test, others: dict[str, Any], made: dict[str, Any]) -> list[list[str]]:
    """A box for each field; the page's `others` where the first of the fields stands that are made of them."""
    asks: dict[str, tuple[str, str, bool]] = {}
    for name, f in test.fields.items():
        if name in made:
            asks |= {other: (ask["ask"], ask["kind"], ask.get("optional", False)) for other, ask in others.items()}
        elif f.kind in TYPED:
            asks[name] = (f.ask, f.kind, f.optional and f.default is None)
    return [
        [name, f"{words} (may stay empty)" if optional else words, kind]
        for name, (words, kind, optional) in asks.items()
    ]
