"""Designs a germination trial: arms chosen by what is still undecided, seeds by a stated width or power, dates.

Arms and what each class would do in them stand in kb/vocabulary/trials.yaml; the same table reads the result.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations
from math import ceil
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.kinds import Kinds
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.observe import power
from rousewort.observe.conclude import Conclusion
from rousewort.observe.key import outcomes, tests
from rousewort.planning.grower import Grower

DISHES = 4
LOOK_DAYS = 7
COLD_LOOK_DAYS = 14
LEAST_DISH = 5  # seeds


class Arm(NamedTuple):
    """One arm of trials.yaml."""

    id: str
    label: str
    do: str
    seasons: tuple[Mapping[str, Any], ...]
    data: Mapping[str, Any]

    @property
    def days(self) -> int:
        return sum(season.get("days", 0) for season in self.seasons)

    @property
    def treatment_days(self) -> int:
        return sum(season.get("days", 0) for season in self.seasons if season["kind"] != "grow")


class Pattern(NamedTuple):
    """A class (`dormancy`) and level, and what its seed does in each arm: seedling, root or none; absent: either."""

    id: str
    dormancy: str
    words: Mapping[str, str]
    adds: Mapping[str, str]
    does: Mapping[str, str]


class TrialSeason(NamedTuple):
    """One part of an arm, first and last day counted."""

    kind: str
    first: date
    last: date
    temperature_c: float | None


class PlannedArm(NamedTuple):
    arm: Arm
    seasons: tuple[TrialSeason, ...]
    looks: tuple[date, ...]
    because: str


@dataclass(frozen=True)
class Design:
    """`seeds` in each arm, in `dishes`. `width`: widest 95 % interval, points. `power`: chance to tell `low` from `high`
    per cent after Holm's correction. `unsettled`: what the trial leaves open, and what settles it."""

    plant: str
    start: date
    arms: tuple[PlannedArm, ...]
    seeds: int
    dishes: int
    width: float
    power: float
    low: float
    high: float
    undecided: tuple[str, ...]
    unsettled: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def total(self) -> int:
        return self.seeds * len(self.arms)

    @property
    def end(self) -> date:
        return max(arm.looks[-1] for arm in self.arms)


def arms_of(vocabulary: Vocabulary) -> dict[str, Arm]:
    return {
        a["id"]: Arm(a["id"], a["label"], a["do"], tuple(a["seasons"]), a) for a in vocabulary.files["trials"]["arms"]
    }


def patterns_of(vocabulary: Vocabulary) -> dict[str, Pattern]:
    arms = arms_of(vocabulary)
    return {
        p["id"]: Pattern(
            p["id"], p["is"][vocabulary.class_key], p["is"], p.get("adds", {}), {a: p[a] for a in arms if a in p}
        )
        for p in vocabulary.files["trials"]["patterns"]
    }


def possible(
    vocabulary: Vocabulary, conclusion: Conclusion, chances: Mapping[str, float], least: float = 0.05
) -> list[Pattern]:
    """The patterns that the observations leave, of classes at least that likely."""

    def fits(pattern: Pattern) -> bool:
        for key in vocabulary.dormancy_keys:
            word = pattern.words.get(key)
            known = conclusion.words.get(key)
            if word and ((known and known != word) or word not in conclusion.left.get(key, (word,))):
                return False
        return chances.get(pattern.dormancy, 0.0) >= least

    return [pattern for pattern in patterns_of(vocabulary).values() if fits(pattern)]


def label_of(vocabulary: Vocabulary, pattern: Pattern) -> str:
    parts = [
        vocabulary.label(key, pattern.words[key]).split(" (")[0]
        for key in vocabulary.dormancy_keys
        if key in pattern.words
    ]
    return ", ".join(parts) + {
        "deep_summer_first": " (summer first)",
        "non_deep_summer": " (woken by summer)",
        "non_deep_winter": " (woken by winter)",
    }.get(pattern.id, "")


def told_apart(arm: str, one: Pattern, other: Pattern) -> bool:
    return arm in one.does and arm in other.does and one.does[arm] != other.does[arm]


