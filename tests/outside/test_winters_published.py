"""Real winters against another count, and soil damping against a textbook. Sources: data/winters/SOURCE.md."""

from __future__ import annotations

import csv
import gzip
from collections import defaultdict
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from rousewort.observe import winter as w

DATA = Path(__file__).parent / "data" / "winters"
COUNTED = list(csv.DictReader((DATA / "counted_winters.csv").open(encoding="utf-8")))
FILES = {"Seattle": "seattle_daily.csv", "New York": "new_york_daily.csv"}


def read(name: str, unit: str, **more) -> dict[date, w.Day]:
    with (DATA / name).open(encoding="utf-8") as lines:
        return w.read_daily(lines, unit, **more)


# Seattle and New York, six winters counted by another hand and by xclim


@pytest.fixture(scope="module")
def stations() -> dict[str, dict[date, w.Day]]:
    return {station: read(file, "C") for station, file in FILES.items()}


@pytest.mark.parametrize("row", COUNTED, ids=lambda row: f"{row['station']} {row['winter']}")
def test_six_winters_as_counted_elsewhere(row, stations):
    days, sown = stations[row["station"]], date.fromisoformat(row["start"])

    def chilling(low: float, high: float, need: int = 1) -> w.Winter:
        return w.outdoor_winter(days, sown, need, low, high)

    assert chilling(0, 5).chilling == int(row["days_tmean_0_5"])
    assert chilling(1, 10).chilling == int(row["days_tmean_1_10"])
    assert chilling(-90, 5).chilling == int(row["days_tmean_le_5"])
    assert chilling(-90, 60).chilling - chilling(0, 60).chilling == int(row["days_tmean_lt_0"])
    whole = chilling(1, 10)
    assert (whole.end.isoformat(), whole.days, len(whole.missing)) == (
        row["end"],
        int(row["days"]),
        int(row["missing"]),
    )
    assert whole.frost == int(row["frost_days_tmin_lt_0"])
    for need in (30, 60, 90, 120):
        found, printed = chilling(1, 10, need), row[f"date_{need}th_day_tmean_1_10"]
        assert (found.met_on.isoformat() if found.met_on else "") == printed
        assert found.enough == bool(printed)


def test_both_stations_winters_are_there():
    assert [sum(row["station"] == station for row in COUNTED) for station in FILES] == [3, 3]


# Lincoln: Fahrenheit, a station's quoted export, one day blank


def test_lincoln_in_fahrenheit_with_its_missing_day():
    days = read("lincoln_ne_2016_daily_f.csv", "F")
    assert len(days) == 366
    found = w.outdoor_winter(days, date(2016, 1, 1), 60, 1, 10, until=date(2016, 12, 31))
    assert found.missing == (date(2016, 6, 17),)
    with (DATA / "lincoln_ne_2016_daily_f.csv").open(encoding="utf-8") as lines:
        rows = [(float(r["TMAX"]), float(r["TMIN"])) for r in csv.DictReader(lines) if r["TMAX"]]
    assert found.frost == sum(low < 32 for _, low in rows)
    celsius = [[round((t - 32) / 1.8 * 10) for t in pair] for pair in rows]  # whole tenths
    assert found.chilling == sum(20 <= sum(pair) <= 200 for pair in celsius)
    winter = w.outdoor_winter(days, date(2016, 10, 1), 60, 1, 10)
    assert len(winter.missing) == 120  # January to April 2017 are not in the file
    assert winter.enough is None and winter.chilling < 60


# Springfield: two winters reduced from hours


