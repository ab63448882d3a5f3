"""Where a word begins and ends, and what outweighs what: on both sides of each number, whether a plant of ours stands there or not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Planner

# Seeds in a gram, from which on seed is called so.
SIZES = {"dust": 50_000, "fine": 2_000, "small": 200, "medium": 20, "large": 2}


@pytest.mark.parametrize("word", SIZES)
def test_size_of_seed_begins_at_its_count(kb: KnowledgeBase, word: str) -> None:
    words = [*SIZES, "very_large"]
    assert kb.vocabulary.band("seed_size", SIZES[word]) == word
    assert kb.vocabulary.band("seed_size", SIZES[word] - 0.01) == words[words.index(word) + 1]


def test_depth_of_sowing_grows_with_the_seed_and_dust_is_not_covered(kb: KnowledgeBase) -> None:
    depths = {word: tuple(mm.values()) for word, mm in kb.vocabulary.files["bands"]["sowing_depth_mm"]["words"].items()}
    assert depths == {
        "dust": (0, 0, 0), "fine": (0, 1, 2), "small": (2, 3, 5), "medium": (4, 6, 10), "large": (8, 12, 20), "very_large": (15, 25, 40),
    }  # fmt: skip


@pytest.mark.parametrize(("seeds", "said"), [(19, True), (20, False)])
def test_fewer_than_twenty_seeds_are_treated_one_first(
    kb: KnowledgeBase, planner: Planner, seeds: int, said: bool
) -> None:
    plan = planner.plan("Cercis canadensis", make_grower(kb.vocabulary, seeds=seeds))
    texts = [text for step in plan.steps for text in (*step.cautions, *step.do)]
    assert any(f"With only {seeds} seeds" in text for text in texts) is said


def test_from_a_thousand_seeds_on_nobody_handles_them_one_by_one(kb: KnowledgeBase, planner: Planner) -> None:
    told = {
        seeds: [step.do for step in planner.plan("Cercis canadensis", make_grower(kb.vocabulary, seeds=seeds)).steps]
        for seeds in (998, 999, 1000)
    }
    assert told[998] == told[999] != told[1000]


def in_order(words: dict[str, int]) -> list[set[str]]:
    """Words by their number, the least first, equals together."""
    return [{word for word, n in words.items() if n == number} for number in sorted(set(words.values()))]


def test_what_is_found_needed_outweighs_what_was_found_to_help_then_advice_then_a_trial(kb: KnowledgeBase) -> None:
    ranks = in_order({word: told["rank"] for word, told in kb.vocabulary.files["protocol"]["found"].items()})
    assert ranks[1:] == [{"needed"}, {"effective"}, {"advised"}, {"tried"}]  # the others are no length to choose by
    assert ranks[0] == {"weak", "shortens_next", "falls_short", "unneeded", "useless", "harmful"}


def test_experiments_with_a_control_outweigh_those_without_then_advice_then_practice(kb: KnowledgeBase) -> None:
    support = in_order({word: told["support"] for word, told in kb.vocabulary.files["protocol"]["design"].items()})
    assert support == [
        {"practice"},
        {"advice", "standard"},
        {"lengths_without_control", "rows_of_a_table", "uncontrolled"},
        {"treatment_and_control"},
        {"factorial"},
    ]


def test_what_a_grower_is_taken_to_have_and_what_must_be_allowed(kb: KnowledgeBase) -> None:
    equipment = kb.vocabulary.files["equipment"]
    usual = {word for word, told in equipment.items() if told["assumed"]}
    assert usual == {"fridge", "warm_place", "kettle", "blade", "sandpaper", "vice", "outdoor_bed", "oven"}
    assert {word for word, told in equipment.items() if told.get("permission")} == {"acid"}


def test_traits_that_are_lent_only_as_stated_or_never(kb: KnowledgeBase) -> None:
    """Lent wider, a habitat or a poison of a relative would be taken for the plant's own."""
    traits = kb.vocabulary.traits
    assert {key for key, told in traits.items() if told.get("as_stated")} == {
        "habitat", "lime", "parasite", "keeping", "filled_seed", "germinates_in",
    }  # fmt: skip
    never = {
        (key, word) for key, t in traits.items() for word, v in t.get("values", {}).items() if v.get("lent") is False
    }
    assert never == {("physiological_level", "epicotyl"), ("toxic", "no"), ("lime", "bears"), ("keeping", "dry")}
    assert {key for key, told in traits.items() if told.get("many")} == {
        "inhibitor",
        "legal",
        "habitat",
        "home_climate",
        "cue",
    }


def test_obstacles_that_only_slow_and_those_that_cleaning_or_sorting_ends(kb: KnowledgeBase) -> None:
    told = kb.vocabulary.obstacles
    assert {name for name, o in told.items() if o.get("minor")} == {"unsorted_hard_seed", "slow_uptake", "needs_swings"}
    assert {name for name, o in told.items() if o.get("gone_when_cleaned")} == {"pulp"}
    assert {name for name, o in told.items() if o.get("sorts")} == {"unsorted_hard_seed"}


