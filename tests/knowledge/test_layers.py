"""A private layer replaces whole files by accepted name or rule id, or only adds protocols. Nothing merges deeper."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from invented_plant import PLANT, PLANT_PATH, RULE, RULE_PATH
from rousewort.base.errors import Problem, UserError
from rousewort.knowledge.build import build
from rousewort.knowledge.knowledge_base import KnowledgeBase, load
from rousewort.knowledge.store import IndexStore, MemoryStore
from rousewort.planning.plan import Planner

Built = Callable[..., KnowledgeBase]
Find = Callable[[dict], list[Problem]]

# Of the invented nursery: no trait here is true of the plant.
REDBUD_PATH = "species/cercis/cercis-canadensis.yaml"
REDBUD = """\
name: Cercis canadensis
rank: species
family: Fabaceae
traits:
  dormancy_class:
    - {is: none, held: demo}
"""
ADDED = """\
name: Cercis canadensis
rank: species
family: Fabaceae
adds_to: Cercis canadensis
protocols:
  - id: two-winters
    held: practice
    phases:
      - {kind: cold_moist, days: 75}
    found: effective
    note: "Sallow Bridge, two winters running."
"""


def test_an_entry_replaces_the_whole_entry_beneath(built: Built, kb: KnowledgeBase) -> None:
    over = built({REDBUD_PATH: REDBUD}).taxon("Cercis canadensis")
    own = {key: of for key, of in over["traits"].items() if "shared_by" not in of[0]}
    assert own == {"dormancy_class": [{"is": "none", "held": "demo"}]}
    assert set(over["traits"]) - set(own) <= set(kb.vocabulary.shared_keys), (
        "nothing but what the genus says of all its species"
    )
    assert "protocols" not in over and "common_names" not in over
    assert kb.taxon("Cercis canadensis")["protocols"], "the shipped knowledge base is untouched"


def test_a_replaced_entry_no_longer_answers_to_its_old_names(built: Built, kb: KnowledgeBase) -> None:
    assert kb.lookup("eastern redbud").name == "Cercis canadensis"
    over = built({REDBUD_PATH: REDBUD})
    assert over.lookup("eastern redbud").matched_by != "common_name"
    assert over.lookup("cercis canadensis").name == "Cercis canadensis"


def test_the_plan_follows_the_replacing_entry(built: Built) -> None:
    plan = Planner(built({REDBUD_PATH: REDBUD}), "plain").plan("Cercis canadensis")
    assert plan.dormancy["class"] == "ND"
    assert not {step.kind for step in plan.steps} & {"nick", "abrade", "hot_water", "cold_moist"}


def test_adds_to_adds_protocols_and_changes_nothing_else(built: Built, kb: KnowledgeBase) -> None:
    beneath = kb.taxon("Cercis canadensis")
    over = built({REDBUD_PATH: ADDED}).taxon("Cercis canadensis")
    assert over == {**beneath, "protocols": [*beneath["protocols"], over["protocols"][-1]]}
    assert over["protocols"][-1]["note"].startswith("Sallow Bridge")


def test_added_protocols_reach_the_plan(built: Built) -> None:
    plan = Planner(built({REDBUD_PATH: ADDED}), "plain").plan("Cercis canadensis")
    (cold,) = [step for step in plan.steps if step.kind == "cold_moist"]
    assert cold.amounts["days"].use == 75, "found effective outranks recommended"


def test_adds_to_a_name_that_is_not_beneath_is_refused_with_its_place(problems: Find) -> None:
    (problem,) = problems({REDBUD_PATH: ADDED.replace("adds_to: Cercis canadensis", "adds_to: Cercis canadense")})
    assert (problem.line, problem.column) == (4, 10) and "Cercis canadense" in problem.what


def test_an_adding_entry_that_states_traits_is_refused_and_not_dropped(problems: Find) -> None:
    """Its traits would be lost in silence: only protocols are added."""
    text = ADDED + "traits:\n  light:\n    - {is: required, held: demo}\n"
    assert any("traits" in p.what or "only" in p.what for p in problems({REDBUD_PATH: text}))


def test_two_layers_may_both_add(put: Callable, index: Path, tmp_path: Path, kb: KnowledgeBase) -> None:
    first = put({REDBUD_PATH: ADDED})
    second = first.rename(tmp_path / "first")
    third = put({REDBUD_PATH: ADDED.replace("two winters", "three winters")})
    record = KnowledgeBase(build([second, third], index)).taxon("Cercis canadensis")
    assert [r["note"][-21:] for r in record["protocols"][-2:]] == [
        "two winters running.".rjust(21),
        "hree winters running.",
    ]
    assert len(record["protocols"]) == len(kb.taxon("Cercis canadensis")["protocols"]) + 2


def test_a_rule_replaces_the_rule_of_its_id(built: Built, kb: KnowledgeBase) -> None:
    """With the redbud's tight coat no longer an obstacle, nothing opens it."""
    muted = RULE.replace("bridge-rule", "coat-keeps-water-out").replace("{coat_water: stops}", "{seed_size: dust}")
    muted = muted.replace("then:\n", "then:\n  - {obstacle: unsorted_hard_seed}\n")
    over = built({"rules/coat-keeps-water-out.yaml": muted})
    assert [r["id"] for r in over.rules].count("coat-keeps-water-out") == 1
    assert len(over.rules) == len(kb.rules)
    kinds = {step.kind for step in Planner(over, "plain").plan("Cercis canadensis").steps}
    assert "nick" not in kinds
    assert "nick" in {step.kind for step in Planner(kb, "plain").plan("Cercis canadensis").steps}


