"""Measures of germination: behaviour and laws."""

from __future__ import annotations

from math import isclose
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.observe import measures as m

TABLE = yaml.safe_load(
    (Path(__file__).parents[2] / "kb" / "vocabulary" / "replicate_ranges.yaml").read_text(encoding="utf-8")
)


@st.composite
def trials(draw, at_least=0):
    times = sorted(draw(st.sets(st.integers(1, 120), min_size=1, max_size=15)))
    new = draw(st.lists(st.integers(0, 20), min_size=len(times), max_size=len(times)))
    new[0] += max(0, at_least - sum(new))
    empty, idle = draw(st.integers(0, 10)), draw(st.integers(0 if sum(new) else 1, 50))
    return m.Counts(tuple(times), tuple(new), sum(new) + empty + idle, empty)


dishes = st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


def times_by(k: float, counts: m.Counts) -> m.Counts:
    return m.Counts(tuple(k * t for t in counts.times), counts.new, counts.sown, counts.empty)


# Reading


@given(trials())
def test_cumulative_and_interval_counts_of_one_trial_are_one(trial):
    totals = [sum(trial.new[: i + 1]) for i in range(len(trial.new))]
    interval = m.read_counts(zip(trial.times, trial.new, strict=True), trial.sown, cumulative=False, empty=trial.empty)
    cumulative = m.read_counts(zip(trial.times, totals, strict=True), trial.sown, cumulative=True, empty=trial.empty)
    assert interval == cumulative == trial


@pytest.mark.parametrize(
    ("rows", "cumulative", "said"),
    [
        ([(3, 5), (7, 30), (9, 20)], False, ["row 4: 55 seeds germinated by time 9, but only 50 were sown"]),
        ([(3, 5), (7, 51), (9, 52)], True, ["row 3: 51 seeds germinated by time 7, but only 50 were sown"]),
        ([(3, 5), (7, 4), (9, 8)], True, ["row 3: the total falls from 5 to 4"]),
        ([(3, 5), (2, 4), (9, 8)], False, ["row 3: time goes back from 3 to 2"]),
        ([(3, 5), (3, 4)], False, ["row 3: time 3 comes twice"]),
        ([(3, -5), (4, 1)], False, ["row 2: the count must be a whole number of seeds"]),
        ([(3, 1.5)], False, ["row 2: the count must be a whole number of seeds"]),
        ([(-1, 5)], False, ["row 2: time -1 is before sowing"]),
        ([(0, 5)], False, ["row 2: no seed germinates at time 0"]),
        ([(float("nan"), 5)], False, ["row 2: the time must be a number"]),
        ([("soon", 5)], False, ["row 2: the time must be a number"]),
        ([(3, 5), (1, 2), (7, -2), (8, 1)], False, ["row 3: time goes back", "row 4: the count must be"]),
    ],
)
def test_impossible_counts_name_their_row(rows, cumulative, said):
    with pytest.raises(UserError) as trouble:
        m.read_counts(rows, 50, cumulative=cumulative, first_row=2)
    problems = trouble.value.problems
    assert len(problems) == len(said)
    assert all(problem.startswith(start) for problem, start in zip(problems, said, strict=True))


@pytest.mark.parametrize(
    ("sown", "empty", "word"), [(0, 0, "no seed"), (-1, 0, "seeds sown"), (5, 6, "6 empty seeds of 5")]
)
def test_impossible_lots_are_refused(sown, empty, word):
    with pytest.raises(UserError, match=word):
        m.read_counts([(1, 0)], sown, cumulative=False, empty=empty)


def test_empty_seed_cannot_have_germinated():
    with pytest.raises(UserError, match="row 1: 46 seeds germinated by time 5, but only 50 were sown less 5 empty"):
        m.read_counts([(5, 46)], 50, cumulative=False, empty=5)


def test_a_first_count_of_nothing_at_sowing_is_fine():
    assert m.read_counts([(0, 0), (4, 2)], 10, cumulative=True).germinated == 2


# How much and how fast


