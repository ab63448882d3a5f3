"""Laws that hold for every plan: over every species, made-up growers, made-up facts. A broken one is a lost year.

Each law is a function from what was decided to a list of complaints, so that a failure names the plant and the facts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import FactKey
from rousewort.planning.choose import Sequence as Chosen
from rousewort.planning.choose import choose
from rousewort.planning.facts import gather
from rousewort.planning.grower import Grower, make_grower
from rousewort.planning.plan import Plan, Planner, Step
from rousewort.planning.rules.run import Findings, Firing, fire

DRIES = {"after_ripen", "dry_heat", "dry_back", "wet_dry_cycle"}
COOKS = {"hot_water", "dry_heat", "acid"}
BOILING_C = 100


# --- made-up growers and made-up facts


@st.composite
def growers(draw: st.DrawFn, kb: KnowledgeBase) -> Grower:
    """Any grower that the command line could describe."""
    equipment = kb.vocabulary.files["equipment"]
    permitted = sorted(word for word, item in equipment.items() if item.get("permission"))
    assumed = sorted(word for word, item in equipment.items() if item["assumed"])
    extra = sorted(set(equipment) - set(permitted) - set(assumed))
    some = lambda words: st.sets(st.sampled_from(words))  # noqa: E731
    lots = kb.vocabulary.files["lots"]
    return make_grower(
        kb.vocabulary,
        have=draw(some(extra)),
        without=draw(some(assumed)),
        allow=draw(some(permitted)),
        seeds=draw(st.none() | st.sampled_from([1, 5, 19, 20, 59, 60, 200, 5000, 100_000])),
        had=draw(st.dictionaries(st.sampled_from(["cold_moist", "warm_moist", "after_ripen"]), st.integers(0, 200))),
        stored=draw(st.none() | st.sampled_from(sorted(lots["stored"]))),
        provenance=draw(st.none() | st.sampled_from(sorted(lots["provenance"]))),
        dried_since=draw(st.booleans()),
        cleaned=draw(st.booleans()),
    )


@st.composite
def facts_of_some_plant(draw: st.DrawFn, kb: KnowledgeBase) -> frozenset[FactKey]:
    """For each key nothing, one word, or several where a plant can have several. Contradictions too: entries err."""
    facts: set[FactKey] = set()
    for key, words in kb.vocabulary.given.items():
        most = len(words) if kb.vocabulary.many(key) else 1
        facts |= {(key, word) for word in draw(st.lists(st.sampled_from(sorted(words)), max_size=most, unique=True))}
    return frozenset(facts)


class Many(dict):
    """A dictionary that a failing test does not print whole."""

    def __repr__(self) -> str:
        return f"<{len(self)} entries>"


@pytest.fixture(scope="module")
def edge_growers(kb: KnowledgeBase) -> dict[str, Grower]:
    """The settings at the corners: with the usual things, all, none, each usual thing lacked, each other one had."""
    equipment = kb.vocabulary.files["equipment"]
    made = {"the usual": {}, "three seeds": {"seeds": 3}, "a sack": {"seeds": 100_000}, "cleaned": {"cleaned": True}}
    made["nothing"] = {"without": [w for w, item in equipment.items() if item["assumed"]]}
    made["everything"] = {
        "have": [w for w, item in equipment.items() if not item.get("permission")],
        "allow": [w for w, item in equipment.items() if item.get("permission")],
    }
    made["only acid"] = {"allow": ["acid"], "without": ["blade", "sandpaper", "kettle", "oven", "vice"]}
    for word, item in equipment.items():
        how = "without" if item["assumed"] else "allow" if item.get("permission") else "have"
        made[f"{how} {word}"] = {how: [word]}
    return {label: make_grower(kb.vocabulary, **how) for label, how in made.items()}


@pytest.fixture(scope="module")
def fired(kb: KnowledgeBase, planner: Planner, species: list[str]) -> dict[str, Findings]:
    """What the rules conclude of every species."""
    return Many({name: fire(planner.engine, gather(kb, kb.lookup(name)).keys(), kb.vocabulary) for name in species})


@pytest.fixture(scope="module")
def corner_plans(
    planner: Planner, species: list[str], edge_growers: dict[str, Grower], plans: dict[str, Plan]
) -> list[tuple[str, Plan]]:
    """Whole plans of every species, each under three of the corner settings in turn, the usual one always."""
    labels = sorted(set(edge_growers) - {"the usual"})
    made = [(f"{name} (the usual)", plan) for name, plan in plans.items()]
    for i, name in enumerate(species):
        for label in (labels[i % len(labels)], labels[(i + len(labels) // 2) % len(labels)]):
            made.append((f"{name} ({label})", planner.plan(name, edge_growers[label])))
    return made


def none_broken(complaints: Iterable[str]) -> None:
    told = list(complaints)
    assert not told, f"{len(told)} broken:\n" + "\n".join(told[:25])


# --- laws of the choice


def accounts_for_every_obstacle(findings: Findings, chosen: Chosen) -> Iterator[str]:
    """Each obstacle is removed once, or named as unmet, or was removed already; and nothing else is removed."""
    met = [o for c in chosen.chosen for o in c.obstacles]
    told = [*met, *chosen.unmet, *chosen.unmet_optional, *chosen.already]
    if sorted(told) != sorted(findings.obstacles):
        yield f"obstacles {sorted(findings.obstacles)}, accounted for {sorted(told)}"


def keeps_the_order_of_obstacles(rank: dict[str, int], removed: Sequence[str]) -> Iterator[str]:
    if [rank[o] for o in removed] != sorted(rank[o] for o in removed):
        yield f"removed in the order {list(removed)}"


def needs_only_what_is_there(kb: KnowledgeBase, grower: Grower, kinds: Iterable[str]) -> Iterator[str]:
    for kind in kinds:
        lacking = grower.can(kb.treatments[kind]["needs"], kb.vocabulary)
        if lacking:
            yield f"{kind} takes {lacking}"


def uses_nothing_ruled_out(findings: Findings, chosen: Chosen) -> Iterator[str]:
    for c in chosen.chosen:
        for obstacle in c.obstacles:
            if (c.kind, None) in findings.ruled_out or (c.kind, obstacle) in findings.ruled_out:
                yield f"{c.kind} for {obstacle} is ruled out"


def never_dries_what_dies_dry(findings: Findings, kinds: Iterable[str]) -> Iterator[str]:
    if ("drying", "sensitive") in findings.facts:
        for kind in set(kinds) & DRIES:
            yield f"{kind} of seed that dies when dried"


def never_cooks_swollen_seed(kb: KnowledgeBase, steps: Sequence[tuple[str, Sequence[str]]]) -> Iterator[str]:
    """After a step in which seed takes up water no heat or acid; the soak that sorts the lot dries the rest again."""
    wet = None
    for kind, removes in steps:
        if wet and kind in COOKS:
            yield f"{kind} after {wet}"
        if kb.treatments[kind].get("wet") and kind not in COOKS and list(removes) != ["unsorted_hard_seed"]:
            wet = kind


def choice_is_lawful(kb: KnowledgeBase, findings: Findings, grower: Grower) -> Iterator[str]:
    chosen = choose(findings, grower, kb.treatments, kb.vocabulary)
    yield from accounts_for_every_obstacle(findings, chosen)
    removed = [o for c in chosen.chosen if c.kind != "sow" for o in c.obstacles]
    removed += [
        o for c in chosen.chosen if c.kind == "sow" for o in c.obstacles
    ]  # sowing comes last, whatever it removes
    yield from keeps_the_order_of_obstacles(kb.vocabulary.obstacle_rank, removed)
    yield from needs_only_what_is_there(kb, grower, [c.kind for c in chosen.chosen if not (c.optional and c.lacks)])
    yield from uses_nothing_ruled_out(findings, chosen)
    yield from never_dries_what_dies_dry(findings, [c.kind for c in chosen.chosen])
    yield from never_cooks_swollen_seed(kb, [(c.kind, c.obstacles) for c in chosen.chosen])
    if "acid" not in grower.allows and any(c.kind == "acid" for c in chosen.chosen):
        yield "acid, which is not allowed"


def test_the_choice_is_lawful_for_every_species_at_every_corner(
    kb: KnowledgeBase, fired: dict[str, Findings], edge_growers: dict[str, Grower]
) -> None:
    none_broken(
        f"{name}, {label}: {complaint}"
        for name, findings in fired.items()
        for label, grower in edge_growers.items()
        for complaint in choice_is_lawful(kb, findings, grower)
    )


@given(data=st.data())
@settings(max_examples=25)
def test_the_choice_is_lawful_for_every_species_and_any_grower(
    kb: KnowledgeBase, fired: dict[str, Findings], data: st.DataObject
) -> None:
    grower = data.draw(growers(kb))
    none_broken(
        f"{name}: {complaint}"
        for name, findings in fired.items()
        for complaint in choice_is_lawful(kb, findings, grower)
    )


@given(data=st.data())
def test_the_choice_is_lawful_on_made_up_facts(kb: KnowledgeBase, planner: Planner, data: st.DataObject) -> None:
    facts = data.draw(facts_of_some_plant(kb))
    none_broken(choice_is_lawful(kb, fire(planner.engine, facts, kb.vocabulary), data.draw(growers(kb))))


@given(data=st.data())
def test_having_more_never_leaves_more_undone(kb: KnowledgeBase, planner: Planner, data: st.DataObject) -> None:
    """One more thing on the bench cannot make a plant unreachable."""
    findings = fire(planner.engine, data.draw(facts_of_some_plant(kb)), kb.vocabulary)
    grower = data.draw(growers(kb))
    lacking = sorted(
        w for w, item in kb.vocabulary.files["equipment"].items() if w not in grower.has and not item.get("permission")
    )
    if not lacking:
        return
    richer = grower.changed(have=data.draw(st.sampled_from(lacking)))
    before, after = (choose(findings, g, kb.treatments, kb.vocabulary) for g in (grower, richer))
    assert set(after.unmet) <= set(before.unmet)


# --- laws of whole plans


def sequences(plan: Plan) -> Iterator[tuple[str, tuple[Step, ...], list[str]]]:
    """The plan's own steps and every alternative: a label, the steps, the obstacles that it names as unmet."""
    if plan.outcome == "plan":
        yield "", plan.steps, [item["obstacle"] for item in plan.unmet]
    for alternative in plan.alternatives:
        yield f" [{alternative.text}]", alternative.steps, list(alternative.unmet)


