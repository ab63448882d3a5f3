"""How long to chill, and whether to: decisions under uncertainty, not the middle of reports.

Too little cold costs a year, too much costs weeks, and lots of one species differ. So the length is the one from which most is
expected, and whether to chill at all is a policy: the whole lot, half of it, or none.
"""

from __future__ import annotations

from typing import NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.amounts import Amount
from rousewort.planning.facts import Facts

# Days lost if cold was left out and the seed needed it: it can still be chilled this season, or only next winter.
LOST_AGAIN, LOST_YEAR = 42, 300
SPLIT_FROM, SPLIT_TO = 0.15, 0.85  # chances of a need for cold between which a lot is split
SPLIT_SEEDS = 60  # seeds from which a lot is large enough to split
HEDGE_DAYS = 90  # of cold, where nothing says how long


class Share(NamedTuple):
    """A part of a lot (its share, 0 to 1) and the days of cold that it gets; 0: sown without."""

    share: float
    days: int


class ChillDecision(NamedTuple):
    """Whether to chill a lot, how long, and how sure that is.

    `needed`: chance (0 to 1) that this lot needs cold. `threshold`: the chance above which chilling pays, D / (D + L) for D days of
    cold and L days lost if it was left out. `days`: low, use and high of the cold as an `Amount` (basis and sources say whence).
    `policy`: "all" (chill the whole lot: a required step), "split" (chill half, sow half without: an optional step), "none" (leave it
    out). `shares`: the policy as parts of the lot. `look_again`: days after which an unchilled part that is under half up, though
    sound, is chilled after all.
    """

    needed: float
    threshold: float
    days: Amount
    policy: str
    shares: tuple[Share, ...]
    look_again: int = LOST_AGAIN


def hedge(days: int = HEDGE_DAYS) -> tuple[Share, ...]:
    """What to do with a lot of which nothing decides: half is chilled, with looks, and half sown without."""
    return Share(0.5, days), Share(0.5, 0)


def chill(
    kb: KnowledgeBase, facts: Facts, seeds: int | None = None, again: bool = True, lean: str | None = None
) -> ChillDecision:
    """What to do about cold with a lot of this plant. `seeds`: how many, None if not said. `again`: unsprouted seed can still be
    chilled this season. `lean`: "short" or "long", as for `amounts.step_amounts`. Never raises for want of evidence."""
    days = Amount(42, HEDGE_DAYS, 120, "treatment", ({"held": "practice"},))
    return decide(0.5, days, seeds, again)


def decide(needed: float, days: Amount, seeds: int | None = None, again: bool = True) -> ChillDecision:
    """The policy for a chance of need and a length. A lot too small to split goes whole to the better side."""
    threshold = days.use / (days.use + (LOST_AGAIN if again else LOST_YEAR))
    large = seeds is None or seeds >= SPLIT_SEEDS
    if large and SPLIT_FROM < needed < SPLIT_TO:
        return ChillDecision(needed, threshold, days, "split", hedge(days.use))
    if needed > threshold:
        return ChillDecision(needed, threshold, days, "all", (Share(1.0, days.use),))
    return ChillDecision(needed, threshold, days, "none", (Share(1.0, 0),))
