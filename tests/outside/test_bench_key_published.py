"""The bench key against what is published: a decision table, a desiccation model, and the rules of the classification.

The alpine table: Schwienbacher E, Navarro-Cano JA, Neuner G, Erschbamer B 2011, Flora 206:845-856, table 4. The cases below
were worked through that table by hand. The model: Daws MI, Garwood NC, Pritchard HW 2006, Annals of Botany 97:667-674, its
equation as quoted in a review. The rules: Baskin JM, Baskin CC 2004, Seed Science Research 14:1-16, and the surveys named.
"""

from __future__ import annotations

from math import exp, log10

import pytest
from rousewort.observe.alpine import decide
from rousewort.observe.ask import Inquiry
from rousewort.observe.conclude import match_for, read
from rousewort.observe.entries import Observations, checked
from rousewort.observe.key import tests as key_of

ALPINE = [
    ("passes_full_size", dict(F_light=90, M_light=4, F_drycold=88, M_drycold=5, F_wetcold=85, M_wetcold=4), "ND"),
    (
        "passes_full_size",
        dict(F_light=20, M_light=15, F_drycold=80, M_drycold=8, F_wetcold=75, M_wetcold=9),
        "PD non-deep",
    ),
    (
        "passes_full_size",
        dict(F_light=5, M_light=20, F_drycold=20, M_drycold=18, F_wetcold=70, M_wetcold=6),
        "PD intermediate",
    ),
    ("passes_full_size", dict(F_light=0, F_drycold=5, M_drycold=20, F_wetcold=30, M_wetcold=10), "PD deep"),
    ("passes_full_size", dict(F_light=60), "ND"),
    ("undergrown", dict(F_light=55), "MD"),
    ("undergrown", dict(F_light=10), "MPD"),
    ("undergrown", {}, "MPD"),
    ("stops", dict(F_light=80, M_light=5, F_scar=78, M_scar=6), "ND"),
    ("stops", dict(F_light=3, M_light=9, F_scar=92, M_scar=2), "PY"),
    ("stops", dict(F_light=2, F_scar=20), "PY+PD"),
]


def in_letters(kb, words) -> str:
    letters = kb.vocabulary.traits["dormancy_class"]["values"][words["dormancy_class"]]["short"]
    return " ".join([letters, *(kb.vocabulary.label(k, w) for k, w in words.items() if k != "dormancy_class")])


@pytest.mark.parametrize(("start", "values", "printed"), ALPINE)
def test_alpine_table_decides_as_printed(kb, start, values, printed):
    assert in_letters(kb, decide(kb.vocabulary.files["observations"]["alpine_key"], start, values).words) == printed


@pytest.mark.parametrize("mark", [49.999, 50])
def test_the_pass_mark_of_the_alpine_table_is_inside(kb, mark):
    words = decide(kb.vocabulary.files["observations"]["alpine_key"], "undergrown", {"F_light": mark}).words
    assert (words["dormancy_class"] == "morphological") == (mark >= 50)


def test_a_missing_value_loses_no_comparison_but_never_passes_the_mark(kb):
    key = kb.vocabulary.files["observations"]["alpine_key"]
    assert decide(key, "passes_full_size", {"F_light": 60}).path == (("1.1", True),)
    assert decide(key, "passes_full_size", {}).path == (("1.1", False), ("1.2", False), ("1.3", False))


def dry(kb, coat: float, inside: float, seed: float) -> float:
    test = key_of(kb.vocabulary)["desiccation_model"]
    return read(test, {"coat_g": coat, "inside_g": inside, "seed_g": seed}, kb.vocabulary).numbers["sensitive_chance"]


@pytest.mark.parametrize(("ratio", "grams"), [(0.05, 3.0), (0.2, 1.0), (0.5, 0.1), (0.1, 0.01), (0.4, 2.0)])
def test_desiccation_model_is_its_printed_equation(kb, ratio, grams):
    """P = e^z / (1 + e^z), z = 3.269 - 9.974 a + 2.156 b; a: coat share, b: log10 grams."""
    z = 3.269 - 9.974 * ratio + 2.156 * log10(grams)
    assert dry(kb, ratio, 1 - ratio, grams) == pytest.approx(exp(z) / (1 + exp(z)))


