"""Designing a trial, filling in its sheet, reading it. The seed of these trials is invented (Sallow Bridge community nursery)."""

from __future__ import annotations

import csv
import io
import random
from datetime import date
from itertools import groupby
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import load
from rousewort.observe import power
from rousewort.observe.ask import Inquiry
from rousewort.observe.conclude import match_for
from rousewort.observe.draft import write_layer
from rousewort.observe.entries import Observations, checked
from rousewort.observe.measures import wilson
from rousewort.observe.result import analyse
from rousewort.observe.sheet import read_sheet
from rousewort.observe.trial import COLUMNS, arms_of, design, dish_labels, patterns_of, sheet_text, told_apart
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Planner
from rousewort.render.trial_svg import draw
from scipy import stats

NOBODY, START = "Sallowia ripensis", date(2027, 1, 10)


def a_design(kb, planner, seen=None, family=None, seeds=None, have=(), **more):
    known = checked(Observations(NOBODY, seen=seen or {}), kb.vocabulary)
    grower = make_grower(kb.vocabulary, seeds=seeds, have=have)
    bench = Inquiry(kb, match_for(kb, NOBODY, family), grower, planner)
    conclusion = bench.conclude(known)
    return design(kb.vocabulary, NOBODY, conclusion, bench.chances(conclusion), grower, START, **more)


def filled_in(kb, plan, pattern: str, seed: int = 1, good: float = 0.9) -> list[str]:
    """The sheet as seed of that pattern would fill it: what a table says it does, with chance and one empty seed a dish."""
    draw_ = random.Random(seed)
    does = patterns_of(kb.vocabulary)[pattern].does
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    for (arm, _), group in groupby(
        csv.DictReader(io.StringIO(sheet_text(plan))), key=lambda r: (r["arm"], r["replicate"])
    ):
        rows, what = list(group), does.get(arm, "none")
        seeds = int(rows[0]["seeds"])
        came = sum(draw_.random() < (good if what != "none" else 0.01) for _ in range(seeds - 1))
        places = [i for i, r in enumerate(rows) if r["season"] == "grow" or what == "root"][:3]
        for row in rows:
            row["new_roots"] = row["new_shoots"] = 0
        for _ in range(came):
            place = draw_.choice(places)
            rows[place]["new_roots"] += 1
            if what == "seedling":
                rows[min(place + 1, len(rows) - 1)]["new_shoots"] += 1
        rows[-1] |= {"firm": seeds - 1 - came, "empty": 1}
        writer.writerows(rows)
    return out.getvalue().splitlines()


def read(kb, lines):
    return analyse(kb.vocabulary, read_sheet(lines, arms_of(kb.vocabulary)))


# Design


def test_a_trial_has_a_control_and_only_arms_that_tell_something_apart(kb, planner):
    plan = a_design(kb, planner)
    ids = [p.arm.id for p in plan.arms]
    assert ids[0] == "control" and len(ids) == len(set(ids)) >= 4
    patterns = list(patterns_of(kb.vocabulary).values())
    for arm in ids[1:]:
        assert any(told_apart(arm, a, b) for a in patterns for b in patterns)


def test_what_the_bench_settled_needs_no_arm(kb, planner):
    shut = {"imbibition": {"intact_g": {0: 1.0, 48: 1.0}, "nicked_g": {0: 1.0, 48: 1.9}}}
    assert [p.arm.id for p in a_design(kb, planner, shut).arms] == ["control", "nicked"]
    everything = shut | {"nicked_germination": {"sown": 40, "roots": {28: 38}}}
    with pytest.raises(UserError, match="nothing for a trial to decide"):
        a_design(kb, planner, everything)


def test_seed_that_drying_kills_is_never_stored_dry(kb, planner):
    big = {"desiccation_model": {"coat_g": 0.05, "inside_g": 0.95, "seed_g": 3.0}}
    plan = a_design(kb, planner, big, most_arms=9)
    assert "after_ripened" not in [p.arm.id for p in plan.arms] and any("drying" in note for note in plan.notes)


def test_the_hormone_arm_is_only_for_who_has_it(kb, planner):
    assert "hormone" not in [p.arm.id for p in a_design(kb, planner, most_arms=9).arms]
    assert "hormone" in [p.arm.id for p in a_design(kb, planner, most_arms=9, have=["gibberellic_acid"]).arms]


