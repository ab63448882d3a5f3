"""A trial's result as JSON (rousewort-trial-1). Decides nothing."""

from __future__ import annotations

from typing import Any

from rousewort.observe.result import TrialResult


def as_data(result: TrialResult) -> dict[str, Any]:
    """Shares from 0 to 1 of filled seed; times in days from the start of the arm."""
    return {
        "format": "rousewort-trial-1",
        "arms": [
            {
                "arm": r.arm.id,
                "germinated": r.roots.germinated,
                "filled": r.roots.seeds,
                "share": r.roots.share,
                "wilson_95": list(r.roots.wilson),
                "exact_95": list(r.roots.exact),
                "mean_days": r.roots.mean_time,
                "t50_days": r.roots.t50,
                "t50_of_sown_days": r.roots.t50_of_sown,
                "speed": r.roots.speed,
                "shoots": r.shoots.germinated if r.shoots else None,
                "fates": dict(r.fates),
                "chance": r.chance,
                "replicates": [
                    {"replicate": d.replicate, "germinated": d.roots.germinated, "filled": d.roots.filled}
                    for d in r.dishes
                ],
                "retest": r.range_check.retest if r.range_check else None,
                "replicates_chance": r.uneven.chance if r.uneven else None,
                "did": sorted(r.did),
            }
            for r in result.arms
        ],
        "fits": [v.pattern.id for v in result.fitting],
        "ruled_out": {v.pattern.id: list(v.against) for v in result.verdicts if v.against},
        "found": dict(result.found),
        "left": {key: list(words) for key, words in result.left.items()},
        "unsettled": list(result.unsettled),
        "spread_within_arms": result.within and result.within._asdict(),
        "spread_of_all_dishes": result.whole and result.whole._asdict(),
        "notes": list(result.notes),
    }
