"""Seeds in a gram: from the entry, a published table, the genus, or the size of the seed, and never from a slip of the tables."""

from __future__ import annotations

import pytest
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.seed_counts import is_off
from rousewort.knowledge.seed_weights import TIMES_OFF, Count, sound


def counts(**uses: float) -> dict[str, Count]:
    return {name.replace("_", " "): Count(use, use, use, "t") for name, use in uses.items()}


def test_a_count_with_a_nought_too_many_is_disputed_and_lends_nothing_to_its_genus() -> None:
    kept, disputed = sound(counts(Rosa_a=100.0), counts(Rosa_b=120.0, Rosa_c=90.0, Rosa_d=110.0 * 100))
    assert set(disputed) == {"Rosa d"}
    assert set(kept) == {"Rosa a", "Rosa b", "Rosa c"}


def test_where_two_tables_differ_more_than_tenfold_neither_stands() -> None:
    kept, disputed = sound(counts(Sambucus_x=0.5), counts(Sambucus_x=500.0))
    assert not kept and len(disputed["Sambucus x"]) == 2


def test_a_row_that_the_manual_checked_stands_though_its_genus_is_lighter() -> None:
    kept, _ = sound(counts(Pinus_pinea=1.3, Pinus_a=60.0, Pinus_b=50.0), counts(Pinus_pinea=1.2))
    assert kept["Pinus pinea"].use == 1.3


def test_no_count_of_the_shipped_tables_is_far_off_another_of_the_same_plant(kb: KnowledgeBase) -> None:
    tables = kb.store.shared("seed_tables")
    assert len(tables["counts"]) > 1800 and 30 < len(tables["disputed"]) < 60
    assert not tables["counts"].keys() & tables["disputed"].keys()
    for of in tables["disputed"].values():
        if len(of) == 2:
            assert max(of[0][1] / of[1][1], of[1][1] / of[0][1]) > TIMES_OFF


def test_the_entry_goes_before_the_table_and_the_table_before_the_genus(kb: KnowledgeBase) -> None:
    own, listed = kb.seeds_per_gram("Taxus brevifolia"), kb.seeds_per_gram("Cercis canadensis")
    kin = kb.seeds_per_gram("Quercus nonexistens")
    assert own and own.basis == "species" and own.held == "read"
    assert (
        listed and listed.basis == "species" and listed.held == "table" and listed.sources == ("bonner-karrfalt-2008",)
    )
    assert kin and kin.basis == "genus" and len(kin.of) > 20 and kin.low < kin.use < kin.high


def test_giant_sequoia_weighs_what_a_published_text_prints(kb: KnowledgeBase) -> None:
    """113,625 to 199,810, on the average 173,100 seeds in a kilogram (USDA Forest Service, giant sequoia; the one count of the
    manual's table that was found in running text elsewhere)."""
    found = kb.seeds_per_gram("Sequoiadendron giganteum")
    assert found and (found.low, found.use, found.high) == pytest.approx((113.625, 173.1, 199.81), rel=0.01)


def test_a_count_that_the_size_of_the_seed_belies_is_not_used(kb: KnowledgeBase) -> None:
    """The table has 4.4 seeds of saguaro in a gram, the entry calls them small (200 to 2,000)."""
    assert is_off(kb.vocabulary, "small", 4.4) and not is_off(kb.vocabulary, "small", 100)
    found = kb.seeds_per_gram("Carnegiea gigantea")
    assert found and found.basis == "size" and found.low == 200 and found.held == "practice"


def test_a_plant_of_which_nothing_is_known_has_no_count(kb: KnowledgeBase) -> None:
    assert kb.seeds_per_gram("Nosuchgenus nosuch") is None


def test_a_hidden_table_gives_no_count_and_the_other_stays(kb: KnowledgeBase) -> None:
    before = kb.seeds_per_gram("Cercis canadensis")
    after = kb.without(source="bonner-karrfalt-2008").seeds_per_gram("Cercis canadensis")
    assert before and before.sources == ("bonner-karrfalt-2008",)
    assert after is None or "bonner-karrfalt-2008" not in after.sources
    rest = kb.without(source="usda-plants-characteristics").store.shared("seed_tables")
    assert (
        rest["cold_yes"] == []
        and rest["chilled"]
        and set(c[3] for c in rest["counts"].values()) == {"manual_seed_weights"}
    )
