"""What a trial says: each arm measured, arms compared with the control, and which classes of dormancy fit.

An arm's result is one of seedling, root, none, or several of them where the numbers leave it open. It germinated if at
least half of the filled seed did, or if it beats the control clearly (Fisher's exact test, Holm's correction over all
arms); it did not if Wilson's interval lies below half. Of the control only the first four weeks count. A class fits if
no arm's result speaks against what the table of trials.yaml says that it would do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, combinations
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.observe.conclude import Conclusion
from rousewort.observe.measures import (
    Counts,
    Germination,
    RangeCheck,
    Spread,
    Unevenness,
    fisher,
    holm,
    measure,
    pool,
    replicate_range,
    spread,
    unevenness,
    wilson,
)
from rousewort.observe.sheet import FATES, Dish
from rousewort.observe.trial import Arm, Pattern, arms_of, label_of, patterns_of, unsettled

CONTROL = "control"


@dataclass(frozen=True)
class ArmResult:
    """One arm, its dishes added up. `chance`: of so large a difference from the control if there were none, corrected
    for the number of arms; None for the control, or without one. `did`: what the arm's seed may be said to have done."""

    arm: Arm
    dishes: tuple[Dish, ...]
    roots: Germination
    shoots: Germination | None
    fates: Mapping[str, int]
    range_check: RangeCheck | None
    uneven: Unevenness | None
    chance: float | None
    shoot_chance: float | None
    did: frozenset[str]

    @property
    def counts(self) -> Counts:
        return pool([dish.roots for dish in self.dishes])

    @property
    def better(self) -> bool | None:
        """Clearly more roots than the control; None where there is none to compare with."""
        return None if self.chance is None else self.chance < 0.05 and self._above

    _above: bool = False


class Verdict(NamedTuple):
    """A pattern, and the arms that speak against it (none: it fits)."""

    pattern: Pattern
    label: str
    against: tuple[str, ...]


@dataclass(frozen=True)
class TrialResult:
    """`found`: words that arms show; `left`: classes (of the trait `class_key`) and levels that fit; `unsettled`: what tells those apart.
    `within`: how far dishes differ within their arms; `whole`: all dishes, as if there were one arm."""

    arms: tuple[ArmResult, ...]
    verdicts: tuple[Verdict, ...]
    found: Mapping[str, str]
    left: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...]
    class_key: str
    unsettled: tuple[str, ...] = ()
    within: Spread | None = None
    whole: Spread | None = None

    @property
    def settled(self) -> dict[str, str]:
        """Trait → word that the trial settles; a level only where its class is settled too."""
        single = {key: words[0] for key, words in self.left.items() if len(words) == 1}
        return {**self.found, **(single if self.class_key in single else {})}

    @property
    def fitting(self) -> list[Verdict]:
        return [verdict for verdict in self.verdicts if not verdict.against]


def analyse(vocabulary: Vocabulary, dishes: Sequence[Dish], conclusion: Conclusion | None = None) -> TrialResult:
    """Measure, compare and judge. `conclusion`: what the bench tests of the same lot say; classes that they rule out
    are ruled out here too. UserError if all seed of an arm was empty."""
    arms, table = arms_of(vocabulary), vocabulary.files["trials"]
    by_arm = {name: [d for d in dishes if d.arm == name] for name in arms if any(d.arm == name for d in dishes)}
    results = _against_control([_measured(arms[name], found, vocabulary) for name, found in by_arm.items()], table)
    verdicts = tuple(_judge(vocabulary, pattern, results, conclusion) for pattern in patterns_of(vocabulary).values())
    fitting = [v.pattern for v in verdicts if not v.against]
    filled = [[(d.roots.germinated, d.roots.filled) for d in r.dishes if d.roots.filled] for r in results]
    within, whole = spread(filled), spread([[dish for dishes in filled for dish in dishes]])
    return TrialResult(
        tuple(results),
        verdicts,
        _found(fitting, results),
        _left(vocabulary, fitting),
        tuple(_notes(results, table, fitting, within)),
        vocabulary.class_key,
        tuple(unsettled(vocabulary, list(combinations(fitting, 2)))),
        within,
        whole,
    )


