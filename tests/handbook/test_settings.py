"""The planner on the page gives, for every choice a reader can make, what the command line gives."""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest
from rousewort.grower import make_grower
from rousewort.handbook.build import Built
from rousewort.handbook.settings import settings
from rousewort.plan import Planner
from rousewort.render.plan_json import plan_json
from rousewort.schedule import schedule


def grower_of(planner: Planner, needs: tuple[str, ...], number: int):
    """The grower of a choice, made as the command line makes one."""
    equipment = planner.kb.vocabulary.files["equipment"]
    had = {need for bit, need in enumerate(needs) if number >> bit & 1}
    gated = {need for need in needs if equipment[need].get("permission")}
    assumed = {need for need in needs if equipment[need]["assumed"]}
    return make_grower(planner.kb.vocabulary, have=had - gated - assumed, without=assumed - had, allow=had & gated)


def test_every_choice_leads_to_the_plan_that_the_command_line_makes(planner: Planner, chosen: list[str]) -> None:
    compared = 0
    for name in chosen:
        made = settings(planner, planner.plan(name))
        assert len(made.table) == 2 ** len(made.needs)
        for number, place in enumerate(made.table):
            wanted = plan_json(planner.plan(name, grower_of(planner, made.needs, number)))
            shown = made.results[place].plan
            for key in ("outcome", "steps", "unmet", "advice"):
                assert shown[key] == wanted[key], (name, number, key)
            compared += 1
    assert compared > 200


def test_the_usual_choice_is_the_plan_on_the_page(planner: Planner, chosen: list[str]) -> None:
    for name in chosen:
        made = settings(planner, planner.plan(name))
        assert made.results[made.table[made.usual]].plan["steps"] == plan_json(planner.plan(name))["steps"]


@pytest.mark.parametrize("start", [date(2026, 9, 30), date(2028, 2, 20)])
def test_days_added_to_any_date_are_those_of_the_calendar(planner: Planner, chosen: list[str], start: date) -> None:
    habits = planner.kb.vocabulary.files["calendar"]
    dated = 0
    for name in chosen:
        made = settings(planner, planner.plan(name))
        for number, place in enumerate(made.table):
            days = made.results[place].days
            plan = planner.plan(name, grower_of(planner, made.needs, number))
            outside = any(step.kind == "outdoor_winter" for step in plan.steps)
            assert (days is None) == (outside or not plan.steps)
            if days is None:
                continue
            forward = schedule(plan, habits, start=start)
            backward = schedule(plan, habits, wanted=start)
            assert [start + timedelta(row["start"]) for row in days] == [step.start for step in forward.steps]
            assert forward.seedlings is not None and start + timedelta(days[-1]["end"]) == forward.seedlings.planned
            assert start - timedelta(days[-1]["end"]) == backward.start
            dated += 1
    assert dated > 100


def test_no_choice_shows_acid_unless_it_is_allowed(planner: Planner, chosen: list[str]) -> None:
    shown = 0
    for name in chosen:
        made = settings(planner, planner.plan(name))
        for number, place in enumerate(made.table):
            acid = any(step["kind"] == "acid" for step in made.results[place].plan["steps"])
            allowed = "acid" in made.needs and number >> made.needs.index("acid") & 1
            assert allowed or not acid
            shown += acid
    assert shown, "no species of the sample is ever treated with acid: choose others"


def test_the_file_beside_the_page_holds_them(handbook: Built, planner: Planner) -> None:
    text = (handbook.folder / "species/cercis-canadensis.plans.js").read_text("utf-8")
    data = json.loads(text.removeprefix("rousewortPlans(").rstrip().removesuffix(");"))
    made = settings(planner, planner.plan("Cercis canadensis"))
    assert data["table"] == list(made.table) and [need["id"] for need in data["needs"]] == list(made.needs)
    assert [len(result["steps"]) for result in data["results"]] == [
        len(result.plan["steps"]) for result in made.results
    ]
