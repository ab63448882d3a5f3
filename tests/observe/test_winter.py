"""Chilling outdoors: behaviour and laws."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.observe import winter as w

AUTUMN = date(2024, 10, 1)


def span(*days: w.Day, first: date = AUTUMN) -> dict[date, w.Day]:
    return {first + timedelta(i): day for i, day in enumerate(days)}


def mean(celsius: float) -> w.Day:
    return w.Day(2 * w.tenths(celsius, "C"))


day = st.tuples(st.integers(-300, 300), st.integers(0, 200)).map(lambda t: w.Day(2 * t[0] + t[1], t[0], t[0] + t[1]))
weather = st.lists(st.one_of(st.just(w.Day(None)), day), min_size=1, max_size=60).filter(
    lambda days: any(d.mean is not None for d in days)
)


def judge(days: list[w.Day], need: int = 10, low: float = 0, high: float = 10, **more) -> w.Winter:
    return w.outdoor_winter(span(*days), AUTUMN, need, low, high, until=AUTUMN + timedelta(len(days) - 1), **more)


# Units and ties


@given(st.integers(-400, 500))
def test_tenths_survive_a_trip_through_fahrenheit(value):
    """A station's tenths of a degree C, published in F to a hundredth, come back as they were."""
    fahrenheit = Fraction(value * 9, 50) + 32
    assert w.tenths(f"{float(fahrenheit):.2f}", "F") == value
    assert w.tenths(value / 10, "C") == value


@pytest.mark.parametrize(
    ("text", "unit", "tenths"), [("32", "F", 0), ("45", "F", 72), ("-40", "F", -400), ("0.05", "C", 1)]
)
def test_known_conversions(text, unit, tenths):
    assert w.tenths(text, unit) == tenths
    assert w.tenths("\u2212" + text.lstrip("-"), "C") == -abs(w.tenths(text.lstrip("-"), "C"))  # a real minus sign


def test_days_on_the_limits_count_and_a_hair_outside_do_not():
    lines = ["date,tmin,tmax", "2024-10-01,0.9,1.1", "2024-10-02,0.9,1.0", "2024-10-03,9.7,10.3", "2024-10-04,9.8,10.3"]
    found = w.outdoor_winter(w.read_daily(lines, "C"), AUTUMN, 5, 1, 10, until=date(2024, 10, 4))
    assert found.chilling == 2  # means 1.0 and 10.0 yes, 0.95 and 10.05 no


# Counting


@given(weather, st.integers(1, 60), st.integers(-50, 100), st.integers(0, 150))
def test_chilling_is_the_number_of_days_in_range(days, need, low, width):
    found = judge(days, need, low / 10, (low + width) / 10)
    inside = [d.mean is not None and low <= Fraction(d.mean, 2) <= low + width for d in days]
    assert found.chilling == sum(inside)
    assert len(found.missing) == sum(d.mean is None for d in days)
    assert found.days == len(days)
    if found.met_on:
        upto = (found.met_on - AUTUMN).days
        assert inside[upto] and sum(inside[: upto + 1]) == need
    else:
        assert sum(inside) < need


@given(weather, st.integers(1, 60))
def test_a_verdict_holds_whatever_the_missing_days_were(days, need):
    found = judge(days, need)
    best = judge([mean(5) if d.mean is None else d for d in days], need)
    worst = judge([mean(-20) if d.mean is None else d for d in days], need)
    if found.enough is None:
        assert (best.enough, worst.enough) == (True, False)
    else:
        assert best.enough == worst.enough == found.enough
    assert worst.met_on == found.met_on
    assert not found.met_on or best.met_on <= found.met_on


@given(weather, st.integers(1, 30))
def test_a_wider_range_and_a_smaller_need_are_no_harder(days, need):
    narrow, wide = judge(days, need, 1, 8), judge(days, need, 0, 10)
    assert wide.chilling >= narrow.chilling
    assert not narrow.met_on or wide.met_on <= narrow.met_on
    assert not judge(days, need + 1).met_on or judge(days, need).met_on < judge(days, need + 1).met_on


@given(weather, st.integers(0, 20))
def test_frost_at_depth_is_never_more_than_in_the_air_when_means_do_not_freeze(days, depth):
    mild = [d for d in days if d.mean is None or d.mean >= 0]
    if any(d.mean is not None for d in mild):
        found = judge(mild, depth_cm=depth)
        assert found.frost is None or found.frost_at_seed <= found.frost
        assert found.chilling == judge(mild).chilling


@given(weather)
def test_skipping_frost_leaves_out_the_frosty_chilling_days(days):
    plain, strict = judge(days), judge(days, skip_frost=True)
    assert strict.chilling == plain.chilling - plain.chilling_with_frost


