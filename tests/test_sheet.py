"""The sheet that `rousewort plan` prints: short enough for one screen, and nothing that matters left out or said twice."""

from __future__ import annotations

import re
import statistics
from collections.abc import Iterator
from typing import Any

import pytest
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.sheet import SENTENCE, Sheet, make_sheet
from rousewort.planning.steps import Step
from rousewort.planning.units import US, converted, fahrenheit, inches
from rousewort.render import plan_text, sheet_text
from rousewort.render.terminal import Page

CARE = 4  # lines that the cautions may take, but for those that are told in full


@pytest.fixture(scope="module")
def sheets(kb: KnowledgeBase, plans: dict[str, Plan]) -> dict[str, Sheet]:
    return {name: make_sheet(kb, plan) for name, plan in plans.items()}


def printed(sheet: Sheet, width: int = 80) -> str:
    return sheet_text.render(sheet, Page(width=width))


def test_a_sheet_fits_one_screen(sheets: dict[str, Sheet]) -> None:
    """Half of them on 42 lines, nineteen of twenty on 54, none over 64."""
    lines = sorted(printed(sheet).count("\n") for sheet in sheets.values())
    assert statistics.median(lines) <= 42
    assert lines[int(len(lines) * 0.95)] <= 54
    assert lines[-1] <= 64


def test_a_step_takes_four_lines_and_all_cautions_take_four(sheets: dict[str, Sheet]) -> None:
    for name, sheet in sheets.items():
        lines = printed(sheet).splitlines()
        starts = [i for i, line in enumerate(lines) if re.match(r"\d  [A-Z]", line)]
        for start in starts:
            end = next(i for i in range(start + 1, len(lines) + 1) if i == len(lines) or not lines[i].startswith("   "))
            assert end - start <= 4, (name, lines[start:end])
        care = [i for i, line in enumerate(lines) if line.startswith("Care")]
        for start in care:
            end = next((i for i in range(start + 1, len(lines)) if not lines[i].startswith("    ")), len(lines))
            assert end - start <= CARE, (name, lines[start:end])


def sentences(sheet: Sheet) -> Iterator[str]:
    texts = [*sheet.read_as, *sheet.lead, *sheet.ground, *(sure.claim for sure in sheet.sure)]
    texts += [told.text for act in sheet.acts for told in act.told]
    texts += [told.text for told in sheet.expect]
    texts += [*([sheet.follows.text] if sheet.follows else ()), *sheet.if_nothing, *sheet.also]
    for text in texts:
        yield from SENTENCE.split(text)


def test_no_sentence_stands_twice_on_a_sheet(sheets: dict[str, Sheet]) -> None:
    for name, sheet in sheets.items():
        said = list(sentences(sheet))
        assert len(said) == len(set(said)), (name, sorted({s for s in said if said.count(s) > 1}))


def named_cautions(told: Any) -> Iterator[tuple[str, str]]:
    """(text, hazard) of every caution in a treatment, whatever it is laid over."""
    if isinstance(told, dict):
        if "hazard" in told and "text" in told:
            yield told["text"], told["hazard"]
        for part in told.values():
            yield from named_cautions(part)
    elif isinstance(told, list):
        for part in told:
            yield from named_cautions(part)


def own_hazards(kb: KnowledgeBase, step: Step) -> set[str]:
    return {hazard for text, hazard in named_cautions(kb.treatments[step.kind]) if text in step.cautions}


def hazards_by_hand(kb: KnowledgeBase, plan: Plan) -> set[str]:
    """Every hazard that a caution shown at a step, or a rule that fired, names."""
    of_rules = {then["hazard"] for then, _ in plan.findings.cautions if "hazard" in then}
    return of_rules.union(*(own_hazards(kb, step) for step in plan.steps))


