"""What a grower would do, for every species: a change of rule, treatment, entry or code shows here what it did.

plans.txt holds the plan of every species, alternatives.txt what else could be done, settings.txt some species for other
growers and lots, claims.txt what each source is taken to say, legend.txt every text by its code, json/ a dozen plans
whole. Rewrite them with `pytest tests/golden --update-lines` (or ROUSEWORT_UPDATE=1), then read the diff.
"""

from __future__ import annotations

import copy
import json
import os
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from golden_lines import (  # type: ignore[import-not-found]
    Legend,
    alternative_lines,
    as_text,
    blocks,
    claim_lines,
    difference,
    plan_lines,
    setting_lines,
)
from rousewort.evaluation.agreement import claims
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.plan_json import plan_json

HERE = Path(__file__).parent
HEADS = {
    "plans.txt": """What a plan says and does, for every species and a grower with the usual things. Codes: legend.txt.
Species: class; what it rests on, how sure; cautions; what is refused; then the steps in order, an optional one in brackets:
kind/texts, what to use (range, where it is from), depth, light, seedlings expected, what it removes, its cautions.""",
    "alternatives.txt": """What else could be done, and what would have to be different. =nick: as in the plan, to the letter.""",
    "settings.txt": """The plans of some plants for other growers and lots, as far as they differ. (…): what the plan says about its steps.
To watch another plant, write its name here on a line of its own, with `: ` after it, and rewrite the file.""",
    "claims.txt": "What each source of a species is taken to say when plans are tried against it (rousewort agreement).",
    "legend.txt": "The texts that plans are made of. {days}: the place of a number that stands in the plan's line.",
}
# What the grower has or lacks, what the lot has had, what was seen: one thing at a time.
SETTINGS: Mapping[str, Mapping[str, Any]] = {
    "no fridge": {"without": ["fridge"]},
    "no warm place": {"without": ["warm_place"]},
    "no fridge, no bed": {"without": ["fridge", "outdoor_bed"]},
    "no tools": {"without": ["blade", "sandpaper", "vice"]},
    "no kettle, no oven": {"without": ["kettle", "oven"]},
    "acid allowed": {"allow": ["acid"]},
    "acid allowed, no tools": {"allow": ["acid"], "without": ["blade", "sandpaper", "vice", "kettle"]},
    "gibberellic acid": {"have": ["gibberellic_acid"]},
    "smoke": {"have": ["smoke"]},
    "nitrate": {"have": ["nitrate"]},
    "laboratory": {"have": ["laboratory"]},
    "1 seed": {"seeds": 1},
    "15 seeds": {"seeds": 15},
    "5000 seeds": {"seeds": 5000},
    "had 30 days of cold": {"had": {"cold_moist": 30}},
    "had 30 days of cold, dried since": {"had": {"cold_moist": 30}, "dried_since": True},
    "had 500 days of all": {"had": {"cold_moist": 500, "warm_moist": 500, "after_ripen": 500}},
    "cleaned": {"cleaned": True},
    "stored fresh": {"stored": "fresh"},
    "stored dry": {"stored": "dry"},
    "stored moist": {"stored": "moist"},
    "stored frozen": {"stored": "frozen"},
    "from mild winters": {"provenance": "mild_winter"},
    "from cold winters": {"provenance": "cold_winter"},
    "seen: water enters": {"observed": {"coat_water": "passes"}},
    "seen: water kept out": {"observed": {"coat_water": "stops"}},
}
# What is held of a plan's JSON neither by its lines nor by the legend, and why.
NOT_HELD = {
    "because": "reasons: they are read, not acted on",
    "sources": "as reasons",
    "unknowns": "as reasons",
    "query": "the name that was asked for",
    "taxon": "names, not acts",
    "format": "held by the plan's own tests",
    "id": "kind and place of a step",
    "when": "held by alternatives.txt",
    "alternatives": "held by alternatives.txt",
    "relatives": "names and shares move with nearly every new entry; held are the classes, which is treated, whether they differ",
    "note": "how sure, of which its sentences on trials are held",
    "words": "class and level in words",
    "basis": "of the class: its own word",
    "label": "of what is unmet: its obstacle",
    "line": "made of the steps, which are held",
    "claims": "made of the steps, which are held",
    "expect": "days of the last step, which are held",
    "first_look_days": "held by the step's text, which says it",
    "follows": "whose protocol it is: read, not acted on; json/ holds some",
    "others": "as follows",
    "to_get": "held by the step's text, which says it",
    "against": "held by the step's caution, which says it",
}