def test_an_empty_lot_is_not_tried(kb, planner):
    with pytest.raises(UserError, match="tell nothing"):
        a_design(kb, planner, {"cut_test": {"full": 1, "empty": 19}})


@pytest.mark.parametrize("seeds", [40, 90, 150, 400])
def test_a_design_never_takes_more_seeds_than_there_are_and_says_what_it_left_out(kb, planner, seeds):
    plan = a_design(kb, planner, seeds=seeds)
    assert plan.total <= seeds and plan.seeds % plan.dishes == 0
    assert len(plan.arms) == len(a_design(kb, planner).arms) or plan.notes


def test_a_handful_of_seeds_is_not_split(kb, planner):
    with pytest.raises(UserError, match="cannot carry a trial"):
        a_design(kb, planner, seeds=8)


def test_half_empty_seed_takes_twice_the_seeds(kb, planner):
    full, half = (a_design(kb, planner, width=0.3, filled=share).seeds for share in (1.0, 0.5))
    assert half == pytest.approx(2 * full, abs=8)


@pytest.mark.parametrize("width", [0.15, 0.2, 0.3, 0.4])
def test_seeds_for_a_width_are_the_fewest_that_keep_it(width):
    n = power.seeds_for_width(width)

    def widest(seeds):
        return max(wilson(k, seeds).high - wilson(k, seeds).low for k in range(seeds + 1))

    assert widest(n) <= width < widest(n - 2)


@pytest.mark.parametrize(
    ("n", "low", "high", "alpha"), [(10, 0.1, 0.5, 0.05), (20, 0.1, 0.5, 0.01), (25, 0.3, 0.6, 0.05)]
)
def test_power_is_that_of_scipys_exact_test_over_every_pair_of_counts(n, low, high, alpha):
    found = sum(
        stats.binom.pmf(a, n, low) * stats.binom.pmf(b, n, high)
        for a in range(n + 1)
        for b in range(a + 1, n + 1)
        if stats.fisher_exact([[a, n - a], [b, n - b]])[1] <= alpha
    )
    assert power.power(n, low, high, alpha) == pytest.approx(found, abs=1e-9)


def test_wishes_that_cannot_be_met_are_refused_in_words():
    for wish in ((0.8, 0.5, 0.1, 0.05), (0.8, 0.5, 0.52, 0.05), (1.0, 0.1, 0.5, 0.05)):
        with pytest.raises(UserError):
            power.seeds_for_power(*wish)
    with pytest.raises(UserError):
        power.seeds_for_width(0.01)


def test_seasons_follow_each_other_without_gap_and_looks_lie_in_them(kb, planner):
    for planned in a_design(kb, planner).arms:
        assert planned.seasons[0].first == START
        for before, after in zip(planned.seasons, planned.seasons[1:], strict=False):
            assert (after.first - before.last).days == 1
        assert list(planned.looks) == sorted(set(planned.looks)) and planned.looks[0] > START


def test_every_dish_has_a_label_and_lines_in_the_sheet(kb, planner):
    plan = a_design(kb, planner)
    rows = list(csv.DictReader(io.StringIO(sheet_text(plan))))
    dishes = {(r["arm"], r["replicate"]) for r in rows}
    assert len(dishes) == len(dish_labels(plan)) == len(plan.arms) * plan.dishes
    assert all(int(r["seeds"]) * plan.dishes == plan.seeds for r in rows)


# Reading


@pytest.mark.parametrize("pattern", [
    "none", "physical", "physical_physiological", "non_deep_winter", "non_deep_summer", "intermediate", "deep", "deep_summer_first",
    "epicotyl", "non_deep_simple", "deep_simple", "deep_simple_epicotyl", "deep_simple_double", "deep_complex", "intermediate_complex",
])  # fmt: skip
def test_a_trial_of_every_kind_of_seed_fits_that_kind(kb, planner, pattern):
    plan = a_design(kb, planner, most_arms=9, have=["gibberellic_acid"])
    result = read(kb, filled_in(kb, plan, pattern))
    assert pattern in [v.pattern.id for v in result.fitting]
    assert len(result.fitting) < len(result.verdicts) / 2
    true = patterns_of(kb.vocabulary)[pattern].words
    assert all(word in result.left[key] for key, word in true.items())


def test_the_sheet_as_printed_is_read_and_says_that_nothing_was_counted(kb, planner):
    with pytest.raises(UserError, match="no count in this sheet"):
        read(kb, sheet_text(a_design(kb, planner)).splitlines())