def test_every_obstacle_is_removed_once_by_a_step_or_named_as_unmet(
    kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]]
) -> None:
    """In the steps that the grower reads, not only in the choice behind them. A minor one may go unnamed."""
    minor = {name for name, obstacle in kb.vocabulary.obstacles.items() if obstacle.get("minor")}

    def complaints() -> Iterator[str]:
        for label, plan in corner_plans:
            for which, steps, unmet in sequences(plan):
                unnamed = minor & set(plan.sequence.unmet_optional) - set(unmet) if not which else set()
                told = sorted([*(o for step in steps for o in step.removes), *unmet, *unnamed, *plan.sequence.already])
                if told != sorted(plan.findings.obstacles):
                    gone = sorted(set(plan.findings.obstacles) - set(told))
                    yield f"{label}{which}: no step removes {gone}" if gone else f"{label}{which}: removed {told}"

    none_broken(complaints())


def test_steps_stand_in_the_order_of_their_obstacles(kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]]) -> None:
    none_broken(
        f"{label}{which}: {complaint}"
        for label, plan in corner_plans
        for which, steps, _ in sequences(plan)
        for complaint in keeps_the_order_of_obstacles(
            kb.vocabulary.obstacle_rank, [o for step in steps for o in step.removes]
        )
    )


def test_a_plan_starts_with_an_inspection_and_ends_in_the_ground(corner_plans: list[tuple[str, Plan]]) -> None:
    none_broken(
        f"{label}{which}: {[step.kind for step in steps]}"
        for label, plan in corner_plans
        for which, steps, _ in sequences(plan)
        if steps[0].kind != "inspect" or steps[-1].kind not in ("sow", "outdoor_winter")
    )


