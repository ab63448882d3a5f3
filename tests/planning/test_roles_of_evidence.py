"""A reason shows the works that say it: on this plant, on a relative that is named, in general."""

from __future__ import annotations

import random

import pytest
from rousewort.knowledge.holdout import sources_of
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.evidence import ROLES
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.plan_json import plan_json
from rousewort.planning.reasons import Reason


@pytest.fixture(scope="module")
def reasons(plans: dict[str, Plan]) -> list[tuple[str, Reason]]:
    """300 reasons of steps drawn from the plans of all species."""
    every = [(name, reason) for name, plan in plans.items() for step in plan.steps for reason in step.because]
    return random.Random(15).sample(every, min(300, len(every)))


def test_no_work_stands_under_a_plant_whose_entry_does_not_cite_it(
    reasons: list[tuple[str, Reason]], kb: KnowledgeBase
) -> None:
    seen = dict.fromkeys(ROLES, 0)
    for name, reason in reasons:
        for record in reason.evidence:
            seen[record.role] += record.source is not None
            if record.role == "this plant":
                assert record.name == name, reason
            if record.role != "general" and record.source:
                own_row = record.role == "this plant" and record.source in kb.store.shared("classed_from")
                of_genus = record.source in kb.store.shared("of_genera_from")
                assert (
                    record.source in sources_of(kb.taxon(str(record.name)) or {})
                    or (own_row and name in kb.store.shared("classed"))
                    or (of_genus and kb.store.of_genus(str(record.name)))
                ), (name, record)
    assert all(seen.values()), seen


def test_the_works_of_a_reason_are_those_of_its_records_nearest_first(reasons: list[tuple[str, Reason]]) -> None:
    for _, reason in reasons:
        roles = [ROLES.index(record.role) for record in reason.evidence]
        assert roles == sorted(roles)
        assert list(reason.sources) == list(dict.fromkeys(r.source for r in reason.evidence if r.source))


def test_reports_on_a_plant_are_named_only_where_a_work_on_it_reports(plans: dict[str, Plan]) -> None:
    said = 0
    for name, plan in plans.items():
        for reason in {reason for step in plan.steps for reason in step.because}:
            if "Reports on" in reason.text:
                said += 1
                own = [r for r in reason.evidence if r.role == "this plant" and r.of_report]
                assert any(record.source for record in own), (name, reason.text)
    assert said > 30


def test_a_sentence_on_relatives_names_them_and_one_on_practice_says_growers(
    reasons: list[tuple[str, Reason]], plans: dict[str, Plan]
) -> None:
    every = [(n, r) for n, plan in plans.items() for step in plan.steps for r in step.because]
    kin = [(n, r) for n, r in every if r.text.startswith("In relatives of")]
    practice = [(n, r) for n, r in every if r.text.startswith("Growers of")]
    assert kin and practice
    for name, reason in kin:
        named = [str(r.name) for r in reason.evidence if r.role == "relative" and r.of_report]
        assert any(relative in reason.text for relative in named), (name, reason.text)
    for name, reason in practice:
        told = [r for r in reason.evidence if r.role == "this plant" and r.of_report]
        assert not any(record.source for record in told), (name, reason.text)


def test_nicking_a_redbud_shows_what_is_known_of_redbuds_and_no_bean(planner: Planner) -> None:
    (step,) = [s for s in planner.plan("Cercis canadensis").steps if s.kind == "nick"]
    (nicked,) = [r for r in step.because if r.rule.startswith("nicking-proven")]
    own = [r for r in nicked.evidence if r.role == "this plant"]
    assert {r.source for r in own} & {"university-kentucky-department-horticulture-kentucky-2"}
    assert [r.name for r in nicked.evidence if r.role == "relative"] == ["Cercis chinensis"]
    assert "winged-bean-2022" not in nicked.sources
    assert nicked.text.startswith("In relatives of Cercis canadensis (Cercis chinensis), reports find")


def test_a_hidden_relative_lends_no_record(kb: KnowledgeBase) -> None:
    plan = Planner(kb.without(species="Cercis chinensis"), "plain").plan("Cercis canadensis")
    names = {record.name for step in plan.steps for reason in step.because for record in reason.evidence}
    assert "Cercis chinensis" not in names


def test_works_of_a_plan_stand_nearest_first_and_say_whom_they_are_about(planner: Planner) -> None:
    plan = planner.plan("Cercis canadensis")
    works = plan_json(plan)["sources"]
    roles = [ROLES.index(work["role"]) for work in works]
    assert roles == sorted(roles) and set(roles) == {0, 1, 2}
    for work in works:
        if work["role"] == "this plant":
            assert "Cercis canadensis" in work["about"]


def test_what_was_seen_at_the_bench_is_no_report(planner: Planner) -> None:
    plan = planner.plan("Cercis canadensis", measurements={"coat_water": "stops"})
    seen = [r for step in plan.steps for reason in step.because for r in reason.evidence if r.kind == "observation"]
    assert seen and all(r.source is None and r.role == "this plant" for r in seen)
