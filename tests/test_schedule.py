"""Dates of plans: the laws that every schedule keeps, over made plans and over the shipped species."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.knowledge.kinds import Kinds
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import plan_json
from rousewort.schedule.dating import schedule
from rousewort.schedule.durations import emergence, lasting
from rousewort.schedule.model import BenchCalendar, Schedule
from rousewort.schedule.seasons import WorkingDays, working_days

KB = Path(__file__).parents[1] / "kb"
TREATMENTS = {path.stem: yaml.safe_load(path.read_text(encoding="utf-8")) for path in KB.glob("treatments/*.yaml")}
HABITS = {
    **yaml.safe_load((KB / "vocabulary/calendar.yaml").read_text(encoding="utf-8")),
    "kinds": Kinds(TREATMENTS, {}, {}),
}
TODAY = date(2026, 11, 25)
DAYS = st.dates(date(2020, 1, 1), date(2090, 12, 31))


def step(kind: str, turn: int = 1, removes: tuple[str, ...] = (), **amounts: dict) -> dict:
    return {"id": f"{kind}-{turn}", "kind": kind, "label": kind.replace("_", " "), "removes": list(removes), **amounts}


def span(low: int | None, use: int, high: int | None) -> dict:
    return {"low": low, "use": use, "high": high, "from": "species"}


def sow(low: int = 7, high: int = 45) -> dict:
    return {**step("sow"), "sowing": {"expect_days": {"low": low, "high": high}, "give_up": "keep the pots"}}


def plan(*steps: dict, name: str = "Inventum exemplare", alternatives: tuple = ()) -> dict:
    return {
        "format": "rousewort-plan-1", "query": name, "outcome": "plan", "taxon": {"name": name}, "cautions": [],
        "steps": list(steps), "alternatives": list(alternatives),
    }  # fmt: skip


@st.composite
def amounts(draw: st.DrawFn, most: int) -> dict:
    low, use, high = sorted(draw(st.lists(st.integers(0, most), min_size=3, max_size=3)))
    return span(draw(st.sampled_from([low, low, None])), use, draw(st.sampled_from([high, high, None])))


@st.composite
def made_plans(draw: st.DrawFn, outside: bool | None = None) -> dict:
    steps = []
    for turn in range(draw(st.integers(0, 4))):
        kind, unit, most = draw(
            st.sampled_from(
                [
                    ("warm_moist", "days", 200),
                    ("cold_moist", "days", 200),
                    ("soak", "hours", 48),
                    ("hot_water", "minutes", 30),
                ]
            )
        )
        steps.append(step(kind, turn + 1, **{unit: draw(amounts(most))}))
    if draw(st.booleans()) if outside is None else outside:
        removes = draw(st.sampled_from([("undergrown_embryo",), ("needs_cold",)]))
        last = step("outdoor_winter", removes=removes, days=draw(amounts(400)))
    else:
        low, high = sorted(draw(st.lists(st.integers(1, 120), min_size=2, max_size=2)))
        last = sow(low, high)
    return plan(step("inspect"), *steps, last)


def check_order(made: Schedule) -> None:
    """Steps follow one another; within each, earliest, planned and latest stand in order; looks fall inside it."""
    for before, after in zip(made.steps, made.steps[1:], strict=False):
        assert before.planned <= after.start
    for one in made.steps:
        assert one.start <= one.earliest <= one.planned
        assert one.latest is None or one.planned <= one.latest
        looks = [check.day for check in one.checks]
        assert looks == sorted(set(looks))
        assert all(one.start < day < one.planned for day in looks)
    for window in (made.sown, made.seedlings):
        assert window is not None
        assert window.earliest <= window.planned
        assert window.latest is None or window.planned <= window.latest


@given(made_plans(), DAYS, st.booleans())
def test_steps_keep_their_order_and_never_overlap(made_plan: dict, start: date, south: bool) -> None:
    made = schedule(made_plan, HABITS, start=start, south=south)
    assert [s.id for s in made.steps] == [s["id"] for s in made_plan["steps"]]
    assert made.start >= start
    check_order(made)


@given(made_plans(), DAYS, st.booleans(), st.booleans())
def test_backward_then_forward_is_the_same_schedule(made_plan: dict, wanted: date, first: bool, south: bool) -> None:
    given_day = {"last_frost": wanted} if first else {"wanted": wanted}
    back = schedule(made_plan, HABITS, south=south, **given_day)
    assert schedule(made_plan, HABITS, start=back.start, south=south) == replace(back, notes=())
    check_order(back)


@given(made_plans(outside=False), DAYS)
def test_backward_meets_the_day_exactly_where_no_season_is_in_the_way(made_plan: dict, day: date) -> None:
    assert schedule(made_plan, HABITS, wanted=day).seedlings.planned == day
    assert schedule(made_plan, HABITS, last_frost=day).seedlings.earliest == day


@given(made_plans(outside=True), DAYS, st.booleans())
def test_sowing_outside_falls_in_its_season_and_not_after_the_day_wanted(
    made_plan: dict, day: date, south: bool
) -> None:
    back = schedule(made_plan, HABITS, wanted=day, south=south)
    assert back.seedlings.planned <= day
    removes = made_plan["steps"][-1]["removes"]
    months = {5, 6} if "undergrown_embryo" in removes else {9, 10, 11}
    months = {(m + 5) % 12 + 1 for m in months} if south else months
    assert back.sown.planned.month in months
    assert schedule(made_plan, HABITS, start=day, south=south).sown.planned.month in months


@given(made_plans(), DAYS, st.data())
def test_an_event_early_or_late_moves_all_that_follows_and_nothing_before(
    made_plan: dict, start: date, data: st.DataObject
) -> None:
    planned = schedule(made_plan, HABITS, start=start, ended={})
    i = data.draw(st.integers(0, len(planned.steps) - 2))
    moved = data.draw(st.integers(0, 300))
    ended = planned.steps[i].start + timedelta(moved)
    made = schedule(made_plan, HABITS, start=start, ended={planned.steps[i].id: ended})
    check_order(made)
    assert [(s.start, s.planned) for s in made.steps[:i]] == [(s.start, s.planned) for s in planned.steps[:i]]
    assert made.steps[i].planned == ended and made.steps[i].ended
    following = made.steps[i + 1]
    assert following.start == ended or (following.kind == "outdoor_winter" and following.start > ended)
    assert not any(s.ended for s in made.steps[i + 1 :])


@given(made_plans(), DAYS, st.integers(0, 900))
def test_what_should_be_over_but_is_not_goes_on_until_today(made_plan: dict, start: date, later: int) -> None:
    today = start + timedelta(later)
    made = schedule(made_plan, HABITS, start=start, ended={}, today=today, past=True)
    check_order(made)
    assert all(s.planned >= today for s in made.steps)


def test_weekly_looks_become_looks_for_the_end_from_the_shortest_length_on() -> None:
    made = schedule(plan(step("cold_moist", days=span(42, 60, 90)), sow()), HABITS, start=date(2027, 1, 1))
    checks = made.step("cold_moist-1").checks
    since = [(check.day - made.start).days for check in checks]
    assert since == [7, 14, 21, 28, 35, 42, 49, 56]
    assert [check.ready for check in checks] == [day >= 42 for day in since]


def test_a_look_just_before_the_first_that_matters_is_left_out() -> None:
    made = schedule(plan(step("cold_moist", days=span(37, 60, 90)), sow()), HABITS, start=date(2027, 1, 1))
    assert [(c.day - made.start).days for c in made.steps[0].checks] == [7, 14, 21, 28, 37, 44, 51, 58]


@pytest.mark.parametrize(("hours", "nights"), [(0.5, 0), (12, 0), (12.5, 1), (24, 1), (36, 1), (48, 2)])
def test_a_soak_over_twelve_hours_is_over_the_next_day(hours: float, nights: int) -> None:
    assert lasting(step("soak", hours=span(None, hours, None)), 12).use == nights


def test_minutes_are_over_the_same_day() -> None:
    assert lasting(step("acid", minutes=span(30, 60, 120)), 12) == lasting(step("clean"), 12)


def test_an_open_end_stays_open() -> None:
    made = schedule(plan(step("cold_moist", days=span(30, 60, None)), sow()), HABITS, start=TODAY)
    assert made.steps[0].latest is None and made.sown.latest is None


# Out of reach


def far(day: date, *steps: dict, **more: object) -> Schedule:
    return schedule(plan(*steps, **more), HABITS, wanted=day, today=TODAY)


def test_a_day_out_of_reach_gives_the_nearest_and_when_it_had_to_begin() -> None:
    made = far(TODAY + timedelta(60), step("cold_moist", days=span(60, 90, 120)), sow(10, 30))
    assert made.start == TODAY
    assert made.missed.begun_by == TODAY + timedelta(60 - 25 - 90)
    assert made.missed.nearest == made.seedlings.planned == TODAY + timedelta(90 + 25)
    assert made.missed.at_best == TODAY + timedelta(60 + 10)
    later = next(way for way in made.missed.others if way.gain == "later")
    assert later.seedlings == (TODAY + timedelta(60)).replace(year=2028) and later.start >= TODAY


def test_a_later_season_is_one_for_which_the_plan_can_still_be_begun() -> None:
    """A plan of over a year: the same day of the next year is out of reach as well."""
    long = [step("warm_moist", days=span(200, 250, 300)), step("cold_moist", 2, days=span(150, 200, 250)), sow()]
    made = far(TODAY + timedelta(20), *long)
    later = made.missed.others[-1]
    assert later.gain == "later" and later.start >= TODAY
    assert later.seedlings == (TODAY + timedelta(20)).replace(year=2028)


def test_a_way_that_is_no_sooner_and_not_outside_is_not_offered() -> None:
    other = {
        "when": {"without": ["blade"]},
        "text": "Without a blade: abrade.",
        "steps": [step("cold_moist", days=span(60, 90, 120)), sow()],
    }
    quicker = {
        "when": {"have": ["x"]},
        "text": "With x: sow.",
        "steps": [step("cold_moist", days=span(20, 50, 60)), sow()],
    }
    bed = {
        "when": {"without": ["fridge"]},
        "text": "Without a fridge: sow outside.",
        "steps": [step("outdoor_winter", days=span(90, 150, 200))],
    }
    made = far(
        TODAY + timedelta(40), step("cold_moist", days=span(60, 90, 120)), sow(), alternatives=(other, bed, quicker)
    )
    assert [way.gain for way in made.missed.others] == ["sooner", "outside", "later"]


@given(made_plans(), st.integers(0, 700), st.booleans())
def test_whatever_is_offered_instead_begins_today_or_later(made_plan: dict, days: int, first: bool) -> None:
    day = {"last_frost" if first else "wanted": TODAY + timedelta(days)}
    missed = schedule(made_plan, HABITS, today=TODAY, **day).missed
    if missed:
        assert missed.nearest > missed.wanted or made_plan["steps"][-1]["kind"] == "outdoor_winter"
        assert missed.at_best <= missed.nearest and missed.begun_by < TODAY
        assert missed.others[-1].gain == "later"
        assert all(
            way.start >= TODAY and (way.gain != "in time" or way.seedlings <= missed.wanted or first)
            for way in missed.others
        )


def test_another_way_that_still_comes_in_time_stands_first() -> None:
    quick = {
        "when": {"have": ["gibberellic_acid"], "without": [], "allow": []},
        "text": "With gibberellic acid: sow.",
        "steps": [sow(5, 9)],
    }
    made = far(TODAY + timedelta(40), step("cold_moist", days=span(60, 90, 120)), sow(), alternatives=(quick,))
    assert made.missed.others[0].reaches and made.missed.others[0].text.startswith("With gibberellic acid")
    assert not any(way.reaches for way in made.missed.others[1:])


def test_a_way_that_needs_a_danger_allowed_is_never_offered_to_save_time() -> None:
    acid = {
        "when": {"allow": ["acid"], "have": [], "without": []},
        "text": "If strong acid is allowed: sow.",
        "steps": [sow(5, 9)],
    }
    made = far(TODAY + timedelta(40), step("cold_moist", days=span(60, 90, 120)), sow(), alternatives=(acid,))
    assert not any("acid" in way.text for way in made.missed.others)


def test_a_day_within_reach_is_not_missed() -> None:
    made = far(TODAY + timedelta(400), step("cold_moist", days=span(60, 90, 120)), sow())
    assert made.missed is None and made.start > TODAY


# Bad input


@pytest.mark.parametrize(
    ("dates", "says"),
    [
        ({}, "none of them"),
        ({"start": TODAY, "wanted": TODAY}, "start and wanted"),
        ({"start": TODAY - timedelta(1)}, "past"),
        ({"wanted": TODAY - timedelta(1)}, "past"),
        ({"last_frost": date(1066, 10, 14)}, "no year"),
        ({"wanted": TODAY + timedelta(9), "ended": {"sow-1": TODAY}}, "give its start"),
        ({"start": TODAY, "ended": {"dance-1": TODAY}}, "'dance-1' is no step"),
        ({"start": TODAY, "ended": {"sow-1": TODAY + timedelta(3)}}, "still to come"),
    ],
)
def test_dates_that_cannot_be_are_refused_in_words(dates: dict, says: str) -> None:
    with pytest.raises(UserError, match=says):
        schedule(plan(step("inspect"), sow()), HABITS, today=TODAY, **dates)


def test_a_step_cannot_have_ended_before_it_began() -> None:
    both = {"cold_moist-1": date(2027, 3, 1), "sow-1": date(2027, 2, 1)}
    with pytest.raises(UserError, match="before it began"):
        schedule(plan(step("cold_moist", days=span(1, 2, 3)), sow()), HABITS, start=date(2027, 1, 1), ended=both)


def test_several_faults_are_said_at_once() -> None:
    with pytest.raises(UserError) as caught:
        schedule(
            plan(step("inspect"), sow()), HABITS, start=date(1, 1, 1), wanted=TODAY, ended={"a": TODAY}, today=TODAY
        )
    assert len(caught.value.problems) >= 3


def test_a_plan_without_steps_is_refused() -> None:
    with pytest.raises(UserError, match="no steps"):
        schedule({**plan(), "outcome": "laboratory"}, HABITS, start=TODAY)


def test_a_file_that_is_no_plan_is_refused() -> None:
    with pytest.raises(UserError, match="format"):
        schedule({"format": "other"}, HABITS, start=TODAY)


# The bench


@given(st.lists(made_plans(), min_size=1, max_size=4), DAYS)
def test_one_bench_holds_the_days_of_all_in_order(plans: list[dict], start: date) -> None:
    each = [schedule(p, HABITS, start=start, lot=str(i)) for i, p in enumerate(plans)]
    bench = BenchCalendar(tuple(each))
    days = bench.days()
    assert [d.day for d in days] == sorted(d.day for d in days)
    assert len(days) == sum(len(BenchCalendar((one,)).days()) for one in each)
    assert bench.between(start, start) == [d for d in days if d.day == start]


# The shipped species


def test_a_stored_plan_is_dated_as_the_plan_itself(
    planner: Planner, kb: KnowledgeBase, some_species: list[str]
) -> None:
    habits, dated = kb.vocabulary.calendar, 0
    for name in some_species:
        made = planner.plan(name)
        if not made.steps:
            continue
        stored = json.loads(json.dumps(plan_json(made)))
        direct = schedule(made, habits, start=TODAY, lot="a")
        assert schedule(stored, habits, start=TODAY, lot="a") == direct
        check_order(direct)
        dated += 1
    assert dated > len(some_species) / 2


def test_every_caution_of_a_step_travels_with_its_dates(planner: Planner, kb: KnowledgeBase) -> None:
    made = planner.plan("Taxus baccata")
    dated = schedule(made, kb.vocabulary.calendar, start=TODAY)
    assert [s.cautions for s in dated.steps] == [s.cautions for s in made.steps]
    assert dated.cautions == made.cautions and any("Poisonous" in text for text in dated.cautions)


def test_without_a_fridge_the_bed_outside_waits_for_its_season(planner: Planner, kb: KnowledgeBase) -> None:
    made = planner.plan("Viburnum prunifolium", make_grower(kb.vocabulary, without=["fridge"]))
    dated = schedule(made, kb.vocabulary.calendar, start=TODAY)
    assert dated.steps[-1].kind == "outdoor_winter"
    assert dated.sown.planned.month in (9, 10, 11) and dated.notes and dated.start > TODAY


def test_seasons_of_the_table_name_real_obstacles(kb: KnowledgeBase) -> None:
    rows = kb.vocabulary.calendar["sow_outside"]["seasons"]
    assert all(set(row.get("removes", ())) <= set(kb.vocabulary.obstacles) for row in rows)
    assert "removes" not in rows[-1]  # every step outside has a season


@given(made_plans(outside=False), DAYS)
def test_no_seedling_shows_before_the_last_frost_even_if_every_step_ends_as_early_as_it_may(
    made_plan: dict, frost: date
) -> None:
    """Reckoned again here, from the plan alone."""
    made = schedule(made_plan, HABITS, last_frost=frost)
    hours = HABITS["overnight"]["hours"]
    before = sum(lasting(one, hours).low for one in made_plan["steps"][:-1])
    expected = made_plan["steps"][-1]["sowing"]["expect_days"]
    assert made.start + timedelta(before + expected["low"]) >= frost
    assert made.seedlings is not None and made.seedlings.earliest >= frost


@given(made_plans(), DAYS, st.booleans())
def test_early_likely_and_latest_on_one_page_are_of_one_reckoning(made_plan: dict, start: date, south: bool) -> None:
    """What is sown early comes early: the days of seedlings start from the days of sowing beside them."""
    made = schedule(made_plan, HABITS, start=start, south=south)
    assert made.sown is not None and made.seedlings is not None
    assert made.sown.earliest <= made.sown.planned and made.seedlings.earliest <= made.seedlings.planned
    span = emergence(made_plan["steps"][-1], HABITS)
    assert span is not None and made.seedlings.earliest == made.sown.earliest + timedelta(span.low)
    if made.seedlings.latest:
        assert made.sown.latest is not None and made.seedlings.planned <= made.seedlings.latest


@given(made_plans(), DAYS, st.sets(st.integers(0, 6), min_size=1), st.sampled_from(("start", "wanted", "last_frost")))
def test_steps_begin_and_looks_fall_on_the_days_when_somebody_is_there(
    made_plan: dict, day: date, days: set[int], what: str
) -> None:
    made = schedule(made_plan, HABITS, working=WorkingDays(days), **{what: day})
    assert all(one.start.weekday() in days for one in made.steps[1:])
    assert all(look.day.weekday() in days for one in made.steps for look in one.checks)
    check_order(made)
    if what == "wanted":
        assert made.seedlings.planned <= day  # type: ignore[union-attr]  # made plans sow
    if what == "last_frost" and made_plan["steps"][-1]["kind"] != "outdoor_winter":
        assert made.seedlings.earliest >= day  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("text", "days"),
    [("mon,thu", {0, 3}), ("Monday Thursdays", {0, 3}), ("", set(range(7))), (None, set(range(7))), ("su", {6})],
)
def test_days_of_the_week_are_read_as_people_write_them(text: str | None, days: set[int]) -> None:
    assert working_days(text).days == days


def test_what_is_no_day_of_the_week_is_refused_by_name() -> None:
    with pytest.raises(UserError, match="'lundi' is no day of the week"):
        working_days("mon, lundi")