def test_too_few_seeds_leave_the_answer_open(kb):
    result = read(kb, ["arm,replicate,seeds,day,new_roots", "control,1,3,28,0", "cold,1,3,120,1"])
    assert all(len(r.did) > 1 for r in result.arms) and not result.found


HEAD = "arm,replicate,seeds,day,new_roots,new_shoots,hard,firm,rotten,empty"


@pytest.mark.parametrize(
    ("line", "piece"),
    [
        ("control,1,20,7,21,,,,,", "21 roots so far in control 1, but only 20"),
        ("control,1,20,7,3,4,,,,", "4 shoots so far"),
        ("control,1,20,-2,1,,,,,", "day -2"),
        ("control,1,20,7,-1,,,,,", "new_roots must be a whole number"),
        ("control,1,20,7,2.5,,,,,", "new_roots must be a whole number"),
        ("controll,1,20,7,1,,,,,", "'controll' is no arm"),
        ("control,,20,7,1,,,,,", "replicate is missing"),
        ("control,1,0,7,1,,,,,", "seeds must be 1 or more"),
        ("control,1,20,,1,,,,,", "missing"),
        ("control,1,20,7,5,,10,6,,", "only 15 seeds had not germinated"),
        ("control,1,20,7,,2,,,,", "new_roots is blank"),
        ("control,1,20,7,1,,,,,,9", "more values than columns"),
    ],
)
def test_impossible_lines_are_named(kb, line, piece):
    with pytest.raises(UserError, match="line 3") as trouble:
        read(kb, [HEAD, "cold,1,20,7,1,,,,,", line])
    assert piece in str(trouble.value)


def test_every_mistake_of_a_sheet_is_told_at_once(kb):
    lines = [
        HEAD,
        "control,1,20,7,5,,,,,",
        "control,1,20,5,1,,,,,",
        "control,1,30,9,1,,,,,",
        "cold,1,20,7,99,,,,,",
        "x,1,20,7,1,,,,,",
    ]
    with pytest.raises(UserError) as trouble:
        read(kb, lines)
    assert len(trouble.value.problems) == 4


def test_dates_before_the_start_and_missing_columns_are_told(kb):
    with pytest.raises(UserError, match="before the start"):
        read(kb, ["arm,replicate,seeds,started,date,new_roots", "control,1,20,2027-02-01,2027-01-30,1"])
    with pytest.raises(UserError, match="'seeds' is missing"):
        read(kb, ["arm,replicate,day,new_roots", "control,1,7,1"])


def test_missing_replicates_hard_seed_and_a_missing_control_are_noted(kb):
    rows = [HEAD, *(f"cold,{i},20,120,15,,4,1,,0" for i in (1, 2, 3)), "warm,1,20,120,1,,,,,"]
    notes = " ".join(read(kb, rows).notes)
    for piece in ("no control", "1 of 3 replicates", "12 seeds stayed hard"):
        assert piece in notes


def test_empty_seed_is_no_part_of_the_percentage(kb):
    (arm,) = read(kb, [HEAD, "control,1,20,28,10,,,,,10"]).arms
    assert (arm.roots.share, arm.roots.share_of_sown) == (1.0, 0.5)


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=2, max_size=6))
def test_law_an_arm_like_the_control_is_never_called_better(kb, counts):
    rows = [f"control,{i},20,28,{a}" for i, (a, _) in enumerate(counts)] + [
        f"cold,{i},20,28,{a}" for i, (a, _) in enumerate(counts)
    ]
    result = read(kb, ["arm,replicate,seeds,day,new_roots", *rows])
    assert not result.arms[1].better and result.arms[1].chance == 1


def test_curves_are_drawn_as_well_formed_svg_with_every_arm_named(kb, planner):
    result = read(kb, filled_in(kb, a_design(kb, planner), "deep"))
    root = ElementTree.fromstring(draw(result, "A <trial> & more"))
    words = " ".join(text for text in root.itertext())
    assert all(r.arm.label in words for r in result.arms) and "A <trial> & more" in words


# What comes of it