def springfield() -> list[str]:
    hours = defaultdict(list)
    with gzip.open(DATA / "springfield_il_hourly_f.csv.gz", "rt", encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            if row["tempF"]:
                hours[datetime.fromisoformat(row["dt"]).date()].append(float(row["tempF"]))
    return ["date,tmin,tmax"] + [f"{d},{min(t):.2f},{max(t):.2f}" for d, t in hours.items() if len(t) == 24]


@pytest.mark.parametrize("year", [2015, 2016])
def test_springfields_hours_as_days(year):
    """numpy counts the same days from the same minima and maxima, kept as whole tenths of a degree C."""
    lines = springfield()
    days = w.read_daily(lines, "F")
    first = date(year, 12, 1)
    found = w.outdoor_winter(days, first, 40, 0, 7.2, until=date(year + 1, 2, 29 if year == 2015 else 28))
    table = [line.split(",") for line in lines[1:]]
    kept = [r for r in table if first.isoformat() <= r[0] <= found.end.isoformat()]
    both = np.rint((np.array([[float(r[1]), float(r[2])] for r in kept]) - 32) / 1.8 * 10)
    inside = (both.sum(1) >= 0) & (both.sum(1) <= 144)
    assert found.chilling == inside.sum()
    assert found.frost == (both[:, 0] < 0).sum()
    assert len(found.missing) == found.days - len(kept)
    assert found.met_on == (date.fromisoformat(kept[np.flatnonzero(inside)[39]][0]) if inside.sum() >= 40 else None)


# Seattle's climate normals


def test_seattles_normals_flatter_its_winters_as_the_note_says(stations):
    """Smooth normals of 1981-2010 against three real winters: the figures of the note are counted here."""
    rows = list(csv.DictReader((DATA / "golden_seattle_monthly_normals.csv").open(encoding="utf-8")))
    means = [float(row["tmean_c"]) for row in sorted(rows, key=lambda row: int(row["month"]))]
    normal = w.normal_winter(means, "C", date(2012, 10, 1), 90, 1, 10)
    real = [w.outdoor_winter(stations["Seattle"], date(y, 10, 1), 90, 1, 10) for y in (2012, 2013, 2014)]
    counts = sorted(winter.chilling for winter in real)
    assert normal.chilling > counts[-1]
    assert f"{counts[0]} to {counts[-1]} days of 1 to 10 C in three winters" in normal.notes[0]
    assert f"the normals give {normal.chilling}" in normal.notes[0]
    assert normal.frost is None
    assert timedelta(0) < real[0].met_on - normal.met_on < timedelta(21)


def test_normals_keep_the_months_means():
    rows = list(csv.DictReader((DATA / "golden_seattle_monthly_normals.csv").open(encoding="utf-8")))
    means = {int(row["month"]): float(row["tmean_c"]) for row in rows}
    days = w.normal_days([means[m] for m in range(1, 13)], "C", date(2023, 1, 1), date(2023, 12, 31))
    for month, mean in means.items():
        smooth = np.mean([d.mean / 20 for when, d in days.items() if when.month == month])
        assert smooth == pytest.approx(mean, abs=0.5)


# Soil: Ochsner TE (2019) Rain or Shine, Oklahoma State University Libraries, section 13.4 (figures read there)


def test_ochsners_daily_damping_depth_is_11_7_cm():
    assert round(w.damping_depth_cm(1, 5e-7), 1) == 11.7
    square_metres_a_second = 18 / 10_000 / 3600
    assert square_metres_a_second == pytest.approx(5e-7)  # the text gives the same diffusivity as 18 cm2 an hour


def test_ochsners_seven_degrees_are_three_at_10_cm():
    assert round(7 * w.swing_left(10)) == 3


def test_ochsners_yearly_wave_reaches_19_1_times_as_deep():
    assert round(w.damping_depth_cm(365) / w.damping_depth_cm(1), 1) == 19.1


def test_at_one_damping_depth_37_percent_is_left():
    assert round(w.swing_left(w.damping_depth_cm()), 2) == 0.37


def test_the_yearly_wave_loses_2_percent_at_5_cm():
    """What the module says of leaving the mean alone (computed with the same equation; not printed)."""
    assert round(100 * (1 - w.swing_left(5, 365))) == 2
