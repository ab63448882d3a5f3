"""Plans that a propagator would sign: one plant for each way of waiting, in the order that its seed needs.

The four sequences that a wrong engine gets wrong are tried twice: with everything known, and from traits alone with
every report of treatments withheld, so that the order is reasoned and not looked up.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Plan, Planner, Step, make_plan

OPENS_COATS = {"nick", "abrade", "hot_water", "acid"}
SEASONS = {"cold_moist", "warm_moist", "outdoor_winter", "after_ripen"}


@pytest.fixture(scope="module")
def from_traits(kb: KnowledgeBase) -> Planner:
    """A planner that knows no report of any treatment."""
    return Planner(kb.without(protocols=True), "plain")


@pytest.fixture(params=["everything known", "from traits alone"])
def either(request: pytest.FixtureRequest, planner: Planner, from_traits: Planner) -> Planner:
    return planner if request.param == "everything known" else from_traits


@pytest.fixture
def grow(kb: KnowledgeBase, planner: Planner) -> Callable[..., Plan]:
    """A plan for a plant and a grower described as on the command line."""
    return lambda name, **grower: planner.plan(name, make_grower(kb.vocabulary, **grower))


def kinds(plan: Plan) -> list[str]:
    assert plan.outcome == "plan", f"{plan.query}: {plan.outcome} {plan.advice}"
    return [step.kind for step in plan.steps]


def step(plan: Plan, kind: str) -> Step:
    return next(s for s in plan.steps if s.kind == kind)


def seasons(plan: Plan) -> list[str]:
    return [kind for kind in kinds(plan) if kind in SEASONS]


# --- the four sequences


@pytest.mark.parametrize("name", ["Cercis canadensis", "Tilia americana", "Cotinus coggygria"])
def test_physical_and_physiological_coat_then_cold(either: Planner, name: str) -> None:
    order = kinds(either.plan(name))
    (coat,) = [kind for kind in order if kind in OPENS_COATS]
    assert order.index(coat) < order.index("cold_moist"), "seed that drinks nothing feels no winter"
    assert seasons(either.plan(name)) == ["cold_moist"]


@pytest.mark.parametrize("name", ["Taxus baccata", "Fraxinus excelsior", "Cardiocrinum cordatum"])
def test_warm_then_cold_for_an_embryo_that_must_grow_first(either: Planner, name: str) -> None:
    assert seasons(either.plan(name)) == ["warm_moist", "cold_moist"]


@pytest.mark.parametrize("name", ["Trillium grandiflorum", "Caulophyllum thalictroides", "Convallaria majalis"])
def test_cold_warm_cold_for_two_winters(either: Planner, name: str) -> None:
    order = kinds(either.plan(name))
    assert seasons(either.plan(name)) == ["cold_moist", "warm_moist", "cold_moist"]
    assert order.index("warm_moist") < order.index("pot_rooted") < len(order) - 1 - order[::-1].index("cold_moist")
    first, second = (s for s in either.plan(name).steps if s.kind == "cold_moist")
    assert (first.removes, second.removes) == (("needs_first_winter",), ("shoot_needs_cold",))


@pytest.mark.parametrize(
    "name",
    ["Viburnum prunifolium", "Viburnum acerifolium", "Asarum canadense", "Paeonia suffruticosa", "Lilium auratum"],
)
def test_root_a_season_before_the_shoot_is_potted_between_warm_and_cold(either: Planner, name: str) -> None:
    plan = either.plan(name)
    order = [kind for kind in kinds(plan) if kind in (*SEASONS, "pot_rooted")]
    assert order == ["warm_moist", "pot_rooted", "cold_moist"]
    warm = " ".join((*step(plan, "warm_moist").watch, step(plan, "warm_moist").until, step(plan, "warm_moist").success))
    assert "root" in warm, "roots in the warm phase are success here, and the grower must be told"
    assert "three springs" in plan.steps[-1].sowing["give_up"]


# --- each other way of waiting


@pytest.mark.parametrize("name", ["Gleditsia triacanthos", "Acacia mangium", "Nelumbo nucifera", "Lupinus sericeus"])
def test_physical_alone_opens_the_coat_and_gives_no_cold(either: Planner, name: str) -> None:
    order = kinds(either.plan(name))
    assert len(OPENS_COATS & set(order)) == 1
    assert not {"cold_moist", "outdoor_winter"} & set(order)


def test_the_lot_is_soaked_and_sorted_before_a_coat_is_opened(planner: Planner) -> None:
    order = planner.plan("Cercis canadensis")
    assert kinds(order)[:3] == ["inspect", "soak", "nick"]
    soak = " ".join(step(order, "soak").do)
    assert "swollen" in soak and "Dry the surface of the rest" in soak


@pytest.mark.parametrize("name", ["Prunus avium", "Prunus serotina", "Crataegus monogyna"])
def test_a_stone_that_passes_water_is_never_taken_for_a_watertight_coat(either: Planner, name: str) -> None:
    plan = either.plan(name)
    assert "watertight_coat" not in plan.findings.obstacles
    assert not {"hot_water", "acid"} & set(kinds(plan))
    assert seasons(plan)[-1] == "cold_moist"


def test_deep_cold_is_not_replaced_by_hormone(kb: KnowledgeBase, planner: Planner) -> None:
    deep = [
        name for name in kb.names("species")
        if {("physiological_level", "deep"), ("obstacle", "needs_cold")} <= planner.plan(name).findings.facts
    ]  # fmt: skip
    assert deep
    with_hormone = make_grower(kb.vocabulary, have=["gibberellic_acid"], without=["fridge", "outdoor_bed"])
    for name in deep:
        plan = planner.plan(name, with_hormone)
        assert plan.outcome == "unreachable", f"{name}: {[s.kind for s in plan.steps]}"


@pytest.mark.parametrize("name", ["Bromus tectorum", "Descurainia pinnata", "Centaurea cyanus"])
def test_a_winter_annual_is_stored_dry_and_warm_and_not_chilled(either: Planner, name: str) -> None:
    assert seasons(either.plan(name)) == ["after_ripen"]


def test_a_winter_annual_with_a_hard_coat_is_stored_dry_before_the_coat_is_opened(either: Planner) -> None:
    order = kinds(either.plan("Geranium robertianum"))
    (coat,) = OPENS_COATS & set(order)
    assert order.index("after_ripen") < order.index("soak") < order.index(coat)
    assert "cold_moist" not in order


@pytest.mark.parametrize("name", ["Salix caprea", "Agave striata", "Pieris floribunda"])
def test_seed_that_is_not_dormant_is_sown_and_the_plan_says_so(planner: Planner, name: str) -> None:
    plan = planner.plan(name)
    assert plan.dormancy["class"] == "ND" and "not dormant" in plan.dormancy["words"]
    assert set(kinds(plan)) <= {"inspect", "clean", "soak", "sow"}
    assert all(s.optional for s in plan.steps if s.kind == "soak"), "a soak only speeds it up"


@pytest.mark.parametrize("name", ["Banksia leptophylla", "Sequoiadendron giganteum"])
def test_a_cone_held_shut_is_opened_by_heat_before_anything_else(either: Planner, name: str) -> None:
    plan = either.plan(name)
    assert kinds(plan)[1] == "dry_heat" and "closed_fruit" in step(plan, "dry_heat").removes
    assert "smoke" not in kinds(plan), "not both by default"


@pytest.mark.parametrize("name", ["Epipactis palustris", "Platanthera chapmanii"])
def test_an_orchid_goes_to_the_laboratory_and_gets_no_false_plan(either: Planner, name: str) -> None:
    plan = either.plan(name)
    assert plan.outcome == "laboratory" and plan.steps == ()
    text = " ".join(plan.advice)
    assert "fungus" in text and ("culture" in text or "sterile" in text)


def test_an_orchid_without_entry_goes_to_the_laboratory_by_its_family(planner: Planner) -> None:
    plan = planner.plan("Cypripedium ignotum")
    assert plan.family == "Orchidaceae" and plan.outcome == "laboratory"


@pytest.mark.parametrize(
    "name", ["Theobroma cacao", "Rhizophora mangle", "Mangifera indica", "Durio zibethinus", "Hevea brasiliensis"]
)
def test_tropical_seed_that_dies_dry_is_sown_at_once_warm_and_never_chilled(
    kb: KnowledgeBase, planner: Planner, name: str
) -> None:
    for plan in (planner.plan(name), planner.plan(name, make_grower(kb.vocabulary, without=["fridge", "warm_place"]))):
        if plan.outcome == "unknown":
            assert any("dries" in caution for caution in plan.cautions)
            continue
        assert not {"cold_moist", "outdoor_winter", "after_ripen", "dry_heat", "dry_back"} & set(kinds(plan))
        assert any("dies if it dries" in caution for caution in plan.cautions)
        sow = plan.steps[-1]
        assert any("dies if it dries" in caution for caution in sow.cautions), "the caution travels with the step"
        assert sow.temperature.low >= 15


@pytest.mark.parametrize(
    ("name", "light"),
    [("Primula japonica", "needed"), ("Betula pendula", "helps"), ("Begonia x semperflorens-cultorum", "helps")],
)
def test_small_seed_that_needs_light_stays_on_the_surface(planner: Planner, name: str, light: str) -> None:
    sow = planner.plan(name).steps[-1]
    assert sow.sowing["light"] == light
    assert sow.sowing["depth_mm"]["high"] == 0 and "do not cover it with soil" in " ".join(sow.do)


@pytest.mark.parametrize("name", ["Lindera melissifolia", "Galanthus nivalis"])
def test_seed_that_light_hinders_is_covered_and_kept_dark(planner: Planner, name: str) -> None:
    sow = planner.plan(name).steps[-1]
    sowing = sow.sowing
    assert sowing["light"] == "dark" and "dark" in " ".join(sow.do)
    assert sowing["depth_mm"] is None or sowing["depth_mm"]["use"] > 0


def test_large_seed_is_covered_whatever_light_does(kb: KnowledgeBase, plans: dict[str, Plan]) -> None:
    for name, plan in plans.items():
        if not plan.steps or plan.steps[-1].sowing is None:
            continue
        sowing = plan.steps[-1].sowing
        large = {("seed_size", "large"), ("seed_size", "very_large")} & plan.findings.facts
        if large and sowing["light"] != "needed":
            assert sowing["depth_mm"]["use"] > 0, name


def test_a_plant_of_which_nothing_is_known_gets_observations_and_no_plan(planner: Planner) -> None:
    plan = planner.plan("Tapiscia sinensis")  # neither it, its genus nor its family in any table
    assert plan.outcome == "unknown" and plan.basis["kind"] == "none" and plan.basis["confidence"] == 0
    assert len(plan.advice) >= 2


def test_a_species_without_entry_is_judged_by_its_genus_and_the_plan_says_so(planner: Planner) -> None:
    plan = planner.plan("Trillium ignotum")
    assert (plan.match.matched_by, plan.basis["kind"]) == ("genus", "genus")
    assert "genus" in plan.basis["note"] and "Trillium" in plan.basis["note"]
    assert all(amount.basis != "species" for s in plan.steps for amount in s.amounts.values())


# --- what the grower has


def test_without_a_fridge_the_winter_is_given_outside(grow: Callable) -> None:
    assert "outdoor_winter" in kinds(grow("Malus sieversii", without=["fridge"]))
    assert "cold_moist" not in kinds(grow("Malus sieversii", without=["fridge"]))


def test_without_fridge_or_bed_a_cold_need_is_unreachable_and_says_what_would_help(grow: Callable) -> None:
    plan = grow("Quercus rubra", without=["fridge", "outdoor_bed"])
    assert plan.outcome == "unreachable"
    assert [step.lacks for step in plan.steps if step.kind == "cold_moist"] == [("fridge",)], (
        "the nearest plan is carried"
    )
    assert any("fridge" in line for line in plan.advice)
    assert any(unmet["obstacle"] in ("needs_cold", "shoot_needs_cold") for unmet in plan.unmet)


def test_without_a_blade_the_coat_is_opened_another_way(grow: Callable) -> None:
    (other,) = OPENS_COATS & set(kinds(grow("Cercis canadensis", without=["blade"])))
    assert other in ("abrade", "hot_water")


def test_acid_is_named_as_refused_until_it_is_allowed(grow: Callable) -> None:
    shut = grow("Gleditsia triacanthos")
    assert "acid" not in kinds(shut)
    assert any(item["kind"] == "acid" and item.get("when") == {"allow": ["acid"]} for item in shut.ruled_out)
    allowed = grow("Gleditsia triacanthos", allow=["acid"])
    if "acid" in kinds(allowed):
        assert any(OPENS_COATS - {"acid"} & {s.kind for s in other.steps} for other in allowed.alternatives)


def test_acid_stands_in_when_it_is_all_there_is(grow: Callable) -> None:
    plan = grow("Gleditsia triacanthos", allow=["acid"], without=["blade", "sandpaper", "kettle"])
    assert "acid" in kinds(plan)
    text = " ".join(step(plan, "acid").cautions)
    for word in ("goggles", "never water into acid", "law", "bleach"):
        assert word in text


def test_hormone_stands_in_for_a_light_cold_need_where_a_report_says_so(kb: KnowledgeBase, planner: Planner) -> None:
    """At least one plant of those of which it is reported; and for none does hormone stand in before it is had: it may only be shown
    as what is still to be got, and may be left out."""
    replaced = [
        name for name in kb.names("species") if ("gibberellin", "replaces_cold") in planner.plan(name).facts.known
    ]
    with_hormone = make_grower(kb.vocabulary, have=["gibberellic_acid"], without=["fridge", "outdoor_bed"])
    used = [name for name in replaced if "hormone" in [s.kind for s in planner.plan(name, with_hormone).steps]]
    assert used
    shown = [s for name in replaced for s in planner.plan(name).steps if s.kind == "hormone"]
    assert all(s.optional and s.lacks for s in shown)


def test_alternatives_are_whole_sequences_that_differ(plans: dict[str, Plan]) -> None:
    for name, plan in plans.items():
        shapes = [
            tuple((s.kind, s.removes, s.medium) for s in steps)
            for steps in (plan.steps, *(a.steps for a in plan.alternatives))
        ]
        assert len(set(shapes)) == len(shapes), name
        for alternative in plan.alternatives:
            assert alternative.steps[0].kind == "inspect"
            assert sum(map(len, alternative.when.values())) == 1, "one thing changed"


def test_a_grower_who_takes_up_an_alternative_gets_those_steps(
    kb: KnowledgeBase, planner: Planner, some_species: list[str]
) -> None:
    """What `Without a fridge` promises is what a plan without a fridge gives."""
    for name in some_species[::3]:
        for alternative in planner.plan(name).alternatives:
            if not alternative.when["without"]:
                continue
            taken = planner.plan(name, make_grower(kb.vocabulary, without=alternative.when["without"]))
            assert [s.kind for s in taken.steps] == [s.kind for s in alternative.steps], f"{name}: {alternative.text}"


# --- the lot


def test_a_small_lot_is_nicked_and_none_is_cut(grow: Callable) -> None:
    plan = grow("Trifolium subterraneum", seeds=5)
    assert not {"hot_water", "acid"} & set(kinds(plan)), "never tried on fewer than twenty"
    inspection = " ".join(step(plan, "inspect").do)
    assert "cut none" in inspection and "Cut 10 to 20" not in inspection
    assert not any("Cut away" in caution for caution in step(plan, "inspect").cautions)


@pytest.mark.parametrize("seeds", [None, 5])
def test_seed_too_fine_to_cut_is_looked_over_with_a_lens(grow: Callable, seeds: int | None) -> None:
    inspection = step(grow("Lobelia cardinalis", seeds=seeds), "inspect")
    assert "lens" in " ".join(inspection.do) and not any("Cut away" in caution for caution in inspection.cautions)
    assert any("Cut away" in caution for caution in step(grow("Cercis canadensis"), "inspect").cautions)


def test_a_sack_is_not_nicked_seed_by_seed(grow: Callable) -> None:
    assert "nick" in kinds(grow("Cercis canadensis", seeds=30))
    assert "nick" not in kinds(grow("Cercis canadensis", seeds=50_000))


def test_with_few_seeds_an_irreversible_treatment_is_tried_on_one_first(grow: Callable) -> None:
    assert any("treat one first" in line for line in step(grow("Cercis canadensis", seeds=5), "nick").do)


def test_a_lot_too_small_for_every_way_still_gets_one_and_says_why_not_the_other(
    kb: KnowledgeBase, planner: Planner
) -> None:
    few = make_grower(kb.vocabulary, seeds=3, without=["blade", "sandpaper"])
    plan = planner.plan("Cercis canadensis", few)
    assert plan.outcome in ("plan", "unreachable")
    if plan.outcome == "plan":
        assert OPENS_COATS & set(kinds(plan))


def test_cold_already_given_is_taken_off(grow: Callable) -> None:
    whole = step(grow("Malus sieversii"), "cold_moist").amounts["days"]
    rest = grow("Malus sieversii", had={"cold_moist": 30})
    less = step(rest, "cold_moist").amounts["days"]
    assert (less.low, less.use, less.high) == tuple(max(0, days - 30) for days in (whole.low, whole.use, whole.high))
    assert any("30 days were already given" in line for line in step(rest, "cold_moist").do)


def test_cold_already_given_does_not_count_when_the_seed_dried_since(grow: Callable) -> None:
    whole = step(grow("Malus sieversii"), "cold_moist").amounts["days"]
    again = grow("Malus sieversii", had={"cold_moist": 30}, dried_since=True)
    assert step(again, "cold_moist").amounts["days"].use == whole.use
    assert any("dried since" in line for line in step(again, "cold_moist").do)


def test_the_first_cold_of_two_is_not_credited_twice(grow: Callable) -> None:
    """Thirty days of cold once given cannot shorten both winters."""
    whole = [s.amounts["days"].use for s in grow("Trillium grandiflorum").steps if s.kind == "cold_moist"]
    rest = [
        s.amounts["days"].use
        for s in grow("Trillium grandiflorum", had={"cold_moist": 30}).steps
        if s.kind == "cold_moist"
    ]
    assert sum(whole) - sum(rest) <= 30, f"{whole} became {rest}"


def test_seed_from_mild_winters_is_chilled_no_longer(grow: Callable) -> None:
    usual = step(grow("Malus sieversii"), "cold_moist").amounts["days"]
    mild = step(grow("Malus sieversii", provenance="mild_winter"), "cold_moist").amounts["days"]
    assert usual.low <= mild.use <= usual.use


def test_seed_that_came_clean_is_not_cleaned_again(grow: Callable) -> None:
    assert "clean" in kinds(grow("Viburnum prunifolium"))
    assert "clean" not in kinds(grow("Viburnum prunifolium", cleaned=True))


def test_seed_that_dies_dry_and_was_stored_dry_is_a_warning(grow: Callable) -> None:
    plan = grow("Quercus robur", stored="dry")
    assert any("dry" in caution.lower() for caution in (*plan.cautions, *plan.advice)), "the lot may be dead"
    wet = grow("Quercus robur", stored="moist")
    assert plan.cautions != wet.cautions or plan.advice != wet.advice, "how it was stored must make a difference"


# --- measurements, and the small API


def test_what_is_seen_at_the_bench_outranks_what_is_written(planner: Planner) -> None:
    """A lot of redbud that swells untreated needs no blade."""
    plan = planner.plan("Cercis canadensis", measurements={"coat_water": "passes"})
    assert not OPENS_COATS & set(kinds(plan))


def test_a_measurement_that_is_no_word_is_refused(planner: Planner) -> None:
    with pytest.raises(UserError, match="coat_water"):
        planner.plan("Cercis canadensis", measurements={"coat_water": "leaks"})


def test_one_call_makes_one_plan(kb: KnowledgeBase, planner: Planner) -> None:
    plan = make_plan(kb, "black haw", engine="plain")
    assert plan.match.name == "Viburnum prunifolium"
    assert [s.id for s in plan.steps] == [s.id for s in planner.plan("black haw").steps]


def test_a_plan_says_how_it_was_matched(planner: Planner) -> None:
    assert planner.plan("black haw").match.matched_by == "common_name"
    assert planner.plan("Virburnum prunifolium").match.matched_by == "spelling"


def test_all_problems_of_a_grower_are_told_at_once(kb: KnowledgeBase) -> None:
    with pytest.raises(UserError) as caught:
        make_grower(
            kb.vocabulary,
            have=["fridge", "wand", "acid"],
            without=["fridge"],
            allow=["blade"],
            seeds=0,
            stored="pickled",
        )
    text = str(caught.value)
    for word in ("wand", "both had and lacked", "--allow acid", "needs no permission", "0 seeds", "pickled"):
        assert word in text, f"{word!r} not in:\n{text}"


def test_poisonous_seed_says_so_on_the_steps_that_handle_it(kb: KnowledgeBase, plans: dict[str, Plan]) -> None:
    poisonous = [plan for plan in plans.values() if ("toxic", "yes") in plan.facts.known]
    assert poisonous
    for plan in poisonous:
        assert any("poison" in c.lower() or "burn" in c.lower() or "toxic" in c.lower() for c in plan.cautions), (
            plan.query
        )


@pytest.mark.parametrize(("word", "says"), [("protected_somewhere", "protect"), ("invasive_somewhere", "invasive")])
def test_protected_and_invasive_plants_defer_to_local_law(plans: dict[str, Plan], word: str, says: str) -> None:
    marked = [plan for plan in plans.values() if ("legal", word) in plan.facts.known]
    assert marked
    for plan in marked:
        assert any(says in c.lower() or "law" in c.lower() for c in plan.cautions), plan.query


# --- fire country, hulls and warm seedbeds


@pytest.mark.parametrize("name", ["Anigozanthos manglesii", "Anigozanthos viridis"])
def test_storage_that_relatives_lend_is_optional_where_smoke_is_the_signal(
    grow: Callable[..., Plan], name: str
) -> None:
    without, smoked = grow(name), grow(name, have=["smoke"])
    for plan in (without, smoked):
        assert step(plan, "after_ripen").optional and seasons(plan) == ["after_ripen"]
        assert step(plan, "after_ripen").amounts["days"].use <= 180, (
            "years in a laboratory's store are no length to lend"
        )
    assert kinds(without)[-2:] == kinds(smoked)[-2:] == ["smoke", "sow"]
    assert step(without, "smoke").lacks == ("smoke",) and not step(smoked, "smoke").lacks


def test_seed_that_needs_smoke_is_not_planned_without_it_and_says_what_to_get(grow: Callable[..., Plan]) -> None:
    plan = grow("Emmenanthe penduliflora")
    assert plan.outcome == "unreachable" and "Smoke water, discs or granules" in " ".join(plan.advice)
    assert "smoke" in kinds(grow("Emmenanthe penduliflora", have=["smoke"]))


def test_gibberellic_acid_stands_in_for_smoke_only_where_dormancy_is_not_deep(grow: Callable[..., Plan]) -> None:
    assert "hormone" in kinds(grow("Erica umbellata", have=["gibberellic_acid"]))
    assert grow("Arctostaphylos glandulosa", have=["gibberellic_acid"]).outcome == "unreachable"


def test_taking_off_pulp_does_not_open_the_stone(grow: Callable[..., Plan]) -> None:
    for name in ("Terminalia chebula", "Musa acuminata"):
        plan = grow(name)
        assert "restraining_cover" not in step(plan, "clean").removes
        assert "restraining_cover" in step(plan, "nick").removes


def test_a_warm_seedbed_is_no_treatment_before_sowing(plans: dict[str, Plan]) -> None:
    warm = [p for p in plans.values() if any("wakes_in_warm_seedbed" in s.removes for s in p.steps)]
    assert len(warm) > 20
    for plan in warm:
        assert "wakes_in_warm_seedbed" in plan.steps[-1].removes and plan.steps[-1].kind == "sow", plan.query
