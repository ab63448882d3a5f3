"""How seed is sown follows from what is known of it: laws over every species, and the plants that a propagator took us up on, by cause."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

import pytest
from rousewort.knowledge.cases import wrong_words
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.steps import Step

WARM_LOWLANDS = {"tropical_wet", "tropical_dry"}
ELSEWHERE = {"cold_winter", "alpine", "mediterranean", "mild_winter", "tropical_montane"}
WET = {"submerged", "wet", "brackish"}


@pytest.fixture(scope="module")
def sown(plans: dict[str, Plan]) -> dict[str, Step]:
    """The sowing step of every species that has one."""
    return {name: plan.steps[-1] for name, plan in plans.items() if plan.steps and plan.steps[-1].sowing}


def words(plan: Plan, key: str) -> set[str]:
    return {word for known, word in plan.findings.facts if known == key}


def nights(step: Step) -> float:
    assert step.temperature is not None
    use = step.temperature.use
    return float(use["night"] if isinstance(use, Mapping) else use)


def days(step: Step) -> float:
    assert step.temperature is not None
    use = step.temperature.use
    return float(use["day"] if isinstance(use, Mapping) else use)


def told(planner: Planner, name: str) -> Mapping[str, Any]:
    sowing = planner.plan(name).steps[-1].sowing
    assert sowing is not None, name
    return sowing


# --- laws over every species


def test_every_sowing_says_in_what_how_wet_and_how_deep(sown: dict[str, Step]) -> None:
    assert len(sown) > 50
    for name, step in sown.items():
        sowing = step.sowing
        assert sowing is not None
        assert (
            sowing["water"] and sowing["medium"] and sowing["container"] and sowing["position"] and sowing["storage"]
        ), name
        assert sowing["depth_mm"] or "covered" in sowing["position"] or "side" in sowing["position"], name


def test_no_water_plant_is_sown_on_drained_compost(plans: dict[str, Plan], sown: dict[str, Step]) -> None:
    at_water = {"open_water", "water_margin", "bog", "mangrove"}
    tried = 0
    for name, step in sown.items():
        if words(plans[name], "habitat") & at_water or "aquatic" in words(plans[name], "growth_form"):
            tried += 1
            assert step.sowing is not None and step.sowing["water"] in WET, name
            assert "well-drained" not in step.sowing["medium"], name
    assert tried >= 2


def test_no_seed_of_warm_lowlands_is_sown_into_cool_nights(plans: dict[str, Plan], sown: dict[str, Step]) -> None:
    tried = 0
    for name, step in sown.items():
        homes = words(plans[name], "home_climate")
        if homes & WARM_LOWLANDS and not homes & ELSEWHERE:
            tried += 1
            assert nights(step) >= 20, name
    assert tried >= 2


def test_no_herb_of_cold_country_is_sown_at_the_heat_of_the_tropics(
    plans: dict[str, Plan], sown: dict[str, Step]
) -> None:
    for name, step in sown.items():
        homes = words(plans[name], "home_climate")
        if homes and homes <= {"cold_winter", "alpine"} and "palm" not in words(plans[name], "growth_form"):
            assert days(step) <= 28, name


def test_seed_that_must_not_dry_is_kept_moist_till_it_is_sown(plans: dict[str, Plan], sown: dict[str, Step]) -> None:
    for name, step in sown.items():
        if words(plans[name], "finding") & {"never_dry", "kept_moist", "kept_in_water"}:
            assert step.sowing is not None
            assert re.search(r"damp|water", step.sowing["storage"]), name
            assert not step.sowing["storage"].endswith("dark and dry"), name


def test_every_length_in_an_instruction_has_its_unit(plans: dict[str, Plan]) -> None:
    bare = re.compile(r"\bfor (?:about )?\d+(?:\.\d+)?(?![\d.])(?: \([^)]*\))?(?=[,;]|\.(?!\d)|$| then)")
    for name, plan in plans.items():
        for step in plan.steps:
            for line in (*step.do, *step.watch, step.until):
                assert not bare.search(line) and "{" not in line, (name, line)


def sentences(step: Step) -> Iterable[str]:
    yield from (*step.do, *step.watch, step.until, step.success, *step.cautions, step.medium or "")


# Two sentences of one step that cannot both be followed.
CONTRADICT = [
    (r"\bin a bag\b", r"\bin a jar\b"),
    (r"[Nn]ever boil", r"\b100 °C\b"),
    (r"do not cover it with soil", r"keep it dark until"),
    (r"If over half are empty, stop", r"no reason to stop"),
    (r"sow or pot those seeds", r"go on to the chill"),
    (r"never waterlogged", r"Stand the pots in"),
    (r"under 2–5 cm of", r"let the surface dry"),
    (r"must not dry", r"dark and dry"),
]


def test_no_two_sentences_of_a_step_contradict_each_other(plans: dict[str, Plan]) -> None:
    for name, plan in plans.items():
        for step in plan.steps:
            said = "\n".join(sentences(step))
            for one, other in CONTRADICT:
                assert not (re.search(one, said) and re.search(other, said)), (name, step.id, one, other)


def test_only_seed_whose_root_comes_a_season_first_waits_for_a_long_root(plans: dict[str, Plan]) -> None:
    for name, plan in plans.items():
        for step in plan.steps:
            if "3 cm" in step.until:
                assert {"shoot_needs_cold", "root_must_grow"} & words(plan, "obstacle"), (name, step.id)


# --- that the laws can fail, and the table cannot be broken in silence


def test_a_case_that_no_seed_can_meet_is_named(kb: KnowledgeBase) -> None:
    treatment = {
        "by_case": [{"when": {"habitat": "moon"}}],
        "sowing": {"water": [{"when": {"lot": "bulk"}, "is": "wet"}]},
    }
    problems = list(wrong_words(treatment, kb.vocabulary))
    assert [place for place, _, _ in problems] == [("by_case", 0, "when"), ("sowing", "water", 0)]
    assert "moon" in problems[0][1]


# --- what propagators took us up on, by cause


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "water"),
    [
        ("Nymphaea odorata", "submerged"),
        ("Nelumbo nucifera", "submerged"),
        ("Potamogeton natans", "submerged"),
        ("Zizania aquatica", "submerged"),
        ("Persicaria amphibia", "submerged"),
        ("Typha latifolia", "wet"),
        ("Pontederia cordata", "wet"),
        ("Dionaea muscipula", "wet"),
        ("Sarracenia purpurea", "wet"),
        ("Caltha palustris", "moist"),
        ("Rhizophora mangle", "brackish"),
        ("Digitalis purpurea", "drained"),
    ],
)
def test_water_is_that_of_its_home(planner: Planner, name: str, water: str) -> None:
    assert told(planner, name)["water"] == water


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Castanea sativa", "Juglans regia", "Quercus alba"])
def test_large_nuts_lie_on_their_side_or_are_rooted_already(planner: Planner, name: str) -> None:
    assert re.search(r"on its side|root down", told(planner, name)["position"])
    assert "deep" in told(planner, name)["container"]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Rhizophora mangle", "Avicennia marina", "Bruguiera gymnorhiza"])
def test_what_falls_as_a_seedling_is_planted_upright_and_not_chilled(planner: Planner, name: str) -> None:
    plan = planner.plan(name)
    assert plan.outcome != "plan" or "upright" in plan.steps[-1].sowing["position"]  # type: ignore[index]
    assert not any(step.kind in ("cold_moist", "nick", "dry_heat") for step in plan.steps)


@pytest.mark.slow
def test_a_coconut_lies_half_buried_and_is_not_cut(planner: Planner) -> None:
    plan = planner.plan("Cocos nucifera")
    assert "half out" in told(planner, "Cocos nucifera")["position"]
    assert not any("Cut 10 to 20" in line for line in plan.steps[0].do)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Rhododendron ponticum", "Calluna vulgaris", "Camellia japonica", "Banksia serrata"])
def test_plants_that_hate_lime_get_none(planner: Planner, name: str) -> None:
    sow = planner.plan(name).steps[-1]
    assert sow.sowing is not None and re.search(r"lime-free|peat or bark", sow.sowing["medium"])
    assert any("rain water" in line for line in sow.do)


@pytest.mark.slow
def test_a_plant_that_bears_lime_in_a_family_that_hates_it_gets_common_compost(planner: Planner) -> None:
    assert "lime-free" not in told(planner, "Arbutus unedo")["medium"]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Carnegiea gigantea", "Ferocactus wislizeni"])
def test_seed_of_hot_deserts_is_sown_warm_on_minerals(planner: Planner, name: str) -> None:
    sow = planner.plan(name).steps[-1]
    assert days(sow) >= 25 and sow.sowing is not None and "mineral" in sow.sowing["medium"]


@pytest.mark.slow
def test_seed_freed_of_deep_dormancy_is_sown_cool_whatever_a_laboratory_tested_at(planner: Planner) -> None:
    sow = planner.plan("Acer saccharum").steps[-1]
    assert days(sow) <= 15 and nights(sow) <= 10


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["Sanguinaria canadensis", "Asarum canadense", "Trillium grandiflorum", "Jeffersonia diphylla"]
)
def test_seed_that_ants_carry_off_is_kept_moist(planner: Planner, name: str) -> None:
    plan = planner.plan(name)
    assert any("must not dry" in line for line in plan.steps[0].do)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Liriodendron tulipifera", "Acer griseum", "Carpinus betulus"])
def test_lots_with_much_empty_seed_are_sown_thicker_not_given_up(planner: Planner, name: str) -> None:
    first = planner.plan(name).steps[0]
    assert any("no reason to stop" in line for line in first.watch)
    assert not any("stop: clean" in line for line in (*first.do, *first.watch))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Davidia involucrata", "Chionanthus virginicus"])
def test_seed_is_not_sown_between_its_warm_season_and_the_chill(planner: Planner, name: str) -> None:
    warm = next(step for step in planner.plan(name).steps if step.kind == "warm_moist")
    assert not any("sow or pot those" in line for line in warm.watch)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Nuphar lutea", "Alisma plantago-aquatica", "Vallisneria americana"])
def test_seed_chilled_under_water_is_in_a_jar_alone(planner: Planner, name: str) -> None:
    for step in planner.plan(name).steps:
        if step.kind == "cold_moist":
            said = " ".join(sentences(step))
            assert "jar" in said and not re.search(r"\bbags?\b|peat", said)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Schizachyrium scoparium", "Echinacea purpurea", "Quercus robur", "Acer saccharum"])
def test_seed_by_the_thousand_is_not_potted_one_by_one(kb: KnowledgeBase, planner: Planner, name: str) -> None:
    plan = planner.plan(name, make_grower(kb.vocabulary, seeds=5000))
    said = " ".join(line for step in plan.steps for line in step.do)
    assert "each rooted seed in a deep pot" not in said
    sow = plan.steps[-1]
    assert sow.sowing is None or re.search(r"rows|rooted", f"{sow.sowing['container']} {' '.join(sow.do)}")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "host"), [("Santalum spicatum", "roots"), ("Rhinanthus minor", "roots"), ("Cuscuta europaea", "stem")]
)
def test_a_parasite_is_sown_with_its_host(planner: Planner, name: str, host: str) -> None:
    assert host in (told(planner, name)["host"] or "")
