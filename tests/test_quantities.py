"""Plants wanted to seeds, grams, cells and room: behaviour and laws."""

from __future__ import annotations

from fractions import Fraction
from math import comb, inf, nan

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from rousewort.base.binomial import at_most, beta_point, beta_share
from rousewort.base.errors import UserError
from rousewort.schedule import quantities as q

chances = st.integers(1, 100).map(lambda percent: percent / 100)
risks = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.999])


def exact_at_least(plants: int, seeds: int, chance: float) -> Fraction:
    p = Fraction(str(chance))
    return sum((comb(seeds, k) * p**k * (1 - p) ** (seeds - k) for k in range(plants, seeds + 1)), Fraction(0))


# Chances


@given(st.integers(0, 40), st.integers(1, 40), chances)
def test_the_tail_is_the_sum_of_its_terms(k, n, p):
    assert at_most(k, n, p) == pytest.approx(float(1 - exact_at_least(k + 1, n, p)), abs=1e-13)


@given(st.floats(0.1, 500), st.floats(0.1, 500), st.floats(0.001, 0.999))
def test_a_point_of_the_beta_distribution_has_its_share_below_it(a, b, share):
    x = beta_point(a, b, share)
    assume(1e-9 < x < 1 - 1e-9)  # nearer the ends one step of x is many of the share
    assert beta_share(a, b, x) == pytest.approx(share, abs=1e-6)


def test_beta_shares_end_at_nothing_and_all():
    assert (beta_share(2, 3, 0), beta_share(2, 3, 1)) == (0, 1)
    assert (at_most(-1, 5, 0.5), at_most(5, 5, 0.5)) == (0, 1)


# Enough seeds, and not one more


@settings(max_examples=200)
@given(st.integers(1, 30), chances, risks)
def test_the_number_to_sow_suffices_and_one_fewer_does_not(plants, chance, probability):
    seeds = q.seeds_for(plants, chance, probability)
    assume(seeds <= 600)  # the sum in fractions below is slow
    wanted = Fraction(str(probability))
    assert exact_at_least(plants, seeds, chance) >= wanted
    assert seeds == plants or exact_at_least(plants, seeds - 1, chance) < wanted


def test_an_exact_tie_is_enough():
    assert q.seeds_for(1, 0.9, 0.99) == 2  # two seeds fail together with chance 0.01 exactly
    assert q.seeds_for(1, 0.5, 0.75) == 2
    assert q.seeds_per_cell(0.9, 0.99) == 2
    assert q.seeds_on_average(70, 0.7) == 100


@given(st.integers(1, 2000), chances, chances, risks)
def test_better_seed_needs_no_more_and_more_plants_no_fewer(plants, one, other, probability):
    poor, good = sorted((one, other))
    assert q.seeds_for(plants, poor, probability) >= q.seeds_for(plants, good, probability) >= plants
    assert q.seeds_for(plants + 1, poor, probability) > q.seeds_for(plants, poor, probability)


@given(st.integers(1, 500), chances)
def test_more_certainty_needs_no_fewer(plants, chance):
    needs = [q.seeds_for(plants, chance, p) for p in (0.5, 0.8, 0.95, 0.99)]
    assert needs == sorted(needs)
    # Seed that grows more surely than is asked for needs no spare for that: one seed of 97 in 100 will do for one plant.
    assert needs[2] >= q.seeds_on_average(plants, chance) or chance**plants >= 0.95


def test_seed_that_always_grows_needs_no_spare():
    assert q.seeds_for(250, 1.0, 0.999) == 250


def test_large_numbers_are_near_the_mean_and_ties_are_still_ties():
    assert 1.0 < q.seeds_for(1_000_000, 0.4, 0.99) / 2_500_000 < 1.003
    for plants in (475, 40_001, 3_000_000):  # of 2n - 1 tosses at least n are heads with chance 1/2 exactly
        assert q.seeds_for(plants, 0.5, 0.5) == 2 * plants - 1


# Live seed and weight


@given(chances, chances)
def test_live_share_does_not_care_which_is_purity(one, other):
    assert q.live_share(one, other) == pytest.approx(q.live_share(other, one))
    assert q.bulk_for(3.0, q.live_share(one, other)) == pytest.approx(3.0 / one / other)


@given(chances, st.integers(1, 100).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, n))), st.integers(0, 100))
def test_hard_and_dormant_seed_is_alive(purity, alive_and_dormant, hardness):
    alive, dormant = alive_and_dormant
    hard = (alive - dormant) * hardness // 100
    split = q.live_share(purity, (alive - dormant - hard) / 100, hard / 100, dormant / 100)
    assert split == pytest.approx(q.live_share(purity, alive / 100))


@given(st.integers(1, 5000), chances, chances, chances, st.floats(0.1, 50000), risks)
def test_the_grams_hold_the_seeds(plants, germination, survival, purity, per_gram, probability):
    need = q.seed_need(plants, germination, survival, purity, per_gram, probability)
    assert need.grams * purity * per_gram == pytest.approx(need.seeds)
    assert need.on_average * need.chance >= plants * (1 - 1e-9) > (need.on_average - 1) * need.chance * (1 - 1e-9)
    assert q.sowing_factor(germination, survival) * need.chance == pytest.approx(1)


