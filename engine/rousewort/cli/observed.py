"""Plans from a file of bench observations, and says on stderr what in it speaks against itself or the books."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

from rousewort.observe.ask import Inquiry
from rousewort.observe.conclude import against_books, match_for
from rousewort.observe.entries import load_file
from rousewort.planning.grower import Grower
from rousewort.planning.plan import Plan, Planner


def plan_observed(
    planner: Planner,
    name: str,
    grower: Grower,
    path: str,
    observed: Mapping[str, str],
    place: tuple[str | None, str | None] = (None, None),
) -> Plan:
    """The plan for a name with what a file says was seen; `observed` (trait → word) outranks the file. `place`: the
    family and a relative, as given."""
    kb = planner.kb
    known = load_file(Path(path), kb.vocabulary)
    inquiry = Inquiry(kb, match_for(kb, name, place[0] or known.family, place[1]), grower, planner)
    conclusion = inquiry.conclude(known)
    if known.plant and known.plant.casefold() != name.casefold():
        print(f"The observations in {path} were made on {known.plant}, not on {name}.", file=sys.stderr)
    for clash in (*conclusion.contradictions, *against_books(kb, inquiry.match, conclusion)):
        print(f"Contradiction: {clash.one} / {clash.other}: {clash.outcome}.", file=sys.stderr)
    for reading in conclusion.stop:
        print(f"Before anything else: {reading.clause.says if reading.clause else ''}", file=sys.stderr)
    return inquiry.planned(conclusion, observed)