def test_step_ids_are_unique_within_a_sequence(corner_plans: list[tuple[str, Plan]]) -> None:
    none_broken(
        f"{label}{which}: {[step.id for step in steps]}"
        for label, plan in corner_plans
        for which, steps, _ in sequences(plan)
        if len({step.id for step in steps}) != len(steps)
    )


def test_a_plan_without_steps_says_what_to_do_or_observe_next(corner_plans: list[tuple[str, Plan]]) -> None:
    none_broken(
        f"{label}: {plan.outcome}"
        for label, plan in corner_plans
        if (plan.outcome in ("plan", "unreachable") and not plan.steps)
        or (plan.outcome == "laboratory" and plan.steps)
        or (plan.outcome != "plan" and not plan.advice)
    )


def test_every_step_needs_only_what_the_grower_has_or_says_what_it_lacks(
    kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]], edge_growers: dict[str, Grower]
) -> None:
    def complaints() -> Iterator[str]:
        for label, plan in corner_plans:
            grower = edge_growers[label.split("(")[1].rstrip(")")]
            had = grower._replace(has=grower.has | {need for step in plan.steps for need in step.lacks})
            yield from (f"{label}: {c}" for c in needs_only_what_is_there(kb, had, [s.kind for s in plan.steps]))
            if plan.outcome == "plan":
                yield from (f"{label}: {step.kind} must be got" for step in plan.steps if not only_to_buy(kb, step))
            for alternative in plan.alternatives:
                other = grower
                for how, words in alternative.when.items():
                    for word in words:
                        other = other.changed(**{how: word})
                there = [s.kind for s in alternative.steps if not s.lacks or not only_to_buy(kb, s)]
                for complaint in needs_only_what_is_there(kb, other, there):
                    yield f"{label} [{alternative.text}]: {complaint}"

    none_broken(complaints())


