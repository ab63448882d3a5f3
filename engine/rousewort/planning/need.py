"""What is known of a plant's need for cold, and the length from which most is expected.

It is a share for each type of need (rousewort.knowledge.chilling), carried down from the class of dormancy
(kb/tables/chilling.csv, fitted by `rousewort calibrate --lengths --write`) by family and genus to the studies of the species
itself; at each rank what is known there counts beside what the wider group is worth. The length is a decision under uncertainty,
not the middle of reports: too little cold costs a year, too much costs weeks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from rousewort.knowledge.chilling import D90, LIKELY, TYPES, germinated
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.facts import Facts

# How many studies what the wider group says is worth, at each rank. Chosen round; half and twice as much do about as well.
WORTH = {"class": 10.0, "family": 6.0, "genus": 3.0, "species": 2.0}
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
    """What is known of a plant's need for cold. `shares`: one a type, summing to 1; `longest`: days that anybody tried."""

    shares: Sequence[float]
    longest: float
    rests_on: str
    studies: tuple[Mapping[str, Any], ...]

    @property
    def chance(self) -> float:
        """How much of the seed is expected to need cold, and to be woken by it."""
        return sum(share * (1 - kind.u) for share, kind in zip(self.shares, TYPES, strict=True) if kind.needs)


def need(kb: KnowledgeBase, facts: Facts) -> Need:
    """What class, family, genus and the species' own studies say together."""
    dormancy, level = facts.dormancy, facts.level
    relatives = facts.relatives
    chances = dict(relatives.chances) if relatives and relatives.nearest else ({dormancy: 1.0} if dormancy else {})
    shares, longest = of_class(kb, chances, level)
    rests_on = "class"
    own = (kb.store.summary(facts.name) or {}).get("chilled", ())
    near: list[Mapping[str, Any]] = []
    if facts.family:
        key = ("need", facts.family, dormancy, level, bool(relatives))
        if key not in kb.memo:
            found = alike(kb.store.group("family", facts.family)["chilled"], dormancy, level)
            kb.memo[key] = learnt(shares, found, WORTH["family"]), bool(found)
        shares, any_in_family = kb.memo[key]
        rests_on = "family" if any_in_family else rests_on
    if facts.genus:
        kin = alike(kb.store.group("genus", facts.genus)["chilled"], dormancy, level)
        near = [study for study in kin if study["species"] != facts.name]
        near += (kb.store.summary(facts.genus) or {}).get("chilled", ())
        shares = learnt(shares, near, WORTH["genus"])
        rests_on = "genus" if near else rests_on
    if own:
        shares = learnt(shares, own, WORTH["species"])
        rests_on = "species"
    tried = [study["longest"] for study in (*near, *own) if study["longest"]]
    return Need(shares, max([longest, *tried]), rests_on, (*own, *near))


def of_class(kb: KnowledgeBase, chances: Mapping[str, float], level: str | None) -> tuple[Sequence[float], float]:
    """Shares of the types, and the longest cold usual, for a plant whose class has these chances; of all seed, if none is known."""
    table = kb.store.shared("chilling")
    rows = [
        (chance, table.get(f"{word}/{level}") or table.get(word) or table[EVERY])
        for word, chance in (chances or {EVERY: 1.0}).items()
        if chance > 0
    ]
    total = sum(chance for chance, _ in rows)
    shares = [sum(c * row["shares"][at] for c, row in rows) / total for at in range(len(TYPES))]
    return shares, max(row["longest"] for chance, row in rows if chance >= total / 10)


def alike(studies: Iterable[Mapping[str, Any]], dormancy: str | None, level: str | None) -> list[Mapping[str, Any]]:
    """Studies of plants of the same class and level, as far as both are known."""
    return [
        study
        for study in studies
        if (not dormancy or study["class"] in (None, dormancy)) and (not level or study["level"] in (None, level))
    ]


def learnt(shares: Sequence[float], studies: Iterable[Mapping[str, Any]], worth: float) -> Sequence[float]:
    """The shares after these studies; those before are worth as many studies as `worth`."""
    counts, total = [worth * share for share in shares], worth
    for study in studies:
        likely = responsible(shares, study["fits"])
        stands = study["stands"]
        counts = [count + stands * one for count, one in zip(counts, likely, strict=True)]
        total += stands
    return [count / total for count in counts] if total > worth else shares


def responsible(shares: Sequence[float], fits: Sequence[int]) -> list[float]:
    """How likely the lot of a study was of each type."""
    joint = [share * LIKELY[misfit] for share, misfit in zip(shares, fits, strict=True)]
    total = sum(joint)
    return [one / total for one in joint]


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
    return sum(share * germinated(kind, days) for share, kind in zip(shares, TYPES, strict=True) if share)


def _wanted(shares: Sequence[float], share: float) -> int:
    """Days of cold that are enough for this share of the lots that need cold."""
    sums: dict[float, float] = {}
    for weight, kind in zip(shares, TYPES, strict=True):
        if kind.needs:
            sums[kind.half] = sums.get(kind.half, 0.0) + weight
    reached, total = 0.0, sum(sums.values())
    for half in sorted(sums):
        reached += sums[half]
        if reached >= share * total:
            return round(half * D90)
    return USUAL_DAYS
