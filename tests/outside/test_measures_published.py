"""Germination measures against a regulation's table, a published trial and independent libraries.

Sources: data/measures/SOURCE.md; the orobanche totals are Crowder (1978, Applied Statistics 27:34-37, Table 1).
"""

from __future__ import annotations

import csv
from collections import defaultdict
from math import log
from pathlib import Path

import numpy as np
import pytest
import yaml
from rousewort.observe import measures as m
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

HERE = Path(__file__).parent
DATA = HERE / "data" / "measures"
TABLE = yaml.safe_load((HERE.parents[1] / "kb" / "vocabulary" / "replicate_ranges.yaml").read_text(encoding="utf-8"))
PRINTED = list(csv.DictReader((DATA / "cfr_201_55_as_printed.csv").open(encoding="utf-8")))


# 7 CFR 201.55


def dishes_with(average: int, spread: int, number: int) -> list[int]:
    """Dishes of 100 seeds whose mean rounds (half up) to that average and whose range is that spread."""
    return next(
        [low, low + spread, *[middle] * (number - 2)]
        for low in range(101 - spread)
        for middle in range(low, low + spread + 1)
        if 2 * number * average - number
        <= 2 * (2 * low + spread + (number - 2) * middle)
        < 2 * number * average + number
    )


def test_the_knowledge_base_holds_the_regulations_table():
    assert len(TABLE["rows"]) == len(PRINTED) == 49
    for row, printed in zip(TABLE["rows"], PRINTED, strict=True):
        assert row["high"] == int(printed["average_high"])
        assert row["four"] == int(printed["four_replicates"])
        assert row["two"] == (int(printed["two_replicates"]) if printed["two_replicates"] else None)
        assert row["high"] + row["low"] == 101  # what shows the printed 38 and 48 for 39 and 49 to be misprints
        assert row["low"] == int(printed["average_low_printed"]) or row["low"] in (39, 49)


@pytest.mark.parametrize(("number", "column"), [(4, "four_replicates"), (2, "two_replicates")])
def test_every_printed_limit_passes_and_one_point_more_is_a_retest(number, column):
    limits = [
        (int(row[end]), int(row[column]))
        for row in PRINTED
        if row[column]
        for end in ("average_high", "average_low_meant")
    ]
    assert len(limits) == {4: 98, 2: 94}[number]
    for average, limit in limits:
        for spread, retest in ((limit, False), (limit + 1, True)):
            check = m.replicate_range(dishes_with(average, spread, number), [100] * number, TABLE)
            assert (check.average, check.spread, check.limit, check.retest) == (average, spread, limit, retest)


# Mead's 4 x 50 seeds


def mead() -> dict[tuple[str, str], list[m.Counts]]:
    cells = defaultdict(list)
    for row in csv.DictReader((DATA / "mead_germination_4x50.csv").open(encoding="utf-8")):
        cells[row["temp"], row["conc"]].append(
            m.read_counts([(1, int(row["germ"]))], int(row["seeds"]), cumulative=True)
        )
    return cells


def deviance(groups: list[list[m.Counts]]) -> float:
    """Residual deviance of the binomial model in which each group has its pooled share."""
    total = 0.0
    for dishes in groups:
        share = m.final_share(m.pool(dishes))
        for dish in dishes:
            g, n = dish.germinated, dish.sown
            total += 2 * (g * log(g / (n * share)) if g else 0)
            total += 2 * ((n - g) * log((n - g) / (n * (1 - share))) if n > g else 0)
    return total


def test_meads_trial_gives_its_published_deviances():
    """Those whose model fits pooled shares; the fifth, of the additive model (148.11), is not made of such shares."""
    cells = mead()
    by = [defaultdict(list), defaultdict(list)]
    for key, dishes in cells.items():
        for side, groups in enumerate(by):
            groups[key[side]] += dishes
    every = [dish for dishes in cells.values() for dish in dishes]
    fits = [
        [every],
        list(by[0].values()),
        list(by[1].values()),
        list(cells.values()),
    ]
    assert [round(deviance(groups), 2) for groups in fits] == [1193.80, 430.11, 980.10, 55.64]


