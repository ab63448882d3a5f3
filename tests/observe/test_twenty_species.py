"""Twenty species without an entry, each from its name and bench notes to a plan or a designed trial, with reasons.

The bench notes are invented (Sallow Bridge community nursery); what must come of them follows from the key. A row: name, family,
notes, then the class that must be concluded with the steps that the plan must have, in order; or the arms of a trial.
"""

from __future__ import annotations

from datetime import date

import pytest
from rousewort.observe.ask import Inquiry, Question
from rousewort.observe.conclude import match_for
from rousewort.observe.entries import Observations, checked
from rousewort.observe.trial import design
from rousewort.planning.grower import make_grower
from rousewort.render.plan_text import render
from rousewort.render.terminal import Page

SHUT = {"intact_g": {0: 2.0, 24: 2.02, 48: 2.04}, "nicked_g": {0: 2.0, 24: 3.3, 48: 3.9}}
OPEN = {"intact_g": {0: 2.0, 24: 2.8, 48: 3.0}, "nicked_g": {0: 2.0, 24: 2.9, 48: 3.1}}
FULL, SMALL = {"embryo_mm": [3.6, 3.8], "seed_mm": [4.0, 4.1]}, {"embryo_mm": [0.5, 0.6], "seed_mm": [4.0, 4.1]}
SOON, LATE = {"sown": 50, "empty": 2, "roots": {14: 12, 28: 39}}, {"sown": 50, "empty": 2, "roots": {14: 0, 30: 1}}
COLD, WARM = {"home": "cold_winter", "life": "woody"}, {"home": "tropical_wet", "life": "woody"}
GROWS, STUNTED = {"normal": 9, "stunted": 1}, {"normal": 1, "stunted": 9}
SMALL_SEED, LARGE_SEED = {"grams": 0.2}, {"grams": 12.0}
IN_WARMTH = {"fresh_mm": [0.5], "warm_mm": [1.1], "cold_mm": [0.5]}
IN_COLD = {"fresh_mm": [0.5], "warm_mm": [0.5], "cold_mm": [1.4]}
ACID_HELPS = {"treated": 40, "treated_roots": 30, "water": 40, "water_roots": 1}
ACID_FAILS = {"treated": 40, "treated_roots": 2, "water": 40, "water_roots": 1}
THIN = {"coat_g": 0.1, "inside_g": 1.9, "seed_g": 3.5}

PLANS = [
    ("Vigna marina", None, dict(imbibition=SHUT, nicked_germination=SOON, seed_mass=LARGE_SEED), "PY", ["nick", "sow"]),
    (
        "Swainsona galegifolia",
        "Fabaceae",
        dict(imbibition=SHUT, nicked_germination=SOON, seed_mass=SMALL_SEED),
        "PY",
        ["abrade", "sow"],
    ),
    ("Merremia peltata", "Convolvulaceae", dict(imbibition=SHUT, nicked_germination=SOON), "PY", ["sow"]),
    ("Tuberaria lignosa", "Cistaceae", dict(imbibition=SHUT, nicked_germination=SOON), "PY", ["sow"]),
    (
        "Koelreuteria bipinnata",
        None,
        dict(imbibition=SHUT, nicked_germination=LATE, origin=COLD, excised_embryo=STUNTED),
        "PY+PD",
        ["cold_moist", "sow"],
    ),
    (
        "Exochorda giraldii",
        "Rosaceae",
        dict(imbibition=OPEN, embryo=FULL, fresh_germination=LATE, excised_embryo=STUNTED, origin=COLD),
        "PD",
        ["cold_moist", "sow"],
    ),
    (
        "Stewartia malacodendron",
        "Theaceae",
        dict(imbibition=OPEN, embryo=FULL, fresh_germination=LATE, origin=COLD),
        "PD",
        ["cold_moist", "sow"],
    ),
    ("Gordonia lasianthus", "Theaceae", dict(imbibition=OPEN, embryo=FULL, fresh_germination=SOON), "ND", ["sow"]),
    (
        "Metrosideros kermadecensis",
        "Myrtaceae",
        dict(imbibition=OPEN, embryo=FULL, fresh_germination=SOON),
        "ND",
        ["sow"],
    ),
    ("Telopea truncata", "Proteaceae", dict(imbibition=OPEN, embryo=FULL, fresh_germination=SOON), "ND", ["sow"]),
    (
        "Astrantia maxima",
        "Apiaceae",
        dict(imbibition=OPEN, embryo=SMALL, fresh_germination=LATE, embryo_growth=IN_COLD, hormone_response=ACID_FAILS),
        "MPD",
        ["cold_moist", "sow"],
    ),
    (
        "Helleborus argutifolius",
        "Ranunculaceae",
        dict(imbibition=OPEN, embryo=SMALL, fresh_germination=LATE, embryo_growth=IN_WARMTH),
        "MPD",
        ["warm_moist", "sow"],
    ),
    (
        "Deinanthe caerulea",
        "Hydrangeaceae",
        dict(imbibition=OPEN, embryo=SMALL, fresh_germination=LATE),
        "MPD",
        ["warm_moist", "cold_moist", "sow"],
    ),
    ("Kadsura japonica", "Schisandraceae", dict(imbibition=OPEN, embryo=SMALL, fresh_germination=SOON), "MD", ["sow"]),
    (
        "Taiwania cryptomerioides",
        "Cupressaceae",
        dict(
            imbibition=OPEN,
            embryo=FULL,
            fresh_germination=LATE,
            excised_embryo=GROWS,
            hormone_response=ACID_FAILS,
            origin=COLD,
        ),
        "PD",
        ["cold_moist", "sow"],
    ),
    (
        "Pouteria sapota",
        "Sapotaceae",
        dict(imbibition=OPEN, embryo=FULL, fresh_germination=SOON, desiccation_model=THIN, origin=WARM),
        "ND",
        ["sow"],
    ),
]
TRIALS = [
    ("Calycanthus chinensis", None, dict(imbibition=OPEN), {"control", "cold"}),
    ("Idesia polycarpa", "Salicaceae", {}, {"control", "cold", "after_ripened"}),
    (
        "Emmenopterys henryi",
        "Rubiaceae",
        dict(imbibition=OPEN, embryo=FULL, fresh_germination=LATE, hormone_response=ACID_HELPS),
        {"control", "after_ripened"},
    ),
    (
        "Decaisnea insignis",
        "Lardizabalaceae",
        dict(imbibition=OPEN, embryo=SMALL, fresh_germination=LATE),
        {"control", "warm", "warm_cold"},
    ),
]