@given(trials(at_least=1))
def test_scaling_time_scales_times_and_divides_speed(trial):
    slow = times_by(3, trial)
    assert m.mean_time(slow) == pytest.approx(3 * m.mean_time(trial))
    assert m.t50(slow) == pytest.approx(3 * m.t50(trial))
    assert m.speed(slow) == pytest.approx(m.speed(trial) / 3)
    assert m.final_share(slow) == m.final_share(trial)


@given(trials(at_least=1))
def test_a_dish_twice_is_the_dish(trial):
    both, one = m.measure(m.pool([trial, trial])), m.measure(trial)
    assert (both.share, both.t50, both.t50_of_sown) == pytest.approx((one.share, one.t50, one.t50_of_sown))
    assert both.mean_time == pytest.approx(one.mean_time)
    assert both.speed == pytest.approx(2 * one.speed)
    assert both.wilson.high - both.wilson.low < one.wilson.high - one.wilson.low


@given(trials(at_least=1))
def test_times_lie_within_the_trial_and_in_order(trial):
    seen = [t for t, n in zip(trial.times, trial.new, strict=True) if n]
    assert seen[0] * (1 - 1e-12) <= m.mean_time(trial) <= seen[-1] * (1 + 1e-12)
    half, plus_one = m.t50(trial), m.t50(trial, "germinated_plus_one")
    assert 0 < half <= plus_one <= seen[-1] * (1 + 1e-12)
    of_sown = m.t50(trial, "sown")
    assert (of_sown is None) == (2 * trial.germinated < trial.sown)
    assert of_sown is None or of_sown >= half


@given(trials())
def test_empty_seed_is_left_out_of_the_share(trial):
    share, sown = m.final_share(trial), m.final_share(trial, "sown")
    assert (share is None) == (trial.filled == 0)
    assert share is None or (sown <= share <= 1 and isclose(share * trial.filled, sown * trial.sown))


def test_all_on_one_day():
    trial = m.Counts((1, 2, 4, 7), (0, 0, 20, 0), 25)
    assert (m.mean_time(trial), m.speed(trial), m.t50(trial)) == (4, 5, 3)  # halfway from day 2 to day 4


def test_no_germination_has_no_times():
    found = m.measure(m.Counts((7, 14), (0, 0), 20))
    assert (found.mean_time, found.t50, found.t50_of_sown, found.speed, found.share) == (None, None, None, 0, 0)
    assert found.wilson.low == found.exact.low == 0 < found.exact.high < 0.17


def test_a_dish_of_empty_seed_tests_nothing():
    with pytest.raises(UserError, match="all 20 seeds were empty"):
        m.measure(m.Counts((7,), (0,), 20, 20))
    with pytest.raises(UserError, match="no replicate"):
        m.pool([])


def test_pooled_is_not_the_mean_of_unequal_dishes():
    assert m.final_share(m.pool([m.Counts((5,), (1,), 10), m.Counts((5,), (72,), 90)])) == 0.73  # the mean says 0.45


# How sure


@given(dishes, st.sampled_from([0.8, 0.95, 0.99]))
def test_intervals_hold_the_share_and_mirror(dish, confidence):
    found, seeds = dish
    for interval in (m.wilson, m.clopper_pearson):
        low, high = interval(found, seeds, confidence)
        assert 0 <= low <= found / seeds <= high <= 1
        assert (low == 0) == (found == 0)
        assert (high == 1) == (found == seeds)
        mirrored = interval(seeds - found, seeds, confidence)
        assert (1 - mirrored.high, 1 - mirrored.low) == pytest.approx((low, high), abs=1e-12)


@given(dishes)
def test_more_confidence_is_a_wider_interval(dish):
    for interval in (m.wilson, m.clopper_pearson):
        narrow, wide = interval(*dish, 0.8), interval(*dish, 0.99)
        assert wide.low <= narrow.low and wide.high >= narrow.high


@pytest.mark.parametrize("wrong", [(5, 4), (-1, 4), (0, 0), (1.5, 4), (1, 4, 1.0), (1, 4, 0)])
def test_intervals_refuse_the_impossible(wrong):
    for interval in (m.wilson, m.clopper_pearson):
        with pytest.raises(UserError):
            interval(*wrong)


