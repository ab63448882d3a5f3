"""What is written around a plant's name never changes the plant, and is said; two plants are never made one."""

from __future__ import annotations

import sys

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.names import fold
from rousewort.knowledge.packets import genders, phrases, plain

AUTHORS = [
    "L.",
    "(L.) Mill.",
    "Lindl.",
    "(A.Murray bis) Parl.",
    "Buch.-Ham. ex D.Don",
    "Siebold & Zucc.",
    "Hook.f.",
    "E.H.Wilson",
    "Thunb. ex Houtt.",
]
BEFORE = ["", "seed of ", "Seeds of ", "1. ", "12) ", "* ", "— ", "pkt ", "lot 12: ", "2006-21*C ", "NEW—"]
AFTER = [
    "",
    " seeds",
    " organic",
    " 25 seeds",
    " 1 pkt $3.50",
    " 5 g",
    " (Black Forest, 2019)",
    ", wild collected",
    " – 6.11.",
    " 1 oz",
    " [lot 7]",
]
CULTIVARS = ["'Forest Pansy'", "‘Walker’s Low’", "'Alba'", "cv. Glauca"]
RANKS = ["var. {}", "subsp. {}", "ssp. {}", "f. {}", "v. {}", "subsp {}"]


def binomials(kb: KnowledgeBase) -> list[str]:
    """Entries written as two words, each of whose names is its own only."""
    two = [n for n in kb.names("species") if len(n.split()) == 2 and n.split()[1].islower()]
    return sorted(n for n in two if kb.lookup(n).name == n)


def cased(name: str, case: str) -> str:
    return {"as it is": name, "upper": name.upper(), "lower": name.lower(), "title": name.title()}[case]


@given(st.data())
def test_authors_quotes_counts_case_and_spaces_never_change_the_plant(kb: KnowledgeBase, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(binomials(kb)))
    gap = data.draw(st.sampled_from([" ", "  ", " \t "]))
    written = cased(name, data.draw(st.sampled_from(["as it is", "upper", "lower", "title"]))).replace(" ", gap)
    if not written.islower():
        written += data.draw(st.sampled_from(["", *(f" {a}" for a in AUTHORS)]))
        written += data.draw(st.sampled_from(["", *(f" {c}" for c in CULTIVARS)]))
    before, after = data.draw(st.sampled_from(BEFORE)), data.draw(st.sampled_from(AFTER))
    assume(not (written.islower() and before.strip()))  # all in lower case, a genus is known only where it stands first
    assert kb.lookup(f"{before}{written}{after}").name == name


@given(st.data())
def test_a_rank_and_its_epithet_lead_to_the_species_or_to_an_entry_of_their_own(
    kb: KnowledgeBase, data: st.DataObject
) -> None:
    name = data.draw(st.sampled_from(binomials(kb)))
    below = data.draw(st.sampled_from(["nusquamensis", "alba", "occidentalis", "pendula"]))
    label = data.draw(st.sampled_from(RANKS)).format(below)
    author = data.draw(st.sampled_from(["", *(f" {a}" for a in AUTHORS)]))
    match = kb.lookup(f"{name}{author} {label}{author}")
    own = {a for a, _ in kb.store.named(fold(f"{name} {below}"))}
    assert match.name in (own or {name})
    if not own:
        assert match.matched_by == "part_of_name" and any(below in said for said in match.aside)


@given(st.data())
def test_two_plants_in_one_text_are_listed_and_none_taken(kb: KnowledgeBase, data: st.DataObject) -> None:
    one, other = data.draw(st.lists(st.sampled_from(binomials(kb)), min_size=2, max_size=2, unique=True))
    joint = data.draw(st.sampled_from([" ", ", ", " and ", "; ", " L. ", " - "]))
    match = kb.lookup(f"{one}{joint}{other}")
    assert match.name is None and match.matched_by == "several" and set(match.candidates) == {one, other}


@pytest.mark.parametrize(
    ("written", "name", "matched_by"),
    [
        ("Rosa woodsii Lindl.", "Rosa woodsii", "part_of_name"),
        ("Cercis canadensis 'Forest Pansy'", "Cercis canadensis", "part_of_name"),
        ("Achillea millefolium var. occidentalis", "Achillea millefolium", "part_of_name"),
        ("Acer cf. rubrum", "Acer rubrum", "part_of_name"),
        ("Acer aff. rubrum", "Acer", "genus"),
        ("Quercus sp.", "Quercus", "genus"),
        ("Quercus spp. mixed", "Quercus", "genus"),
        ("Quercus robur x petraea", "Quercus", "genus"),
        ("Quercus robur × Q. petraea", "Quercus", "genus"),
        ("Acer 'October Glory'", "Acer", "genus"),
        ("Dogwood, Red Osier", "Cornus sericea", "part_of_name"),
        ("Eastern redbud (Cercis canadensis)", "Cercis canadensis", "part_of_name"),
        ("Dalea purpureum", "Dalea purpurea", "spelling"),
        ("Sphaerophysa salsula", "Sphaerophysa salsula", "genus"),
        ("alzina", "Quercus ilex", "common_name"),
    ],
)
def test_what_packets_say_is_read(kb: KnowledgeBase, written: str, name: str, matched_by: str) -> None:
    match = kb.lookup(written)
    assert (match.name, match.matched_by) == (name, matched_by)