def _measured(arm: Arm, dishes: list[Dish], vocabulary: Vocabulary) -> ArmResult:
    try:
        roots = measure(pool([d.roots for d in dishes]))
    except UserError as trouble:
        raise UserError(*(f"{arm.label}: {problem}" for problem in trouble.problems)) from None
    counted = [d.shoots for d in dishes if d.shoots is not None]
    shoots = measure(pool(counted)) if len(counted) == len(dishes) else None
    filled = [d for d in dishes if d.roots.filled]
    germinated, seeds = [d.roots.germinated for d in filled], [d.roots.filled for d in filled]
    return ArmResult(
        arm,
        tuple(dishes),
        roots,
        shoots,
        {name: sum(d.fates.get(name, 0) for d in dishes) for name in FATES}
        | {"not accounted for": sum(d.unaccounted for d in dishes)},
        replicate_range(germinated, seeds, vocabulary.files["replicate_ranges"]) if len(filled) > 1 else None,
        unevenness(germinated, seeds),
        None,
        None,
        frozenset(),
    )


def _against_control(results: list[ArmResult], table: Mapping[str, Any]) -> list[ArmResult]:
    """Chances against the control, corrected together, and what each arm did."""
    control = next((r for r in results if r.arm.id == CONTROL), None)
    others = [r for r in results if r is not control]
    roots = shoots = {}
    if control:
        roots = _chances(others, control, "roots")
        if all(r.shoots for r in results):
            shoots = _chances(others, control, "shoots")
    out = []
    for result in results:
        chance, shoot_chance = roots.get(result.arm.id), shoots.get(result.arm.id)
        above = control is not None and result.roots.share > control.roots.share
        made = replace(result, chance=chance, shoot_chance=shoot_chance, _above=above)
        out.append(replace(made, did=_did(made, control, table)))
    return out


def _chances(others: list[ArmResult], control: ArmResult, part: str) -> dict[str, float]:
    base = getattr(control, part)
    each = [fisher(getattr(r, part).germinated, getattr(r, part).seeds, base.germinated, base.seeds) for r in others]
    return {r.arm.id: p for r, p in zip(others, holm(each), strict=True)}


def _did(result: ArmResult, control: ArmResult | None, table: Mapping[str, Any]) -> frozenset[str]:
    if result.arm.id == CONTROL:
        roots = _came(_by(result.counts, table["control_days"]), result.roots.seeds, False, table)
        shoots = None
        if result.shoots:
            counts = pool([d.shoots for d in result.dishes if d.shoots])
            shoots = _came(_by(counts, table["control_shoot_days"]), result.roots.seeds, False, table)
    else:
        roots = _came(result.roots.germinated, result.roots.seeds, bool(result.better), table)
        over = bool(control and control.shoots and result.shoots and result.shoots.share > control.shoots.share)
        clear = over and result.shoot_chance is not None and result.shoot_chance < table["chance"]
        shoots = _came(result.shoots.germinated, result.shoots.seeds, clear, table) if result.shoots else None
    done: set[str] = set()
    if roots is not True:
        done.add("none")
    if roots is not False:
        done |= {"seedling"} if shoots is True else {"root"} if shoots is False else {"root", "seedling"}
    return frozenset(done)


def _by(counts: Counts, day: float) -> int:
    return max((n for t, n in zip(counts.times, accumulate(counts.new), strict=True) if t <= day), default=0)


def _came(germinated: int, seeds: int, clearly_more: bool, table: Mapping[str, Any]) -> bool | None:
    """True, False, or None where so few seeds leave it open."""
    half = table["pass_pct"] / 100
    if germinated >= half * seeds or clearly_more:
        return True
    return False if wilson(germinated, seeds).high < half else None


