"""From what was written down to the numbers that thresholds are put on: one short function a test.

Each takes the checked fields of its test and gives named numbers (those under `gives` in observations.yaml, and those
that its thresholds name). ValueError says what is impossible between fields. A number that cannot be had is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import exp, log10
from statistics import mean
from typing import Any

from rousewort.observe.measures import fisher

Fields = Mapping[str, Any]
# Bounds of sense, not of science: slimy seed takes up twenty times its mass and more, no soaked seed loses half of it.
MOST_SWOLLEN, LEAST_LEFT = 60.0, 0.5
MOST_UNLIKE = 100.0  # groups of one lot, taken to be of like numbers
HEAVIEST_G = 25_000.0  # a seed; the double coconut is the heaviest, at under 25 kg (memory)


def cut_test(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    cut = seen["full"] + seen["empty"] + seen["eaten"] + seen["soft"]
    return {"filled_pct": _percent(seen["full"], cut, "seeds cut"), "cut": cut, "full": seen["full"]}


def tetrazolium(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    return {"viable_pct": _percent(seen["red"], seen["red"] + seen["pale"], "seeds stained")}


def origin(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    return dict(seen)


def imbibition(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    """Gains in per cent of the dry mass, at the last weighing up to 72 hours that both groups have."""
    intact, nicked = seen["intact_g"], seen.get("nicked_g")
    for name, series in (("intact_g", intact), ("nicked_g", nicked)):
        if series is None:
            continue
        if 0 not in series or len(series) < 2:
            raise ValueError(f"{name} needs the dry mass at hour 0 and at least one later weighing")
        if min(series.values()) <= 0:
            raise ValueError(f"{name} holds a mass of 0: nothing was weighed")
        for hours, mass in series.items():
            if not LEAST_LEFT <= mass / series[0] <= MOST_SWOLLEN:
                raise ValueError(
                    f"{name} goes from {series[0]:g} to {mass:g} g by hour {hours:g}: no seed does that. Milligrams among grams?"
                )
    if nicked and not 1 / MOST_UNLIKE <= intact[0] / nicked[0] <= MOST_UNLIKE:
        raise ValueError(
            f"dry intact seed weighs {intact[0]:g} g and nicked {nicked[0]:g} g: is one of them in milligrams?"
        )
    shared = set(intact) & set(nicked) if nicked else set(intact)
    later = [hours for hours in shared if 0 < hours <= 72] or [hours for hours in shared if hours > 0]
    if not later:
        raise ValueError("intact and nicked seed were never weighed at the same hour: weigh both together")
    hours = max(later)
    gain = 100 * (intact[hours] - intact[0]) / intact[0]
    found = {"hours": hours, "intact_gain_pct": gain}
    if nicked:
        found["nicked_over_intact"] = 100 * (nicked[hours] - nicked[0]) / nicked[0] - gain
    if "intact_swollen" in seen and "intact_seeds" in seen:
        found["swollen_pct"] = _percent(seen["intact_swollen"], seen["intact_seeds"], "intact seeds")
    return found


def embryo(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    fresh, seed = mean(seen["embryo_mm"]), mean(seen["seed_mm"])
    if fresh > seed:
        raise ValueError(
            f"embryos ({fresh:g} mm) are longer than seeds ({seed:g} mm): a bent embryo is measured straight across"
        )
    found = {"es_ratio": fresh / seed}
    if "split_embryo_mm" in seen:
        found["growth_pct"] = 100 * (mean(seen["split_embryo_mm"]) - fresh) / fresh
    return found | ({"organs": seen["organs"]} if "organs" in seen else {})


def fresh_germination(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    """Shares of filled seed; `prompt` is the last total on or before day 30."""
    filled = seen["sown"] - seen["empty"]
    if filled <= 0:
        raise ValueError(f"of {seen['sown']} seeds sown {seen['empty']} were empty: nothing was tested")
    days, totals = zip(*sorted(seen["roots"].items()), strict=True)
    for i, total in enumerate(totals):
        if not isinstance(total, int):
            raise ValueError(f"roots by day {days[i]:g} must be a whole number of seeds, not {total!r}")
        if i and total < totals[i - 1]:
            raise ValueError(
                f"roots so far fall from {totals[i - 1]} to {total} at day {days[i]:g}: give totals, not new ones"
            )
        if total > filled:
            raise ValueError(f"{total} roots by day {days[i]:g}, but only {filled} filled seeds were sown")
    prompt = max((total for day, total in zip(days, totals, strict=True) if day <= 30), default=0)
    found = {
        "prompt_pct": 100 * prompt / filled,
        "final_pct": 100 * totals[-1] / filled,
        "last_day": days[-1],
        "prompt": prompt,
        "filled": filled,
    }
    return found | ({"range": seen["range"]} if "range" in seen else {})


def embryo_growth(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    fresh = mean(seen["fresh_mm"])
    return {f"{where}_growth_pct": 100 * (mean(seen[f"{where}_mm"]) - fresh) / fresh for where in ("warm", "cold")}


def excised_embryo(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    return {"normal_pct": _percent(seen["normal"], seen["normal"] + seen["stunted"], "embryos")}


def hormone_response(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    return _two_dishes(seen, "treated", "water")


def dry_storage(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    return _two_dishes(seen, "stored", "fresh")


def light_test(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    return _two_dishes(seen, "light", "dark")


def _two_dishes(seen: Fields, one: str, other: str) -> dict[str, Any]:
    """Shares of two dishes, their difference in points, and Fisher's exact chance of it."""
    first = _percent(seen[f"{one}_roots"], seen[one], one)
    second = _percent(seen[f"{other}_roots"], seen[other], other)
    chance = fisher(seen[f"{one}_roots"], seen[one], seen[f"{other}_roots"], seen[other])
    return {
        one: seen[one],
        other: seen[other],
        f"{one}_pct": first,
        f"{other}_pct": second,
        "rise_points": first - second,
        "chance": chance,
    }