def only_to_buy(kb: KnowledgeBase, step: Step) -> bool:
    """Whether a step lacks nothing, or may be left out and lacks only what is sold for it."""
    equipment = kb.vocabulary.files["equipment"]
    return not step.lacks or (step.optional and all(equipment[need].get("sold") for need in step.lacks))


def without_acid(plan: Plan) -> list[tuple[Step, ...]]:
    return [steps for _, steps, _ in sequences(plan) if all(step.kind != "acid" for step in steps)]


def test_acid_stands_in_a_plan_only_if_allowed_and_never_without_another_way(
    corner_plans: list[tuple[str, Plan]], edge_growers: dict[str, Grower]
) -> None:
    """Wherever acid stands, main plan or alternative, a sequence without it removes the same obstacle."""

    def complaints() -> Iterator[str]:
        for label, plan in corner_plans:
            allowed = "acid" in edge_growers[label.split("(")[1].rstrip(")")].allows
            if not allowed and any(step.kind == "acid" for step in plan.steps):
                yield f"{label}: acid, not allowed"
            for alternative in plan.alternatives:
                if (
                    any(s.kind == "acid" for s in alternative.steps)
                    and not allowed
                    and "acid" not in alternative.when["allow"]
                ):
                    yield f"{label} [{alternative.text}]: acid without saying that it must be allowed"
            for which, steps, _ in sequences(plan):
                for step in steps:
                    others = {o for other in without_acid(plan) for s in other for o in s.removes}
                    if step.kind == "acid" and not set(step.removes) <= others:
                        yield f"{label}{which}: acid for {sorted(set(step.removes) - others)}, and no other way"

    none_broken(complaints())


def test_acid_carries_its_full_cautions_wherever_it_stands(
    kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]]
) -> None:
    full = [caution["text"] for caution in kb.treatments["acid"]["cautions"]]
    assert any("goggles" in text for text in full) and any("law" in text for text in full)
    seen = [
        step for _, plan in corner_plans for _, steps, _ in sequences(plan) for step in steps if step.kind == "acid"
    ]
    assert seen, "no plan has acid: this proves nothing"
    assert all(set(full) <= set(step.cautions) for step in seen)


def test_every_step_carries_every_caution_of_its_treatment(
    kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]]
) -> None:
    """Or those that its file has for another medium or case; where a lot is too small or its seed too fine to be cut,
    nothing is said of blades."""

    def kept(treatment: Mapping[str, Any], said: Sequence[str]) -> bool:
        others = [*treatment.get("by_medium", {}).values(), *treatment.get("by_case", ())]
        sets = [treatment["cautions"], *(other["cautions"] for other in others if other.get("cautions"))]
        return any({caution["text"] for caution in cautions} <= set(said) for cautions in sets)

    none_broken(
        f"{label}{which}: {step.id} lacks cautions"
        for label, plan in corner_plans
        for which, steps, _ in sequences(plan)
        for step in steps
        if step.kind != "inspect" or any(line.startswith("Cut ") for line in step.do)
        if not kept(kb.treatments[step.kind], step.cautions)
    )


