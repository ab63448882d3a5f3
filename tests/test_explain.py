"""What `why` says of the rules behind a step."""

from __future__ import annotations

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.explain import why
from rousewort.planning.plan import Planner


def test_of_a_rule_that_is_not_sure_it_says_so_and_where_it_may_be_wrong(kb: KnowledgeBase, planner: Planner) -> None:
    """A grower who asks why a stone is cracked should learn that the rule is a draft, and what speaks against it."""
    rules = {rule["id"]: rule for rule in kb.rules}
    assert rules["cracking-proven"]["status"] == "draft"
    lines = why(kb, planner.plan("Prunus persica"), "crack")
    texts = [line.text for line in lines]
    at = next(i for i, text in enumerate(texts) if text.startswith("rule cracking-proven (draft): "))
    limits = [f"may be wrong: {limit}" for limit in rules["cracking-proven"]["limits"]]
    assert [text for text in texts[at:] if text.startswith("may be wrong: ")][: len(limits)] == limits


def test_of_a_stable_rule_it_gives_the_reason_alone(kb: KnowledgeBase, planner: Planner) -> None:
    stable = {rule["id"] for rule in kb.rules if rule["status"] == "stable"}
    lines = why(kb, planner.plan("Acer platanoides"), "cold_moist")
    told = [line.text.split()[1].rstrip(":") for line in lines if line.kind == "rule"]
    assert told and set(told) <= stable
    assert not [line for line in lines if line.kind == "limit"]
