"""Whether to chill a lot, as a policy: the whole of it, a half, or none."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.amounts import Amount, step_amounts
from rousewort.planning.facts import Facts
from rousewort.planning.need import USUAL_DAYS, need

# Days lost if cold was left out and the seed needed it: it can still be chilled this season, or only next winter.
LOST_AGAIN, LOST_YEAR = 42, 300
SPLIT_FROM, SPLIT_TO = 0.15, 0.85  # chances of a need for cold between which a lot is split
SPLIT_SEEDS = 60  # seeds from which a lot is large enough to split


class Share(NamedTuple):
    """A part of a lot (its share, 0 to 1) and the days of cold that it gets; 0: sown without."""

    share: float
    days: int


class ChillDecision(NamedTuple):
    """Whether to chill a lot, how long, and how sure that is.

    `needed`: chance (0 to 1) that seed of this lot needs cold. `threshold`: the chance above which chilling pays, D / (D + L) for D
    days of cold and L days lost if it was left out. `days`: low, use and high of the cold, as the plan's step has them. `policy`:
    "all" (chill the whole lot: a required step), "split" (chill half, sow half without: an optional step), "none" (leave it out).
    `shares`: the policy as parts of the lot. `look_again`: days after sowing at which an unchilled part that is under half up,
    though sound, is chilled after all. `rests_on`: species, genus, family or class, the nearest of which anything is known.
    """

    needed: float
    threshold: float
    days: Amount
    policy: str
    shares: tuple[Share, ...]
    rests_on: str = "class"
    look_again: int = LOST_AGAIN


def hedge(days: int = USUAL_DAYS) -> tuple[Share, ...]:
    """What to do with a lot of which nothing decides: half is chilled, with looks, and half sown without."""
    return Share(0.5, days), Share(0.5, 0)


def chill(
    kb: KnowledgeBase,
    facts: Facts,
    obstacles: Sequence[str] = (),
    seeds: int | None = None,
    again: bool = True,
    lean: str | None = None,
) -> ChillDecision:
    """What to do about cold with a lot of this plant; never raises for want of evidence.

    `obstacles`: those that the cold is to remove, where the rules named any. `seeds`: how many, None if not said. `again`: unsprouted
    seed can still be chilled this season. `lean`: "short" (mild winters, winter annuals, weak lots) or "long".
    """
    known = need(kb, facts)
    kind = kb.vocabulary.kinds.indoors("cold")[0]
    days = step_amounts(kb, facts, kind, obstacles, lean).amounts["days"]
    return decide(known.chance, days, seeds, again)._replace(rests_on=known.rests_on)


def decide(needed: float, days: Amount, seeds: int | None = None, again: bool = True) -> ChillDecision:
    """The policy for a chance of need and a length. A lot too small to split goes whole to the better side."""
    threshold = days.use / (days.use + (LOST_AGAIN if again else LOST_YEAR))
    large = seeds is None or seeds >= SPLIT_SEEDS
    if large and SPLIT_FROM < needed < SPLIT_TO:
        return ChillDecision(needed, threshold, days, "split", hedge(days.use))
    if needed > threshold:
        return ChillDecision(needed, threshold, days, "all", (Share(1.0, days.use),))
    return ChillDecision(needed, threshold, days, "none", (Share(1.0, 0),))
