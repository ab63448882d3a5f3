"""What is known of a plant's need for cold, and the length from which most is expected.

It is a share for each type of need (rousewort.knowledge.chilling), carried down from the class of dormancy
(kb/tables/chilling.csv, fitted by `rousewort calibrate --lengths --write`) by family and genus to the studies of the species
itself; at each rank what is known there counts beside what the wider group is worth. The length is a decision under uncertainty,
not the middle of reports: too little cold costs a year, too much costs weeks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from math import inf
from operator import mul
from typing import Any, NamedTuple

from rousewort.knowledge.chilling import D90, LIKELY, TYPES, even, germinated
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.facts import Facts

# How many studies what the wider group says is worth, at each rank. Chosen round; half and twice as much do about as well.
WORTH = {"class": 10.0, "family": 6.0, "genus": 3.0, "species": 2.0}
ROUNDS = 4  # of learning from relatives
EVERY = "all"  # the row of the table for seed whose class is not known
DAYS = (14, 21, 28, 35, 42, 56, 60, 75, 90, 105, 120, 150, 180, 210, 240)  # lengths to choose from
DAY_COST = 0.05 / 60  # expected germination that a day is worth
ABLE = 0.7  # share of a lot that can germinate: the mean of the best in the trials held here
LEAN = 0.05  # expected germination that may be given up to lean short or long
USUAL_DAYS = 90  # of cold, where nothing says how long


class Length(NamedTuple):
    """Days of cold: `use`, and the range in which those that a lot not seen yet needs lie in three cases of five."""

    low: int
    use: int
    high: int


class Need(NamedTuple):
    """What is known of a plant's need for cold. `shares`: one a type, summing to 1; `longest`: days that anybody tried; `kin`,
    `own`: studies of its genus and of the species itself."""

    shares: Sequence[float]
    longest: float
    rests_on: str
    kin: tuple[Mapping[str, Any], ...] = ()
    own: tuple[Mapping[str, Any], ...] = ()

    @property
    def chance(self) -> float:
        """How much of the seed is expected to need cold, and to be woken by it."""
        return sum(share * (1 - kind.u) for share, kind in zip(self.shares, TYPES, strict=True) if kind.needs)


def need(kb: KnowledgeBase, facts: Facts) -> Need:
    """What class, family, genus and the species' own studies say together."""
    lent = facts.relatives
    chances = dict(lent.chances) if lent and lent.nearest else ({facts.dormancy: 1.0} if facts.dormancy else {})
    key = ("need", facts.genus, facts.family, facts.dormancy, facts.level, *chances.items())
    if key not in kb.memo:  # the same for every such plant of a genus
        kb.memo[key] = _of_kin(kb, facts, chances)
    kin: Need = kb.memo[key]
    own = (kb.store.summary(facts.name) or {}).get("chilled", ())
    if not own or facts.name == facts.genus:
        return kin
    longest = max([kin.longest, *(study["longest"] or 0 for study in own)])
    return Need(learnt(kin.shares, own, WORTH["species"]), longest, "species", kin.kin, tuple(own))


def _of_kin(kb: KnowledgeBase, facts: Facts, chances: Mapping[str, float]) -> Need:
    """What class, family and genus say; what is said of the genus as a whole is of no species."""
    shares, longest = of_class(kb, chances, facts.level)
    rests_on, near = "class", []
    if facts.family:
        far = alike(kb.store.group("family", facts.family)["chilled"], facts)
        shares = learnt(shares, far, WORTH["family"], ROUNDS)
        rests_on = "family" if far else rests_on
    if facts.genus:
        near = alike(kb.store.group("genus", facts.genus)["chilled"], facts)
        near += (kb.store.summary(facts.genus) or {}).get("chilled", ())
        shares = learnt(shares, near, WORTH["genus"], ROUNDS)
        rests_on = "genus" if near else rests_on
    return Need(shares, max([longest, *(study["longest"] or 0 for study in near)]), rests_on, tuple(near))


