"""Each condition of a rule decides something: seed that lacks one alone, or has one forbidden thing, leaves the rule silent."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import FactKey, Rule, compile_rule

TABLE: Mapping[str, Mapping[str, Any]] = yaml.safe_load(Path(__file__).with_name("near_misses.yaml").read_text("utf-8"))


def facts(told: Mapping[str, Any]) -> Iterator[FactKey]:
    for key, words in told.items():
        yield from ((key, word) for word in ([words] if isinstance(words, str) else words))


def said(then: Mapping[str, Any]) -> str:
    """What follows from a rule, in words."""
    if "obstacle" in then:
        return f"obstacle {then['obstacle']}" + (", optional" if then.get("optional") else "")
    if "offer" in then:
        return f"offer {then['offer']} for {then['for']}, {then['standing']}"
    return f"rule out {then['rules_out']}"


@pytest.fixture(scope="module")
def rules(kb: KnowledgeBase) -> dict[str, Rule]:
    return {data["id"]: compile_rule(data) for data in kb.rules}


@pytest.mark.parametrize("name", TABLE)
def test_rule_fires_on_its_seed_and_on_nothing_that_lacks_a_part_of_it(name: str, rules: Mapping[str, Rule]) -> None:
    told, rule = TABLE[name], rules[name]
    seed = set(facts(told["seed"]))
    assert rule.matches(seed) is not None
    for fact in seed:
        assert rule.matches(seed - {fact}) is None, f"fires without {fact}"
    for key, word in facts(told.get("or", {})):
        other = {fact for fact in seed if fact[0] != key} | {(key, word)}
        assert rule.matches(other) is not None, f"silent on {key} {word}"
    for fact in facts(told.get("not_with", {})):
        assert rule.matches(seed | {fact}) is None, f"fires in spite of {fact}"
    if "does" in told:
        assert [said(then) for then in rule.data["then"]] == told["does"]


def test_table_names_words_of_the_vocabulary(kb: KnowledgeBase) -> None:
    for name, told in TABLE.items():
        for part in ("seed", "or", "not_with"):
            for key, word in facts(told.get(part, {})):
                assert word in kb.vocabulary.keys[key], (name, key, word)