def bench_of(kb, planner, name, family, notes):
    match = match_for(kb, name, family)
    assert match.matched_by not in ("accepted", "synonym", "common_name", "spelling"), (
        f"{name} has an entry now: take another"
    )
    bench = Inquiry(kb, match, planner=planner)
    known = checked(Observations(name, family, notes), kb.vocabulary)
    return bench, known, bench.conclude(known)


def test_there_are_twenty_and_none_has_an_entry(kb):
    names = [row[0] for row in (*PLANS, *TRIALS)]
    assert len(set(names)) == 20 and not set(names) & set(kb.names("species"))


@pytest.mark.parametrize(("name", "family", "notes", "letters", "steps"), PLANS, ids=[row[0] for row in PLANS])
def test_bench_notes_lead_to_a_plan_with_reasons(kb, planner, name, family, notes, letters, steps):
    bench, _, conclusion = bench_of(kb, planner, name, family, notes)
    assert not conclusion.contradictions
    plan = bench.plan(bench.words_for_plan(conclusion))
    kinds = [step.kind for step in plan.steps]
    assert plan.outcome == "plan" and plan.dormancy["class"] == letters
    places = [kinds.index(kind) for kind in steps]
    assert places == sorted(places)
    assert ("cold_moist" in kinds) == ("cold_moist" in steps) or letters == "MPD"
    text = render(plan, Page())
    assert (name in text and "Why:" in text) or kinds == ["inspect", "sow"]
    for reading in conclusion.readings:
        assert reading.clause and (reading.clause.source or reading.clause.held == "practice")


@pytest.mark.parametrize(("name", "family", "notes", "arms"), TRIALS, ids=[row[0] for row in TRIALS])
def test_where_notes_leave_it_open_a_trial_is_designed(kb, planner, name, family, notes, arms):
    bench, _, conclusion = bench_of(kb, planner, name, family, notes)
    plan = design(
        kb.vocabulary, name, conclusion, bench.chances(conclusion), make_grower(kb.vocabulary), date(2027, 1, 10)
    )
    assert arms <= {planned.arm.id for planned in plan.arms}
    assert all(planned.because and planned.looks for planned in plan.arms) and len(plan.undecided) > 1


def test_drying_sensitive_seed_is_told_to_stay_moist(kb, planner):
    row = next(row for row in PLANS if row[0] == "Pouteria sapota")
    bench, _, conclusion = bench_of(kb, planner, *row[:3])
    plan = bench.plan(bench.words_for_plan(conclusion))
    assert conclusion.words["drying"] == "sensitive"
    assert {"after_ripen", "dry_back"} <= {item["kind"] for item in plan.ruled_out} and plan.cautions


@pytest.mark.parametrize(("name", "family"), [(row[0], row[1]) for row in (*PLANS, *TRIALS)])
def test_a_name_alone_gets_a_first_question(kb, planner, name, family):
    assert isinstance(Inquiry(kb, match_for(kb, name, family), planner=planner).ask(Observations(name)), Question)