def test_a_day_lost_is_reported_and_not_filled():
    days = w.read_daily(["date,tmin,tmax", "2024-10-01,1,9", "2024-10-02,,9", "2024-10-04,1,9"], "C")
    found = w.outdoor_winter(days, AUTUMN, 3, 0, 10, until=date(2024, 10, 4))
    assert found.missing == (date(2024, 10, 2), date(2024, 10, 3))
    assert (found.chilling, found.enough, found.met_on, found.minima_missing) == (2, None, None, 2)
    assert found.notes == ("2 days have no temperature and were not counted; they decide whether the need is met",)
    enough = w.outdoor_winter(days, AUTUMN, 2, 0, 10, until=date(2024, 10, 4))
    assert (enough.enough, enough.met_on) == (True, date(2024, 10, 4))
    assert "do not change" in enough.notes[0]
    never = w.outdoor_winter(days, AUTUMN, 5, 0, 10, until=date(2024, 10, 4))
    assert never.enough is False


def test_the_fridge_is_done_after_as_many_days():
    found = judge([mean(20)] * 10 + [mean(4)] * 10, need=10)
    assert found.fridge_until == AUTUMN + timedelta(9)
    assert found.met_on == AUTUMN + timedelta(19)


def test_without_minima_frost_is_unknown():
    found = judge([mean(-5)] * 10)
    assert (found.frost, found.frost_at_seed, found.chilling_with_frost, found.minima_missing) == (None, None, None, 10)


# Hemispheres


@pytest.mark.parametrize(
    ("sown", "southern", "end"),
    [
        (date(2024, 10, 1), False, date(2025, 4, 30)),
        (date(2025, 1, 15), False, date(2025, 4, 30)),
        (date(2025, 4, 30), False, date(2025, 4, 30)),
        (date(2025, 5, 1), False, date(2026, 4, 30)),
        (date(2025, 4, 1), True, date(2025, 10, 31)),
        (date(2025, 11, 1), True, date(2026, 10, 31)),
    ],
)
def test_the_cold_ends_in_april_or_in_october(sown, southern, end):
    assert w.cold_ends(sown, southern) == end


@given(st.lists(st.integers(-100, 250).map(lambda t: t / 10), min_size=12, max_size=12))
def test_a_southern_winter_is_the_northern_one_half_a_year_later(means):
    north = w.normal_days(means, "C", date(2024, 10, 1), date(2025, 4, 30))
    south = w.normal_days(means[6:] + means[:6], "C", date(2025, 4, 1), date(2025, 10, 31))
    one = w.outdoor_winter(north, date(2024, 10, 1), 60, 0, 10)
    other = w.outdoor_winter(south, date(2025, 4, 1), 60, 0, 10, southern=True)
    assert one.end == date(2025, 4, 30) and other.end == date(2025, 10, 31)
    assert abs(one.chilling - other.chilling) <= 12  # months have other lengths, and each crossing may fall a day apart


def test_the_wrong_hemisphere_is_pointed_out():
    year = w.normal_days([20, 20, 17, 14, 11, 9, 8, 9, 11, 13, 16, 18], "C", date(2025, 1, 1), date(2025, 12, 31))
    assert w.outdoor_winter(year, date(2025, 4, 1), 30, 0, 10, southern=True).notes == ()
    notes = w.outdoor_winter(year, date(2025, 1, 1), 30, 0, 10).notes
    assert notes == ("a northern winter was asked for, but these temperatures look southern",)


# Normals


def test_normals_pass_through_the_middles_of_the_months_and_run_straight_between():
    days = w.normal_days([0, 10, 20, 20, 20, 20, 20, 20, 20, 20, 20, 10], "C", date(2025, 1, 1), date(2025, 12, 31))
    assert len(days) == 365
    assert days[date(2025, 1, 16)].mean == 0 and days[date(2025, 2, 15)].mean == 200
    assert [days[date(2025, 1, 16) + timedelta(i)].mean for i in (3, 15, 27)] == [20, 100, 180]
    assert days[date(2025, 1, 1)].mean == round(200 * 15 / 31)  # from 16 December's 10 down to 16 January's 0


@given(st.lists(st.integers(-300, 400).map(lambda t: t / 10), min_size=12, max_size=12))
def test_normals_in_fahrenheit_are_the_same_days(means):
    first, last = date(2023, 12, 1), date(2024, 3, 31)  # with a leap day
    celsius = w.normal_days(means, "C", first, last)
    assert celsius == w.normal_days([t * 9 / 5 + 32 for t in means], "F", first, last)
    assert len(celsius) == 122
    assert all(2 * 10 * min(means) - 1 <= d.mean <= 2 * 10 * max(means) + 1 for d in celsius.values())


@pytest.mark.parametrize("means", [[1.0] * 11, [1.0] * 11 + ["mild"], [1.0] * 11 + [None]])
def test_normals_must_be_twelve_numbers(means):
    with pytest.raises(UserError):
        w.normal_days(means, "C", AUTUMN, AUTUMN)


