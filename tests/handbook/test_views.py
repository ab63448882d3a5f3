"""Pictures and plots show what the data says."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest
from rousewort import web
from rousewort.handbook import page_models
from rousewort.handbook.catalogue import WANTED, Catalogue
from rousewort.handbook.drawings import SeedDrawing
from rousewort.handbook.places import site_folder
from rousewort.handbook.responses import response_plots
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import plan_json


@pytest.fixture(scope="module")
def draw(kb: KnowledgeBase) -> SeedDrawing:
    return SeedDrawing(site_folder(), kb.vocabulary)


def test_a_seed_of_which_nothing_is_known_says_so(draw: SeedDrawing) -> None:
    picture = draw({}, {}).svg
    assert "nothing of this is known" in picture and "?" in picture and "here" not in picture


def test_the_bar_marks_the_size_and_only_it(draw: SeedDrawing) -> None:
    for place, size in enumerate(draw.sizes):
        picture = draw({"seed_size": size}, {"seed_size": size}).svg
        assert picture.count("size here") == 1
        marked = re.search(r'size here" cx="(\d+)"', picture)
        assert marked and (int(marked[1]) - 24) // 29 == place


def test_a_watertight_coat_is_drawn_otherwise_and_says_where_to_nick(draw: SeedDrawing) -> None:
    tight = draw({"coat_water": "stops"}, {}, "Fabaceae")
    assert "coat tight" in tight.svg and 'class="nick"' in tight.svg
    assert tight.nick and "scar" in tight.nick and "nick on the broad back" in tight.svg
    for known, drawn in (({"coat_water": "passes"}, "coat open"), ({}, "coat unknown")):
        picture = draw(known, {}, "Fabaceae")
        assert drawn in picture.svg and picture.nick is None and 'class="nick"' not in picture.svg


@pytest.mark.parametrize(
    ("known", "family", "kind"),
    [
        ({}, "Fabaceae", "bean"),
        ({"seed_size": "dust"}, "Orchidaceae", "dust seed"),
        ({"growth_form": "palm", "restraint": "stone"}, "Arecaceae", "palm seed"),
        ({"dispersal_unit": "caryopsis"}, "Poaceae", "grain"),
        ({"dispersal_unit": "samara"}, "Sapindaceae", "winged nut"),
        ({"fruit": "cone"}, "Pinaceae", "seed of a cone"),
        ({"dispersal_unit": "stone", "fruit": "fleshy"}, "Rosaceae", "stone"),
        ({"dispersal_unit": "nut"}, "Fagaceae", "nut"),
        ({"dispersal_unit": "achene"}, "Asteraceae", "achene or nutlet"),
        ({"fruit": "fleshy"}, "Solanaceae", "seed of a berry"),
        ({"fruit": "dry"}, "Campanulaceae", "seed of a dry fruit"),
    ],
)
def test_each_kind_of_seed_has_a_drawing_of_its_own(
    draw: SeedDrawing, known: dict[str, str], family: str, kind: str
) -> None:
    drawn = draw(known, {}, family)
    assert drawn.kind == kind and drawn.cut and 'class="cut"' in drawn.svg


def test_every_trait_and_word_of_the_drawing_is_in_the_vocabulary(draw: SeedDrawing, kb: KnowledgeBase) -> None:
    by = [draw.form[part] for part in ("water", "thick", "inner")]
    named = [(told["trait"], word) for told in by for word in told if word not in ("trait", "unknown")]
    named.append((draw.form["shut"]["trait"], draw.form["shut"]["word"]))
    cases = [
        fact for kind in draw.form["kinds"] for case in kind["when"] for fact in case.items() if fact[0] != "family"
    ]
    named += [(key, word) for key, words in cases for word in (words if isinstance(words, list) else [words])]
    assert not [f for f in named if f[1] not in kb.vocabulary.given.get(f[0], {})] and named
    assert set(draw.form["says"]) <= set(kb.vocabulary.traits)


def test_germination_is_drawn_against_days_with_its_figures(kb: KnowledgeBase) -> None:
    plot = next(p for p in response_plots(kb, kb.taxon("Alnus glutinosa") or {}) if p["label"] == "days of cold")
    upland = next(s for s in plot["series"] if s["source"] == "schalin-1967-germination")
    assert upland["points"] == [(0, 27), (180, 35)]
    assert plot["svg"].count('class="run cold"') == len(plot["series"]) > 5
    assert plot["svg"].count("<circle") == sum(len(s["points"]) for s in plot["series"])
    assert len({s["letter"] for s in plot["series"]}) == len(plot["series"])


def test_a_single_length_is_no_response(kb: KnowledgeBase) -> None:
    protocol = {"source": "x", "columns": ["cold_days", "germinated_pct"], "results": [{"rows": [[30, 80]]}]}
    assert response_plots(kb, {"protocols": [protocol]}) == []


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
    """Bars lie end to end on rows of one year each, and end on the day that seedlings are wanted."""
    for entry, _, data, dated in Catalogue(
        kb, ["Cercis canadensis", "Viburnum prunifolium", "Trillium grandiflorum"]
    ).plans():
        assert dated is not None and dated.seedlings is not None
        line = page_models.timeline(kb, dated)
        assert line["seedlings"] == page_models.day_text(WANTED)
        assert line["begin"] == page_models.day_text(dated.start)
        last = dated.seedlings.planned
        assert len(line["rows"]) == (1 if line["days"] < 365 else last.year - dated.start.year + 1)
        assert sum(bar["width"] for row in line["rows"] for bar in row) == pytest.approx(
            line["days"] / 3.65, abs=0.3
        ), entry.name
        assert max(bar["left"] + bar["width"] for row in line["rows"] for bar in row) <= 100.01
        for step, after in zip(line["steps"], line["steps"][1:], strict=False):
            assert step["end"] == after["begin"], entry.name
        cold = next(step for step in line["steps"] if step["kind"] == "cold_moist")
        assert cold["days"] == next(step["days"]["use"] for step in data["steps"] if step["kind"] == "cold_moist")


def test_a_span_over_new_year_is_cut_there_and_a_moment_stands_once() -> None:
    assert [
        (y, round(left), round(width)) for y, left, width in page_models._pieces(date(2026, 12, 1), date(2027, 1, 31))
    ] == [
        (2026, 92, 8),
        (2027, 0, 8),
    ]
    assert list(page_models._pieces(date(2027, 1, 1), date(2027, 1, 1))) == [(2027, 0, 0)]


def test_the_bench_pages_wear_the_colours_and_the_mark_of_the_house() -> None:
    assets = site_folder() / "theme/assets"
    static = Path(web.__file__).parent / "static"
    house = dict(re.findall(r"(--[a-z-]+): (light-dark\([^)]+\))", (assets / "styles/house.css").read_text("utf-8")))
    bench = dict(re.findall(r"(--[a-z-]+): (light-dark\([^)]+\))", (static / "bench.css").read_text("utf-8")))
    assert len(bench) > 8 and bench.items() <= house.items()
    assert (static / "sprout.svg").read_bytes() == (assets / "mark.svg").read_bytes()


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