def test_a_new_rule_stands_beside_the_others_in_order(built: Built, kb: KnowledgeBase) -> None:
    ids = [rule["id"] for rule in built({RULE_PATH: RULE}).rules]
    assert ids == sorted([*(r["id"] for r in kb.rules), "bridge-rule"])


def test_a_replacing_rule_that_starves_another_is_refused(problems: Find) -> None:
    """Another rule reads the obstacle that only the replaced rule named: it could never match again."""
    text = RULE.replace("bridge-rule", "coat-keeps-water-out").replace(
        "obstacle: watertight_coat", "obstacle: slow_uptake"
    )
    found = problems({"rules/coat-keeps-water-out.yaml": text})
    assert any("no rule ever concludes obstacle `unsorted_hard_seed`" in p.what for p in found)


def test_a_new_entry_is_found_by_all_its_names_and_lends_to_its_genus(built: Built) -> None:
    over = built({PLANT_PATH: PLANT})
    for query, how in (
        ("sallowia pontis", "accepted"),
        ("Sallowia vetus", "synonym"),
        ("Sallow Bridge pea", "common_name"),
    ):
        match = over.lookup(query)
        assert (match.name, match.matched_by) == ("Sallowia pontis", how)
    stranger = over.lookup("Sallowia ignota")
    assert (stranger.matched_by, stranger.genus, stranger.family) == ("genus", "Sallowia", "Fabaceae")


def test_load_lays_a_layer_over_the_shipped_one_and_keeps_its_index_apart(put: Callable, kb: KnowledgeBase) -> None:
    folder = put({PLANT_PATH: PLANT})
    over = load([folder])
    assert isinstance(over.store, IndexStore)
    assert over.taxon("Sallowia pontis") and kb.taxon("Sallowia pontis") is None
    assert load().taxon("Sallowia pontis") is None


def test_a_layer_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"no knowledge base folder at .*nowhere"):
        load([tmp_path / "nowhere"])


def test_over_a_wheel_and_over_a_clone_a_layer_gives_the_same(put: Callable, layer: Path, index: Path) -> None:
    folder = put({PLANT_PATH: PLANT, RULE_PATH: RULE, REDBUD_PATH: ADDED})
    clone, wheel = build([layer, folder]), build([folder], index)
    assert isinstance(clone, MemoryStore)
    assert clone.records == wheel.records
    for part in ("rules", "treatments", "sources", "families", "genus_family", "calibration", "vocabulary"):
        assert clone.shared(part) == wheel.shared(part), part