def choose_arms(
    arms: Iterable[Arm], patterns: Sequence[Pattern], chances: Mapping[str, float], most: int
) -> tuple[list[Arm], list[tuple[Pattern, Pattern]]]:
    """The control, then one by one the arm that tells most of the still undivided pairs apart (weighed by chance; the
    shorter of equals), until none adds anything. Returns the arms, and the pairs that stay undivided."""
    by_id = {arm.id: arm for arm in arms}
    chosen = [by_id.pop("control")]
    share = {p.id: chances.get(p.dormancy, 0.0) / sum(q.dormancy == p.dormancy for q in patterns) for p in patterns}
    pairs = [(a, b) for a, b in combinations(patterns, 2) if not told_apart("control", a, b)]
    while pairs and len(chosen) < most:

        def gain(arm: Arm, undivided: list[tuple[Pattern, Pattern]] = pairs) -> float:
            return sum(share[a.id] * share[b.id] for a, b in undivided if told_apart(arm.id, a, b))

        best = max(by_id.values(), key=lambda arm: (round(gain(arm), 9), -arm.days), default=None)
        if best is None or not gain(best):
            break
        chosen.append(by_id.pop(best.id))
        pairs = [(a, b) for a, b in pairs if not told_apart(best.id, a, b)]
    return chosen, pairs


def design(
    vocabulary: Vocabulary,
    plant: str,
    conclusion: Conclusion,
    chances: Mapping[str, float],
    grower: Grower,
    start: date,
    *,
    width: float | None = None,
    wanted: float = 0.8,
    low: float = 0.10,
    high: float = 0.50,
    dishes: int = DISHES,
    most_arms: int = 6,
    filled: float = 1.0,
) -> Design:
    """A trial for what is undecided. `width`: widest interval wished, as a share; else `wanted` power to tell `low` from
    `high`. `filled`: the share of the lot that is filled; seeds are raised by it. UserError where the lot cannot carry two arms."""
    if conclusion.stop and (clause := conclusion.stop[0].clause):
        raise UserError(f"A trial of this lot would tell nothing: {clause.says}")
    _check(dishes, most_arms, filled)
    patterns = possible(vocabulary, conclusion, chances)
    usable, notes = _usable(vocabulary, conclusion, grower)
    arms, undivided = choose_arms(usable, patterns, chances, most_arms)
    if len(arms) == 1:
        raise UserError(
            "What is known leaves nothing for a trial to decide: "
            + ("; ".join(label_of(vocabulary, p) for p in patterns) or "no class fits")
            + ". Make the plan."
        )
    seeds = _seeds(len(arms), width, wanted, low, high, dishes, filled)
    while grower.seeds is not None and seeds * len(arms) > grower.seeds and len(arms) > 2:
        dropped = arms.pop()
        notes.append(f"'{dropped.label}' was left out: the lot of {grower.seeds} seeds does not reach for it.")
        undivided = choose_arms(arms, patterns, chances, len(arms))[1]
        seeds = _seeds(len(arms), width, wanted, low, high, dishes, filled)
    if grower.seeds is not None and seeds * len(arms) > grower.seeds:
        seeds, dishes = _what_there_is(grower.seeds, len(arms), dishes)
        notes.append(f"The lot has only {grower.seeds} seeds: {seeds} in each arm, less than was asked for.")
    told = int(seeds * filled)
    return Design(
        plant=plant,
        start=start,
        arms=tuple(_planned(vocabulary.kinds, arm, start, patterns, arms) for arm in arms),
        seeds=seeds,
        dishes=dishes,
        width=power.width(told),
        power=power.power(told, low, high, _alpha(len(arms))),
        low=low,
        high=high,
        undecided=tuple(label_of(vocabulary, p) for p in patterns),
        unsettled=tuple(unsettled(vocabulary, undivided)),
        notes=tuple(notes),
    )


def _check(dishes: int, most_arms: int, filled: float) -> None:
    problems = []
    if dishes < 1:
        problems.append(f"an arm needs at least one dish, not {dishes}")
    if most_arms < 2:
        problems.append(f"a trial needs at least two arms, not {most_arms}")
    if not 0 < filled <= 1:
        problems.append(f"the filled share must be above 0 and at most 100 %, not {100 * filled:g} %")
    if problems:
        raise UserError(*problems)


def _usable(vocabulary: Vocabulary, conclusion: Conclusion, grower: Grower) -> tuple[list[Arm], list[str]]:
    """Arms that the grower can carry out and that would not kill the seed."""
    usable, notes = [], []
    for arm in arms_of(vocabulary).values():
        lacking = grower.can(arm.data.get("needs", ()), vocabulary)
        kills = next(
            (t for t, words in arm.data.get("never_with", {}).items() if conclusion.words.get(t) in words), None
        )
        if kills:
            notes.append(f"'{arm.label}' was left out: drying would harm this seed.")
        elif lacking and lacking not in ("gibberellic_acid",):
            notes.append(f"'{arm.label}' was left out: it takes {vocabulary.files['equipment'][lacking]['label']}.")
        elif not lacking:
            usable.append(arm)
    return usable, notes


def _alpha(arms: int) -> float:
    return 0.05 / max(1, arms - 1)  # Holm's first and hardest step: every arm against the control