def test_a_trial_draft_is_a_private_layer_that_the_planner_takes(kb, planner, tmp_path):
    # Of forty such trials one parts cold from warm-then-cold by chance (Fisher's test at 5 %): the first is that one.
    result = read(kb, filled_in(kb, a_design(kb, planner), "intermediate", seed=2))
    written = write_layer(
        kb, match_for(kb, NOBODY, "Salicaceae"), result, tmp_path / "own", START, "Sallow Bridge community nursery"
    )
    own = load([tmp_path / "own"])
    assert len(written) == 2 and own.taxon(NOBODY)["protocols"]
    steps = [s.kind for s in Planner(own, "plain").plan(NOBODY).steps]
    assert "cold_moist" in steps and "warm_moist" not in steps
    with pytest.raises(UserError, match="not overwritten"):
        write_layer(
            kb, match_for(kb, NOBODY, "Salicaceae"), result, tmp_path / "own", START, "Sallow Bridge community nursery"
        )


def test_a_draft_on_a_known_species_only_adds_a_protocol(kb, planner, tmp_path):
    result = read(kb, filled_in(kb, a_design(kb, planner), "intermediate"))
    write_layer(
        kb, match_for(kb, "Cercis canadensis"), result, tmp_path / "own", START, "Sallow Bridge community nursery"
    )
    own = load([tmp_path / "own"])
    assert len(own.taxon("Cercis canadensis")["protocols"]) > len(kb.taxon("Cercis canadensis")["protocols"])


def test_what_only_warmth_before_cold_woke_is_given_both_whatever_its_class(kb, planner, tmp_path):
    """Where the trial leaves the class open, the seasons that it settled still make the plan; so does its draft entry."""
    result = read(kb, filled_in(kb, a_design(kb, planner, seeds=600), "deep_simple"))
    assert len(result.left["dormancy_class"]) > 1 and result.unsettled
    assert result.settled["season_order"] == "warm_cold" and "physiological_level" not in result.settled
    known = Observations(NOBODY, found=dict(result.found), left=dict(result.left))
    bench = Inquiry(kb, match_for(kb, NOBODY, "Salicaceae"), make_grower(kb.vocabulary), planner)
    write_layer(
        kb, match_for(kb, NOBODY, "Salicaceae"), result, tmp_path / "own", START, "Sallow Bridge community nursery"
    )
    drafted = Planner(load([tmp_path / "own"]), "plain").plan(NOBODY)
    for plan in (bench.plan(bench.words_for_plan(bench.conclude(known))), drafted):
        kinds = [step.kind for step in plan.steps]
        assert kinds.index("warm_moist") < kinds.index("cold_moist")
    assert drafted.dormancy["class"] != "ND", "seed that stood still in the control is not lent 'not dormant'"


def test_a_cold_that_wakes_by_itself_is_not_called_a_need_for_warmth(kb, planner):
    found = read(kb, filled_in(kb, a_design(kb, planner, seeds=600), "deep")).found
    assert found["reported_cold"] == "needed" and "reported_warm" not in found and found["season_order"] == "cold_only"


def test_curves_as_png_are_sharp_white_and_known_again(kb, planner):
    from rousewort.render import trial_png

    png = trial_png.to_png(draw(read(kb, filled_in(kb, a_design(kb, planner), "deep")), "Sallow Bridge"))
    picture = Image.open(io.BytesIO(png))
    assert picture.size == (1520, 840) and picture.text == {"Software": "Rousewort"}
    colours = {colour for _, colour in picture.convert("RGB").getcolors(1 << 20)}
    assert {(255, 255, 255), (0, 0, 0), (0, 114, 178)} <= colours


def test_a_plan_says_where_relatives_chose_among_what_the_bench_leaves(kb, planner):
    known = Observations(NOBODY, left={"dormancy_class": ("physiological", "morphophysiological")})
    bench = Inquiry(kb, match_for(kb, NOBODY, "Salicaceae"), make_grower(kb.vocabulary), planner)
    note = bench.planned(bench.conclude(known)).basis["note"]
    assert "bench leaves physiological" in note and "relatives (Salicaceae) make physiological" in note
    known.left["dormancy_class"] = ("physiological",)
    assert "relatives" not in bench.planned(bench.conclude(known)).basis["note"]


def test_a_trial_in_which_all_came_up_reports_what_was_not_needed(kb, planner, tmp_path):
    result = read(kb, filled_in(kb, a_design(kb, planner), "none"))
    write_layer(
        kb, match_for(kb, NOBODY, "Salicaceae"), result, tmp_path / "own", START, "Sallow Bridge community nursery"
    )
    protocols = load([tmp_path / "own"]).taxon(NOBODY)["protocols"]
    assert protocols and all(p["found"] == "unneeded" for p in protocols)