def root_and_shoot(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    found = {"between": seen["between"]}
    if "shoot_day" in seen:
        if seen["shoot_day"] < seen["root_day"]:
            raise ValueError(f"shoots by day {seen['shoot_day']:g}, before the roots at day {seen['root_day']:g}")
        found["gap_days"] = seen["shoot_day"] - seen["root_day"]
    elif seen["between"] != "nothing_yet":
        raise ValueError("shoot_day is missing: write down when the shoots came, or between: nothing_yet")
    return found


def seed_mass(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    if not seen["seeds"]:
        raise ValueError("seeds must be 1 or more")
    if seen["grams"] / seen["seeds"] > HEAVIEST_G:
        raise ValueError(f"{seen['grams']:g} g for {seen['seeds']} seeds: no seed is so heavy. Grams, not milligrams")
    return {"mass_mg": 1000 * seen["grams"] / seen["seeds"], "seeds_per_gram": seen["seeds"] / seen["grams"]}


def desiccation_model(seen: Fields, data: Mapping[str, Any]) -> dict[str, Any]:
    """The chance that drying kills: a logistic function of coat share and log10 of seed mass (see observations.yaml)."""
    model = data["model"]
    ratio = seen["coat_g"] / (seen["coat_g"] + seen["inside_g"])
    score = model["intercept"] + model["coat_ratio"] * ratio + model["log10_mass"] * log10(seen["seed_g"])
    return {"coat_ratio": ratio, "sensitive_chance": 1 / (1 + exp(-score))}


def drying_test(seen: Fields, _: Mapping[str, Any]) -> dict[str, Any]:
    fresh = _percent(seen["fresh_alive"], seen["fresh"], "fresh")
    if not fresh:
        raise ValueError("none of the fresh seed was alive: drying could not show anything")
    found = {"ten_kept_pct": 100 * _percent(seen["ten_alive"], seen["ten"], "ten") / fresh}
    if "five" in seen and "five_alive" in seen:
        found["five_kept_pct"] = 100 * _percent(seen["five_alive"], seen["five"], "five") / fresh
    return found


def _percent(part: int, whole: int, of: str) -> float:
    if not whole:
        raise ValueError(f"no {of}: a share of nothing cannot be had")
    if part > whole:
        raise ValueError(f"{part} of {whole} {of}: more than there were")
    return 100 * part / whole


ARITHMETIC: dict[str, Callable[[Fields, Mapping[str, Any]], dict[str, Any]]] = {
    f.__name__: f
    for f in (
        cut_test, tetrazolium, origin, imbibition, embryo, fresh_germination, embryo_growth, excised_embryo, hormone_response,
        dry_storage, root_and_shoot, light_test, seed_mass, desiccation_model, drying_test,
    )
} | {"nicked_germination": fresh_germination}  # fmt: skip
