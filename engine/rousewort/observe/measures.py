"""What counts of germination over time say: how much, how fast, how sure, and whether replicates and arms differ.

Shares are between 0 and 1, times are in days from sowing (or any one unit), and a measure that is not defined is None,
never 0. Formulas after Ranal and Garcia de Santana (2006, Revista Brasileira de Botanica 29:1-11), as quoted elsewhere,
unless one says otherwise. Impossible counts raise UserError, one line for each row at fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from math import comb, erfc, exp, isfinite, log, pi, sqrt
from statistics import NormalDist
from typing import Any, Literal, NamedTuple

from rousewort.base.binomial import beta_point
from rousewort.base.errors import UserError


class Interval(NamedTuple):
    low: float
    high: float


# Counts


@dataclass(frozen=True)
class Counts:
    """One dish or pot: at `times[i]` (rising) `new[i]` seeds were found germinated. `empty`: sown without embryo."""

    times: tuple[float, ...]
    new: tuple[int, ...]
    sown: int
    empty: int = 0

    @property
    def germinated(self) -> int:
        return sum(self.new)

    @property
    def filled(self) -> int:
        return self.sown - self.empty


def read_counts(
    rows: Iterable[tuple[float, int]], sown: int, *, cumulative: bool, empty: int = 0, first_row: int = 1
) -> Counts:
    """Counts from (time, seeds) rows in order of time; seeds are totals so far if `cumulative`, else new ones.

    Messages number the rows from `first_row`, so that they can name the lines of the grower's own sheet.
    """
    problems = [
        f"{what} must be a whole number, 0 or more, not {number!r}"
        for what, number in (("seeds sown", sown), ("empty seeds", empty))
        if not _count(number)
    ]
    if not problems and sown == 0:
        problems.append("no seed was sown")
    elif not problems and empty > sown:
        problems.append(f"{empty} empty seeds of {sown} sown: more than there were")
    if problems:
        raise UserError(*problems)
    times: list[float] = []
    new: list[int] = []
    last, total = -1.0, 0
    for number, (time, seeds) in enumerate(rows, first_row):
        before = total
        fault = _fault(time, seeds, last, before, cumulative)
        if not fault:
            total = seeds if cumulative else before + seeds
            last = time
            times.append(time)
            new.append(total - before)
            if total > sown - empty:
                left = f" less {empty} empty" if empty else ""
                fault = f"{total} seeds germinated by time {time:g}, but only {sown} were sown{left}"
        if fault:
            problems.append(f"row {number}: {fault}")
            if total > sown - empty:
                break  # every later row would say the same
    if problems:
        raise UserError(*problems)
    return Counts(tuple(times), tuple(new), sown, empty)


def _fault(time: float, seeds: int, last: float, total: int, cumulative: bool) -> str | None:
    if isinstance(time, bool) or not isinstance(time, int | float) or not isfinite(time):
        return f"the time must be a number, not {time!r}"
    if time < 0:
        return f"time {time:g} is before sowing"
    if time == last:
        return f"time {time:g} comes twice; each count needs a later time than the one before"
    if time < last:
        return f"time goes back from {last:g} to {time:g}; each count needs a later time than the one before"
    if not _count(seeds):
        return f"the count must be a whole number of seeds, 0 or more, not {seeds!r}"
    if cumulative and seeds < total:
        return f"the total falls from {total} to {seeds}; if each count is of new seeds only, say so"
    if time == 0 and seeds > 0:
        return "no seed germinates at time 0, the moment of sowing; leave seed that had sprouted out of those sown"
    return None


def _count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


# How much


def final_share(counts: Counts, of: Literal["sown", "filled"] = "filled") -> float | None:
    """Germinated at the last count, as a share of the seeds sown or of those not empty. None: no seed was filled."""
    whole = counts.sown if of == "sown" else counts.filled
    return counts.germinated / whole if whole else None


def wilson(germinated: int, seeds: int, confidence: float = 0.95) -> Interval:
    """Wilson's score interval for a share (Wilson 1927, J. Am. Stat. Assoc. 22:209-212; from memory)."""
    _check_share(germinated, seeds, confidence)
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    share, spread = germinated / seeds, z * z / seeds
    middle = (share + spread / 2) / (1 + spread)
    half = sqrt(share * (1 - share) * spread + spread * spread / 4) / (1 + spread)
    return Interval(middle - half if germinated else 0.0, middle + half if germinated < seeds else 1.0)


def clopper_pearson(germinated: int, seeds: int, confidence: float = 0.95) -> Interval:
    """The exact interval for a share: never too narrow (Clopper, Pearson 1934, Biometrika 26:404-413; from memory)."""
    _check_share(germinated, seeds, confidence)
    tail = (1 - confidence) / 2
    low = beta_point(germinated, seeds - germinated + 1, tail) if germinated else 0.0
    high = 1 - beta_point(seeds - germinated, germinated + 1, tail) if germinated < seeds else 1.0
    return Interval(low, high)