# Soil


@given(day, st.floats(0, 20))
def test_depth_keeps_the_mean_and_shrinks_the_swing(air, depth):
    seed = w.at_depth(air, depth)
    assert seed.mean == air.mean
    left = exp(-depth / w.damping_depth_cm())
    assert (seed.high - seed.low) == pytest.approx((air.high - air.low) * left, abs=1)
    assert air.low - 1 <= seed.low <= seed.high <= air.high + 1


def test_at_the_surface_nothing_changes():
    assert w.at_depth(w.Day(31, -20, 51), 0) == w.Day(31, -20, 51)


@pytest.mark.parametrize("depth", [-1, 25, float("nan")])
def test_depths_out_of_reach_are_refused(depth):
    with pytest.raises(UserError, match="sowing depth"):
        w.at_depth(w.Day(31, -20, 51), depth)


def test_soil_must_conduct():
    with pytest.raises(UserError, match="above 0"):
        w.damping_depth_cm(1, 0)


# Files


@pytest.mark.parametrize(
    "heading",
    [
        "date,tmin,tmax",
        "DATE,TMIN,TMAX",
        "Date,temp_min,temp_max",
        "date,Min Temp (C),Max Temp (C)",
        "date,tmin_c,tmax_degC",
    ],
)
def test_common_headings_are_understood(heading):
    assert w.read_daily(["\ufeff" + heading, "2024-10-01,-1.5,4"], "C") == {AUTUMN: w.Day(25, -15, 40)}


def test_other_headings_can_be_told():
    lines = ["when,cold,warm,place", "2024-10-01,30,50,here"]
    with pytest.raises(UserError, match="the columns are when, cold, warm, place"):
        w.read_daily(lines, "F")
    told = w.read_daily(lines, "F", {"date": "when", "low": "cold", "high": "warm"})
    assert told == {AUTUMN: w.Day(89, -11, 100)}
    with pytest.raises(UserError, match="'hot' is not a column"):
        w.read_daily(lines, "F", {"date": "when", "low": "cold", "high": "hot"})


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("2024-13-01,1,2", "is not a date"),
        (",1,2", "is not a date"),
        ("2024-10-03,5,2", "the minimum (5.0 C) is above the maximum (2.0 C)"),
        ("2024-10-03,-999,2", "no air temperature"),
        ("2024-10-03,40,75", "no air temperature"),
        ("2024-10-03,cold,2", "'cold' is not a temperature"),
        ("2024-10-03,nan,2", "'nan' is not a temperature"),
        ("2024-10-03,1/2,2", "'1/2' is not a temperature"),
        ("2024-10-03,1e999999999,2", "is not a temperature"),
        ("2024-10-01,1,2", "2024-10-01 was given before, on line 2"),
    ],
)
def test_a_bad_line_is_named(row, said):
    with pytest.raises(UserError) as trouble:
        w.read_daily(["date,tmin,tmax", "2024-10-01,1,2", "2024-10-02,1,2", row, "never,1,2"], "C")
    assert [p[:7] for p in trouble.value.problems] == ["line 4:", "line 5:"]
    assert said in trouble.value.problems[0]


@pytest.mark.parametrize(
    ("lines", "unit", "said"),
    [
        ([], "C", "the file is empty"),
        (["date,tmin,tmax"], "C", "no day"),
        (["date,tmin", "2024-10-01,1"], "C", "minimum and maximum or the mean"),
        (["date,tmin,temp_min,tmax", "2024-10-01,1,1,2"], "C", "say which"),
        (["date,tmin_f,tmax_f", "2024-10-01,1,2"], "C", "says F, but the unit was given as C"),
        (["date,tmin,tmax", "2024-10-01,1,2"], "K", "C or F"),
    ],
)
def test_unusable_files_are_refused(lines, unit, said):
    with pytest.raises(UserError, match=said):
        w.read_daily(lines, unit)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"need": 0}, "whole number of days"),
        ({"need": 1.5}, "whole number of days"),
        ({"low": 11}, "lower limit must come first"),
        ({"depth_cm": -2}, "sowing depth"),
    ],
)
def test_impossible_questions_are_refused(change, said):
    with pytest.raises(UserError, match=said):
        judge([mean(5)], **change)


def test_no_temperature_at_all_is_no_verdict():
    with pytest.raises(UserError, match="no usable temperature between 2030-10-01 and 2031-04-30"):
        w.outdoor_winter(span(mean(5)), date(2030, 10, 1), 30, 0, 10)
    with pytest.raises(UserError, match="before sowing"):
        w.outdoor_winter(span(mean(5)), AUTUMN, 30, 0, 10, until=date(2024, 9, 1))
