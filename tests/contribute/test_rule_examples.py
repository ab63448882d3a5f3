"""An example of a rule is a plant, or a lot, run through all the rules; one that proves nothing is refused."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from rousewort.base.errors import Problem
from rousewort.contribute.rule_examples import example_problems
from rousewort.knowledge.build import Laid
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import MemoryStore
from rousewort.knowledge.strict_yaml import Document, read

Tell = Callable[..., list[Problem]]

# Of the invented nursery. It reads what the phase before it concludes, so that no example can simply state it.
RULE = """\
id: bridge-rule
status: draft
date: '2026-12-01'
phase: treatments
when:
  - {obstacle: watertight_coat}
  - {seed_size: [large, very_large]}
then: [{offer: nick, for: watertight_coat, standing: usual}]
because: {why: "{name} has a tight coat.", what: Nick it., ground: Water must enter.}
limits: [Seed that has swollen already is sown as it is.]
sources: [{held: practice, says: Common practice.}]
examples:
  fires: [FIRES]
  silent: [SILENT]
"""
LUPIN = "{species: Lupinus albus, source: tiryaki-2014-novel, saw: opening the coat woke it}"
CLOVER = "{species: Trifolium pratense, source: tiryaki-2014-novel, saw: as shut but small}"


def rule_with(fires: str, silent: str, rule: str = RULE) -> Document:
    return read(rule.replace("FIRES", fires).replace("SILENT", silent), "rules/bridge-rule.yaml")


@pytest.fixture
def tell(memory: MemoryStore) -> Tell:
    """What is wrong with the examples of the rule, among the shipped rules and plants."""

    def check(fires: str = LUPIN, silent: str = CLOVER, rule: str = RULE) -> list[Problem]:
        document = rule_with(fires, silent, rule)
        return example_problems(Laid([with_rules(memory, document.data)], [], [{document.file: document}]))

    return check


def with_rules(memory: MemoryStore, *rules: dict[str, Any], records: dict[str, Any] | None = None) -> MemoryStore:
    shared = {**memory._shared, "rules": [*memory._shared["rules"], *rules]}
    return MemoryStore(records or memory.records, shared, memory.vocabulary, memory)


def test_the_rule_of_these_tests_is_right_as_it_is(tell: Tell) -> None:
    assert tell() == []


@pytest.mark.parametrize(
    ("changes", "what", "mend"),
    [
        ({"fires": LUPIN.replace("albus", "ablus")}, "no entry of a species `Lupinus ablus`", "`Lupinus albus`?"),
        ({"fires": LUPIN.replace("Lupinus albus", "Lupinus")}, "no entry of a species `Lupinus`", ""),
        ({"fires": LUPIN.replace("2014-novel", "2014-nvel")}, "is not behind anything that this rule reads", "novel`?"),
        ({"fires": CLOVER}, "must fire on Trifolium pratense, and does not", "It has seed_size: small"),
        ({"silent": LUPIN}, "must stay silent on Lupinus albus, and fires", "It fires on obstacle: watertight_coat"),
        (
            {"fires": LUPIN.replace("{", "{lot: {seed_size: large, growth_form: herb}, ")},
            "a species and states a lot",
            "Keep",
        ),
        (
            {"silent": "{species: Acorus americanus, held: practice, saw: a plant of the water}"},
            "has nothing in common with the rule",
            "near miss",
        ),
    ],
)
def test_an_example_by_species_that_is_wrong_is_told(tell: Tell, changes: dict, what: str, mend: str) -> None:
    (problem,) = tell(**changes)
    assert what in problem.what and mend in problem.mend and problem.line > 10


@pytest.mark.parametrize(
    ("lot", "what", "mend"),
    [
        ("{seed_size: large}", "only says `when` again", "Name a species"),
        (
            "{obstacle: watertight_coat, seed_size: large}",
            "the obstacle `watertight_coat` must follow",
            "State the traits",
        ),
        ("{finding: never_dry, seed_size: large}", "the finding `never_dry` must follow", "State the traits"),
        ("{coat_watre: stops, seed_size: large}", "`coat_watre` is no trait", "Did you mean `coat_water`?"),
        ("{coat_water: stopps, seed_size: large}", "`stopps` is no word for coat_water", "Did you mean `stops`?"),
        ("{coat_water: passes, seed_size: large}", "must fire on a lot, and does not", "obstacle: watertight_coat"),
    ],
)
def test_a_lot_states_more_than_the_condition_and_nothing_that_rules_conclude(
    tell: Tell, lot: str, what: str, mend: str
) -> None:
    (problem,) = tell(fires=f"{{lot: {lot}, held: practice, saw: beans of a market stall}}")
    assert what in problem.what and mend in problem.mend


def test_a_lot_from_which_the_condition_follows_is_taken(tell: Tell) -> None:
    lot = "{lot: {coat_water: stops, seed_size: large}, held: practice, saw: beans that did not swell}"
    assert tell(fires=lot) == []


def test_a_lot_that_says_the_condition_of_a_first_rule_again_is_refused(tell: Tell) -> None:
    """A rule on traits alone could be restated wholly: what else is known of the seed has to stand beside it."""
    rule = RULE.replace("phase: treatments", "phase: traits").replace("  - {obstacle: watertight_coat}\n", "")
    rule = rule.replace("{offer: nick, for: watertight_coat, standing: usual}", "{finding: never_dry}")
    lot = "{{lot: {{seed_size: large{}}}, held: practice, saw: beans of a market stall}}"
    (problem,) = tell(fires=lot.format(""), rule=rule)
    assert "only says `when` again" in problem.what
    assert tell(fires=lot.format(", growth_form: vine"), rule=rule) == []


def test_a_relative_of_a_plant_that_fires_is_a_near_miss(tell: Tell) -> None:
    """Bombax shares no condition with the rule, so that beside a lupin its silence proves nothing; it is kin of the baobab."""
    silent = "{species: Bombax costatum, held: practice, saw: four in five came untreated}"
    (problem,) = tell(silent=silent)
    assert "has nothing in common with the rule" in problem.what
    assert tell(fires="{species: Adansonia digitata, held: practice, saw: hard seed of a hand}", silent=silent) == []


def test_a_silent_plant_may_rest_on_a_work_that_the_rule_never_asks_about(tell: Tell) -> None:
    """What keeps a rule silent is often something else; a firing one has to rest on what the rule reads."""
    silent = "{species: Inga spectabilis, source: sautu-2006-forest, saw: most came untreated}"
    assert tell(silent=silent) == []


def test_a_layer_above_cannot_break_an_example_beneath(memory: MemoryStore) -> None:
    """A nursery may enter its own lupin: that is no fault of the shipped rules, which are run without it."""
    document = rule_with(LUPIN, CLOVER)
    soft = {
        **memory.records["Lupinus albus"],
        "traits": {"dormancy_class": [{"is": "none", "held": "practice"}]},
        "reports": [],
    }
    below = with_rules(memory, document.data)
    above = with_rules(memory, document.data, records={**memory.records, "Lupinus albus": soft})
    here: dict[str, Document] = {document.file: document}
    assert example_problems(Laid([below, above], [], [here, {}])) == []
    assert "Lupinus albus" in example_problems(Laid([below, above], [], [{}, here]))[0].what


def test_where_files_are_broken_no_example_is_blamed(memory: MemoryStore) -> None:
    document = rule_with(CLOVER, LUPIN)
    laid = Laid([with_rules(memory, document.data)], [Problem("f", 1, 1, "broken")], [{document.file: document}])
    assert example_problems(laid) == []


def test_every_shipped_rule_keeps_its_examples(memory: MemoryStore) -> None:
    files = {f"rules/{rule['id']}.yaml": Document(rule["id"], rule) for rule in memory._shared["rules"]}
    assert example_problems(Laid([memory], [], [files])) == []


def test_the_command_refuses_with_file_and_line(private: Any) -> None:
    text = RULE.replace("FIRES", CLOVER).replace("SILENT", LUPIN)
    private.write("rules/bridge-rule.yaml", text)
    code, out, err = private.run("check")
    assert code == 1 and "2 problems" in err
    assert "rules/bridge-rule.yaml:13:11: the rule must fire on Trifolium pratense, and does not" in out
    assert "rules/bridge-rule.yaml:14:12: the rule must stay silent on Lupinus albus, and fires" in out


# --- the shipped rules

# Stable without a source of their own that was read: what reports found decides, and how often plans that follow reports agree
# with sources that they did not see is measured (`rousewort agreement`: coats, chilling, seasons).
MEASURED = {
    "abrading-proven", "acid-proven", "hot-water-proven", "nicking-proven", "coat-opening-found-useful", "cold-found-needless",
    "seasons-are-reported",
}  # fmt: skip


def test_a_stable_rule_has_a_source_that_was_read_or_was_measured(kb: KnowledgeBase) -> None:
    stable = {rule["id"]: rule for rule in kb.rules if rule["status"] == "stable"}
    unread = {key for key, rule in stable.items() if all(s["held"] != "read" for s in rule["sources"])}
    assert unread == MEASURED


def test_limits_are_thought_of_rule_by_rule(kb: KnowledgeBase) -> None:
    """One sentence pasted everywhere would say nothing of any of them."""
    said = Counter(limit for rule in kb.rules for limit in rule["limits"])
    assert [limit for limit, times in said.items() if times > 2] == []
