"""How many seeds an arm needs: for an interval no wider than wished, or to see a difference as often as wished."""

from __future__ import annotations

from math import comb

from rousewort.base.errors import UserError
from rousewort.observe.measures import fisher, wilson

MOST_SEEDS = 400


def width(seeds: int, confidence: float = 0.95) -> float:
    """The widest that Wilson's interval can be for so many seeds (at half germinated), as a share."""
    low, high = wilson(seeds // 2, seeds, confidence)
    return high - low


def power(seeds: int, low: float, high: float, alpha: float) -> float:
    """How often Fisher's exact test, two-sided, at `alpha` tells two arms of `seeds` apart whose seed germinates with
    the shares `low` and `high`. Exact: every pair of counts is weighed by its binomial chance."""
    few, many = _binomial(seeds, low), _binomial(seeds, high)
    found, least = 0.0, 0
    for k in range(seeds + 1):  # the least count in the better arm that is clear beside k; it rises with k
        least = max(least, k + 1)
        while least <= seeds and fisher(least, seeds, k, seeds) > alpha:
            least += 1
        found += few[k] * sum(many[least:])
    return min(1.0, found)


def _binomial(n: int, p: float) -> list[float]:
    return [comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(n + 1)]


def seeds_for_width(widest: float, confidence: float = 0.95) -> int:
    """The least number of seeds whose interval is never wider than that share."""
    if not 0.05 <= widest < 1:
        raise UserError(f"an interval of {100 * widest:g} points cannot be planned for: give from 5 to 99 points")
    n = 2
    while n < 10_000 and (width(n, confidence) > widest or width(n + 1, confidence) > widest):
        n += 1
    return n


def seeds_for_power(wanted: float, low: float, high: float, alpha: float) -> int:
    """The least number of seeds in each arm with that power. UserError beyond 400: such a difference takes other means."""
    problems = []
    if not 0 < wanted < 1:
        problems.append(f"power must lie between 0 and 1, not {wanted:g}")
    if not 0 <= low < high <= 1:
        problems.append(
            f"the shares to tell apart must run from a lower to a higher between 0 and 100 %, not {100 * low:g} and {100 * high:g}"
        )
    if problems:
        raise UserError(*problems)
    step = 8
    for n in range(4, MOST_SEEDS + step, step):
        if power(n, low, high, alpha) >= wanted:
            return next(m for m in range(max(2, n - step + 1), n + 1) if power(m, low, high, alpha) >= wanted)
    raise UserError(
        f"{100 * low:g} % and {100 * high:g} % are too near: over {MOST_SEEDS} seeds an arm. Ask for a larger difference."
    )