# Differences


@given(dishes, dishes)
def test_fisher_does_not_care_which_arm_is_first_or_which_outcome(one, other):
    (a, n), (b, k) = one, other
    p = m.fisher(a, n, b, k)
    assert 0 < p <= 1
    assert p == m.fisher(b, k, a, n) == m.fisher(n - a, n, k - b, k)
    assert m.fisher(a, n, a, n) == 1


def test_a_clear_difference_is_unlikely():
    assert m.fisher(0, 20, 20, 20) == pytest.approx(2 / 137846528820)  # two of the 40-choose-20 tables


@given(st.lists(st.floats(0, 1), max_size=12))
def test_holm_never_lowers_keeps_order_and_stays_below_bonferroni(chances):
    adjusted = m.holm(chances)
    assert all(p <= a <= min(1, p * len(chances)) for p, a in zip(chances, adjusted, strict=True))
    ordered = sorted(zip(chances, adjusted, strict=True))
    assert [a for _, a in ordered] == sorted(adjusted)


def test_holm_by_hand():
    assert m.holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])
    with pytest.raises(UserError):
        m.holm([0.1, 1.2])


@given(st.lists(st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=2, max_size=8))
def test_unevenness_of_any_dishes_in_any_order(dishes):
    found, seeds = zip(*dishes, strict=True)
    result = m.unevenness(found, seeds)
    assert (result is None) == (sum(found) in (0, sum(seeds)))
    if result:
        assert result.chi_square >= 0 <= result.chance <= 1
        assert result.chance == pytest.approx(m.unevenness(found[::-1], seeds[::-1]).chance)


def test_even_dishes_are_even_and_one_dish_says_nothing():
    assert m.unevenness([10, 10, 10, 10], [50] * 4) == (0, 3, 1)
    assert m.unevenness([10], [50]) is None


# Replicates against the table


def test_over_the_limit_is_a_retest_and_on_it_is_not():
    on = m.replicate_range([96, 96, 84, 84], [100] * 4, TABLE)  # mean 90, tolerated 12
    over = m.replicate_range([97, 92, 85, 84], [100] * 4, TABLE)  # mean 89.5, which is 90
    assert (on.average, on.spread, on.limit, on.retest) == (90, 12, 12, False)
    assert (over.average, over.spread, over.limit, over.retest) == (90, 13, 12, True)
    assert over.reason.startswith("retest: they differ by 13 points")


@given(st.lists(st.integers(0, 100), min_size=4, max_size=4))
def test_the_table_is_symmetrical_about_fifty_and_a_half(found):
    check, mirror = (m.replicate_range(f, [100] * 4, TABLE) for f in (found, [100 - f for f in found]))
    assert check.spread == mirror.spread
    if sum(found) % 4 == 0 and 2 <= check.average <= 98:
        limits = [m.replicate_range([a] * 4, [100] * 4, TABLE).limit for a in (check.average, 101 - check.average)]
        assert limits[0] == limits[1] is not None


@pytest.mark.parametrize(
    ("found", "seeds", "word"),
    [
        ([40, 32, 43, 34], [50] * 4, "these have 50"),
        ([40, 32, 43], [100] * 3, "2 or 4 replicates, not 3"),
        ([100, 100, 100, 99], [100] * 4, "no limit for 4 replicates that average 100 %"),
        ([99, 97], [100] * 2, "no limit for 2 replicates that average 98 %"),
    ],
)
def test_where_the_table_is_silent_no_verdict_is_given(found, seeds, word):
    check = m.replicate_range(found, seeds, TABLE)
    assert (check.limit, check.retest) == (None, None)
    assert word in check.reason


@pytest.mark.parametrize(
    ("found", "seeds", "word"),
    [([101, 90], [100, 100], "replicate 1: 101"), ([1], [2, 2], "1 counts for 2"), ([], [], "0 counts")],
)
def test_impossible_replicates_are_refused(found, seeds, word):
    for check in (lambda: m.replicate_range(found, seeds, TABLE), lambda: m.unevenness(found, seeds)):
        with pytest.raises(UserError, match=word):
            check()