def _judge(
    vocabulary: Vocabulary, pattern: Pattern, results: list[ArmResult], conclusion: Conclusion | None
) -> Verdict:
    against = [
        f"{r.arm.label} would have given {_what(pattern.does[r.arm.id])}, and gave {' or '.join(_what(d) for d in sorted(r.did))}"
        for r in results
        if r.arm.id in pattern.does and pattern.does[r.arm.id] not in r.did
    ]
    if conclusion:
        for key in vocabulary.dormancy_keys:
            word = pattern.words.get(key)
            left = (conclusion.words[key],) if key in conclusion.words else conclusion.left.get(key)
            if word and left and word not in left:
                against.append(f"bench tests leave {' or '.join(vocabulary.label(key, w) for w in left)}")
                break
    return Verdict(pattern, label_of(vocabulary, pattern), tuple(against))


def _what(did: str) -> str:
    return {"none": "next to nothing", "root": "roots only", "seedling": "roots and shoots"}[did]


def _found(fitting: Sequence[Pattern], results: Sequence[ArmResult]) -> dict[str, str]:
    """What single arms show beside a control that stayed still (`shows` of trials.yaml), and the traits on which every
    fitting pattern agrees, classes and levels apart (`_left`)."""
    did = {r.arm.id: next(iter(r.did)) for r in results if len(r.did) == 1}
    found: dict[str, str] = {}
    if did.get(CONTROL) == "none":
        for clause, arm in ((clause, r.arm.id) for r in results for clause in r.arm.data.get("shows", ())):
            if all(did.get(one) == wanted for one, wanted in {arm: clause["did"], **clause.get("beside", {})}.items()):
                found |= clause["says"]
    shared = dict(fitting[0].adds) if fitting else {}
    for pattern in fitting[1:]:
        shared = {key: word for key, word in shared.items() if pattern.adds.get(key) == word}
    return found | shared


def _left(vocabulary: Vocabulary, fitting: Sequence[Pattern]) -> dict[str, tuple[str, ...]]:
    """Classes and levels of the fitting patterns."""
    keys = [key for key in vocabulary.dormancy_keys if any(key in p.words for p in fitting)]
    return {key: tuple(dict.fromkeys(p.words[key] for p in fitting if key in p.words)) for key in keys}


def _notes(
    results: list[ArmResult], table: Mapping[str, Any], fitting: Sequence[Pattern], within: Spread | None
) -> list[str]:
    notes = []
    control = next((r for r in results if r.arm.id == CONTROL), None)
    if not control:
        notes.append("There is no control: no arm can be compared, and what is seen may be what untreated seed does.")
    elif control.roots.germinated > _by(control.counts, table["control_days"]):
        late = control.roots.germinated - _by(control.counts, table["control_days"])
        notes.append(
            f"{late} seeds of the control germinated after day {table['control_days']}: slow, and so not called prompt."
        )
    most = max(len(r.dishes) for r in results)
    notes += [
        f"{r.arm.label}: {len(r.dishes)} of {most} replicates have counts; the rest are missing."
        for r in results
        if len(r.dishes) < most
    ]
    for r in results:
        if r.range_check and r.range_check.retest:
            notes.append(f"{r.arm.label}: {r.range_check.reason} (7 CFR 201.55).")
        elif r.uneven and r.uneven.chance < table["uneven"]:
            notes.append(
                f"{r.arm.label}: replicates differ by more than chance (p = {r.uneven.chance:.3f}): look for a reason before trusting the sum."
            )
        if r.fates["hard"] and not r.arm.data.get("opens"):
            notes.append(
                f"{r.arm.label}: {r.fates['hard']} seeds stayed hard and unswollen, a sign of a watertight coat."
            )
        if len(r.did) > 2:
            notes.append(f"{r.arm.label}: too few seeds to tell whether it germinated.")
    if within and within.chance < table["uneven"]:
        notes.append(
            "Dishes differ within arms by more than chance: the comparison of arms, which counts seeds one by one, is too sure."
        )
    if not fitting:
        notes.append(
            "No single kind of dormancy fits every arm: the lot may be mixed, or an arm went wrong. See what speaks against each."
        )
    return notes
