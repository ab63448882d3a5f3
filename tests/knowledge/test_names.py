"""A name is found however it is written; what could be several plants is listed, never guessed."""

from __future__ import annotations

import string
from collections import defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.names import fold, slug
from rousewort.planning.plan import NoSingleMatch, Planner


def test_every_accepted_name_finds_its_own_entry(kb: KnowledgeBase) -> None:
    for name in kb.names("species"):
        match = kb.lookup(name)
        assert (match.name, match.matched_by) == (name, "accepted")


def test_every_genus_and_family_entry_is_found(kb: KnowledgeBase) -> None:
    for rank in ("genus", "family"):
        for name in kb.names(rank):
            match = kb.lookup(name)
            assert (match.name, match.matched_by) == (name, rank)


def test_every_synonym_finds_its_accepted_name_or_lists_all_it_could_be(kb: KnowledgeBase) -> None:
    owners = defaultdict(set)
    for name in kb.names("species"):
        for synonym in kb.taxon(name).get("synonyms", ()):
            owners[fold(synonym)].add(name)
    accepted = {fold(name) for name in kb.names("species")}
    assert owners
    for synonym, names in owners.items():
        match = kb.lookup(synonym)
        if synonym in accepted:
            assert match.matched_by == "accepted"
        elif len(names) == 1:
            assert (match.name, match.matched_by) == (*names, "synonym")
        else:
            assert match.name is None and set(match.candidates) == names


def test_a_common_name_of_several_plants_lists_them_all_and_takes_none(kb: KnowledgeBase) -> None:
    owners = defaultdict(set)
    for name in kb.names("species"):
        for common in kb.taxon(name).get("common_names", ()):
            owners[fold(common)].add(name)
    shared = {common: names for common, names in owners.items() if len(names) > 1}
    assert shared, "the knowledge base has common names that several plants share"
    for common, names in shared.items():
        match = kb.lookup(common)
        if match.matched_by == "common_name":
            genera = {taxon for taxon in kb.store.listed(common) if " " not in taxon}
            assert match.name is None and set(match.candidates) == names | genera


def test_a_genus_is_not_taken_for_the_garden_plant_that_is_called_so(kb: KnowledgeBase) -> None:
    """`Geranium` is a genus, and a common name of a pelargonium; `Lotus` a genus, and a common name of a Nelumbo."""
    for genus in ("Geranium", "Lotus", "Penstemon"):
        match = kb.lookup(genus)
        assert (match.name, match.matched_by) == (genus, "genus")


def test_the_list_is_what_the_user_reads(kb: KnowledgeBase, planner: Planner) -> None:
    owners = defaultdict(set)
    for name in kb.names("species"):
        for common in kb.taxon(name).get("common_names", ()):
            owners[fold(common)].add(name)
    common, names = next((c, n) for c, n in sorted(owners.items()) if len(n) > 1 and kb.lookup(c).name is None)
    with pytest.raises(NoSingleMatch) as caught:
        planner.plan(common)
    assert all(name in str(caught.value) for name in names)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("CERCIS CANADENSIS", "Cercis canadensis"),
        ("  cercis   canadensis ", "Cercis canadensis"),
        ("Cercis-canadensis", "Cercis canadensis"),
        ("Cercis canadensis L", None),
        ("Cercis canadensiss", "Cercis canadensis"),
        ("Cercus canadensis", "Cercis canadensis"),
        ("Virburnum prunifolium", "Viburnum prunifolium"),
        ("Trilium grandiflorum", "Trillium grandiflorum"),
        ("eastern redbudd", "Cercis canadensis"),
    ],
)
def test_a_near_spelling_is_read_and_said_so(kb: KnowledgeBase, written: str, meant: str | None) -> None:
    match = kb.lookup(written)
    if meant is None:
        assert match.name is None or match.name.startswith("Cercis canadensis")
        return
    assert match.name == meant
    if fold(written) != fold(meant):
        assert match.matched_by == "spelling"


def test_one_wrong_letter_never_leads_to_another_plant_unseen(kb: KnowledgeBase, some_species: list[str]) -> None:
    """A slip in a name finds that plant, or lists, or falls back on its genus; another species never."""
    for name in some_species:
        middle = len(name) - 3
        slip = name[:middle] + ("z" if name[middle] != "z" else "q") + name[middle + 1 :]
        match = kb.lookup(slip)
        if match.matched_by == "spelling":
            assert match.name == name, f"{slip} was taken for {match.name}"
        elif match.matched_by == "genus":
            assert match.genus == name.split()[0]


@pytest.mark.parametrize("query", ["", "   ", "×", "'", "?!"])
def test_an_empty_name_is_refused_with_an_example(kb: KnowledgeBase, query: str) -> None:
    with pytest.raises(UserError, match="black haw"):
        kb.lookup(query)


def test_a_species_without_entry_in_a_known_genus_is_placed_there(kb: KnowledgeBase) -> None:
    match = kb.lookup("Acer nowhereanum")
    assert (match.matched_by, match.genus, match.family) == ("genus", "Acer", "Sapindaceae")


def test_a_genus_without_entry_is_placed_in_its_family(kb: KnowledgeBase) -> None:
    known = {name.split()[0] for name in kb.names("species")} | set(kb.names("genus"))
    genus, family = next((g, f) for g, f in sorted(kb.store.shared("genus_family").items()) if g not in known)
    match = kb.lookup(f"{genus} exemplaris")
    assert (match.matched_by, match.genus, match.family) == ("genus", genus, family)


def test_nonsense_finds_nothing_and_says_so(planner: Planner) -> None:
    with pytest.raises(NoSingleMatch, match="No plant called 'qqqq wwww zzzz'"):
        planner.plan("qqqq wwww zzzz")


def test_hybrid_marks_are_alike(kb: KnowledgeBase) -> None:
    assert fold("Platanus × hispanica") == fold("Platanus x hispanica") == fold("platanus hispanica")
    hybrids = [name for name in kb.names("species") if "×" in name or " x " in name]
    for name in hybrids:
        for written in (name.replace("×", "x"), name.replace(" x ", " × "), name.replace("× ", "×")):
            assert kb.lookup(written).name == name


@pytest.mark.parametrize(
    ("one", "two"),
    [("Sõrmus", "sormus"), ("Bärlauch", "barlauch"), ("lady's mantle", "ladys mantle"), ("black-haw", "black haw")],
)
def test_accents_apostrophes_and_hyphens_do_not_matter(one: str, two: str) -> None:
    assert fold(one) == fold(two)


@given(st.text(max_size=40))
def test_folding_twice_is_folding_once(text: str) -> None:
    assert fold(fold(text)) == fold(text)


@given(st.text(max_size=30))
def test_whatever_is_typed_is_answered_or_refused_in_words(kb: KnowledgeBase, text: str) -> None:
    try:
        match = kb.lookup(text)
    except UserError:
        return
    assert match.name or match.matched_by in ("none", "synonym", "common_name", "accepted", "several")


def test_slugs_are_plain_file_names(kb: KnowledgeBase) -> None:
    allowed = set(string.ascii_lowercase + string.digits + "-")
    slugs = [slug(name) for name in kb.names("species")]
    assert all(set(one) <= allowed and one.strip("-") == one for one in slugs)
    assert len(set(slugs)) == len(slugs), "two species would share one file"
