"""A rule that can never match, or reads what is not settled, is an error before it runs. Its examples are run in
tests/contribute/test_rule_examples.py."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import Problem, RuleFault
from rousewort.knowledge.check import _media_problems
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import PHASES, compile_rule, compile_rules, rule_problems
from rousewort.knowledge.strict_yaml import read

Say = Callable[..., list[Problem]]

# Of the invented nursery.
BRIDGE: dict[str, Any] = {
    "id": "bridge-rule",
    "phase": "treatments",
    "when": [{"obstacle": "watertight_coat"}, {"seed_size": ["large", "very_large"]}],
    "unless": [{"finding": "never_dry"}],
    "then": [{"offer": "nick", "for": "watertight_coat", "standing": "usual"}],
    "because": {"why": "{name} has a tight coat.", "what": "Nick it.", "ground": "Water must enter."},
    "limits": ["Seed that has swollen already is sown as it is."],
    "sources": [{"held": "practice", "says": "Common practice."}],
}


@pytest.fixture
def say(kb: KnowledgeBase) -> Say:
    """What the compiler says of the rule with some parts changed, among the shipped rules."""

    def check(**changes: Any) -> list[Problem]:
        rule = {**copy.deepcopy(BRIDGE), **changes}
        return [p for p in rule_problems([*kb.rules, rule], kb.vocabulary) if "bridge-rule" in p.file]

    return check


def test_the_rule_of_these_tests_is_right_as_it_is(say: Say) -> None:
    assert say() == []


@pytest.mark.parametrize(
    ("changes", "what", "mend"),
    [
        (
            {"when": [{"coat_watre": "stops"}]},
            "`coat_watre` is no trait, report, finding or obstacle",
            "Did you mean `coat_water`?",
        ),
        ({"when": [{"seed_size": "lrage"}]}, "`lrage` is no word for seed_size", "Did you mean `large`?"),
        ({"when": [{"seed_size": "colossal"}]}, "`colossal` is no word for seed_size", "Allowed: "),
        ({"when": [{"seed_size": ["large", "hueg"]}]}, "`hueg` is no word for seed_size", ""),
        (
            {"unless": [{"drying": "sensitive"}]},
            "`unless` speaks only of findings and obstacles, not of the trait drying",
            "finding",
        ),
        ({"unless": [{"drying": "unknown"}]}, "not of the trait drying", ""),
        ({"unless": [{"finding": "never_wet"}]}, "`never_wet` is no word for finding", "Did you mean `never_dry`?"),
        ({"phase": "traits", "then": [{"finding": "never_dry"}]}, "cannot read a obstacle", "later phase"),
        ({"phase": "obstacles", "then": [{"obstacle": "pulp"}]}, "cannot read a obstacle", "later phase"),
        (
            {"phase": "traits", "when": [{"finding": "never_dry"}], "then": [{"finding": "shoot_waits"}]},
            "cannot read a finding",
            "later",
        ),
        (
            {"phase": "traits", "when": [{"drying": "unknown"}], "unless": [], "then": [{"finding": "never_dry"}]},
            "settled only after phase traits",
            "",
        ),
        ({"then": [{"obstacle": "pulp"}]}, "a rule of phase treatments cannot `obstacle`", "offer, rules_out"),
        ({"then": [{"conclude": {"light": "required"}}]}, "a rule of phase treatments cannot `conclude`", ""),
        ({"then": [{"caution": "Beware.", "shows_on": ["plan"]}]}, "a rule of phase treatments cannot `caution`", ""),
        ({"because": {**BRIDGE["because"], "why": "{plant} is hard."}}, "{plant} cannot be filled in", "{name}"),
        ({"because": {**BRIDGE["because"], "ground": "{} is hard."}}, "{} cannot be filled in", ""),
    ],
)
def test_a_rule_that_is_wrong_is_told(say: Say, changes: dict, what: str, mend: str) -> None:
    told = say(**changes)
    assert any(what in p.what and mend in p.mend for p in told), told


def test_a_finding_that_no_rule_concludes_can_never_match(kb: KnowledgeBase) -> None:
    without = [rule for rule in kb.rules if {"finding": "never_dry"} not in rule["then"]]
    told = [p for p in rule_problems([*without, BRIDGE], kb.vocabulary) if "bridge-rule" in p.file]
    assert [p.what for p in told] == ["no rule ever concludes finding `never_dry`, so this can never match"]


def test_an_obstacle_that_no_rule_concludes_can_never_match(kb: KnowledgeBase) -> None:
    without = [rule for rule in kb.rules if {"obstacle": "watertight_coat"} not in rule["then"]]
    told = [p for p in rule_problems([*without, BRIDGE], kb.vocabulary) if "bridge-rule" in p.file]
    assert any("no rule ever concludes obstacle `watertight_coat`" in p.what for p in told)


def test_two_words_of_one_single_valued_trait_can_never_hold_together(say: Say) -> None:
    """`when` needs both lines, and the seed has one size."""
    told = say(when=[{"seed_size": "large"}, {"seed_size": "small"}], unless=[])
    assert any("never match" in p.what for p in told), "the rule can never match, and nobody was told"


def test_what_a_rule_needs_and_what_forbids_it_must_differ(say: Say) -> None:
    told = say(unless=[{"obstacle": "watertight_coat"}])
    assert any("never match" in p.what for p in told), "the rule can never match, and nobody was told"


def test_an_offer_for_an_obstacle_that_nothing_names_is_told(kb: KnowledgeBase) -> None:
    rule = {**BRIDGE, "when": [{"seed_size": "large"}], "unless": []}
    rule["then"] = [{"offer": "nick", "for": "needs_light", "standing": "usual"}]
    without = [
        r for r in kb.rules if {"obstacle": "needs_light"} not in [{"obstacle": t.get("obstacle")} for t in r["then"]]
    ]
    told = [p for p in rule_problems([*without, rule], kb.vocabulary) if "bridge-rule" in p.file]
    assert told, "an offer that can never be taken"


def test_two_lines_that_one_fact_could_meet_are_refused(say: Say) -> None:
    """durable_rules takes a fact for one line only, the plain evaluator for both: plans would differ."""
    told = say(when=[{"cue": ["smoke", "fire_heat"]}, {"cue": ["fire_heat", "winter_cold"]}], unless=[])
    assert any("met by the same fact (cue: fire_heat)" in p.what for p in told)


def test_two_lines_on_a_trait_that_a_plant_can_have_several_of_are_fine(say: Say) -> None:
    both = [{"cue": "smoke"}, {"cue": "fire_heat"}]
    assert say(when=both, unless=[]) == []


def test_an_offer_in_a_medium_that_its_treatment_does_not_have_is_told(kb: KnowledgeBase) -> None:
    """The plan would show no medium at all."""
    rule = {
        **BRIDGE,
        "then": [{"offer": "cold_moist", "for": "watertight_coat", "standing": "usual", "medium": "submergd"}],
    }
    (problem,) = _media_problems({"bridge-rule": rule}, kb.treatments, {})
    assert "no medium `submergd`" in problem.what and "Did you mean `submerged`?" in problem.mend
    assert list(_media_problems({r["id"]: r for r in kb.rules}, kb.treatments, {})) == []


def test_all_that_is_wrong_in_a_rule_is_told_at_once(say: Say) -> None:
    told = say(
        when=[{"coat_watre": "stops"}, {"seed_size": "lrage"}],
        unless=[{"drying": "sensitive"}],
        then=[{"obstacle": "pulp"}],
    )
    assert len(told) == 4


def test_a_problem_is_told_where_it_stands_in_the_file(kb: KnowledgeBase) -> None:
    text = "id: bridge-rule\nphase: obstacles\nwhen:\n  - {coat_water: stops}\n  - {seed_size: lrage}\n"
    text += "then:\n  - {obstacle: pulp}\n"
    document = read(text, "rules/bridge-rule.yaml")
    document.data |= {"because": BRIDGE["because"]}
    (problem,) = [
        p for p in rule_problems([document.data], kb.vocabulary, {"bridge-rule": document}) if "lrage" in p.what
    ]
    assert (problem.file, problem.line, problem.column) == ("rules/bridge-rule.yaml", 5, 5)


def test_a_phase_that_is_none_is_a_fault_at_compile_time() -> None:
    with pytest.raises(RuleFault, match="no phase afterthoughts"):
        compile_rules([{**BRIDGE, "phase": "afterthoughts"}])


def test_every_shipped_rule_compiles(kb: KnowledgeBase) -> None:
    assert rule_problems(kb.rules, kb.vocabulary) == []


def test_rules_are_sorted_by_id_in_every_phase(kb: KnowledgeBase) -> None:
    compiled = compile_rules(list(reversed(kb.rules)))
    assert set(compiled.phases) == set(PHASES)
    for rules in compiled.phases.values():
        assert [rule.id for rule in rules] == sorted(rule.id for rule in rules)


def test_every_rule_of_the_shipped_set_fires_for_some_plant(kb: KnowledgeBase, plans: dict) -> None:
    """A rule that no entry ever sets off is untried, whatever its examples say."""
    fired = {firing.rule.id for plan in plans.values() for firing in plan.findings.firings}
    idle = sorted({rule["id"] for rule in kb.rules} - fired)
    assert len(idle) <= len(kb.rules) // 10, f"{len(idle)} rules fire for no species: {', '.join(idle)}"


def test_every_treatment_but_the_fixed_steps_is_offered_by_some_rule(kb: KnowledgeBase) -> None:
    """A treatment that nothing offers can stand in no plan."""
    offered = {then["offer"] for rule in kb.rules for then in rule["then"] if "offer" in then}
    # Every plan inspects and sows. Drying back is there so that rules can forbid it to seed that dies dry, and
    # disinfection is done at need: no obstacle calls for it.
    fixed = {"inspect", "sow", "dry_back", "disinfect"}
    assert set(kb.treatments) - offered - fixed == set()


def test_every_obstacle_can_be_named_and_removed(kb: KnowledgeBase) -> None:
    named = {then["obstacle"] for rule in kb.rules for then in rule["then"] if "obstacle" in then}
    offered = {then["for"] for rule in kb.rules for then in rule["then"] if "offer" in then}
    assert set(kb.vocabulary.obstacles) == named
    assert set(kb.vocabulary.obstacles) == offered


@given(st.data())
def test_any_of_a_line_and_all_of_the_lines_and_none_of_unless(data: st.DataObject) -> None:
    """The plain engine against the definition, by brute force over three keys of three words."""
    facts = frozenset(data.draw(st.sets(st.tuples(st.sampled_from("abc"), st.sampled_from("xyz")))))
    fact = st.tuples(st.sampled_from("abc"), st.sampled_from("xyz"))
    when = data.draw(st.lists(st.sets(fact, min_size=1).map(frozenset), min_size=1, max_size=3))
    unless = data.draw(st.sets(fact, max_size=2))
    rule = compile_rule({"id": "r", "phase": "traits", "when": [{"a": "x"}], "then": []})
    rule = type(rule)("r", "traits", tuple(when), frozenset(unless), {})
    found = rule.matches(facts)
    should = all(any(one in facts for one in line) for line in when) and not any(one in facts for one in unless)
    assert (found is not None) == should
    if found is not None:
        assert found == {one for line in when for one in line if one in facts}