def test_every_cell_of_meads_trial_end_to_end_against_scipy_and_statsmodels():
    for dishes in mead().values():
        found = m.measure(m.pool(dishes))
        assert (found.seeds, len(dishes)) == (200, 4)
        for mine, method in ((found.wilson, "wilson"), (found.exact, "beta")):
            assert tuple(mine) == pytest.approx(proportion_confint(found.germinated, 200, 0.05, method), abs=1e-10)
        germinated = [dish.germinated for dish in dishes]
        scipy = stats.chi2_contingency([germinated, [50 - g for g in germinated]], correction=False)
        mine = m.unevenness(germinated, [50] * 4)
        assert (mine.chi_square, mine.freedom, mine.chance) == pytest.approx((scipy.statistic, scipy.dof, scipy.pvalue))


def test_meads_arms_compared_by_exact_test_and_holm():
    arms = {key: m.pool(dishes) for key, dishes in mead().items()}
    control = arms["T1", "0"]
    others = [arm for key, arm in arms.items() if key != ("T1", "0")]
    mine = [m.fisher(a.germinated, a.sown, control.germinated, control.sown) for a in others]
    scipy = [
        stats.fisher_exact(
            [[a.germinated, a.sown - a.germinated], [control.germinated, control.sown - control.germinated]]
        )[1]
        for a in others
    ]
    assert mine == pytest.approx(scipy, rel=1e-9)
    assert m.holm(mine) == pytest.approx(list(multipletests(mine, method="holm")[1]))


# Unequal dishes


@pytest.mark.parametrize(
    ("found", "seeds", "printed"), [(34, 240, 0.142), (198, 227, 0.872), (203, 241, 0.842), (435, 708, 0.614)]
)
def test_crowders_pooled_shares(found, seeds, printed):
    """Totals of the dishes as they are passed on with the data; the shares are printed in the paper's Table 1."""
    trial = m.read_counts([(1, found)], seeds, cumulative=True)
    assert round(m.final_share(trial), 3) == printed


# Independent libraries


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.99, 0.999])
@pytest.mark.parametrize("seeds", [1, 4, 10, 25, 50, 100, 200, 400, 1000, 20_000])
def test_intervals_equal_statsmodels(seeds, confidence):
    for found in sorted({0, 1, seeds // 7, seeds // 2, seeds - 1, seeds}):
        for interval, method in ((m.wilson, "wilson"), (m.clopper_pearson, "beta")):
            theirs = proportion_confint(found, seeds, 1 - confidence, method)
            assert tuple(interval(found, seeds, confidence)) == pytest.approx(np.nan_to_num(theirs), abs=2e-11)


@pytest.mark.parametrize("seed", range(60))
def test_fisher_equals_scipy(seed):
    draw = np.random.default_rng(seed)
    n, k = (int(x) for x in draw.integers(1, [30, 400][seed % 2], 2))
    a, b = int(draw.integers(0, n + 1)), int(draw.integers(0, k + 1))
    assert m.fisher(a, n, b, k) == pytest.approx(stats.fisher_exact([[a, n - a], [b, k - b]])[1], rel=1e-8)


@pytest.mark.parametrize("freedom", range(1, 25))
def test_chi_square_tails_equal_scipy(freedom):
    """Dishes made to have that many degrees of freedom; the tail is compared, not the statistic."""
    draw = np.random.default_rng(freedom)
    for _ in range(10):
        found = [int(x) for x in draw.integers(3, 20, freedom + 1)]
        mine = m.unevenness(found, [30] * (freedom + 1))
        assert mine.chance == pytest.approx(stats.chi2.sf(mine.chi_square, freedom), rel=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_holm_equals_statsmodels(seed):
    chances = [float(p) for p in np.random.default_rng(seed).random(seed + 1) ** 3]
    assert m.holm(chances) == pytest.approx(list(multipletests(chances, method="holm")[1]))


@pytest.mark.parametrize("seed", range(20))
def test_times_equal_numpy_on_single_seeds(seed):
    """Mean time and speed are sums over single seeds; T50 is numpy's straight line through (0, 0) and the totals."""
    draw = np.random.default_rng(seed)
    times, new = np.cumsum(draw.integers(1, 6, 12)), draw.integers(1, 9, 12)
    trial = m.read_counts([(int(t), int(n)) for t, n in zip(times, new, strict=True)], 200, cumulative=False)
    each = np.repeat(times, new)
    assert m.mean_time(trial) == pytest.approx(each.mean())
    assert m.speed(trial) == pytest.approx((1 / each).sum())
    totals = [0, *np.cumsum(new)]
    for half_of, half in (("germinated", each.size / 2), ("germinated_plus_one", (each.size + 1) / 2)):
        assert m.t50(trial, half_of) == pytest.approx(np.interp(half, totals, [0, *times]))