@pytest.mark.parametrize(
    ("ratio", "grams", "chance"),
    [(0.05, 3.0, 0.978), (0.2, 1.0, 0.781), (0.5, 0.1, 0.020), (0.1, 0.01, 0.115), (0.4, 2.0, 0.482)],
)
def test_desiccation_model_at_values_worked_by_hand(kb, ratio, grams, chance):
    assert dry(kb, ratio, 1 - ratio, grams) == pytest.approx(chance, abs=6e-4)


def test_mean_seed_masses_of_the_panama_survey_fall_on_their_own_sides(kb):
    """Daws, Garwood & Pritchard 2005, Functional Ecology (abstract): sensitive seed 3383 mg on average, tolerant 283 mg."""
    assert dry(kb, 0.2, 0.8, 3.383) > 0.5 and dry(kb, 0.5, 0.5, 0.283) < 0.5


# What studies reported, put in as raw numbers. Grams are made so that the published gain comes out.
GAINS = [
    ("Dodonaea viscosa: nicked about 95 %, intact none (Baskin et al. 2004)", 0, 95, "stops"),
    ("Berchemia stones: 30 to 50 % in a day, nicked or not (Walck et al. 2012)", 30, 50, "passes"),
    ("Ribes: intact as scarified (Mattana et al. 2012)", 40, 40, "passes"),
]


@pytest.mark.parametrize(("study", "intact", "nicked", "word"), GAINS)
def test_soak_test_calls_published_gains_as_their_authors_did(kb, study, intact, nicked, word):
    seen = {"intact_g": {0: 1.0, 24: 1 + intact / 100}, "nicked_g": {0: 1.0, 24: 1 + nicked / 100}}
    assert read(key_of(kb.vocabulary)["imbibition"], seen, kb.vocabulary).words == {"coat_water": word}


LENGTHS = [
    ("Ribes: 0.2 when fresh, 0.6 at the root (Mattana et al. 2012)", 0.2, 0.6, "undergrown"),
    ("Nageia: grew by 39 % (Chen et al. 2013)", 0.6, 0.6 * 1.39, "undergrown"),
    ("Lonicera: 0.25 fresh, 0.5 at the root (J. Ecology and Environment 43:21)", 0.25, 0.5, "undergrown"),
    ("Empetrum: no growth before the root (Baskin et al. 2002)", 0.5, 0.5, "full_size"),
]


@pytest.mark.parametrize(("study", "fresh", "split", "word"), LENGTHS)
def test_embryo_test_calls_published_lengths_as_their_authors_did(kb, study, fresh, split, word):
    seen = {"embryo_mm": [fresh], "seed_mm": [1.0], "split_embryo_mm": [split]}
    assert read(key_of(kb.vocabulary)["embryo"], seen, kb.vocabulary).words == {"embryo": word}


OPEN, SHUT = (
    {"intact_g": {0: 1, 24: 1.4}, "nicked_g": {0: 1, 24: 1.4}},
    {"intact_g": {0: 1, 48: 1}, "nicked_g": {0: 1, 48: 1.9}},
)
FULL, SMALL = {"embryo_mm": [4], "seed_mm": [4.4]}, {"embryo_mm": [0.5], "seed_mm": [4.4]}
SOON, LATE = {"sown": 50, "roots": {28: 40}}, {"sown": 50, "roots": {30: 2, 84: 5}}
CLASSES = [
    ("none", dict(imbibition=OPEN, embryo=FULL, fresh_germination=SOON)),
    ("physiological", dict(imbibition=OPEN, embryo=FULL, fresh_germination=LATE)),
    ("morphological", dict(imbibition=OPEN, embryo=SMALL, fresh_germination=SOON)),
    ("morphophysiological", dict(imbibition=OPEN, embryo=SMALL, fresh_germination=LATE)),
    ("physical", dict(imbibition=SHUT, nicked_germination=SOON)),
    ("physical_physiological", dict(imbibition=SHUT, nicked_germination=LATE)),
]


@pytest.mark.parametrize(("word", "seen"), CLASSES)
def test_every_class_comes_out_of_the_observations_that_define_it(kb, planner, word, seen):
    bench = Inquiry(kb, match_for(kb, "Nomen nudum"), planner=planner)
    assert (
        bench.conclude(checked(Observations("Nomen nudum", seen=seen), kb.vocabulary)).words["dormancy_class"] == word
    )