def _check_share(germinated: int, seeds: int, confidence: float) -> None:
    if not _count(germinated) or not _count(seeds) or seeds == 0 or germinated > seeds:
        raise UserError(f"{germinated!r} germinated of {seeds!r} seeds: not a possible count")
    if not 0 < confidence < 1:
        raise UserError(f"confidence must lie between 0 and 1, both left out, not {confidence!r}")


# How fast


def mean_time(counts: Counts) -> float | None:
    """Mean germination time: sum(n t) / sum(n), each seed taken to germinate at the count that found it."""
    if not counts.germinated:
        return None
    return sum(n * t for t, n in zip(counts.times, counts.new, strict=True)) / counts.germinated


def speed(counts: Counts) -> float:
    """Speed of germination, seeds per unit of time: sum(n / t) (Maguire 1962, Crop Science 2:176-177; from memory)."""
    return sum(n / t for t, n in zip(counts.times, counts.new, strict=True) if n)


Half = Literal["germinated", "germinated_plus_one", "sown"]


def t50(counts: Counts, half_of: Half = "germinated") -> float | None:
    """When half had germinated, on a straight line between neighbouring counts, from no seeds at time 0.

    `germinated` (the default): N/2 of the N that germinated (Farooq et al. 2005, J. Integr. Plant Biol. 47:187-193).
    `germinated_plus_one`: (N+1)/2 (Coolbear et al. 1984, J. Exp. Bot. 35:1609-1617). Both as quoted second-hand.
    `sown`: half of the seeds sown; None where they never came to half.
    """
    if not counts.germinated:
        return None
    found = counts.germinated
    half = {"germinated": found, "germinated_plus_one": found + 1, "sown": counts.sown}[half_of] / 2
    before, then = 0, 0.0
    for time, total in zip(counts.times, accumulate(counts.new), strict=True):
        if total >= half:
            return then + (half - before) * (time - then) / (total - before)
        before, then = total, time
    return None


@dataclass(frozen=True)
class Germination:
    """All measures of one set of counts; shares are of `seeds`, the filled ones. See the functions of these names."""

    germinated: int
    seeds: int
    share: float
    share_of_sown: float
    wilson: Interval
    exact: Interval
    confidence: float
    mean_time: float | None
    t50: float | None
    t50_of_sown: float | None
    speed: float


def measure(counts: Counts, confidence: float = 0.95) -> Germination:
    """Every measure at once. UserError if all seeds were empty: then nothing was tested."""
    if not counts.filled:
        raise UserError(f"all {counts.sown} seeds were empty: there is no germination to measure")
    found, seeds = counts.germinated, counts.filled
    return Germination(
        germinated=found,
        seeds=seeds,
        share=found / seeds,
        share_of_sown=found / counts.sown,
        wilson=wilson(found, seeds, confidence),
        exact=clopper_pearson(found, seeds, confidence),
        confidence=confidence,
        mean_time=mean_time(counts),
        t50=t50(counts),
        t50_of_sown=t50(counts, "sown"),
        speed=speed(counts),
    )


def pool(dishes: Sequence[Counts]) -> Counts:
    """Replicates added up, seed by seed (not the mean of their shares, which misleads where dishes are unequal)."""
    if not dishes:
        raise UserError("there is no replicate to add up")
    found: dict[float, int] = {}
    for dish in dishes:
        for time, seeds in zip(dish.times, dish.new, strict=True):
            found[time] = found.get(time, 0) + seeds
    times = tuple(sorted(found))
    return Counts(times, tuple(found[t] for t in times), sum(d.sown for d in dishes), sum(d.empty for d in dishes))


# Whether they differ


