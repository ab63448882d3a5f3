"""Whether a winter outdoors gives the chilling that a seed needs.

Temperatures are held as whole tenths of a degree Celsius and daily means as whole twentieths (minimum + maximum), so
that a day on a limit is a day on a limit. A day without a mean is missing: reported, never guessed. Bad input raises
UserError, with the line.

At sowing depth the day's swing shrinks around its mean: amplitude x exp(-depth / damping depth), where damping depth is
sqrt(diffusivity x period / pi) (Ochsner 2019, Rain or Shine, section 13.4, equations 13-4 and 13-5; read). The mean is
taken as that of the air: the same equations take 2 % off the yearly wave at 5 cm. Snow, mulch, sun on the ground and
the soil's own moisture are left out.
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from math import exp, floor, isfinite, pi, sqrt
from typing import Literal, NamedTuple

from rousewort.base.errors import UserError
from rousewort.observe.spreadsheet import Row, dates, number, read_table

Unit = Literal["C", "F"]

SOIL_DIFFUSIVITY = 5e-7  # m2 a second; the value of Ochsner's worked example, which gives 11.7 cm
DAY_SECONDS = 86_400
DEEPEST_CM = 20.0  # below this the yearly wave can no longer be left out
COOL_MONTH = 20  # °C; a coolest month above this has no winter, or was written in Fahrenheit
COLDEST, HOTTEST = -900, 600  # tenths C; anything outside is a code for "missing" or the wrong unit
SEASON_END = {False: (4, 30), True: (10, 31)}  # last day of the cold half year, by southern


class Day(NamedTuple):
    """One day: `mean` in twentieths of a degree C, `low` and `high` in tenths; None where not measured."""

    mean: int | None
    low: int | None = None
    high: int | None = None


HEADINGS = {
    "date": {"date", "day"},
    "low": {"tmin", "tempmin", "mintemp", "min", "low", "tn"},
    "high": {"tmax", "tempmax", "maxtemp", "max", "high", "tx"},
    "mean": {"tmean", "tempmean", "meantemp", "mean", "tavg", "tg"},
}


# Reading


def tenths(value: str | float, unit: Unit) -> int:
    """A temperature as whole tenths of a degree C, halves away from zero. ValueError if it is no number."""
    text = str(value).strip().replace("\u2212", "-")  # a minus sign, as spreadsheets write it
    if isinstance(value, str) and not re.fullmatch(r"[+-]?[0-9]{1,9}(\.[0-9]{0,9})?|[+-]?\.[0-9]{1,9}", text):
        raise ValueError(f"{value!r} is not a temperature; leave a missing value blank")
    exact = Fraction(text) * 10
    if unit == "F":
        exact = (exact - 320) * 5 / 9
    size = floor(abs(exact) + Fraction(1, 2))
    return -size if exact < 0 else size


def read_daily(lines: Iterable[str], unit: Unit, columns: Mapping[str, str] | None = None) -> dict[date, Day]:
    """Daily temperatures from CSV lines with a heading: date (YYYY-MM-DD), and minimum and maximum, or mean.

    `columns` maps date, low, high, mean to headings that are not understood. A blank is a missing value.
    UserError names each line at fault: no date, a date twice, no number, minimum over maximum, no earthly temperature.
    """
    _check_unit(unit)
    table = read_table(lines)
    names = _columns(table.headings, columns or {}, unit)
    read_date = dates(table.column(names["date"]))
    days: dict[date, Day] = {}
    seen: dict[date, int] = {}
    problems: list[str] = []
    unearthly: list[tuple[int, str]] = []
    for line, row in table.rows:
        try:
            if "" in row:
                raise ValueError("there are more values than columns")
            when, day = read_date(row[names["date"]]), _day(row, names, unit)
            if when in seen:
                raise ValueError(f"{when} was given before, on line {seen[when]}; keep one of them")
        except _Unearthly as fault:
            unearthly.append((line, str(fault)))
        except ValueError as fault:
            problems.append(f"line {line}: {fault}")
        else:
            days[when], seen[when] = day, line
    if unearthly:
        more = f" (and {len(unearthly) - 1} lines more)" if len(unearthly) > 1 else ""
        problems.insert(0, f"line {unearthly[0][0]}: {unearthly[0][1]}{more}")
    if problems:
        raise UserError(*problems)
    if not days:
        raise UserError("there is no day in this file, only a heading")
    return days


class _Unearthly(ValueError):
    """A temperature that no air has: one wrong unit or code makes hundreds, told once."""


def _columns(headings: Sequence[str], given: Mapping[str, str], unit: Unit) -> dict[str, str]:
    there = ", ".join(headings) or "none: the file is empty"
    if unknown := [f"{h!r} is not a column; there are {there}" for h in given.values() if h not in headings]:
        raise UserError(*unknown)
    names = dict(given)
    for heading in headings:
        letters = "".join(letter for letter in heading.lower() if letter.isalpha())
        said = re.fullmatch(r"(.+?)(?:deg)?([cf])", letters)
        for kind, words in HEADINGS.items():
            if kind in given or not (letters in words or (said and said[1] in words)):
                continue
            if kind in names:
                raise UserError(f"both {names[kind]!r} and {heading!r} could be the {kind}; say which")
            if letters not in words and said and said[2].upper() != unit:
                raise UserError(f"column {heading!r} says {said[2].upper()}, but the unit was given as {unit}")
            names[kind] = heading
    if "date" not in names or not ("mean" in names or {"low", "high"} <= names.keys()):
        raise UserError(f"a date and either minimum and maximum or the mean are needed; the columns are {there}")
    return names


def _day(row: Row, names: Mapping[str, str], unit: Unit) -> Day:
    read = {kind: _reading(row[names[kind]], unit) for kind in ("low", "high", "mean") if kind in names}
    low, high, mean = read.get("low"), read.get("high"), read.get("mean")
    if low is not None and high is not None and low > high:
        raise ValueError(f"the minimum ({low / 10} C) is above the maximum ({high / 10} C)")
    twice = 2 * mean if mean is not None else low + high if low is not None and high is not None else None
    return Day(twice, low, high)


def _reading(text: str, unit: Unit) -> int | None:
    if not text:
        return None
    value = tenths(number(text), unit)
    if not COLDEST <= value <= HOTTEST:
        raise _Unearthly(
            f"{text} {unit} is no air temperature: other unit (--unit), or a code for missing (leave blank)?"
        )
    return value


def normal_days(monthly_means: Sequence[float], unit: Unit, first: date, last: date) -> dict[date, Day]:
    """A smooth year from 12 monthly means, January first: straight lines between the middles of the months, means only.

    Such a year lacks the cold and warm spells of a real one: it says nothing of frost and counts too much chilling.
    """
    _check_unit(unit)
    if len(monthly_means) != 12:
        raise UserError(f"12 monthly means are needed, January first, not {len(monthly_means)}")
    try:
        means = [Fraction(tenths(mean, unit)) for mean in monthly_means]
    except ValueError as fault:
        raise UserError(f"a monthly mean is not a number: {fault}") from None
    days = {}
    for i in range((last - first).days + 1):
        when = first + timedelta(i)
        left, right = (when.replace(day=1) - timedelta(1), when) if when < _middle(when) else (when, _next_month(when))
        start, end = _middle(left), _middle(right)
        along = Fraction((when - start).days, (end - start).days)
        mean = means[left.month - 1] * (1 - along) + means[right.month - 1] * along
        days[when] = Day(floor(2 * mean + Fraction(1, 2)))
    return days


def _middle(when: date) -> date:
    return when.replace(day=1 + monthrange(when.year, when.month)[1] // 2)


def _next_month(when: date) -> date:
    return when.replace(day=1) + timedelta(monthrange(when.year, when.month)[1])


def _check_unit(unit: str) -> None:
    if unit not in ("C", "F"):
        raise UserError(f"say whether temperatures are in C or F, not {unit!r}")


# Soil


def damping_depth_cm(period_days: float = 1.0, diffusivity: float = SOIL_DIFFUSIVITY) -> float:
    """Depth at which a swing of that period has shrunk to 1/e; diffusivity in m2/s (Ochsner 2019, equation 13-5)."""
    if not (period_days > 0 and diffusivity > 0 and isfinite(period_days) and isfinite(diffusivity)):
        raise UserError(f"period ({period_days!r} days) and diffusivity ({diffusivity!r} m2/s) must be above 0")
    return 100 * sqrt(diffusivity * period_days * DAY_SECONDS / pi)


def swing_left(depth_cm: float, period_days: float = 1.0, diffusivity: float = SOIL_DIFFUSIVITY) -> float:
    """The share of a surface swing that is left at that depth: exp(-depth / damping depth)."""
    if not (isfinite(depth_cm) and depth_cm >= 0):
        raise UserError(f"sowing depth must be 0 cm or more, not {depth_cm!r}")
    return exp(-depth_cm / damping_depth_cm(period_days, diffusivity))


def at_depth(day: Day, depth_cm: float, diffusivity: float = SOIL_DIFFUSIVITY) -> Day:
    """The day as a seed at that depth (0 to 20 cm) has it: the same mean, minimum and maximum drawn in towards it."""
    left = swing_left(depth_cm, diffusivity=diffusivity)
    if depth_cm > DEEPEST_CM:
        raise UserError(f"sowing depth {depth_cm:g} cm: this simple damping serves to {DEEPEST_CM:g} cm")
    if day.mean is None:
        return Day(None)
    half = day.mean / 2
    low, high = (None if t is None else round(half + (t - half) * left) for t in (day.low, day.high))
    return Day(day.mean, low, high)


# Judging


@dataclass(frozen=True)
class Winter:
    """A winter outdoors from `sown` to `end`, both counted.

    `chilling`: known days with a mean in the range. `enough`: None where missing days could tip it. `met_on`: the day
    on which the known days reach the need; missing days before it can only make it earlier. `frost`: days with an air
    minimum below 0 C, `frost_at_seed` the same at sowing depth, `chilling_with_frost` those of it that counted as
    chilling: None where no minimum is known; `minima_missing` days have none. `fridge_until`: the last day of as many
    days in a fridge from `sown`.
    """

    sown: date
    end: date
    need: int
    chilling: int
    enough: bool | None
    met_on: date | None
    fridge_until: date
    missing: tuple[date, ...]
    frost: int | None
    frost_at_seed: int | None
    chilling_with_frost: int | None
    minima_missing: int
    notes: tuple[str, ...]

    @property
    def days(self) -> int:
        return (self.end - self.sown).days + 1


def cold_ends(sown: date, southern: bool = False) -> date:
    """The first end of a cold half year on or after `sown`: 30 April in the north, 31 October in the south."""
    month, day = SEASON_END[southern]
    end = date(sown.year, month, day)
    return end if end >= sown else date(sown.year + 1, month, day)


def outdoor_winter(
    days: Mapping[date, Day],
    sown: date,
    need: int,
    low_c: float,
    high_c: float,
    *,
    southern: bool = False,
    until: date | None = None,
    depth_cm: float = 0.0,
    skip_frost: bool = False,
) -> Winter:
    """Judge `need` days of chilling for seed sown outdoors on `sown`, moist until `until` (else the end of the cold).

    A day counts if its mean lies from `low_c` to `high_c`, both included, to a tenth of a degree; with `skip_frost`
    only if it does not freeze at the seed either. No usable temperature between the two dates is UserError.
    """
    end = until or cold_ends(sown, southern)
    low, high = tenths(low_c, "C"), tenths(high_c, "C")
    problems = []
    if isinstance(need, bool) or not isinstance(need, int) or need < 1:
        problems.append(f"the need must be a whole number of days, 1 or more, not {need!r}")
    if low > high:
        problems.append(f"the range runs from {low_c} to {high_c} C: the lower limit must come first")
    if end < sown:
        problems.append(f"the end ({end}) is before sowing ({sown})")
    if problems:
        raise UserError(*problems)
    met_on, missing = None, []
    chilling = frost = frost_at_seed = frosty_chilling = minima = 0
    for i in range((end - sown).days + 1):
        when = sown + timedelta(i)
        air = days.get(when, Day(None))
        seed = at_depth(air, depth_cm)
        freezes = seed.low is not None and seed.low < 0
        minima += air.low is not None
        frost += air.low is not None and air.low < 0
        frost_at_seed += freezes
        if air.mean is None or (skip_frost and seed.low is None):
            missing.append(when)
        elif 2 * low <= air.mean <= 2 * high and not (skip_frost and freezes):
            chilling += 1
            frosty_chilling += freezes
            met_on = when if chilling == need else met_on
    if len(missing) == (end - sown).days + 1:
        raise UserError(f"there is no usable temperature between {sown} and {end}")
    could = chilling + len(missing)
    return Winter(
        sown=sown,
        end=end,
        need=need,
        chilling=chilling,
        enough=True if met_on else None if could >= need else False,
        met_on=met_on,
        fridge_until=sown + timedelta(need - 1),
        missing=tuple(missing),
        frost=frost if minima else None,
        frost_at_seed=frost_at_seed if minima else None,
        chilling_with_frost=frosty_chilling if minima else None,
        minima_missing=(end - sown).days + 1 - minima,
        notes=tuple(_notes(days, southern, len(missing), met_on is None and could >= need)),
    )


NORMALS_NOTE = (
    "counted on monthly normals, which lack warm and cold spells: real winters give less (at Seattle 111 to 143 days of"
    " 1 to 10 C in three winters, where the normals give 175); leave a third in hand"
)


def normal_winter(
    monthly_means: Sequence[float],
    unit: Unit,
    sown: date,
    need: int,
    low_c: float,
    high_c: float,
    *,
    southern: bool = False,
    until: date | None = None,
) -> Winter:
    """As `outdoor_winter`, from 12 monthly means, January first. Its `notes` say that normals flatter a winter."""
    end = until or cold_ends(sown, southern)
    found = outdoor_winter(
        normal_days(monthly_means, unit, sown, end), sown, need, low_c, high_c, southern=southern, until=end
    )
    return replace(found, notes=(NORMALS_NOTE, *found.notes))


def _notes(days: Mapping[date, Day], southern: bool, missing: int, open_verdict: bool) -> Iterable[str]:
    if missing:
        tip = "they decide whether the need is met" if open_verdict else "they do not change whether the need is met"
        yield f"{missing} days have no temperature and were not counted; {tip}"
    by_month: dict[int, list[int]] = {}
    for when, day in days.items():
        if day.mean is not None:
            by_month.setdefault(when.month, []).append(day.mean)
    means = {month: sum(found) / len(found) / 20 for month, found in by_month.items()}
    if min(means.values()) > COOL_MONTH:
        yield f"the coolest month averages {min(means.values()):.0f} °C: if these are Fahrenheit, say so (--unit F)"
    if max(means.values()) < 0 and len(means) > 6:
        yield f"the warmest month averages {max(means.values()):.0f} °C: if these are Celsius, say so (--unit C)"
    if {1, 7} <= means.keys():
        january, july = means[1], means[7]
        if (january > july) != southern and january != july:
            named, other = ("southern", "northern") if southern else ("northern", "southern")
            yield f"a {named} winter was asked for, but these temperatures look {other}"