def test_seed_that_dies_dry_is_never_dried_heated_dry_or_frozen(corner_plans: list[tuple[str, Plan]]) -> None:
    seen = 0

    def complaints() -> Iterator[str]:
        nonlocal seen
        for label, plan in corner_plans:
            if ("drying", "sensitive") not in plan.findings.facts:
                continue
            seen += 1
            for which, steps, _ in sequences(plan):
                for step in steps:
                    if step.kind in DRIES:
                        yield f"{label}{which}: {step.kind}"
                    if step.temperature and lowest(step.temperature.low, step.temperature.use) < 0:
                        yield f"{label}{which}: {step.kind} at {step.temperature.low} °C"

    none_broken(complaints())
    assert seen > 10


def lowest(*values: Any) -> float:
    flat = [v for value in values for v in (value.values() if isinstance(value, dict) else [value]) if v is not None]
    return min(flat, default=0)


def highest(*values: Any) -> float:
    return -lowest(
        *({k: -v for k, v in x.items()} if isinstance(x, dict) else None if x is None else -x for x in values)
    )


def test_wet_seed_is_never_frozen(kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]]) -> None:
    """Imbibed seed dies of ice. Outdoors the winter does as it will, in a bed."""
    none_broken(
        f"{label}{which}: {step.kind} at {step.temperature}"
        for label, plan in corner_plans
        for which, steps, _ in sequences(plan)
        for step in steps
        if step.kind in ("cold_moist", "warm_moist", "soak", "leach") and step.temperature
        if lowest(step.temperature.low, step.temperature.use) < 0
    )


def test_swollen_seed_is_never_heated_or_put_into_acid(kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]]) -> None:
    none_broken(
        f"{label}{which}: {complaint}"
        for label, plan in corner_plans
        for which, steps, _ in sequences(plan)
        for complaint in never_cooks_swollen_seed(kb, [(step.kind, step.removes) for step in steps])
    )


def test_hot_water_is_below_boiling_unless_a_source_on_the_species_says_otherwise(
    corner_plans: list[tuple[str, Plan]],
) -> None:
    seen = 0

    def complaints() -> Iterator[str]:
        nonlocal seen
        for label, plan in corner_plans:
            for which, steps, _ in sequences(plan):
                for step in (s for s in steps if s.kind == "hot_water"):
                    seen += 1
                    heat = step.temperature
                    if heat is None:
                        continue
                    cited = heat.basis == "species" and any("source" in s for s in heat.sources)
                    if highest(heat.low, heat.use, heat.high) >= BOILING_C and not cited:
                        yield f"{label}{which}: {heat.low}–{heat.high} °C from {heat.basis}"

    none_broken(complaints())
    assert seen > 50


def test_hot_water_for_hours_is_only_poured_never_held(corner_plans: list[tuple[str, Plan]]) -> None:
    """Hours at a held high temperature cook seed: hours are for water off the heat, minutes for a held bath."""
    none_broken(
        f"{label}{which}: {step.label}: {dict(step.amounts)}"
        for label, plan in corner_plans
        for which, steps, _ in sequences(plan)
        for step in steps
        if step.kind == "hot_water"
        if ("held" in step.label) == ("hours" in step.amounts)
        or ("minutes" in step.amounts and "held" not in step.label)
    )


def test_every_range_runs_from_low_by_use_to_high(corner_plans: list[tuple[str, Plan]]) -> None:
    def complaints() -> Iterator[str]:
        for label, plan in corner_plans:
            for which, steps, _ in sequences(plan):
                for step in steps:
                    for unit, amount in step.amounts.items():
                        known = [v for v in (amount.low, amount.use, amount.high) if v is not None]
                        if known != sorted(known) or any(v < 0 for v in known) or amount.use is None:
                            yield f"{label}{which}: {step.id} {unit} {amount.low} {amount.use} {amount.high}"
                        if unit == "days" and any(v != int(v) for v in known):
                            yield f"{label}{which}: {step.id} days are whole: {known}"
                    heat = step.temperature
                    if heat and not isinstance(heat.use, dict) and not (heat.low <= heat.use <= heat.high):
                        yield f"{label}{which}: {step.id} {heat.low} {heat.use} {heat.high} °C"

    none_broken(complaints())