def _seeds(arms: int, width: float | None, wanted: float, low: float, high: float, dishes: int, filled: float) -> int:
    n = power.seeds_for_width(width) if width is not None else power.seeds_for_power(wanted, low, high, _alpha(arms))
    return dishes * max(LEAST_DISH, ceil(n / filled / dishes))


def _what_there_is(seeds: int, arms: int, dishes: int) -> tuple[int, int]:
    each = seeds // arms
    dishes = max(1, min(dishes, each // LEAST_DISH))
    each -= each % dishes
    if each < LEAST_DISH:
        raise UserError(
            f"{seeds} seeds cannot carry a trial of {arms} arms ({LEAST_DISH} seeds each at the very least). "
            "Treat them all by the gentlest plan, and write down what happens."
        )
    return each, dishes


def _planned(kinds: Kinds, arm: Arm, start: date, patterns: Sequence[Pattern], arms: Sequence[Arm]) -> PlannedArm:
    seasons, when = [], start
    looks: list[date] = []
    for season in arm.seasons:
        days = season.get("days", 0)
        if not days:
            continue
        last = when + timedelta(days - 1)
        seasons.append(TrialSeason(season["kind"], when, last, season.get("temperature_c")))
        group = kinds.group(season["kind"])
        if group != "dry":
            step = COLD_LOOK_DAYS if group == "cold" else LOOK_DAYS
            looks += [when + timedelta(i) for i in range(step, days + 1, step)]
        when += timedelta(days)
    return PlannedArm(arm, tuple(seasons), tuple(sorted(set(looks))), _because(arm, patterns, arms))


def _because(arm: Arm, patterns: Sequence[Pattern], arms: Sequence[Arm]) -> str:
    if arm.id == "control":
        return "What the others are compared with."
    grows = sum(p.does.get(arm.id) in ("seedling", "root") for p in patterns)
    stays = sum(p.does.get(arm.id) == "none" for p in patterns)
    return f"Of {len(patterns)} kinds of dormancy still possible, {grows} would grow here and {stays} would not."


def unsettled(vocabulary: Vocabulary, undivided: list[tuple[Pattern, Pattern]]) -> Iterable[str]:
    """What the arms do not tell apart, gathered by the bench test that does."""
    by_test: dict[str, list[str]] = {}
    for one, other in undivided:
        both = f"{label_of(vocabulary, one)} / {label_of(vocabulary, other)}"
        by_test.setdefault(_splitting_test(vocabulary, one, other), []).append(both)
    for test, pairs in by_test.items():
        more = f" and {len(pairs) - 3} pairs more" if len(pairs) > 3 else ""
        yield f"{test}: {'; '.join(pairs[:3])}{more}."


def _splitting_test(vocabulary: Vocabulary, one: Pattern, other: Pattern) -> str:
    for test in tests(vocabulary).values():
        first, second = (set(outcomes(test, vocabulary, p.words)) for p in (one, other))
        if first and second and not first & second:
            return f"settled by: {test.label}"
    return "left open"


# Labels and sheet

COLUMNS = (
    "arm",
    "replicate",
    "seeds",
    "started",
    "date",
    "season",
    "new_roots",
    "new_shoots",
    "hard",
    "firm",
    "rotten",
    "empty",
    "note",
)


def sheet_rows(plan: Design) -> Iterable[dict[str, Any]]:
    """One row for each dish and look, to be filled in: new roots and new shoots since the look before; at the last look
    also what became of the rest (hard, firm, rotten, empty)."""
    for planned in plan.arms:
        for dish in range(1, plan.dishes + 1):
            for look in planned.looks:
                season = next((s.kind for s in reversed(planned.seasons) if s.first <= look), "grow")
                yield {
                    "arm": planned.arm.id,
                    "replicate": dish,
                    "seeds": plan.seeds // plan.dishes,
                    "started": plan.start.isoformat(),
                    "date": look.isoformat(),
                    "season": season,
                    "note": "last look: count hard, firm, rotten, empty" if look == planned.looks[-1] else "",
                }


def sheet_text(plan: Design) -> str:
    """The recording sheet as CSV."""
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(sheet_rows(plan))
    return text.getvalue()


def dish_labels(plan: Design) -> list[str]:
    """What to write on each dish, bag or pot."""
    moves = {
        p.arm.id: "; ".join(f"{s.kind.replace('_', ' ')} to {s.last.isoformat()}" for s in p.seasons) for p in plan.arms
    }
    each = plan.seeds // plan.dishes
    return [
        f"{plan.plant} | {p.arm.id}-{dish} | {each} seeds | {plan.start.isoformat()} | {moves[p.arm.id]}"
        for p in plan.arms
        for dish in range(1, plan.dishes + 1)
    ]
