"""From plants wanted to seeds, grams, cells, medium and fridge space.

Shares are between 0 and 1 (85 % is 0.85); seed counts are pure seeds of the species; a chance is that of one seed
or cell. Pure live seed: 7 CFR 201.64 and extension practice. Cells and spots: the binomial law, as Schubert and Fowells
(1964, US Forest Service research note) used it. Bad input raises UserError, every fault at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, isfinite, log, log1p, sqrt
from statistics import NormalDist

from rousewort.base.binomial import at_most
from rousewort.base.errors import UserError

MOST_SEEDS = 1_000_000_000
_HAIR = 1e-11  # relative: what decimal shares lose as floats must not cost a seed

# All of these are common practice of the trade, not measurements; each can be given otherwise.
SEED_G_PER_ML = 0.6  # common practice: dry seed in bulk weighs 0.4 to 0.8 g a millilitre
SWELLING = 1.5  # common practice: soaked seed takes up about half as much room again
MEDIUM_PER_SEED = 3.0  # common practice: three volumes of medium to one of soaked seed
WATER_PER_MEDIUM = 0.4  # common practice: moist, but no drop falls when squeezed
AIR_SHARE = 1 / 3  # common practice: a third of the bag or box is air
BAG_ML = 1000.0  # common practice: bags of one litre, so that cold and air reach the middle
FRIDGE_FILL = 0.6  # common practice: bags and boxes fill three fifths of a shelf


# Live seed


def live_share(purity: float, germination: float, hard: float = 0.0, dormant: float = 0.0) -> float:
    """Pure live seed as a share of the weight bought. Hard and dormant seed is alive: it counts with the germinated.

    `germination` may be a tetrazolium viability instead. 7 CFR 201.64; University of Georgia Extension.
    """
    _check(_share("purity", purity), *(_part(n, v) for n, v in _named(germination, hard, dormant)))
    alive = germination + hard + dormant
    if alive > 1 + _HAIR:
        raise UserError(f"germinated, hard and dormant seed together are {alive:.4g}, more than all of it (1)")
    if alive <= 0:
        raise UserError("no seed is alive: germination, hard and dormant are all 0")
    return purity * min(alive, 1.0)


def bulk_for(live_weight: float, live: float) -> float:
    """Weight to buy or sow that holds `live_weight` of pure live seed (same unit), for a lot with that live share."""
    _check(_above("weight of live seed", live_weight), _share("live share", live))
    return live_weight / live


# Seeds for plants


def sowing_factor(germination: float, survival: float = 1.0) -> float:
    """Seeds to sow for each plant wanted, on the mean: 1 / (germination x survival)."""
    _check(_share("germination", germination), _share("survival", survival))
    return 1 / (germination * survival)


def seeds_on_average(plants: int, chance: float) -> int:
    """Fewest seeds whose expected number of plants is at least `plants`; every second time or so there are fewer."""
    _check(_whole("plants wanted", plants), _share("chance of a plant from one seed", chance))
    return _up(plants / chance)


def seeds_for(plants: int, chance: float, probability: float = 0.95) -> int:
    """Fewest seeds that give at least `plants` plants with at least that probability, if seeds succeed independently.

    Exact binomial tail, not the mean and no normal approximation; a tie within a relative 1e-11 of the risk is enough.
    """
    _check(_whole("plants wanted", plants), _share("chance of a plant from one seed", chance))
    _check(_probability(probability))
    risk = float(1 - Fraction(str(probability))) * (1 + _HAIR)

    def enough(seeds: int) -> bool:
        return at_most(plants - 1, seeds, chance) <= risk

    if plants / chance > MOST_SEEDS:
        raise UserError(f"that needs over {MOST_SEEDS:,} seeds: check plants wanted ({plants}) and chance ({chance})")
    low, high = _near(plants, chance, risk)
    while low >= plants and enough(low):
        low, high = max(plants - 1, low - 4 * (high - low)), low
    while not enough(high):
        low, high = high, high + 4 * (high - low)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _near(plants: int, chance: float, risk: float) -> tuple[int, int]:
    """Where to look first: two numbers around the normal approximation, only to begin near the exact one."""
    spread = NormalDist().inv_cdf(1 - risk) if 0 < risk < 1 else 0.0
    root = (spread * sqrt(1 - chance) + sqrt(spread**2 * (1 - chance) + 4 * plants)) / 2
    guess = max(plants, round(root**2 / chance))
    width = max(1, round(0.01 * guess))
    return max(plants - 1, guess - width), guess + width


@dataclass(frozen=True)
class SeedNeed:
    """What to sow: `on_average` meets the mean, `seeds` suffices with `probability`; `grams` hold `seeds`."""

    plants: int
    chance: float
    probability: float
    on_average: int
    seeds: int
    grams: float | None


def seed_need(
    plants: int,
    germination: float,
    survival: float = 1.0,
    purity: float = 1.0,
    seeds_per_gram: float | None = None,
    probability: float = 0.95,
) -> SeedNeed:
    """Seeds, and grams where the count per gram of pure seed is known, for that many plants alive at the end."""
    _check(
        _whole("plants wanted", plants),
        *(_share(n, v) for n, v in (("germination", germination), ("survival", survival), ("purity", purity))),
        *([] if seeds_per_gram is None else [_above("seeds per gram", seeds_per_gram)]),
        _probability(probability),
    )
    chance = germination * survival
    seeds = seeds_for(plants, chance, probability)
    grams = None if seeds_per_gram is None else grams_for(seeds, seeds_per_gram, purity)
    return SeedNeed(plants, chance, probability, seeds_on_average(plants, chance), seeds, grams)


def grams_for(seeds: int, seeds_per_gram: float, purity: float = 1.0) -> float:
    """Grams of the lot as bought that hold so many pure seeds; chaff is weighed too, so purity divides."""
    _check(_whole("seeds", seeds), _above("seeds per gram", seeds_per_gram), _share("purity", purity))
    return seeds / (seeds_per_gram * purity)


def bed_grams(
    area_m2: float,
    plants_per_m2: float,
    seeds_per_gram: float,
    purity: float,
    germination: float,
    survival: float,
) -> float:
    """Grams of the lot for a seedbed, on the mean: area x density / (seeds per gram x purity x germination x survival).

    The formula of the bare-root nursery manuals; from memory.
    """
    _check(
        _above("area", area_m2),
        _above("plants per m2", plants_per_m2),
        _above("seeds per gram", seeds_per_gram),
        *(_share(n, v) for n, v in (("purity", purity), ("germination", germination), ("survival", survival))),
    )
    return area_m2 * plants_per_m2 / (seeds_per_gram * purity * germination * survival)


# Cells


def filled_share(germination: float, per_cell: int) -> float:
    """Share of cells with at least one seedling when each gets `per_cell` seeds: 1 - (1 - g)^n."""
    _check(_share("germination", germination), _whole("seeds per cell", per_cell))
    return 1 - (1 - germination) ** per_cell


def seeds_per_cell(germination: float, filled: float) -> int:
    """Fewest seeds a cell so that at least the share `filled` of the cells holds a seedling."""
    _check(_share("germination", germination), _share("share of cells filled", filled))
    if germination == 1:
        return 1
    if filled == 1:
        raise UserError("no number of seeds fills every cell for certain; ask for a share below 1, such as 0.95")
    empty = float(1 - Fraction(str(filled))) * (1 + _HAIR)
    seeds = max(1, int(log(empty) / log1p(-germination)) - 1)
    while (1 - germination) ** seeds > empty:
        seeds += 1
    return seeds


@dataclass(frozen=True)
class Cells:
    """Cells to sow. On the mean `empty` of them stay empty and `crowded` hold two or more seedlings, to be thinned."""

    cells: int
    seeds: int
    per_cell: int
    filled: float
    empty: float
    crowded: float


def cells_for(
    plants: int, germination: float, per_cell: int = 1, survival: float = 1.0, probability: float | None = None
) -> Cells:
    """Cells to sow for so many plants, one kept a cell and each kept one surviving with chance `survival`.

    Without a probability the expected number of plants is met; with one, at least `plants` with that probability.
    """
    _check(_whole("plants wanted", plants), _share("germination", germination), _whole("seeds per cell", per_cell))
    _check(_share("survival", survival), *([] if probability is None else [_probability(probability)]))
    filled = filled_share(germination, per_cell)
    chance = filled * survival
    cells = seeds_on_average(plants, chance) if probability is None else seeds_for(plants, chance, probability)
    alone = per_cell * germination * (1 - germination) ** (per_cell - 1)
    return Cells(cells, cells * per_cell, per_cell, filled, cells * (1 - filled), cells * max(0.0, filled - alone))


# Room


@dataclass(frozen=True)
class Room:
    """For moist treatment: millilitres of soaked seed, medium, water and of all bags or boxes; litres of fridge."""

    seed_ml: float
    medium_ml: float
    water_ml: float
    bag_ml: float
    bags: int
    fridge_l: float


def room_for(
    grams: float,
    *,
    seed_g_per_ml: float = SEED_G_PER_ML,
    medium_per_seed: float = MEDIUM_PER_SEED,
    water_per_medium: float = WATER_PER_MEDIUM,
    each_bag_ml: float = BAG_ML,
) -> Room:
    """Medium, water, bags and fridge space for so many grams of dry seed, by the rules of thumb above.

    Water fills the pores of the medium, so it adds no volume.
    """
    _check(
        *(
            _above(n, v)
            for n, v in (
                ("grams of seed", grams),
                ("seed weight per ml", seed_g_per_ml),
                ("medium per seed", medium_per_seed),
                ("water per medium", water_per_medium),
                ("bag volume", each_bag_ml),
            )
        )
    )
    seed = grams / seed_g_per_ml * SWELLING
    medium = seed * medium_per_seed
    bags_ml = (seed + medium) / (1 - AIR_SHARE)
    return Room(
        seed, medium, medium * water_per_medium, bags_ml, _up(bags_ml / each_bag_ml), bags_ml / FRIDGE_FILL / 1000
    )


# What may be asked: each gives a sentence when it is wrong, or None


def _check(*problems: str | None) -> None:
    found = [problem for problem in problems if problem]
    if found:
        raise UserError(*found)


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def _above(name: str, value: float) -> str | None:
    return None if _number(value) and value > 0 else f"{name} must be a number above 0, not {value!r}"


def _whole(name: str, value: int) -> str | None:
    if isinstance(value, int) and not isinstance(value, bool) and 0 < value <= MOST_SEEDS:
        return None
    return f"{name} must be a whole number from 1 to {MOST_SEEDS:,}, not {value!r}"


def _share(name: str, value: float) -> str | None:
    return _part(name, value) or (f"{name} is 0: nothing can come of it" if value == 0 else None)


def _part(name: str, value: float) -> str | None:
    if _number(value) and 0 <= value <= 1:
        return None
    percent = f"; {value:g} % is {value / 100:g}" if _number(value) and 1 < value <= 100 else ""
    return f"{name} must be a share between 0 and 1, not {value!r}{percent}"


def _probability(value: float) -> str | None:
    if _number(value) and 0 < value < 1:
        return None
    if value == 1:
        return "no number of seeds makes it certain: ask for a probability below 1, such as 0.95"
    return f"probability must lie between 0 and 1, both left out, not {value!r}"


def _named(*alive: float) -> zip[tuple[str, float]]:
    return zip(("germination", "hard seed", "dormant seed"), alive, strict=True)


def _up(value: float) -> int:
    return ceil(value * (1 - _HAIR / 10))
