"""One calendar, two machines: the days that planner.js adds up are those of `schedule`. Run in node, without a page.

Lengths, the share of emergence, overnight hours and the spans of seasons are worked out in Python alone and sent; the
script walks from step to step. That walk stands twice, so it is compared here on every branch of it.
"""

from __future__ import annotations

import json
from collections import Counter

import pytest
from rousewort.handbook import planner as page
from rousewort.knowledge.knowledge_base import KnowledgeBase
from test_formulas import in_node
from test_planner_in_browser import cases, other_ways

# Chosen for what their plans have: hot water or a blade, warm and cold, double dormancy, nothing, a fruit, sowing outside.
NAMES = [
    "Cercis canadensis", "Viburnum prunifolium", "Trillium grandiflorum", "Prunus avium", "Gleditsia triacanthos",
    "Fraxinus excelsior", "Taxus baccata", "Acer rubrum", "Paeonia officinalis", "Quercus robur",
]  # fmt: skip


@pytest.fixture(scope="module")
def names(species: list[str]) -> list[str]:
    return [name for name in NAMES if name in species] + species[:: len(species) // 25]


def test_in_node_the_script_reckons_the_days_of_the_calendar(kb: KnowledgeBase, names: list[str]) -> None:
    """Forward, backward, from the last frost, too late, and outside, in both halves of the Earth."""
    asked, wanted = cases(kb, names)
    runs: list[list[object]] = []
    waiting: list[list[object]] = []
    for case in asked:
        if isinstance(case, list):
            waiting.append(case)
        else:
            runs.append([case, waiting])
            waiting = []
    script = """[].concat.apply([], input.runs.map(function (run) {
      var p = window.rousewortPlanner;
      return run[1].map(function (c) { return p.dates(p.stepsOf(run[0], c[1]), c[2], input.tables); });
    }))"""
    tables = {"seasons": page.shared_seasons(kb)}
    got = in_node("planner.js", script, {"runs": runs, "tables": tables})
    assert len(got) == len(wanted) > 300
    told: Counter[str] = Counter()
    for case, ours, theirs in zip([case for case in asked if isinstance(case, list)], got, wanted, strict=True):
        assert ours == theirs, case
        given = case[2]
        told.update((given["mode"], "south" if given["south"] else "north"))
        told["missed"] += "missed" in theirs
        told["begun later, for its season"] += given["mode"] == "start" and theirs["start"] > given["day"]
    assert min(told[k] for k in ("start", "wanted", "last-frost", "south", "north", "missed")) > 30, told
    assert told["begun later, for its season"] > 10, told


def test_in_node_the_script_offers_the_ways_that_the_calendar_has(kb: KnowledgeBase, names: list[str]) -> None:
    asked = other_ways(kb, names)
    script = """input.cases.map(function (c) {
      return window.rousewortPlanner.otherWays(c.plan, c.choice, c.given, input.tables, c.nearest);
    })"""
    given = json.loads(json.dumps({"cases": asked, "tables": {"seasons": page.shared_seasons(kb)}}))
    ways = 0
    for case, got in zip(asked, in_node("planner.js", script, given), strict=True):
        told = [[way["field"], way["gain"] == "in time", way["start"], way["seedlings"]] for way in got]
        assert all(way in case["ways"] for way in told), case["name"]
        assert all(way in [one[2:] for one in told] for way in case["named"]), case["name"]
        ways += len(told)
    assert ways > 5
