"""How a reader's numbers become those that the key's thresholds stand on, as data that the page can work out.

`observe.arithmetic` is the only place where this is decided; what stands here is the simple part of it in a form that
can be sent to a page, and a test holds the two together. Whether two dishes differ (Fisher's exact test) is sent as a table
of counts for the sizes of dish that the key asks for.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rousewort.observe.measures import fisher

SOWN: tuple[dict[str, tuple[str, str]], dict[str, Any]] = (
    {
        "sown": ("seeds sown", "count"),
        "empty": ("of these, found empty", "count"),
        "roots": ("roots by day 30", "count"),
        "last_day": ("day of the last count", "number"),
    },
    {"prompt_pct": ["%", "roots", ["-", "sown", "empty"]], "last_day": "last_day"},
)

# test → (what to write down: name → (words, kind), numbers: name → formula). A formula is a name, a number, or
# [sign, a, b]; "%" is 100 a / b, "mean" the mean of a list. kind: count, number, list.
SUMS: dict[str, tuple[dict[str, tuple[str, str]], dict[str, Any]]] = {
    "fresh_germination": SOWN,
    "nicked_germination": SOWN,
    "cut_test": (
        {"full": ("full and firm", "count"), "empty": ("empty", "count"), "eaten": ("insect-eaten", "count"), "soft": ("soft or brown", "count")},
        {"filled_pct": ["%", "full", ["+", ["+", "full", "empty"], ["+", "eaten", "soft"]]]},
    ),
    "tetrazolium": (
        {"red": ("evenly red", "count"), "pale": ("pale, patchy or white", "count")},
        {"viable_pct": ["%", "red", ["+", "red", "pale"]]},
    ),
    "imbibition": (
        {"dry": ("intact, dry, grams", "number"), "wet": ("intact, after soaking, grams", "number"),
         "nicked_dry": ("nicked, dry, grams (may stay empty)", "number"), "nicked_wet": ("nicked, after soaking, grams (may stay empty)", "number"),
         "hours": ("hours in water", "number"),
         "swollen": ("intact seeds that look swollen (may stay empty)", "count"), "seeds": ("intact seeds (may stay empty)", "count")},
        {"hours": "hours", "intact_gain_pct": ["%", ["-", "wet", "dry"], "dry"], "swollen_pct": ["%", "swollen", "seeds"],
         "nicked_over_intact": ["-", ["%", ["-", "nicked_wet", "nicked_dry"], "nicked_dry"], ["%", ["-", "wet", "dry"], "dry"]]},
    ),
    "embryo": (
        {"embryo_mm": ("embryo lengths, mm", "list"), "seed_mm": ("seed lengths, mm", "list"),
         "split_embryo_mm": ("embryo lengths when coats split, mm (may stay empty)", "list")},
        {"es_ratio": ["/", ["mean", "embryo_mm"], ["mean", "seed_mm"]],
         "growth_pct": ["%", ["-", ["mean", "split_embryo_mm"], ["mean", "embryo_mm"]], ["mean", "embryo_mm"]]},
    ),
    "embryo_growth": (
        {"fresh_mm": ("embryos when fresh, mm", "list"), "warm_mm": ("after the warm weeks, mm", "list"), "cold_mm": ("after the cold weeks, mm", "list")},
        {f"{where}_growth_pct": ["%", ["-", ["mean", f"{where}_mm"], ["mean", "fresh_mm"]], ["mean", "fresh_mm"]] for where in ("warm", "cold")},
    ),
    "excised_embryo": (
        {"normal": ("grew green and normal", "count"), "stunted": ("no growth, or stunted", "count")},
        {"normal_pct": ["%", "normal", ["+", "normal", "stunted"]]},
    ),
    "seed_mass": (
        {"grams": ("grams", "number"), "seeds": ("how many seeds that was", "count")},
        {"mass_mg": ["/", ["*", 1000, "grams"], "seeds"], "seeds_per_gram": ["/", "seeds", "grams"]},
    ),
    "drying_test": (
        {"fresh": ("seeds tried as they came", "count"), "fresh_alive": ("of these, alive", "count"),
         "ten": ("seeds tried at about 10 % water", "count"), "ten_alive": ("of these, alive", "count"),
         "five": ("seeds tried at about 5 % water (may stay empty)", "count"), "five_alive": ("of these, alive (may stay empty)", "count")},
        {f"{dry}_kept_pct": ["%", ["%", f"{dry}_alive", dry], ["%", "fresh_alive", "fresh"]] for dry in ("ten", "five")},
    ),
}  # fmt: skip
# Tests of two dishes: the one that may do better, and the other.
DISHES = {"hormone_response": ("treated", "water"), "dry_storage": ("stored", "fresh"), "light_test": ("light", "dark")}
SIZES = (20, 25, 50)
DISH_SUMS = {
    test: (
        {f"{one}_roots": (f"{one}: roots", "count"), f"{other}_roots": (f"{other}: roots", "count"), "seeds": ("seeds in each dish: 20, 25 or 50", "count")},
        {f"{one}_pct": ["%", f"{one}_roots", "seeds"], f"{other}_pct": ["%", f"{other}_roots", "seeds"], one: "seeds", other: "seeds",
         "rise_points": ["-", ["%", f"{one}_roots", "seeds"], ["%", f"{other}_roots", "seeds"]]},
    )
    for test, (one, other) in DISHES.items()
}  # fmt: skip


def differences() -> dict[int, list[list[int]]]:
    """Seeds in each dish → for every count in the other dish [fewest that are clearly more, most that are clearly fewer].

    Clearly: Fisher's exact chance below 0.05. A count that cannot be had (more than all, fewer than none) means never.
    """
    found = {}
    for seeds in SIZES:
        rows = []
        for other in range(seeds + 1):
            clear = [k for k in range(seeds + 1) if fisher(k, seeds, other, seeds) < 0.05]
            rows.append(
                [
                    min((k for k in clear if k > other), default=seeds + 1),
                    max((k for k in clear if k < other), default=-1),
                ]
            )
        found[seeds] = rows
    return found


def worked_out(formula: Any, numbers: Mapping[str, Any]) -> float | None:
    """A formula's value; None where something it needs is missing or its divisor is nought. The page does the same."""
    plain: float | None
    if not isinstance(formula, list):
        plain = numbers.get(formula) if isinstance(formula, str) else formula
        return plain
    sign, *rest = formula
    if sign == "mean":
        values = numbers.get(rest[0])
        return sum(values) / len(values) if values else None
    a, b = (worked_out(part, numbers) for part in rest)
    if a is None or b is None or (sign in "%/" and not b):
        return None
    return {"+": a + b, "-": a - b, "*": a * b}[sign] if sign in "+-*" else a / b * (100 if sign == "%" else 1)
