"""Pictures and plots show what the data says."""

from __future__ import annotations

import re

import pytest
from rousewort.handbook import page_models
from rousewort.handbook.catalogue import WANTED, Catalogue
from rousewort.handbook.drawings import SeedDrawing
from rousewort.handbook.places import site_folder
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import plan_json


@pytest.fixture(scope="module")
def draw(kb: KnowledgeBase) -> SeedDrawing:
    return SeedDrawing(site_folder(), kb.vocabulary)


def test_a_seed_of_which_nothing_is_known_says_so(draw: SeedDrawing) -> None:
    picture = draw({}, {})
    assert "nothing of this is known" in picture and "?" in picture and "here" not in picture


def test_the_bar_marks_the_size_and_only_it(draw: SeedDrawing) -> None:
    for place, size in enumerate(draw.sizes):
        picture = draw({"seed_size": size}, {"seed_size": size})
        assert picture.count("size here") == 1
        marked = re.search(r'size here" cx="(\d+)"', picture)
        assert marked and (int(marked[1]) - 24) // 29 == place


def test_a_watertight_coat_is_drawn_otherwise_than_one_that_passes_water(draw: SeedDrawing) -> None:
    assert "coat tight" in draw({"coat_water": "stops"}, {})
    assert "coat open" in draw({"coat_water": "passes"}, {})
    assert "coat unknown" in draw({}, {})


def test_every_trait_and_word_of_the_drawing_is_in_the_vocabulary(draw: SeedDrawing, kb: KnowledgeBase) -> None:
    places = [told for part in draw.form["parts"] for told in part.get("places", {}).values()]
    named = [(told["trait"], word) for told in places for word in told if word not in ("trait", "unknown")]
    named += [fact for part in draw.form["parts"] for case in part.get("any", ()) for fact in case.items()]
    assert not [f for f in named if f[1] not in kb.vocabulary.given.get(f[0], {})] and named
    assert set(draw.form["says"]) <= set(kb.vocabulary.traits)


def test_published_lengths_stand_on_one_scale_beside_what_the_plan_uses(kb: KnowledgeBase, planner: Planner) -> None:
    name = "Cercis canadensis"
    record = kb.taxon(name) or {}
    plan = plan_json(planner.plan(name))
    plot = next(p for p in page_models.lengths(kb, record, plan) if p["kind"] == "cold_moist")
    used = next(step["days"]["use"] for step in plan["steps"] if step["kind"] == "cold_moist")
    assert [mark["days"] for mark in plot["marks"]] == [used]
    assert plot["top"] == max([used, *(row["high"] for row in plot["rows"])])
    for row in plot["rows"]:
        assert row["left"] == pytest.approx(100 * row["low"] / plot["top"], abs=0.01)
    assert plot["marks"][0]["left"] == pytest.approx(100 * used / plot["top"], abs=0.01)


def test_a_single_source_is_no_disagreement(kb: KnowledgeBase) -> None:
    protocol = {
        "source": "x",
        "held": "read",
        "design": "advice",
        "phases": [{"kind": "cold_moist", "days": {"low": 30, "high": 60}}],
    }
    assert page_models.lengths(kb, {"protocols": [protocol, protocol]}, {"steps": []}) == []


def test_sources_that_contradict_each_other_are_told(kb: KnowledgeBase, planner: Planner) -> None:
    for_it = {"source": "a", "held": "read", "phases": [{"kind": "cold_moist", "found": "needed"}]}
    against = {"source": "b", "held": "read", "phases": [{"kind": "cold_moist", "found": "useless"}]}
    plan = planner.plan("Cercis canadensis")
    told = page_models.disagreements(kb, {"protocols": [for_it, against]}, plan)
    assert any("found needed by 1" in line and "found no help by 1" in line for line in told)
    assert not [line for line in page_models.disagreements(kb, {"protocols": [for_it]}, plan) if "by 1" in line]


def test_the_timeline_is_that_of_the_calendar(kb: KnowledgeBase) -> None:
    """Bars lie end to end, fill the whole, and end on the day that seedlings are wanted."""
    for entry, _, data, dated in Catalogue(
        kb, ["Cercis canadensis", "Viburnum prunifolium", "Trillium grandiflorum"]
    ).plans():
        assert dated is not None
        line = page_models.timeline(kb, dated, data)
        assert line["seedlings"] == page_models.day_text(WANTED)
        assert line["begin"] == page_models.day_text(dated.start)
        last = line["bars"][-1]
        assert last["left"] + last["width"] == pytest.approx(100, abs=0.05)
        for bar, after in zip(line["bars"], line["bars"][1:], strict=False):
            assert bar["left"] + bar["width"] == pytest.approx(after["left"], abs=0.05), entry.name
        cold = next(bar for bar in line["bars"] if bar["kind"] == "cold_moist")
        assert cold["days"] == next(step["days"]["use"] for step in data["steps"] if step["kind"] == "cold_moist")


@pytest.mark.parametrize(
    ("citation", "short"),
    [
        ("Gosling PG 2007. Raising trees and shrubs from seed. Practice Guide 18", "Gosling PG 2007"),
        ("A page without a year", "A page without a year"),
        ("x" * 30 + " " + "y" * 40, "x" * 30 + " …"),
    ],
)
def test_citations_are_shortened_at_their_year(citation: str, short: str) -> None:
    assert page_models.short_citation(citation) == short