def fisher(germinated: int, seeds: int, other_germinated: int, other_seeds: int) -> float:
    """Fisher's exact test of two arms, two-sided: the chance of a table with these margins no likelier than this one.

    Whole-number arithmetic, so ties are ties (Fisher 1935; the two-sided rule as commonly computed; from memory).
    """
    _check_share(germinated, seeds, 0.5)
    _check_share(other_germinated, other_seeds, 0.5)
    both = germinated + other_germinated
    first = max(0, both - other_seeds)
    weights = [comb(seeds, first) * comb(other_seeds, both - first)]
    for k in range(first, min(both, seeds)):
        weights.append(weights[-1] * (seeds - k) * (both - k) // ((k + 1) * (other_seeds - both + k + 1)))
    seen = weights[germinated - first]
    return float(Fraction(sum(w for w in weights if w <= seen), sum(weights)))


def holm(chances: Sequence[float]) -> list[float]:
    """P values, in the given order, adjusted for their number (Holm 1979, Scand. J. Stat. 6:65-70; from memory)."""
    if wrong := [p for p in chances if not 0 <= p <= 1]:
        raise UserError(f"{wrong[0]!r} is no probability")
    adjusted, highest = [0.0] * len(chances), 0.0
    for rank, i in enumerate(sorted(range(len(chances)), key=chances.__getitem__)):
        highest = max(highest, min(1.0, chances[i] * (len(chances) - rank)))
        adjusted[i] = highest
    return adjusted


class Unevenness(NamedTuple):
    """Chi-square between replicates, its degrees of freedom, and the chance of so much if all dishes are alike."""

    chi_square: float
    freedom: int
    chance: float


def unevenness(germinated: Sequence[int], seeds: Sequence[int]) -> Unevenness | None:
    """Whether replicates differ by more than chance, whatever their size. None: all or none germinated, or one dish."""
    _check_dishes(germinated, seeds)
    share = sum(germinated) / sum(seeds)
    if share in (0, 1) or len(seeds) < 2:
        return None
    chi = sum((g - n * share) ** 2 / (n * share * (1 - share)) for g, n in zip(germinated, seeds, strict=True))
    return Unevenness(chi, len(seeds) - 1, _above_chi_square(chi, len(seeds) - 1))


class Spread(NamedTuple):
    """Residual deviance, its degrees of freedom, and the chance of so much if only chance made it."""

    deviance: float
    freedom: int
    chance: float


def spread(groups: Sequence[Sequence[tuple[int, int]]]) -> Spread | None:
    """How far dishes, as (germinated, seeds), differ within their groups: the residual deviance of a binomial model that
    gives each group a share of its own (McCullagh and Nelder 1989, Generalized Linear Models, 4.4.3; from memory).
    None: no group has two dishes."""
    deviance, freedom = 0.0, 0
    for dishes in groups:
        _check_dishes([g for g, _ in dishes], [n for _, n in dishes])
        share = sum(g for g, _ in dishes) / sum(n for _, n in dishes)
        for g, n in dishes:
            deviance += 2 * (
                (g * log(g / (n * share)) if g else 0) + ((n - g) * log((n - g) / (n - n * share)) if g < n else 0)
            )
        freedom += len(dishes) - 1
    return Spread(max(0.0, deviance), freedom, _above_chi_square(max(0.0, deviance), freedom)) if freedom else None


def _above_chi_square(chi: float, freedom: int) -> float:
    """The upper tail for whole degrees of freedom: a finite sum (Abramowitz and Stegun 26.4.4-5; from memory)."""
    odd = freedom % 2
    tail = erfc(sqrt(chi / 2)) if odd else exp(-chi / 2)
    term = sqrt(2 * chi / pi) * exp(-chi / 2) if odd else exp(-chi / 2) * chi / 2
    for step in range(3 if odd else 4, freedom + 1, 2):
        tail += term
        term *= chi / step
    return min(1.0, tail)


class RangeCheck(NamedTuple):
    """`average`, to a whole percent; `spread`: highest less lowest, in points; `limit`: the table's, if it has one.

    `retest`: True if the spread is over the limit, None where the table does not speak. `reason` says it in words.
    """

    average: int
    spread: int
    limit: int | None
    retest: bool | None
    reason: str


def replicate_range(germinated: Sequence[int], seeds: Sequence[int], table: Mapping[str, Any]) -> RangeCheck:
    """Replicates against the maximum tolerated range of 7 CFR 201.55; `table` is kb/vocabulary/replicate_ranges.yaml.

    The limit is that of the mean of the replicates, halves rounded up (the regulation says to a whole percent).
    """
    _check_dishes(germinated, seeds)
    percents = [Fraction(100 * g, n) for g, n in zip(germinated, seeds, strict=True)]
    average = int(sum(percents) / len(percents) + Fraction(1, 2))
    spread = max(percents) - min(percents)

    def verdict(limit: int | None, retest: bool | None, reason: str) -> RangeCheck:
        return RangeCheck(average, int(spread + Fraction(1, 2)), limit, retest, reason)

    if any(n != table["seeds"] for n in seeds):
        sizes = ", ".join(str(n) for n in sorted(set(seeds)))
        return verdict(None, None, f"the limits are for replicates of {table['seeds']} seeds; these have {sizes}")
    column = {4: "four", 2: "two"}.get(len(seeds))
    if not column:
        return verdict(None, None, f"the limits are for 2 or 4 replicates, not {len(seeds)}")
    limit = next((row[column] for row in table["rows"] if average in (row["high"], row["low"])), None)
    if limit is None:
        return verdict(None, None, f"the table has no limit for {len(seeds)} replicates that average {average} %")
    if spread > limit:
        return verdict(limit, True, f"retest: they differ by {spread} points, over {limit} tolerated at {average} %")
    return verdict(limit, False, f"they differ by {spread} points, within {limit} tolerated at {average} %")


def _check_dishes(germinated: Sequence[int], seeds: Sequence[int]) -> None:
    if len(germinated) != len(seeds) or not seeds:
        raise UserError(f"{len(germinated)} counts for {len(seeds)} replicates: each replicate needs one")
    wrong = [
        f"replicate {i}: {g!r} germinated of {n!r} seeds is not a possible count"
        for i, (g, n) in enumerate(zip(germinated, seeds, strict=True), 1)
        if not _count(g) or not _count(n) or n == 0 or g > n
    ]
    if wrong:
        raise UserError(*wrong)