@pytest.fixture(scope="session")
def plain(plans: dict[str, Plan]) -> dict[str, dict[str, Any]]:
    """Every plan as JSON: all that these lines are made of."""
    return {name: plan_json(plan) for name, plan in sorted(plans.items())}


@pytest.fixture(scope="session")
def held() -> dict[str, str]:
    """The files as they stand."""
    return {name: (HERE / name).read_text("utf-8") for name in HEADS}


def old_legend(held: Mapping[str, str]) -> Legend:
    return Legend({code: lines[0] for code, lines in blocks(held["legend.txt"]).items()})


def plan_for(planner: Planner, name: str, setting: Mapping[str, Any]) -> dict[str, Any]:
    growers = {key: value for key, value in setting.items() if key != "observed"}
    return plan_json(planner.plan(name, make_grower(planner.kb.vocabulary, **growers), setting.get("observed")))


def files_now(planner: Planner, plain: Mapping[str, dict[str, Any]], held: Mapping[str, str]) -> dict[str, str]:
    """Every golden file as today's code and knowledge would write it."""
    legend = old_legend(held)
    found: dict[str, dict[str, list[str]]] = {name: {} for name in HEADS}
    for name, plan in plain.items():
        found["plans.txt"][name] = plan_lines(plan, name, legend)
        if others := alternative_lines(plan, name, legend):
            found["alternatives.txt"][name] = ["", *others]
        if said := claim_lines(claims(planner.kb, name)):
            found["claims.txt"][name] = ["", *said]
    for name in sorted(blocks(held["settings.txt"])):
        usual = plain.get(name)
        lines = (
            [] if usual else ["usual: " + " | ".join(plan_lines(usual := plan_for(planner, name, {}), name, legend))]
        )
        others = {words: plan_for(planner, name, setting) for words, setting in SETTINGS.items()}
        found["settings.txt"][name] = ["", *lines, *setting_lines(usual, others, name, legend)]
    legend.settle()
    found["legend.txt"] = {code: [text] for code, text in legend.codes.items()}
    return {file: as_text(HEADS[file], {n: [*map(legend.fill, ls)] for n, ls in found[file].items()}) for file in HEADS}


def updating(request: pytest.FixtureRequest) -> bool:
    return request.config.getoption("--update-lines") or os.environ.get("ROUSEWORT_UPDATE") == "1"


def test_nothing_that_a_grower_acts_on_changes_unseen(
    planner: Planner, plain: dict[str, dict[str, Any]], held: dict[str, str], request: pytest.FixtureRequest
) -> None:
    now = files_now(planner, plain, held)
    if updating(request):
        for name, text in now.items():
            (HERE / name).write_text(text, "utf-8")
        return
    told = [f"{name}:\n" + "\n".join(difference(held[name], now[name])) for name in HEADS if held[name] != now[name]]
    if told:
        pytest.fail(
            "Plans changed. If each change is right: pytest tests/golden --update-lines\n" + "\n".join(told),
            pytrace=False,
        )


@pytest.mark.parametrize("path", sorted((HERE / "json").glob("*.json")), ids=lambda path: path.stem)
def test_plan_as_json_keeps_every_key_and_value(
    path: Path, plain: dict[str, dict[str, Any]], request: pytest.FixtureRequest
) -> None:
    """Programs read it. A key may come; none may go or mean something else."""
    before = json.loads(path.read_text("utf-8"))
    now = plain[before["taxon"]["name"]]
    if updating(request):
        path.write_text(json.dumps(now, ensure_ascii=False, indent=1) + "\n", "utf-8")
        return
    gone = list(missing_from(now, before))
    assert not gone, "\n".join(gone[:20])


def missing_from(now: Any, before: Any, where: str = "") -> Iterator[str]:
    """What `before` says and `now` does not; a mapping may have more keys now, a list the same items only."""
    if isinstance(before, dict) and isinstance(now, dict):
        for key, value in before.items():
            if key not in now:
                yield f"{where}/{key}: is gone"
            else:
                yield from missing_from(now[key], value, f"{where}/{key}")
    elif isinstance(before, list) and isinstance(now, list) and len(before) == len(now):
        for number, (one, other) in enumerate(zip(now, before, strict=True)):
            yield from missing_from(one, other, f"{where}/{number}")
    elif before != now:
        yield f"{where}: was {before!r}, is {now!r}"


def test_every_species_stands_there_once(species: list[str], held: dict[str, str]) -> None:
    named = list(blocks(held["plans.txt"]))
    assert named == species


