"""Lending has borders: clade, drying, families of watertight coats, winters; and every genus gets an answer that cannot harm."""

from __future__ import annotations

import pytest
from rousewort.evaluation.classes import class_scores, foretell
from rousewort.evaluation.genera import HARMS, every_genus, try_genera
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.planning.class_estimate import estimate
from rousewort.planning.facts import gather
from rousewort.planning.plan import Planner

KEY = "dormancy_class"


def placed(kb: KnowledgeBase, name: str, family: str | None = None) -> Match:
    genus = name.split()[0]
    return Match(name, name, "genus", genus=genus, family=family or kb.genus_family(genus))


def test_every_thirtieth_genus_gets_an_answer_that_cannot_harm(kb: KnowledgeBase) -> None:
    """All 20,735 are tried by `rousewort calibrate`."""
    told = try_genera(kb, every_genus(kb)[::30])
    assert told["genera"] > 680 and set(told["outcomes"]) <= {"plan", "unknown", "laboratory", "unreachable"}
    assert told["harms"] == {harm: [] for harm in HARMS}


def test_the_class_of_hidden_species_is_foretold_in_four_of_five(kb: KnowledgeBase) -> None:
    """Over all species asked; beside the genus, else the family, counted alone."""
    scores = class_scores(foretell(kb, "entries"))
    ours, genus = scores["rousewort"], scores["genus"]
    assert ours["right"] >= 0.8 * ours["tried"] and ours["tried"] > 500
    assert ours["right"] > genus["right"] and ours["brier"] < genus["brier"]


def test_a_species_without_entry_has_the_class_of_its_row_in_the_table(kb: KnowledgeBase) -> None:
    known = gather(kb, placed(kb, "Abeliophyllum distichum")).of(KEY)
    assert [(k.word, k.basis, k.sources[0]["held"]) for k in known] == [("physiological", "species", "table")]


def test_without_the_work_the_table_is_hidden_too(kb: KnowledgeBase) -> None:
    rest = kb.without(source="baskin-baskin-2014")
    assert kb.store.classed("genus", "Abeliophyllum") and not rest.store.classed("genus", "Abeliophyllum")
    assert not rest.store.classed("family", "Oleaceae")


def test_a_hidden_genus_leaves_nothing_of_itself_in_its_family(kb: KnowledgeBase) -> None:
    before, rest = kb.store.classed("family", "Oleaceae"), kb.without(genus="Fraxinus").store
    assert not rest.classed("genus", "Fraxinus") and not rest.group("genus", "Fraxinus")["votes"].get(KEY)
    assert sum(rest.classed("family", "Oleaceae").values()) < sum(before.values())


@pytest.mark.parametrize("family", ["Rosaceae", "Apiaceae", "Poaceae"])
def test_no_coat_that_keeps_water_out_is_lent_outside_its_published_families(kb: KnowledgeBase, family: str) -> None:
    chances = estimate(kb, None, family).chances
    assert chances["physical"] == chances["physical_physiological"] == 0.0
    seen = estimate(kb, None, family, seen={"coat_water": "stops"}).chances
    assert seen["physical"] > 0, "what the bench found outranks the list"


def test_seed_that_dies_when_dry_is_lent_no_hard_coat(kb: KnowledgeBase) -> None:
    """Inga and Garcinia: kin of pods and stones, with seed that is sown fresh."""
    for name in ("Inga edulis", "Garcinia mangostana"):
        plan = Planner(kb, "plain").plan(name)
        given = {step.kind for step in plan.steps if not step.optional}
        assert not given & {"nick", "abrade", "acid", "hot_water", "dry_heat"}, name


def test_kin_of_another_clade_lend_nothing(kb: KnowledgeBase) -> None:
    """Ceanothus of California lends no coat to Maesopsis of the African forest; okra none to a lime."""
    assert kb.store.clade_of("Maesopsis") != kb.store.clade_of("Ceanothus") is not None
    lent = gather(kb, placed(kb, "Maesopsis nescia")).known.values()
    assert not any(name.startswith("Ceanothus") for known in lent if known.key != KEY for name in known.relatives)


def test_a_level_of_cold_countries_is_not_lent_to_a_plant_of_another(kb: KnowledgeBase) -> None:
    """Flannel flower grows where no frost lasts; most of the carrot family that was studied needs a long winter."""
    facts = gather(kb, placed(kb, "Actinotus helianthi"), {"home_climate": "mediterranean"})
    assert not facts.of("morphophysiological_level") and not facts.of("reported_cold")


def test_every_clade_holds_genera_of_its_family_or_species_of_its_genus(kb: KnowledgeBase) -> None:
    for name, clade in kb.store.shared("clades").items():
        for genus in clade.get("genera", ()):
            assert kb.genus_family(genus) == clade["of"], f"{name}: {genus}"
        for species in clade.get("species", ()):
            assert species.split()[0] == clade["of"], f"{name}: {species}"
