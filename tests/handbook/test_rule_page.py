"""The page of a rule says how far to trust it, where it may be wrong, and on which plants it is tried."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from rousewort.handbook.catalogue import Catalogue
from rousewort.handbook.pages import Writer
from rousewort.handbook.places import site_folder
from rousewort.knowledge.knowledge_base import KnowledgeBase

NAMED = ["Hovenia dulcis", "Passiflora morifolia"]


@pytest.fixture(scope="module")
def page(kb: KnowledgeBase) -> Callable[[str], str]:
    writer = Writer(Catalogue(kb, only=NAMED), site_folder() / "pages")
    rules = {rule["id"]: rule for rule in kb.rules}
    return lambda rule_id: writer._rule(rules[rule_id]).text


def test_it_says_the_status_and_its_meaning_and_the_day(page: Callable[[str], str], kb: KnowledgeBase) -> None:
    text = page("acid-opens-a-watertight-coat")
    assert f"Stable: {kb.vocabulary.files['rule_status']['stable']['means']} Last gone over on 2026-12-01." in text


def test_it_names_the_plants_it_is_tried_on_with_their_works(page: Callable[[str], str], kb: KnowledgeBase) -> None:
    text = page("acid-opens-a-watertight-coat")
    (fires,) = next(rule for rule in kb.rules if rule["id"] == "acid-opens-a-watertight-coat")["examples"]["fires"]
    assert "<em>Hovenia dulcis</em></a>: " + fires["saw"] in text and "sources/yang-2022-acid" in text
    assert "Silent on</dt><dd><a" in text and "<em>Passiflora morifolia</em></a>: " in text


def test_a_lot_is_told_in_the_labels_of_its_facts(page: Callable[[str], str]) -> None:
    text = page("cue-of-summer-before-winter")
    assert (
        "A lot of which is known: dormancy class: physiological (the embryo waits)" in text
        and "common practice" in text
    )


def test_every_rule_has_its_limits_on_its_page(page: Callable[[str], str], kb: KnowledgeBase) -> None:
    for rule in kb.rules:
        assert page(rule["id"]).count("<li>") >= len(rule["limits"]) and "## Where it may be wrong" in page(rule["id"])
