"""Plans against the germination rules for regulated kinds.

Source: US Code of Federal Regulations, Title 7, section 201.58, table 2 (2015 annual edition); read. A test of a crop
asks what wakes a cleaned, stored, bred lot, a plan what wakes the species; where the two differ for that reason, the
disagreement is listed by `pytest -s` and stands in DEVELOPERS.md.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.plan import Planner

ROWS = list(csv.DictReader((Path(__file__).parent / "data/regulated/kinds.csv").open(encoding="utf-8")))


@pytest.fixture(scope="module")
def compared() -> list[dict]:
    kb = load()
    planner = Planner(kb, "plain")
    made = []
    for row in ROWS:
        match = kb.lookup(row["name"])
        plan = planner.plan_for(match)
        made.append(
            {
                **row,
                "entry": match.matched_by not in ("genus", "family"),
                "hard": "watertight_coat" in plan.findings.obstacles,
                "cold": any(s.kind in ("cold_moist", "outdoor_winter") and not s.optional for s in plan.steps),
                "lit": "needs_light" in plan.findings.obstacles,
            }
        )
    return made


def test_kinds_with_hard_seed_have_a_watertight_coat_in_the_plan(compared: list[dict]) -> None:
    """40 kinds or more; at least nine in ten agree, both ways."""
    agree = [c for c in compared if c["hard"] == (c["hard_seed"] == "1")]
    for c in compared:
        if c not in agree:
            print(f"hard seed: regulation {c['hard_seed']}, plan {int(c['hard'])}: {c['kind']} ({c['name']})")
    print(f"hard seed: {len(agree)} of {len(compared)} agree")
    assert len(compared) >= 40
    assert len(agree) / len(compared) >= 0.9


def test_kinds_prechilled_when_fresh_are_chilled_by_the_plan(compared: list[dict]) -> None:
    """Where the species has an entry of its own. Kinds are few, so every one must agree or be named here.

    Named: broad bean, Canada wild rye and smooth brome, which growers sow as bought; the regulation chills fresh lots that
    wait. Of the brome we hold only that a table of classes lists it as not dormant.
    """
    named = {"Vicia faba", "Elymus canadensis", "Bromus inermis"}
    own = [c for c in compared if c["entry"] and c["prechill_days"]]
    missed = [c["name"] for c in own if not c["cold"]]
    print(f"prechill: {len(own) - len(missed)} of {len(own)} agree; missed: {missed}")
    assert len(own) >= 3
    assert set(missed) <= named


def test_light_of_the_regulation_is_known_where_an_entry_states_it(compared: list[dict]) -> None:
    """The plan must not bury seed that the regulation tests in light where its entry says anything of light."""
    kb = load()
    stated = [
        c for c in compared if c["light"] == "required" and "light" in (kb.taxon(c["name"]) or {}).get("traits", {})
    ]
    wrong = [c["name"] for c in stated if not c["lit"]]
    print(
        f"light: {len(stated) - len(wrong)} of {len(stated)} agree where stated; {sum(c['light'] == 'required' for c in compared)} kinds tested in light"
    )
    assert stated
    assert not wrong
