"""A plan follows what was done to its seed, whole, and never does silently what its own entry speaks against."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from rousewort.evaluation import gate
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.follow import Following
from rousewort.planning.grower import make_grower
from rousewort.planning.own_evidence import Own, Verdict
from rousewort.planning.plan import Plan, Planner, Step
from rousewort.planning.plan_json import plan_json
from rousewort.planning.protocols import courses, read, support


@pytest.fixture
def grow(planner: Planner, kb: KnowledgeBase) -> Callable[..., Plan]:
    return lambda name, **how: planner.plan(name, make_grower(kb.vocabulary, **how))


def of_kind(plan: Plan, kind: str) -> list[Step]:
    return [step for step in plan.steps if step.kind == kind]


def protocol(kb: KnowledgeBase, **told: Any) -> Any:
    return read({"id": "made-up", "held": "demo", **told}, kb.vocabulary)


# --- reading one protocol


def test_seasons_told_without_an_order_are_in_the_order_in_which_they_stand(kb: KnowledgeBase) -> None:
    seasons = [{"kind": "warm_moist", "found": "needed"}, {"kind": "cold_moist", "found": "needed"}]
    assert protocol(kb, order="not_read", phases=seasons).ordered


@pytest.mark.parametrize(
    "kinds",
    [("nick", "acid"), ("hormone", "cold_moist"), ("after_ripen", "cold_moist"), ("outdoor_winter", "cold_moist")],
)
def test_two_ways_to_one_end_are_no_sequence(kb: KnowledgeBase, kinds: tuple[str, ...]) -> None:
    phases = [{"kind": kind, "found": "effective"} for kind in kinds]
    assert not protocol(kb, order="not_read", phases=phases).ordered
    assert protocol(kb, phases=phases).ordered, "where the order is told it stands"


def test_rows_of_a_table_say_what_came_up_with_and_without(kb: KnowledgeBase) -> None:
    course = protocol(
        kb,
        design="treatment_and_control",
        phases=[{"kind": "cold_moist", "days": "varied"}],
        columns=["cold_days", "germinated", "sown"],
        results=[{"rows": [[0, 10, 100], [30, 60, 100], [60, 90, 100]]}],
    )
    assert (course.untreated, course.treated, course.seeds, course.varied) == (10, 90, 300, "cold")


def test_an_experiment_with_a_gain_is_better_supported_than_advice(kb: KnowledgeBase) -> None:
    rows = [{"rows": [[0, 10, 100], [60, 90, 100]]}]
    varied = [{"kind": "cold_moist", "days": "varied"}]
    columns = ["cold_days", "germinated", "sown"]
    tried = protocol(kb, design="treatment_and_control", phases=varied, columns=columns, results=rows)
    advised = protocol(kb, design="advice", source="x", phases=[{"kind": "cold_moist", "days": 60}])
    both = (tried, advised)
    assert support(tried, both, kb.vocabulary) > support(advised, both, kb.vocabulary)


# --- whose protocol a plan follows


def test_a_plan_names_the_protocol_that_it_follows_and_what_came_of_it(planner: Planner, kb: KnowledgeBase) -> None:
    made = plan_json(planner.plan("Pinus sylvestris"))
    source = kb.taxon("Pinus sylvestris")["protocols"]
    assert made["follows"]["source"] in {one["source"] for one in source} and made["follows"]["kind"] == "experiment"
    assert made["expect"]["germinated_pct"]["high"] == made["follows"]["germinated_pct"] > 90
    assert {other["source"] for other in made["others"]} | {made["follows"]["source"]} == {
        one["source"] for one in source
    }


def test_what_was_put_together_from_several_promises_no_share(planner: Planner, plans: dict[str, Plan]) -> None:
    put_together = [plan for plan in plans.values() if plan.follows and plan.follows["assembled"]]
    assert put_together
    assert all(plan.follows["germinated_pct"] is None and plan.expect is None for plan in put_together)


def test_what_is_followed_covers_every_step_that_is_asked_for(plans: dict[str, Plan], kb: KnowledgeBase) -> None:
    groups = kb.vocabulary.files["treatment_groups"]
    kinds = kb.vocabulary.kinds
    for name, plan in plans.items():
        following = plan.sequence.follows
        if plan.outcome != "plan" or not isinstance(following, Following) or following.course is None:
            continue
        told = {phase.group for phase in following.course.given()}
        asked = {kinds.group(s.kind) for s in plan.steps if kinds.wakes(s.kind) and not s.optional}
        assert {group for group in asked if not groups[group].get("fills")} <= told, name


@pytest.mark.parametrize("name", ["Crocus vernus", "Scilla siberica", "Daphne mezereum", "Acer griseum"])
def test_a_source_that_sows_outside_is_followed_outside_with_the_fridge_beside_it(planner: Planner, name: str) -> None:
    plan = planner.plan(name)
    assert of_kind(plan, "outdoor_winter") and not of_kind(plan, "cold_moist")
    assert any(step.kind == "cold_moist" for other in plan.alternatives for step in other.steps)


@pytest.mark.parametrize(
    ("name", "parts"), [("Gagea lutea", 2), ("Cardiocrinum cordatum var. glehnii", 2), ("Jeffersonia diphylla", 2)]
)
def test_a_season_in_parts_stays_in_parts_each_as_warm_as_it_was(planner: Planner, name: str, parts: int) -> None:
    """A mean of summer and autumn is a temperature that nobody gave; straight from warmth to cold some seed fails."""
    warm = of_kind(planner.plan(name), "warm_moist")
    assert len(warm) == parts
    uses = [step.temperature.use for step in warm if step.temperature]
    assert uses == sorted(uses, reverse=True) and len(set(uses)) == parts


@pytest.mark.parametrize(
    ("name", "kind", "use"), [("Corydalis cava", "warm_moist", 20), ("Aconitum napellus", "cold_moist", 4)]
)
def test_relatives_lend_no_mean_of_two_seasons_and_no_limit_as_a_temperature(
    planner: Planner, name: str, kind: str, use: int
) -> None:
    (step,) = of_kind(planner.plan(name), kind)
    assert step.temperature and step.temperature.use == use


def test_a_limit_stays_a_limit(planner: Planner) -> None:
    (cold,) = of_kind(planner.plan("Aconitum lycoctonum"), "cold_moist")
    assert cold.temperature and cold.temperature.use < cold.temperature.high == 10


# --- what its own works say against a step


def test_two_works_that_counted_strike_a_step(kb: KnowledgeBase) -> None:
    assert Own(kb, "Carex nebrascensis").verdict("cold_moist").vetoed


def test_one_work_against_is_dissent_and_strikes_nothing(kb: KnowledgeBase) -> None:
    verdict = Own(kb, "Quercus robur").verdict("cold_moist")
    assert verdict.against and not verdict.vetoed and verdict.optional


def test_silence_is_no_verdict(kb: KnowledgeBase) -> None:
    assert Own(kb, "Jeffersonia diphylla").verdict("cold_moist") == Verdict()


def test_what_failed_where_something_else_worked_is_not_asked_for(grow: Callable[..., Plan]) -> None:
    """A year of cold did nothing for yellow gentian; the hormone woke nearly all."""
    plan = grow("Gentiana lutea")
    assert not of_kind(plan, "cold_moist") and of_kind(plan, "hormone")[0].lacks == ("gibberellic_acid",)
    assert grow("Gentiana lutea", have=["gibberellic_acid"]).outcome == "plan"


@pytest.mark.parametrize(
    "name", ["Pinus sylvestris", "Pinus resinosa", "Betula pendula", "Picea mariana", "Picea abies"]
)
def test_seed_that_came_up_untreated_may_need_nothing(planner: Planner, name: str) -> None:
    plan = planner.plan(name)
    assert all(step.optional and step.against for step in of_kind(plan, "cold_moist"))
    assert any("half of the lot without" in text for step in plan.steps for text in step.cautions)


def test_seed_that_nothing_woke_is_said_to_be_so(planner: Planner, plans: dict[str, Plan]) -> None:
    plan = planner.plan("Nuphar variegata")
    assert (plan.line or "").startswith("nothing tried woke it") and any(
        "Nothing that was tried" in c for c in plan.cautions
    )
    assert not any("Nothing that was tried" in caution for caution in plans["Acer rubrum"].cautions)


def test_cold_that_few_relatives_need_is_not_asked_for_of_the_whole_lot(plans: dict[str, Plan]) -> None:
    told = [
        s for plan in plans.values() for s in plan.steps if any("in 100 are likely to need it" in a for a in s.against)
    ]
    assert told and all(step.optional and step.kind in ("cold_moist", "outdoor_winter") for step in told)


def test_a_plan_says_in_its_line_that_it_may_need_nothing(planner: Planner) -> None:
    assert (planner.plan("Pinus sylvestris").line or "").startswith("may need nothing")
    assert not (planner.plan("Jeffersonia diphylla").line or "").startswith("may need nothing")


def test_boiling_water_is_offered_where_the_only_source_uses_it(planner: Planner) -> None:
    assert of_kind(planner.plan("Acacia mangium"), "hot_water")


# --- what is out of reach, and what was given before


def test_a_plan_out_of_reach_carries_the_nearest_steps_and_what_they_lack(grow: Callable[..., Plan]) -> None:
    plan = grow("Emmenanthe penduliflora")
    assert plan.outcome == "unreachable" and of_kind(plan, "smoke")[0].lacks == ("smoke",)
    assert {item["obstacle"] for item in plan.unmet} == {o for step in plan.steps if step.lacks for o in step.removes}
    assert grow("Emmenanthe penduliflora", have=["smoke"]).outcome == "plan"


def test_cold_given_before_the_warm_season_does_not_count(grow: Callable[..., Plan]) -> None:
    usual, had = grow("Viburnum dentatum"), grow("Viburnum dentatum", had={"cold_moist": 60})
    days = [of_kind(plan, "cold_moist")[0].amounts["days"].use for plan in (usual, had)]
    assert days[0] == days[1] > 0
    assert any("do not count" in line for line in of_kind(had, "cold_moist")[0].do)


def test_cold_given_before_counts_once_all_before_it_was_given(grow: Callable[..., Plan]) -> None:
    had = grow("Jeffersonia diphylla", had={"warm_moist": 1000, "cold_moist": 30})
    (cold,) = of_kind(had, "cold_moist")
    assert cold.credited == 30


# --- where nothing is known


@pytest.mark.parametrize("name", ["Viscum album", "Phoradendron leucarpum", "Loranthus europaeus"])
def test_a_mistletoe_is_put_on_its_branch_and_in_no_bag(planner: Planner, name: str) -> None:
    plan = planner.plan(name)
    assert not {"cold_moist", "warm_moist", "outdoor_winter"} & {step.kind for step in plan.steps}
    assert any("bark" in text for text in (*plan.advice, *(line for step in plan.steps for line in step.do)))


@pytest.mark.parametrize("name", ["Gnetum gnemon", "Encephalartos altensteinii", "Victoria amazonica", "Viscum album"])
def test_seed_that_dies_when_dried_is_told_nothing_that_kills_it(planner: Planner, name: str) -> None:
    plan = planner.plan(name)
    assert not {"nick", "abrade", "after_ripen", "dry_heat", "hot_water"} & {step.kind for step in plan.steps}
    assert not any("nicked" in line for line in plan.advice)
    if plan.outcome == "unknown":
        assert {step.kind for step in plan.steps} <= {"inspect", "clean", "soak", "sow"}
        assert any(
            line.startswith(("Sow most of it at once", "Put it fresh from the berry", "Keep it in warm water"))
            for line in plan.advice
        )


def test_cold_is_asked_of_half_a_lot_where_neither_home_nor_genus_tells_of_a_winter(planner: Planner) -> None:
    """A tree of the tropics in a genus of all climates, lent cold by one relative."""
    colds = of_kind(planner.plan("Zanthoxylum myriacanthum"), "cold_moist")
    assert len(colds) == 1 and colds[0].optional
    assert any("its home is not known" in text for text in colds[0].against)


@pytest.mark.parametrize(
    "name", ["Isodendrion laurifolium", "Banksia petiolaris", "Brunonia australis", "Astrophytum myriostigma"]
)
def test_what_the_table_of_genera_knows_of_a_home_without_hard_winters_spares_the_seed_a_chill(
    planner: Planner, name: str
) -> None:
    plan = planner.plan(name)
    assert not of_kind(plan, "cold_moist") and plan.steps[-1].kind == "sow"


@pytest.mark.parametrize("name", ["Morinda lucida", "Croton argyratum", "Sterculia caribaea", "Stylosanthes hamata"])
def test_a_plant_of_the_tropics_without_an_entry_is_sown_warm(planner: Planner, name: str) -> None:
    warmth = planner.plan(name).steps[-1].temperature
    assert warmth and warmth.use["day"] >= 26 and warmth.use["night"] >= 20


def test_what_would_only_help_and_is_sold_is_shown_with_what_must_be_got(planner: Planner) -> None:
    (smoke,) = of_kind(planner.plan("Arctostaphylos glauca"), "smoke")
    assert smoke.optional and smoke.lacks == ("smoke",)


def test_what_nothing_but_a_hormone_woke_is_out_of_reach_without_it(planner: Planner) -> None:
    without = planner.plan("Pimelea trichostachya")
    assert without.outcome == "unreachable" and of_kind(without, "hormone")[0].lacks == ("gibberellic_acid",)


def test_where_the_genus_tells_of_winters_cold_stays_asked_for(planner: Planner) -> None:
    (cold,) = of_kind(planner.plan("Viburnum carlesii"), "cold_moist")
    assert not cold.optional


def test_a_plant_of_which_nothing_is_known_gets_a_split_with_its_border_named(planner: Planner) -> None:
    plan = planner.plan("Acanthaceae")
    (cold,) = of_kind(plan, "cold_moist")
    assert plan.outcome == "unknown" and cold.optional and "cold winters" in (cold.only_if or "")
    assert any("moist" in line and "never dry" in line for line in plan.advice), "what it must not be done to"


# --- the gate


def test_the_gate_finds_nothing_on_a_sample(kb: KnowledgeBase) -> None:
    complaints, read_plans = gate.audit(kb, kb.names()[::12])
    assert read_plans > 1000 and not complaints, complaints[:20]


def test_the_gate_reads_at_least_two_dozen_settings(kb: KnowledgeBase) -> None:
    assert len(gate.settings(kb.vocabulary)) >= 24


@pytest.fixture
def page(planner: Planner, kb: KnowledgeBase) -> gate.Page:
    plan = planner.plan("Carex nebrascensis")
    return gate.Page(kb, plan, Own(kb, "Carex nebrascensis"), plan.steps, frozenset())


def test_the_gate_sees_a_step_asked_for_that_is_struck_and_silence_about_it(page: gate.Page) -> None:
    asked = page._replace(steps=tuple(step._replace(optional=False, against=()) for step in page.steps))
    assert list(gate.vetoed(asked)) and list(gate.silent(asked))
    assert not list(gate.vetoed(page)) and not list(gate.silent(page))


def test_the_gate_sees_what_is_used_and_refused(page: gate.Page) -> None:
    assert list(gate.refused_and_used(page._replace(refused=frozenset({page.steps[1].kind}))))


def test_the_gate_sees_two_shares_of_one_lot(page: gate.Page) -> None:
    torn = page.steps[1]._replace(do=("Sow a quarter of the lot untreated.", "Chill half."))
    assert list(gate.two_shares(page._replace(steps=(torn,))))


def test_the_gate_sees_opposites(page: gate.Page) -> None:
    torn = page.steps[-1]._replace(removes=("needs_light", "needs_dark"))
    assert list(gate.opposites(page._replace(steps=(torn,))))


def test_the_gate_sees_heat_that_nobody_reports(page: gate.Page) -> None:
    heated = page.steps[1]._replace(kind="dry_heat", optional=False)
    assert list(gate.unreported_heat(page._replace(steps=(heated,))))


def test_the_gate_sees_a_look_after_the_first_sprouting(page: gate.Page, kb: KnowledgeBase) -> None:
    early = {"id": "x", "held": "demo", "phases": [{"kind": "cold_moist", "days": 60, "sprouting": {"first_day": 10}}]}
    page.own.courses = (read(early, kb.vocabulary),)
    (cold,) = [step for step in page.steps if step.kind == "cold_moist"]
    assert list(gate.late_look(page._replace(steps=(cold._replace(first_look=14),))))
    assert not list(gate.late_look(page._replace(steps=(cold._replace(first_look=7),))))


def test_every_protocol_of_a_species_is_read(kb: KnowledgeBase) -> None:
    assert len(courses(kb, "Gentiana lutea")) == len(kb.taxon("Gentiana lutea")["protocols"])