def test_what_is_left_aside_is_said(kb: KnowledgeBase) -> None:
    said = {
        "Cercis canadensis 'Forest Pansy'": "'Forest Pansy' is a cultivar: planned as Cercis canadensis; cultivars may not come true",
        "Achillea millefolium var. occidentalis DC.": "“var. occidentalis” has no entry of its own",
        "Acer cf. rubrum": "not certain",
        "Acer aff. rubrum": "near Acer rubrum but not it",
        "Quercus robur x petraea": "cross",
    }
    for written, words in said.items():
        assert any(words in sentence for sentence in kb.lookup(written).aside), written


@pytest.mark.parametrize(
    "unknown",
    ["Zzyzx", "Polypodium vulgare", "Blechnum spicant", "Woodsia ilvensis", "Dicksonia antarctica", "Dryopteris filix-mas",
     "Agaricus campestris", "Bluebird house", "Fertilizer tablets", "Wild flower pack", "qqqq wwww zzzz"],
)  # fmt: skip
def test_what_is_no_seed_plant_is_taken_for_none(kb: KnowledgeBase, unknown: str) -> None:
    match = kb.lookup(unknown)
    assert (match.name, match.matched_by) == (None, "none")


def test_a_word_for_a_whole_genus_lists_the_genus_first(kb: KnowledgeBase) -> None:
    for word, genus in (("maple", "Acer"), ("oak", "Quercus"), ("pine", "Pinus"), ("milkweed", "Asclepias")):
        match = kb.lookup(word)
        assert match.name is None and match.candidates[0] == genus
        assert all(name.split()[0] == genus for name in match.candidates), word


def test_a_quality_is_not_dropped_from_a_common_name(kb: KnowledgeBase) -> None:
    assert kb.lookup("cranberry, American highbush").name != kb.lookup("Vaccinium macrocarpon").name
    assert kb.lookup("Oak, Nowhere").name is None


def test_a_list_is_read_with_its_headings_dashes_and_short_genera(kb: KnowledgeBase) -> None:
    lines = [
        "ACER",
        "A. rubrum L.",
        "- saccharum Marshall",
        "3-griseum, 12",
        "Quercus alba L. – Ohio",
        "– – – – Indiana",
        "",
        "Q. rubra L.",
    ]
    names = [match.name for match in kb.read_list(lines)]
    assert names == [
        "Acer",
        "Acer rubrum",
        "Acer saccharum",
        "Acer griseum",
        "Quercus alba",
        "Quercus alba",
        None,
        "Quercus rubra",
    ]


def test_a_bare_epithet_means_nothing_without_a_heading(kb: KnowledgeBase) -> None:
    assert kb.lookup("- oleraceum (L.) Scop.").name is None


def test_every_genus_of_seed_plants_has_its_family(kb: KnowledgeBase) -> None:
    for genus, family in {
        "Stephanomeria": "Asteraceae", "Chloroxylon": "Rutaceae", "Hydnocarpus": "Achariaceae", "Kiggelaria": "Achariaceae",
        "Taraktogenos": "Achariaceae", "Martynia": "Martyniaceae", "Drosophyllum": "Drosophyllaceae", "Prionium": "Thurniaceae",
        "Spraguea": "Montiaceae", "Hesperocyparis": "Cupressaceae", "Sphaerophysa": "Fabaceae",
    }.items():  # fmt: skip
        assert kb.genus_family(genus) == family
        assert kb.lookup(f"{genus} nusquamensis").family == family


@given(st.text(max_size=60))
def test_any_text_is_made_plain_once_and_gives_phrases(text: str) -> None:
    assert plain(plain(text)) == plain(text)
    assert all(phrase.strip() for phrase in phrases(text))


def test_genders_come_back() -> None:
    for epithet in ("purpurea", "alpestris", "glaber"):
        assert all(epithet in genders(other) for other in genders(epithet))


def test_a_plain_name_does_not_load_the_reader_of_packets(kb: KnowledgeBase) -> None:
    sys.modules.pop("rousewort.knowledge.packets", None)
    assert kb.lookup("Cercis canadensis").matched_by == "accepted"
    assert "rousewort.knowledge.packets" not in sys.modules