def test_no_instruction_is_left_with_a_hole(corner_plans: list[tuple[str, Plan]]) -> None:
    """A {placeholder} that nothing filled would reach the bench."""

    def texts(plan: Plan) -> Iterator[str]:
        yield from (*plan.cautions, *plan.advice, *plan.unknowns, plan.basis["note"])
        yield from (split["text"] for split in plan.splits)
        yield from (item["because"] for item in (*plan.ruled_out, *plan.unmet))
        for _, steps, _ in sequences(plan):
            for step in steps:
                yield from (
                    *step.do,
                    *step.watch,
                    step.until,
                    step.success,
                    *step.cautions,
                    *(r.text for r in step.because),
                )

    none_broken(
        f"{label}: {text}" for label, plan in corner_plans for text in texts(plan) if "{" in text or "None" in text
    )


# --- reasons end in sources


def grounds(plan: Plan, firing: Firing, seen: set[str]) -> Iterator[tuple[FactKey, str]]:
    """The facts that a firing comes down to, each with how it is held up: sourced, unknown, nothing."""
    if firing.rule.id in seen:
        return
    seen.add(firing.rule.id)
    for fact in firing.on:
        known = plan.facts.known.get(fact)
        if known:
            held = known.basis == "bench" or known.sources or known.relatives
            yield fact, "sourced" if held and all("held" in s for s in known.sources) else "nothing"
        elif plan.findings.support.get(fact):
            for deeper in plan.findings.support[fact]:
                yield from grounds(plan, deeper, seen)
        else:
            yield fact, "unknown" if fact[1] == "unknown" else "nothing"


def test_every_reason_of_every_step_ends_in_a_sourced_trait(corner_plans: list[tuple[str, Plan]]) -> None:
    def complaints() -> Iterator[str]:
        for label, plan in corner_plans:
            for chosen in plan.sequence.chosen:
                firings = [f for o in chosen.obstacles for f in plan.findings.support[("obstacle", o)]]
                firings += [f for offer in chosen.offers for f in offer.firings]
                if not firings:
                    yield f"{label}: {chosen.kind} has no reason"
                for firing in firings:
                    ends = list(grounds(plan, firing, set()))
                    if any(held == "nothing" for _, held in ends):
                        yield f"{label}: {chosen.kind} by {firing.rule.id}: no ground for some of {ends}"
                    elif not any(held == "sourced" for _, held in ends):
                        yield f"{label}: {chosen.kind} by {firing.rule.id} rests on nothing known: {ends}"

    none_broken(complaints())


def test_every_step_that_removes_something_says_why_with_rule_and_facts(
    kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]]
) -> None:
    rules = {rule["id"]: rule for rule in kb.rules}

    def complaints() -> Iterator[str]:
        for label, plan in corner_plans:
            listed = {source["id"] for source in plan.sources}
            for which, steps, _ in sequences(plan):
                for step in steps:
                    if step.removes and not step.because:
                        yield f"{label}{which}: {step.id} has no reason"
                    for reason in step.because:
                        held = reason.sources or any(s["held"] == "practice" for s in rules[reason.rule]["sources"])
                        if not (reason.text and reason.facts and held):
                            yield f"{label}{which}: {step.id}: {reason}"
                        if not set(reason.sources) <= listed:
                            yield f"{label}{which}: {step.id} cites {set(reason.sources) - listed}, not listed"

    none_broken(complaints())


def test_every_source_of_a_plan_is_a_known_work_and_says_how_it_is_held(
    kb: KnowledgeBase, corner_plans: list[tuple[str, Plan]]
) -> None:
    none_broken(
        f"{label}: {source}"
        for label, plan in corner_plans
        for source in plan.sources
        if source["id"] not in kb.sources or source["held"] not in kb.vocabulary.files["held"]
    )


# --- turn one fact


def turned(kb: KnowledgeBase, planner: Planner, name: str) -> Iterator[tuple[FactKey, Findings, Findings]]:
    """For every trait that some firing rests on: the findings as they are, and with that trait not known."""
    given = gather(kb, kb.lookup(name)).keys()
    before = fire(planner.engine, given, kb.vocabulary)
    used = {fact for firing in before.firings for fact in firing.on if fact in given}
    for key in sorted({key for key, _ in used}):
        left = frozenset(fact for fact in given if fact[0] != key)
        for fact in sorted(f for f in used if f[0] == key):
            yield fact, before, fire(planner.engine, left, kb.vocabulary)