def test_without_a_count_per_gram_there_is_no_weight():
    assert q.seed_need(10, 0.5).grams is None


@given(st.floats(0.1, 1e4), st.floats(1, 1e4), st.floats(1, 1e5), chances, chances, chances)
def test_a_bed_is_its_plants_each_with_its_factor(area, density, per_gram, purity, germination, survival):
    grams = q.bed_grams(area, density, per_gram, purity, germination, survival)
    assert grams * per_gram * purity == pytest.approx(area * density * q.sowing_factor(germination, survival))


# Cells


@given(chances, st.integers(1, 30))
def test_cells_are_empty_single_or_crowded(germination, per_cell):
    cells = q.cells_for(100, germination, per_cell)
    one = per_cell * germination * (1 - germination) ** (per_cell - 1) * cells.cells
    assert cells.empty + one + cells.crowded == pytest.approx(cells.cells)
    assert cells.seeds == cells.cells * per_cell
    assert cells.cells * cells.filled >= 100 * (1 - 1e-9)


@given(chances, st.integers(1, 99).map(lambda p: p / 100))
def test_seeds_per_cell_is_the_fewest(germination, filled):
    n, g, wanted = q.seeds_per_cell(germination, filled), Fraction(str(germination)), Fraction(str(filled))
    assert 1 - (1 - g) ** n >= wanted
    assert n == 1 or 1 - (1 - g) ** (n - 1) < wanted
    assert n == q.seeds_for(1, germination, filled)


def test_cells_with_a_probability_are_more_than_on_the_mean():
    assert q.cells_for(1000, 0.7, 2, 0.9).cells == 1222  # 1000 / (0.91 x 0.9)
    assert q.cells_for(1000, 0.7, 2, 0.9, probability=0.95).cells == q.seeds_for(1000, 0.91 * 0.9, 0.95) > 1222


# Room


@given(st.floats(0.01, 1e5))
def test_room_adds_up(grams):
    room = q.room_for(grams)
    assert room.seed_ml + room.medium_ml == pytest.approx(room.bag_ml * (1 - q.AIR_SHARE))
    assert (room.bags - 1) * q.BAG_ML < room.bag_ml <= room.bags * q.BAG_ML * (1 + 1e-9)
    assert room.fridge_l * 1000 > room.bag_ml
    assert q.room_for(2 * grams).medium_ml == pytest.approx(2 * room.medium_ml)


def test_room_for_a_known_lot():
    room = q.room_for(60)  # 100 ml dry, 150 soaked, 450 of medium with 180 of water, 900 with its air, 1.5 l of fridge
    expected = (150, 450, 180, 900, 1, 1.5)
    assert (room.seed_ml, room.medium_ml, room.water_ml, room.bag_ml, room.bags, room.fridge_l) == pytest.approx(
        expected
    )


# Refusals


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: q.live_share(85, 0.9), "85 % is 0.85"),
        (lambda: q.live_share(0, 0.9), "purity is 0"),
        (lambda: q.live_share(0.9, 0.9, 0.2), "more than all of it"),
        (lambda: q.live_share(0.9, 0), "no seed is alive"),
        (lambda: q.live_share(0.9, -0.1), "germination must be a share"),
        (lambda: q.live_share(nan, 0.5), "purity must be a share"),
        (lambda: q.live_share("0.9", 0.5), "purity must be a share"),
        (lambda: q.bulk_for(-1, 0.5), "above 0"),
        (lambda: q.bulk_for(1, 0), "live share is 0"),
        (lambda: q.seeds_for(0, 0.5), "plants wanted must be a whole number"),
        (lambda: q.seeds_for(-3, 0.5), "not -3"),
        (lambda: q.seeds_for(2.5, 0.5), "not 2.5"),
        (lambda: q.seeds_for(True, 0.5), "not True"),
        (lambda: q.seeds_for(10, 0), "nothing can come of it"),
        (lambda: q.seeds_for(10, 0.5, 1), "certain"),
        (lambda: q.seeds_for(10, 0.5, 0), "probability"),
        (lambda: q.seeds_for(1_000_000, 1e-9), "over 1,000,000,000 seeds"),
        (lambda: q.seeds_per_cell(0.5, 1), "certain"),
        (lambda: q.filled_share(0.5, 0), "seeds per cell"),
        (lambda: q.cells_for(10, 0.5, survival=0), "survival is 0"),
        (lambda: q.grams_for(10, 0), "seeds per gram"),
        (lambda: q.bed_grams(0, 1, 1, 1, 1, 1), "area"),
        (lambda: q.room_for(0), "grams of seed"),
        (lambda: q.room_for(inf), "grams of seed"),
        (lambda: q.sowing_factor(0.5, 1.2), "1.2 % is 0.012"),
    ],
)
def test_impossible_wishes_are_refused_with_a_reason(call, word):
    with pytest.raises(UserError) as trouble:
        call()
    assert word in str(trouble.value)


def test_every_fault_is_told_at_once():
    with pytest.raises(UserError) as trouble:
        q.seed_need(0, 90, -1, seeds_per_gram=0)
    assert len(trouble.value.problems) == 4
