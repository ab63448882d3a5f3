"""Published germination trials through the recording sheet, end to end. Sources: data/trials/SOURCE.md, data/measures/SOURCE.md."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from rousewort.observe.result import analyse
from rousewort.observe.sheet import read_sheet
from rousewort.observe.trial import arms_of
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

DATA = Path(__file__).parent / "data"
HEAD = "arm,replicate,seeds,day,new_roots"


def trial(kb, rows):
    return analyse(kb.vocabulary, read_sheet([HEAD, *rows], arms_of(kb.vocabulary)))


def rows_of(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((DATA / name).open(encoding="utf-8")))


def test_crowders_dishes_add_up_to_the_printed_shares_and_not_to_the_mean_of_dishes(kb):
    as_arm = {"1/1": "control", "1/25": "cold", "1/625": "warm"}
    rows = [
        f"{as_arm[r['dilution']]},{i},{r['seeds']},14,{r['germinated']}"
        for i, r in enumerate(rows_of("trials/orobanche_dilution.csv"))
    ]
    arms = {r.arm.id: r for r in trial(kb, rows).arms}
    assert [round(arms[a].roots.share, 3) for a in ("control", "cold", "warm")] == [0.142, 0.872, 0.842]
    dishes = [d.roots.germinated / d.roots.filled for d in arms["control"].dishes]
    assert round(sum(dishes) / len(dishes), 3) == 0.108
    whole = sum(r.roots.germinated for r in arms.values()) / sum(r.roots.seeds for r in arms.values())
    assert round(whole, 3) == 0.614


def test_chickweed_times_and_share_agree_with_the_published_curve(kb):
    """200 seeds, 40 germinated: upper limit 0.20011, T50 of these 196 h. Half of the sown never came."""
    rows = [f"control,1,200,{float(r['hour']) / 24!r},{r['new']}" for r in rows_of("trials/chickweed.csv")]
    (arm,) = trial(kb, rows).arms
    assert arm.roots.share == pytest.approx(0.20011, abs=5e-4)
    assert arm.roots.t50 * 24 == pytest.approx(196, abs=1)
    assert arm.roots.t50_of_sown is None


def test_chickweed_totals_and_new_seeds_say_the_same():
    from rousewort.observe.measures import read_counts

    rows = [(float(r["hour"]), int(r["new"]), int(r["total"])) for r in rows_of("trials/chickweed.csv")]
    assert read_counts([(t, n) for t, n, _ in rows], 200, cumulative=False) == read_counts(
        [(t, n) for t, _, n in rows], 200, cumulative=True
    )


def test_meads_trial_gives_the_intervals_chances_and_uneven_dishes_of_other_libraries(kb):
    as_arm = {"0": "control", "0.1": "cold", "1": "warm", "10": "warm_cold"}
    dishes = [r for r in rows_of("measures/mead_germination_4x50.csv") if r["temp"] == "T1"]
    result = trial(kb, [f"{as_arm[r['conc']]},{r['rep']},50,10,{r['germ']}" for r in dishes])
    arms = {r.arm.id: r for r in result.arms}
    control = arms["control"].roots.germinated
    others = [r for r in result.arms if r.arm.id != "control"]
    chances = [
        stats.fisher_exact([[r.roots.germinated, 200 - r.roots.germinated], [control, 200 - control]])[1]
        for r in others
    ]
    assert [r.chance for r in others] == pytest.approx(list(multipletests(chances, method="holm")[1]))
    for r in result.arms:
        assert tuple(r.roots.wilson) == pytest.approx(
            proportion_confint(r.roots.germinated, 200, 0.05, "wilson"), abs=1e-10
        )
    assert (arms["warm_cold"].uneven.chi_square, arms["warm_cold"].uneven.chance) == pytest.approx(
        (8.29, 0.040), abs=5e-3
    )
    assert arms["cold"].uneven.chance == pytest.approx(0.92, abs=5e-3)


def test_a_range_over_the_regulations_limit_is_called_a_retest(kb):
    """7 CFR 201.55(a): four replicates of 100 that average 90 % may differ by 12 points."""
    for low, word in ((84, False), (83, True)):
        dishes = [low, 96, 90, 180 - low - 6 if word is False else 91]
        (arm,) = trial(kb, [f"control,{i},100,14,{g}" for i, g in enumerate(dishes)]).arms
        assert (arm.range_check.average, arm.range_check.limit, arm.range_check.retest) == (90, 12, word)