def of_class(kb: KnowledgeBase, chances: Mapping[str, float], level: str | None) -> tuple[Sequence[float], float]:
    """Shares of the types, and the longest cold usual, for a plant whose class has these chances; of all seed, if none is known."""
    table = kb.store.shared("chilling")
    unfitted: dict[str, Any] = {
        "shares": even(),
        "longest": USUAL_DAYS,
    }  # of a knowledge base to which nothing was fitted
    every = table.get(EVERY) or unfitted
    rows = [
        (chance, table.get(f"{word}/{level}") or table.get(word) or every)
        for word, chance in (chances or {EVERY: 1.0}).items()
        if chance > 0
    ]
    total = sum(chance for chance, _ in rows)
    shares = [sum(c * row["shares"][at] for c, row in rows) / total for at in range(len(TYPES))]
    return shares, max(row["longest"] for chance, row in rows if chance >= total / 10)


def alike(studies: Iterable[Mapping[str, Any]], facts: Facts) -> list[Mapping[str, Any]]:
    """Studies of plants of the same class and level, as far as both are known."""
    dormancy, level = facts.dormancy, facts.level
    return [
        study
        for study in studies
        if (not dormancy or study["class"] in (None, dormancy)) and (not level or study["level"] in (None, level))
    ]


def learnt(
    shares: Sequence[float], studies: Iterable[Mapping[str, Any]], worth: float, rounds: int = 1
) -> Sequence[float]:
    """The shares after these studies; those before are worth as many studies as `worth`. Each further round reads the studies
    in the light of what the round before made of them: what they say of each other."""
    same: dict[tuple[int, ...], float] = {}  # studies that say the same count together
    for study in studies:
        fits = tuple(study["fits"])
        same[fits] = same.get(fits, 0.0) + study["stands"]
    total = worth + sum(same.values())
    likely = [([LIKELY[misfit] for misfit in fits], stands) for fits, stands in same.items()]
    made: Sequence[float] = shares
    for _ in range(rounds if likely else 0):
        counts = [worth * share for share in shares]
        for each, stands in likely:
            joint = list(map(mul, made, each))
            part = stands / sum(joint)
            counts = [count + part * one for count, one in zip(counts, joint, strict=True)]
        made = [count / total for count in counts]
    return made


def length(known: Need, lean: str | None = None) -> Length:
    """The length from which most is expected, no longer than anybody tried."""
    days = [day for day in DAYS if day <= known.longest] or [max(1, round(known.longest))]
    worth = {day: utility(known.shares, day) for day in days}
    near = [day for day in days if worth[day] >= max(worth.values()) - LEAN]
    use = {"short": near[0], "long": near[-1]}.get(lean or "") or max(days, key=lambda day: worth[day])
    low, high = (min(_wanted(known.shares, share), days[-1]) for share in (0.2, 0.8))
    return Length(min(low, use), use, max(high, use))


def utility(shares: Sequence[float], days: float) -> float:
    """Germination expected after so many days of cold, less what the days cost."""
    return ABLE * expected(shares, days) - DAY_COST * days


def expected(shares: Sequence[float], days: float) -> float:
    """Germination that is expected after so many days of cold, as a share of what the lot can do."""
    return float(sum(map(mul, shares, _of_types(days))))


@cache
def _of_types(days: float) -> tuple[float, ...]:
    return tuple(germinated(kind, days) for kind in TYPES)


def _wanted(shares: Sequence[float], share: float) -> int:
    """Days of cold that are enough for this share of the lots that need cold."""
    sums: dict[float, float] = {}
    for weight, kind in zip(shares, TYPES, strict=True):
        if kind.half < inf:
            sums[kind.half] = sums.get(kind.half, 0.0) + weight
    reached, total = 0.0, sum(sums.values())
    for half in sorted(sums):
        reached += sums[half]
        if reached >= share * total:
            return round(half * D90)
    return USUAL_DAYS
