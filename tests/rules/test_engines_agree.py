"""The plain engine is the oracle: on made-up facts and on every species, both engines give the same bytes."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import PHASES, FactKey, compile_rules, lines
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import to_text
from rousewort.planning.rules.plain import PlainEngine
from rousewort.planning.rules.run import Findings, fire


@st.composite
def given_facts(draw: st.DrawFn, vocabulary: Vocabulary) -> frozenset[FactKey]:
    """What could be known of some plant: for each key nothing, one word, or several where a plant can have several."""
    facts: set[FactKey] = set()
    for key, words in vocabulary.given.items():
        most = len(words) if vocabulary.many(key) else 1
        for word in draw(st.lists(st.sampled_from(sorted(words)), max_size=most, unique=True)):
            facts.add((key, word))
    return frozenset(facts)


def as_bytes(findings: Findings) -> bytes:
    """All that was concluded and from what, in the order given (the order must not differ either)."""

    def firing(one: Any) -> list:
        return [one.rule.id, list(one.on)]

    shown = {
        "facts": sorted(findings.facts),
        "support": [[key, [firing(f) for f in by]] for key, by in findings.support.items()],
        "optional": sorted(findings.optional),
        "offers": [[o.kind, o.obstacle, o.standing, o.medium, [firing(f) for f in o.firings]] for o in findings.offers],
        "ruled_out": [[list(key), [firing(f) for f in by]] for key, by in findings.ruled_out.items()],
        "cautions": [[then, firing(f)] for then, f in findings.cautions],
        "outcome": [[then, firing(f)] for then, f in findings.outcome],
        "firings": [firing(f) for f in findings.firings],
    }
    return json.dumps(shown, ensure_ascii=False).encode()


@given(data=st.data())
def test_on_made_up_facts_both_engines_conclude_the_same_bytes(
    kb: KnowledgeBase, planner: Planner, durable_planner: Planner, data: st.DataObject
) -> None:
    facts = data.draw(given_facts(kb.vocabulary))
    one, other = (fire(p.engine, facts, kb.vocabulary) for p in (planner, durable_planner))
    assert as_bytes(one) == as_bytes(other)


KEYS, WORDS = st.sampled_from("abc"), st.sampled_from("xyz")
CONDITION = st.builds(lambda key, words: {key: sorted(words)}, KEYS, st.sets(WORDS, min_size=1, max_size=2))
MADE_RULE = st.builds(
    lambda when, unless: {"phase": "traits", "when": when, "unless": unless, "then": [], "because": {}},
    st.lists(CONDITION, min_size=1, max_size=3), st.lists(CONDITION, max_size=2),
)  # fmt: skip


@given(rules=st.lists(MADE_RULE, min_size=1, max_size=8), facts=st.sets(st.tuples(KEYS, WORDS)))
@pytest.mark.usefixtures("durable_here")
def test_on_made_up_rules_both_engines_fire_the_same(rules: list[dict], facts: set[FactKey]) -> None:
    """Shapes that the shipped rules do not have, such as a fact asked for and forbidden at once.

    Two lines that one fact could meet are left out: on those the engines differ, so the compiler refuses them.
    """
    from rousewort.planning.rules.durable_engine import DurableEngine

    rules = [rule for rule in rules if _lines_differ(rule)]
    compiled = compile_rules([{**rule, "id": f"rule-{i}"} for i, rule in enumerate(rules)])
    assert DurableEngine(compiled).fire("traits", frozenset(facts)) == PlainEngine(compiled).fire(
        "traits", frozenset(facts)
    )


def _lines_differ(rule: dict) -> bool:
    met = [fact for line in lines(rule["when"]) for fact in line]
    return len(met) == len(set(met))


@given(data=st.data(), seed=st.integers(0, 999))
@settings(max_examples=40)
def test_the_order_in_which_facts_are_asserted_changes_nothing(
    kb: KnowledgeBase, planner: Planner, durable_planner: Planner, data: st.DataObject, seed: int
) -> None:
    facts = fire(planner.engine, data.draw(given_facts(kb.vocabulary)), kb.vocabulary).facts
    engine: Any = durable_planner.engine
    for phase in PHASES:
        words = [f"{k}={w}" for k, w in facts & engine._reads[phase]]
        words += [f"!{k}={w}" for k, w in engine._asks[phase] if (k, w) not in facts]
        if words:
            shuffled = random.Random(seed).sample(sorted(words), len(words))
            assert engine._run(phase, shuffled) == planner.engine.fire(phase, facts), phase


def test_every_plan_is_the_same_bytes_from_both_engines(
    planner: Planner, durable_planner: Planner, some_species: list[str]
) -> None:
    """150 species, or all with ROUSEWORT_ALL=1."""
    different = [name for name in some_species if to_text(planner.plan(name)) != to_text(durable_planner.plan(name))]
    assert not different


HASHES = """
import hashlib
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import to_text
kb = load()
for which in ({engines}):
    planner = Planner(kb, which)
    print(hashlib.sha256("".join(to_text(planner.plan(n)) for n in kb.names("species")[::10]).encode()).hexdigest())
"""


@pytest.mark.usefixtures("durable_here")
def test_plans_do_not_depend_on_the_order_of_sets(kb: KnowledgeBase) -> None:
    """Python orders sets of words anew in every process; two processes, two orders, one answer."""
    script = HASHES.format(engines="'plain', 'durable_rules'")
    answers = set()
    for seed in ("1", "2"):
        env = {**os.environ, "PYTHONHASHSEED": seed}
        answers |= set(
            subprocess.run(
                [sys.executable, "-c", script], capture_output=True, text=True, check=True, env=env
            ).stdout.split()
        )
    assert len(answers) == 1


def test_firing_twice_gives_the_same(kb: KnowledgeBase, planner: Planner, durable_planner: Planner) -> None:
    """No run leaves anything behind for the next."""
    for one in (planner, durable_planner):
        first = to_text(one.plan("Viburnum prunifolium"))
        one.plan("Cercis canadensis")
        assert to_text(one.plan("Viburnum prunifolium")) == first
