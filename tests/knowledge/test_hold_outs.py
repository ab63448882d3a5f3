"""`kb.without(…)` hides a thing and all that rests on it, and nothing else."""

from __future__ import annotations

import json
from collections import Counter

import pytest
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import MemoryStore, genus_of
from rousewort.knowledge.summary import pool, unpool
from rousewort.planning.facts import gather
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import to_text


@pytest.fixture(scope="module")
def cited(memory: MemoryStore) -> list[str]:
    """The twelve works that entries cite most, and twelve that they cite once."""
    counts = Counter(
        fact["source"] for record in memory.records.values() for fact in facts_of(record) if "source" in fact
    )
    ranked = [source for source, _ in counts.most_common()]
    return [*ranked[:12], *ranked[-12:]]


def facts_of(record: dict) -> list[dict]:
    statements = [s for group in record.get("traits", {}).values() for s in group]
    return [*statements, *record.get("protocols", ()), *record.get("lots", ())]


def test_a_source_held_out_is_in_no_entry_and_all_else_stays(
    kb: KnowledgeBase, memory: MemoryStore, cited: list[str]
) -> None:
    for source in cited:
        held = kb.without(source=source)
        for name, record in memory.records.items():
            left = facts_of(held.taxon(name))
            assert left == [fact for fact in facts_of(record) if fact.get("source") != source], (
                f"{name} without {source}"
            )
            assert {k: v for k, v in held.taxon(name).items() if k not in ("traits", "protocols", "lots")} == {
                k: v for k, v in record.items() if k not in ("traits", "protocols", "lots")
            }


def test_no_summary_or_group_remembers_a_source_held_out(kb: KnowledgeBase, cited: list[str]) -> None:
    for source in cited[:4] + cited[-4:]:
        held = kb.without(source=source)
        mark = json.dumps(source)
        for name in kb.names("species"):
            assert mark not in json.dumps(held.store.summary(name)), f"{name} without {source}"
        for genus in {name.split()[0] for name in kb.names("species")}:
            assert mark not in json.dumps(held.store.group("genus", genus))


def test_a_plan_without_a_source_shows_no_fact_of_it(kb: KnowledgeBase) -> None:
    """Rules and treatments may still rest on the work; the plant's facts and numbers may not."""
    for name in ("Cercis canadensis", "Viburnum prunifolium", "Trillium grandiflorum"):
        sources = {fact["source"] for fact in facts_of(kb.taxon(name)) if "source" in fact}
        for source in sources:
            held = kb.without(source=source)
            plan = Planner(held, "plain").plan(name)
            for known in plan.facts.known.values():
                assert source not in [s.get("source") for s in (*known.sources, *known.against)]
            for step in plan.steps:
                for amount in step.amounts.values():
                    if amount.basis in ("species", "genus"):
                        assert source not in [s.get("source") for s in amount.sources]


def test_a_species_held_out_is_planned_from_its_relatives_alone(kb: KnowledgeBase) -> None:
    held = kb.without(species="Acer saccharum")
    assert held.taxon("Acer saccharum") is None
    match = held.lookup("Acer saccharum")
    assert (match.name, match.matched_by) == ("Acer saccharum", "genus")
    facts = gather(held, match)
    assert facts.known and all(known.basis in ("genus", "family") for known in facts.known.values())
    assert all("Acer saccharum" not in known.relatives for known in facts.known.values())


def test_a_species_held_out_is_not_found_by_its_other_names(kb: KnowledgeBase) -> None:
    assert kb.lookup("eastern redbud").name == "Cercis canadensis"
    assert kb.without(species="Cercis canadensis").lookup("eastern redbud").name != "Cercis canadensis"


def test_a_species_held_out_lends_nothing_to_its_genus(kb: KnowledgeBase) -> None:
    for name in ("Acer saccharum", "Cercis canadensis", "Viburnum prunifolium"):
        group = kb.without(species=name).store.group("genus", name.split()[0])
        assert name not in json.dumps(group)
        assert group["count"] == kb.store.group("genus", name.split()[0])["count"] - 1


def test_protocols_held_out_leave_no_protocol_and_no_trait_inferred_from_one(
    kb: KnowledgeBase, memory: MemoryStore
) -> None:
    held = kb.without(protocols=True)
    for name, record in memory.records.items():
        left = held.taxon(name)
        assert "protocols" not in left
        statements = [s for group in left.get("traits", {}).values() for s in group]
        assert not [s for s in statements if "inferred_from" in s]
        assert statements == [
            s for group in record.get("traits", {}).values() for s in group if "inferred_from" not in s
        ]
        summary = held.store.summary(name)
        assert summary["answers"] == {} and summary["doses"] == [] and summary["sowing"] == []


def test_no_fact_about_a_report_is_left_for_the_rules(kb: KnowledgeBase, some_species: list[str]) -> None:
    held = kb.without(protocols=True)
    for name in some_species:
        keys = {key for key, _ in gather(held, held.lookup(name)).known}
        assert not {key for key in keys if key.startswith("reported_") or key == "season_order"}, name


def test_hold_outs_can_be_heaped(kb: KnowledgeBase) -> None:
    held = kb.without(protocols=True).without(species="Cercis canadensis")
    assert held.taxon("Cercis canadensis") is None
    assert "protocols" not in held.taxon("Viburnum prunifolium")


def test_holding_out_changes_nothing_in_what_it_was_taken_from(kb: KnowledgeBase) -> None:
    before = to_text(Planner(kb, "plain").plan("Cercis canadensis"))
    kb.without(protocols=True)
    kb.without(species="Cercis canadensis")
    assert to_text(Planner(kb, "plain").plan("Cercis canadensis")) == before


def test_law_taking_a_member_out_of_a_group_is_pooling_the_others(memory: MemoryStore) -> None:
    for name in memory.names("species")[::3]:
        for rank, group in (("genus", genus_of(name)), ("family", memory.records[name]["family"])):
            others = pool(((m, memory.summary(m)) for m in memory.members(rank, group) if m != name), memory.vocabulary)
            assert unpool(memory.group(rank, group), name, memory.summary(name)) == others, (name, rank)