def test_each_hazard_of_the_steps_is_told_once_and_marked_where_it_is(
    kb: KnowledgeBase, plans: dict[str, Plan], sheets: dict[str, Sheet]
) -> None:
    for name, sheet in sheets.items():
        if not sheet.acts:
            continue
        told = [hazard.name for hazard in sheet.hazards]
        assert len(told) == len(set(told)), name
        assert set(told) == hazards_by_hand(kb, plans[name]), name
        marks = {mark for act in sheet.acts for mark in act.marks}
        assert marks == {hazard.mark for hazard in sheet.hazards} - {""}, name
        for step, act in zip(plans[name].steps, sheet.acts, strict=True):
            letters = {hazard.name: hazard.mark for hazard in sheet.hazards}
            assert {letters[word] for word in own_hazards(kb, step)} <= set(act.marks), (name, step.id)


def test_a_poisonous_plant_says_so_and_what_is_poisonous_in_it(sheets: dict[str, Sheet]) -> None:
    (poison,) = [hazard.text for hazard in sheets["Convallaria majalis"].hazards if hazard.name == "poison"]
    assert "Heart poisons in berries and seeds" in poison and "food fridge" in poison
    assert not [hazard for hazard in sheets["Cercis canadensis"].hazards if hazard.name == "poison"]


def test_acid_is_told_in_full_with_what_could_be_done_without(kb: KnowledgeBase, planner: Planner) -> None:
    grower = make_grower(kb.vocabulary, allow=["acid"], without=["blade", "sandpaper", "kettle"])
    plan = planner.plan("Gleditsia triacanthos", grower)
    text = " ".join(printed(make_sheet(kb, plan)).split())
    (acid,) = [step for step in plan.steps if step.kind == "acid"]
    for caution in acid.cautions:
        assert text.count(caution) == 1, caution
    assert "With sandpaper: soak, then abrade the coat, then sow." in text


def test_the_whole_plan_is_at_full(kb: KnowledgeBase, plans: dict[str, Plan], some_species: list[str]) -> None:
    """Every instruction, caution, reason, alternative, refusal and work that the plan holds."""
    for name in some_species:
        plan = plans[name]
        text = " ".join(plan_text.render(plan, Page()).split())
        for step in plan.steps:
            for said in (
                *step.do,
                *step.watch,
                step.until,
                step.success,
                *step.cautions,
                *(r.text for r in step.because),
            ):
                assert " ".join(said.split()) in text, (name, step.id, said)
        for said in (*plan.cautions, *plan.advice, *(a.text for a in plan.alternatives)):
            assert " ".join(said.split()) in text, (name, said)
        for item in (*plan.ruled_out, *plan.unmet):
            assert item["because"].rstrip(".") in text, (name, item)
        for source in plan.sources:
            assert " ".join(source["citation"].split()) in text, (name, source["id"])


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_a_sheet_fits_any_terminal(sheets: dict[str, Sheet], some_species: list[str], width: int) -> None:
    for name in some_species:
        for line in printed(sheets[name], width).splitlines():
            assert len(line) <= width or " " not in line.strip(), (name, line)
            assert line == line.rstrip(), (name, line)
            assert "{" not in line and "None" not in line, (name, line)


def test_the_year_strip_shows_each_season_as_long_as_it_lasts(sheets: dict[str, Sheet]) -> None:
    """Two seasons are told apart by their signs, not by colour."""
    sheet = sheets["Convallaria majalis"]
    _, bars, axis = list(sheet_text.strip_lines(sheet.strip, 80))[:3]
    runs = [(m[0][0], len(m[0])) for m in re.finditer(r"(\S)\1*", bars)]
    days = [(span.sign, span.days) for span in sheet.strip if span.days]
    assert len({sign for sign, _ in days}) == 3
    merged: list[list[object]] = []
    for sign, length in days:  # neighbours of one sign run into each other
        if merged and merged[-1][0] == sign:
            merged[-1][1] += length  # type: ignore[operator]
        else:
            merged.append([sign, length])
    assert [sign for sign, _ in runs] == [sign for sign, _ in merged]
    for (_, columns), (_, length) in zip(runs, merged, strict=True):
        assert abs(columns - length / 7) <= 1  # type: ignore[operator]
    assert axis.startswith("week")