def test_settings_are_tried_on_plants_of_every_class_and_outcome(
    plain: dict[str, dict[str, Any]], held: dict[str, str]
) -> None:
    tried = [name for name in blocks(held["settings.txt"]) if name in plain]
    assert len(tried) >= 60

    def kinds(names: list[str]) -> set[tuple[str, str]]:
        return {(plain[name]["outcome"], plain[name]["dormancy"]["class"]) for name in names}

    assert kinds(tried) == kinds(list(plain))


# --- that the lines can be trusted: whatever is changed in a plan shows in them


def places(plan: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The way to each number, word and truth of a plan that its lines must hold."""
    if isinstance(plan, Mapping):
        for key, value in plan.items():
            if path[-1:] == ("sowing",) and key == "medium":
                continue  # the step's own, which is held
            if key not in NOT_HELD or (key == "label" and "steps" in path):
                yield from places(value, (*path, key))
    elif isinstance(plan, list):
        for number, value in enumerate(plan):
            yield from places(value, (*path, number))
    else:
        yield path


def changed(plan: dict[str, Any], path: tuple[Any, ...]) -> dict[str, Any]:
    made = copy.deepcopy(plan)
    inner: Any = made
    for key in path[:-1]:
        inner = inner[key]
    value = inner[path[-1]]
    if isinstance(value, bool):
        inner[path[-1]] = not value
    elif value is None:
        inner[path[-1]] = "other" if path[0] == "dormancy" else 7
    elif isinstance(value, int | float):
        inner[path[-1]] = value + 7
    elif path[-1] == "outcome":
        inner[path[-1]] = "unreachable" if value == "plan" else "plan"
    else:
        inner[path[-1]] = re.sub(r"(\w+)(\W*)$", r"\1s\2", value, count=1)
    return made


@pytest.mark.parametrize("path", sorted((HERE / "json").glob("*.json")), ids=lambda path: path.stem)
def test_each_number_and_word_changed_in_a_plan_moves_a_line(path: Path) -> None:
    plan = json.loads(path.read_text("utf-8"))
    name = plan["taxon"]["name"]

    def said(plan: dict[str, Any]) -> tuple[list[str], dict[str, str]]:
        legend = Legend({})
        lines = plan_lines(plan, name, legend)
        legend.settle()
        return [legend.fill(line) for line in lines], legend.codes

    usual = said(plan)
    unseen = [way for way in places(plan) if said(changed(plan, way)) == usual]
    assert not unseen, unseen


def test_step_left_out_or_two_that_change_places_move_a_line() -> None:
    plan = json.loads((HERE / "json" / "cercis-canadensis.json").read_text("utf-8"))
    steps = plan["steps"]
    usual = plan_lines(plan, "Cercis canadensis", Legend({}))
    for number in range(len(steps) - 1):
        fewer = steps[:number] + steps[number + 1 :]
        swapped = [*steps[:number], steps[number + 1], steps[number], *steps[number + 2 :]]
        for others in (fewer, swapped):
            assert plan_lines(plan | {"steps": others}, "Cercis canadensis", Legend({})) != usual


def test_word_changed_in_an_instruction_moves_one_line_of_the_legend_and_no_plan(
    plain: dict[str, dict[str, Any]], held: dict[str, str]
) -> None:
    """A changed word is read once, not in a thousand plans."""

    def said(plans: Mapping[str, dict[str, Any]]) -> tuple[str, str]:
        legend = old_legend(held)
        lines = {name: plan_lines(plan, name, legend) for name, plan in plans.items()}
        legend.settle()
        filled = {name: [*map(legend.fill, some)] for name, some in lines.items()}
        return as_text("", filled), as_text("", {code: [text] for code, text in legend.codes.items()})

    some = {name: plan for name, plan in plain.items() if name.startswith("Abies ")}
    other = json.loads(json.dumps(some).replace("change the water", "renew the water").replace("turn it,", "shake it,"))
    (plans, legend), (other_plans, other_legend) = said(some), said(other)
    assert other != some and other_plans == plans
    assert difference(legend, other_legend) and len(difference(legend, other_legend)) == 1


def test_difference_tells_equal_changes_once_with_the_plants_that_they_are_of() -> None:
    before = "Aaa: PD\n  warm_moist/1 60d(1-2,class) 20°C(15-25,treatment); sow/1\nBbb: PD\n  warm_moist/1 90d(1-2,class) 20°C(15-25,treatment)\n"
    now = before.replace("20°C(15-25", "30°C(25-35")
    assert difference(before, now) == [
        "Aaa, Bbb:\n  warm_moist: - 20°C(15-25,treatment)\n              + 30°C(25-35,treatment)"
    ]
    assert difference(before, before) == []
    assert len(difference("", "".join(f"A{n}: PD {n}\n" for n in range(60)), most=40)) == 41