def test_groups_of_treatments_that_are_claims_seasons_or_no_waking(kb: KnowledgeBase) -> None:
    groups = kb.vocabulary.files["treatment_groups"]

    def which(key: str, value: bool) -> set[str]:
        return {word for word, told in groups.items() if told.get(key) is value}

    assert which("wakes", False) == {"looking", "cleaning", "soaking", "sowing"}
    assert which("claim", True) == {"coat", "warm", "cold"} and which("season", True) == {"warm", "cold"}
    assert which("may_replace_season", True) == {"signal", "dry"} and which("fills", True) == {"potting"}


def test_traits_that_a_genus_shares_and_those_that_are_typical_of_a_class(kb: KnowledgeBase) -> None:
    traits = kb.vocabulary.traits
    assert {key for key, told in traits.items() if told.get("shared")} == {
        "fruit", "dispersal_unit", "habitat", "lime", "parasite", "keeping", "filled_seed", "germinates_in", "life_cycle",
        "growth_form",
    }  # fmt: skip
    assert {key for key, told in traits.items() if told.get("typical")} == {"embryo", "coat_water", "drying"}
    must_not = {(k, w) for k, t in traits.items() for w, v in t.get("values", {}).items() if v.get("must_not_dry")}
    assert must_not == {("drying", "sensitive")}


def test_grounds_of_a_claim_that_are_the_plants_own_and_homes_with_a_winter(kb: KnowledgeBase) -> None:
    claims = kb.vocabulary.files["claims"]
    own = {word for word, told in claims["grounds"].items() if told.get("own")}
    assert own == {"experiments", "experiment", "stated", "advice", "table", "recalled", "traits", "traits_recalled"}
    assert {word for word, told in claims["homes"].items() if told.get("winter")} == {"cold", "mild"}
    deciding = {word for word, told in claims["questions"].items() if told.get("decides")}
    assert deciding == {"coat", "cold", "warm", "class"}


def test_columns_of_a_trial_that_are_lengths_or_counted_within_a_phase(kb: KnowledgeBase) -> None:
    columns = kb.vocabulary.files["protocol"]["columns"]
    assert {word for word, told in columns.items() if told.get("length")} == {"days", "weeks", "cold_days", "warm_days"}
    within = {word for word, told in columns.items() if told.get("within")}
    assert within == {"sprouted_in_phase", "sprouted_in_phase_pct"}
    unwritten = {
        word for word, told in kb.vocabulary.files["protocol"]["found"].items() if told.get("written") is False
    }
    assert unwritten == {"advised", "tried"}


def spans(told: Any) -> Iterator[Mapping[str, Any]]:
    """Every span with a low and a high end, however deep."""
    if isinstance(told, Mapping):
        if "low" in told and "high" in told:
            yield told
        told = list(told.values())
    if isinstance(told, list):
        for value in told:
            yield from spans(value)


def test_every_span_of_a_treatment_is_in_order_and_its_use_within_it(kb: KnowledgeBase) -> None:
    for kind, told in kb.treatments.items():
        found = list(spans(told))
        for span in found:
            use = span.get("use")
            ends = [span["low"], *([use["night"], use["day"]] if isinstance(use, Mapping) else [use]), span["high"]]
            numbers = [number for number in ends if number is not None]
            assert numbers == sorted(numbers) and numbers[0] >= 0, (kind, span)


def test_kinds_that_cannot_be_undone_and_those_that_wet_the_seed(kb: KnowledgeBase) -> None:
    flags = {flag: {k for k, t in kb.treatments.items() if t.get(flag) is True} for flag in FLAGS}
    assert flags == {flag: set(kinds.split()) for flag, kinds in FLAGS.items()}


FLAGS = {
    "irreversible": "abrade acid crack dry_heat hot_water nick",
    "wet": "cold_moist hormone hot_water leach nitrate outdoor_winter pot_rooted smoke soak sow warm_moist",
    "given_before": "after_ripen cold_moist warm_moist",
    "moist_volume": "cold_moist warm_moist",
    "leans": "cold_moist",
    "waits_for_season": "outdoor_winter",
}


def test_the_gentler_of_two_kinds_comes_first_where_they_stand_equally(kb: KnowledgeBase) -> None:
    ranks = in_order({kind: kb.vocabulary.kinds.rank(kind) for kind in kb.treatments})
    gentle = [
        "inspect",
        "clean",
        "soak",
        "leach",
        "nick",
        "abrade",
        "crack",
        "hot_water",
        "dry_heat",
        "acid",
        "hormone",
    ]
    assert ranks[: len(gentle)] == [{kind} for kind in gentle] and len(ranks) == len(gentle) + 1


def test_lots_too_small_or_too_large_for_a_kind(kb: KnowledgeBase) -> None:
    """Nothing destructive on fewer than twenty; nobody nicks more than three hundred by hand."""
    lots = {
        k: {end: n for end, n in t["lots"].items() if end != "held"} for k, t in kb.treatments.items() if "lots" in t
    }
    least = {"least": 20}
    assert lots == {"acid": least, "dry_heat": least, "hot_water": least, "crack": {"most": 200}, "nick": {"most": 300}}
    assert {k: t["look_every"] for k, t in kb.treatments.items() if "look_every" in t} == {
        "after_ripen": 28, "outdoor_winter": 28,
    }  # fmt: skip