def test_works_are_numbered_where_they_are_said_and_listed_at_the_end(sheets: dict[str, Sheet]) -> None:
    for name, sheet in sheets.items():
        named = {number for act in sheet.acts for told in act.told for number in told.works}
        named |= {n for told in (*sheet.expect, *([sheet.follows] if sheet.follows else ())) for n in told.works}
        assert named == {work.number for work in sheet.works} == set(range(1, len(sheet.works) + 1)), name


def test_units_of_another_country_are_rounded_as_instruments_show_them(
    kb: KnowledgeBase, plans: dict[str, Plan]
) -> None:
    assert [fahrenheit(c) for c in (-18, 0, 3, 4, 20, 80)] == [0, 32, 37, 39, 68, 176]
    assert [inches(mm) for mm in (0, 2, 3, 6, 12, 25, 50, 300)] == ["0", "1/16", "⅛", "¼", "½", "1", "2", "12"]
    assert converted("60 days at 3 °C (2–4), then 25/15 °C", US) == "60 days at 37 °F (36–39), then 77/59 °F"
    assert converted("20 °C by day and 10 °C by night; 10–20 °C", US) == "68 °F by day and 50 °F by night; 50–68 °F"
    assert converted("days about 10 °C warmer than nights", US) == "days about 18 °F warmer than nights"
    assert converted("root 3 cm, 6 mm deep, 2–4 mm", US) == "root 1⅛ in, ¼ in deep, 1/16–⅛ in"
    text = printed(make_sheet(kb, plans["Cercis canadensis"], US))
    assert "37 °F (36–39)" in text and "¼ in deep" in text and "°C" not in text and " mm" not in text


def test_a_split_lot_and_what_is_left_undone_stand_on_the_sheet(
    plans: dict[str, Plan], sheets: dict[str, Sheet]
) -> None:
    split = [name for name, plan in plans.items() if plan.splits]
    for name in split:
        assert any(text.startswith("Split the lot") for text in sheets[name].also), name
    undone = [name for name, plan in plans.items() if plan.unmet and plan.outcome == "plan"]
    assert all(any(text.startswith("Left undone") for text in sheets[name].also) for name in undone)


def test_what_own_works_say_against_a_step_and_when_it_is_done_stand_at_it(
    plans: dict[str, Plan], sheets: dict[str, Sheet]
) -> None:
    met = 0
    for name, plan in plans.items():
        for step, act in zip(plan.steps, sheets[name].acts, strict=True):
            told = " ".join(told.text for told in act.told)
            assert not step.only_if or f"Only if {step.only_if}." in told or "as in step" in told, (name, step.id)
            assert not step.against or "Against it: " in told or "as in step" in told, (name, step.id)
            met += bool(step.against)
    assert met > 20


def test_a_sheet_says_whose_protocol_it_is(plans: dict[str, Plan], sheets: dict[str, Sheet]) -> None:
    for name, plan in plans.items():
        follows = sheets[name].follows
        if plan.outcome == "plan":
            assert follows is not None, name
        if plan.follows and plan.follows["sources"]:
            assert follows is not None and follows.works, name
            shown = f"{plan.follows['germinated_pct']} % came up"
            assert plan.follows["germinated_pct"] is None or shown in follows.text, name


def test_each_measured_claim_has_its_figure_and_ground(plans: dict[str, Plan], sheets: dict[str, Sheet]) -> None:
    for name, plan in plans.items():
        text = " ".join(printed(sheets[name]).split())
        for claim in plan.claims:
            if claim.right is not None and claim.tried is not None and claim.tried >= 20:
                assert f"right in {round(claim.right * claim.tried)} of {claim.tried} (" in text, (name, claim)
            elif claim.right is not None:
                assert f"right in {round(claim.right * 100)} % (" in text and f"only {claim.tried} tried" in text, (
                    name,
                    claim,
                )


def test_where_no_plan_can_be_made_the_sheet_says_what_to_do(plans: dict[str, Plan], sheets: dict[str, Sheet]) -> None:
    for name, plan in plans.items():
        if plan.outcome != "plan":
            text = " ".join(printed(sheets[name]).split())
            for said in plan.advice:
                assert " ".join(said.split()) in text, (name, said)
