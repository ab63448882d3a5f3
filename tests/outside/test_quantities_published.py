"""Seed quantities against published worked figures and an independent library. Sources: data/quantities/SOURCE.md."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
import yaml
from rousewort.schedule import quantities as q
from scipy import stats

DATA = Path(__file__).parent / "data" / "quantities"
PUBLISHED = yaml.safe_load((DATA / "published.yaml").read_text(encoding="utf-8"))
USGS = list(csv.DictReader((DATA / "usgs_table_4.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", PUBLISHED["live_seed"], ids=lambda row: row["source"])
def test_pure_live_seed_as_printed(row):
    live = q.live_share(row["purity"], row["germination"])
    if "factor" in row:  # printed from the rounded share
        assert round(live, 2) == row["live"]
        assert round(q.bulk_for(1, row["live"]), 2) == row["factor"]
    else:
        assert live == pytest.approx(row["live"], abs=1e-12)


def test_either_way_round_a_kilogram_holds_as_many_germinating_seeds():
    """Willan 1985: both lots give 36,000 a kilogram, so the weight that holds them is one kilogram for both."""
    lots = PUBLISHED["equal_products"]["lots"]
    one, other = (q.bulk_for(PUBLISHED["equal_products"]["germinating_per_kg"], q.live_share(**lot)) for lot in lots)
    assert one == pytest.approx(other)


def test_all_121_factors_of_the_usgs_table():
    """USGS Northern Prairie, table 4: printed to about 0.05, so no factor may lie further off than that allows."""
    assert len(USGS) == 121
    off = []
    for row in USGS:
        live = q.live_share(int(row["purity_pct"]) / 100, int(row["germination_pct"]) / 100)
        off.append(abs(q.bulk_for(1, live) - float(row["bulk_per_live_printed"])))
    assert max(off) <= 0.045
    assert sum(off) / len(off) < 0.02


def test_roys_rule_of_seeds_to_a_spot_is_one_seedling_in_nineteen_spots_of_twenty():
    """Roy 1957: 5 seeds where half are viable, up to 29 where a tenth are. One standard gives both numbers exactly."""
    for spot in PUBLISHED["spots"]:
        assert q.seeds_per_cell(spot["viability"], 0.95) == spot["seeds"]
        assert q.seeds_for(1, spot["viability"], 0.95) == spot["seeds"]


@pytest.mark.parametrize("low, high, seeds, filled_low, filled_high", PUBLISHED["containers_from_memory"])
def test_the_nursery_manuals_container_table(low, high, seeds, filled_low, filled_high):
    """From memory of the manuals, so scipy's binomial law stands beside it as second oracle."""
    for germination, filled in ((low / 100, filled_low), (high / 100, filled_high)):
        share = q.filled_share(germination, seeds)
        assert round(100 * share) == filled
        assert share == pytest.approx(stats.binom.sf(0, seeds, germination))


@pytest.mark.parametrize("plants", [1, 2, 7, 24, 100, 1500, 40_000, 1_000_000])
@pytest.mark.parametrize("chance", [0.003, 0.1, 0.45, 0.63, 0.9, 0.999])
@pytest.mark.parametrize("probability", [0.5, 0.8, 0.95, 0.99, 0.9999])
def test_seeds_to_sow_equal_scipys_negative_binomial_quantile(plants, chance, probability):
    """scipy: fewest failures f with P(f or fewer before the last plant) >= probability; seeds = plants + f."""
    assert q.seeds_for(plants, chance, probability) == plants + int(stats.nbinom.ppf(probability, plants, chance))


@pytest.mark.parametrize("plants, chance, probability", [(3, 0.7, 0.9), (50, 0.31, 0.95), (9999, 0.82, 0.999)])
def test_the_chance_kept_is_scipys_binomial_tail(plants, chance, probability):
    seeds = q.seeds_for(plants, chance, probability)
    assert stats.binom.sf(plants - 1, seeds, chance) >= probability > stats.binom.sf(plants - 1, seeds - 1, chance)