TURN: dict[str, Callable[[KnowledgeBase, FactKey, Findings, Findings], Iterator[str]]] = {}


def law(function: Callable) -> Callable:
    TURN[function.__name__] = function
    return function


@law
def the_reason_vanishes(kb: KnowledgeBase, fact: FactKey, before: Findings, after: Findings) -> Iterator[str]:
    """No firing still rests on it, unless a rule now concludes the same word on other ground."""
    concluded = {f for f in after.support if f[0] == fact[0]}
    for firing in after.firings:
        if fact in firing.on and fact not in concluded:
            yield f"{firing.rule.id} still fires on {fact}"
    for firing in before.firings:
        alone = any(set(line) & set(firing.on) == {fact} for line in firing.rule.when)
        if alone and firing in after.firings and fact not in concluded:
            yield f"{firing.rule.id} needs {fact} and fires without it"


@law
def the_gap_shows(kb: KnowledgeBase, fact: FactKey, before: Findings, after: Findings) -> Iterator[str]:
    """The key is unknown, or a rule concludes it from what is left."""
    if (fact[0], "unknown") not in after.facts and not any(f[0] == fact[0] for f in after.support):
        yield f"{fact[0]} is neither unknown nor concluded"


@law
def nothing_new_is_ruled_out(kb: KnowledgeBase, fact: FactKey, before: Findings, after: Findings) -> Iterator[str]:
    """Knowing less takes no offer away. (That cold cannot open a coat which may now be watertight takes none away.)"""
    offered = {(o.kind, o.obstacle) for o in after.offers} | {(o.kind, None) for o in after.offers}
    for kind, obstacle in (set(after.ruled_out) - set(before.ruled_out)) & offered:
        by = [firing.rule.id for firing in after.ruled_out[kind, obstacle]]
        yield f"without {fact}, {kind} for {obstacle} is ruled out by {by}"


@pytest.mark.parametrize("which", TURN)
def test_turn_one_fact(which: str, kb: KnowledgeBase, planner: Planner, some_species: list[str]) -> None:
    none_broken(
        f"{name}: {complaint}"
        for name in some_species
        for fact, before, after in turned(kb, planner, name)
        for complaint in TURN[which](kb, fact, before, after)
    )


@given(data=st.data())
def test_turn_one_fact_of_made_up_plants(kb: KnowledgeBase, planner: Planner, data: st.DataObject) -> None:
    """The first two laws also where facts contradict each other as they like."""
    given_facts = data.draw(facts_of_some_plant(kb))
    if not given_facts:
        return
    fact = data.draw(st.sampled_from(sorted(given_facts)))
    before = fire(planner.engine, given_facts, kb.vocabulary)
    after = fire(planner.engine, frozenset(f for f in given_facts if f[0] != fact[0]), kb.vocabulary)
    none_broken([*the_reason_vanishes(kb, fact, before, after), *the_gap_shows(kb, fact, before, after)])


def test_what_is_unknown_to_the_rules_is_listed_in_the_plan(kb: KnowledgeBase, plans: dict[str, Plan]) -> None:
    """But what is entered only where it is out of the usual."""
    usual = {key for key, trait in kb.vocabulary.traits.items() if trait.get("as_stated")}
    none_broken(
        f"{name}: {key}"
        for name, plan in plans.items()
        for key, word in plan.findings.facts
        if word == "unknown" and key not in usual and not any(text.startswith(f"{key}:") for text in plan.unknowns)
    )


# --- the same answer whatever the order


@given(data=st.data())
@settings(max_examples=40)
def test_the_order_of_facts_and_offers_decides_nothing(
    kb: KnowledgeBase, planner: Planner, data: st.DataObject
) -> None:
    facts = data.draw(facts_of_some_plant(kb))
    findings = fire(planner.engine, facts, kb.vocabulary)
    grower = data.draw(growers(kb))
    once = choose(findings, grower, kb.treatments, kb.vocabulary).shape()
    findings.offers = data.draw(st.permutations(findings.offers))
    assert choose(findings, grower, kb.treatments, kb.vocabulary).shape() == once
