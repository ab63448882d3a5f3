"""Trial designs and results as text for a terminal. Decides nothing."""

from __future__ import annotations

from rousewort.observe.measures import Interval
from rousewort.observe.result import ArmResult, TrialResult
from rousewort.observe.trial import Design
from rousewort.render.terminal import Page


def render_design(plan: Design, page: Page) -> str:
    page.say(page.bold(f"A trial for {plan.plant}"))
    page.say(
        f"{len(plan.arms)} arms of {plan.seeds} seeds in {plan.dishes} dishes: {plan.total} seeds, {plan.start} to {plan.end}."
    )
    page.say(
        f"So many seeds give an interval no wider than {100 * plan.width:.0f} points, and tell {100 * plan.low:.0f} % from "
        f"{100 * plan.high:.0f} % in {100 * plan.power:.0f} of 100 trials (exact test, Holm's correction)."
    )
    page.heading("Still undecided")
    page.each(plan.undecided, 2)
    for planned in plan.arms:
        page.heading(planned.arm.label[:1].upper() + planned.arm.label[1:])
        page.say(planned.arm.do, 2)
        page.each(
            (
                f"{s.kind.replace('_', ' ')}: {s.first} to {s.last}"
                + (f", {s.temperature_c:g} °C" if s.temperature_c is not None else "")
                for s in planned.seasons
            ),
            2,
        )
        page.say(f"Looks: {len(planned.looks)}, first {planned.looks[0]}, last {planned.looks[-1]}.", 2)
        page.say(f"Why: {planned.because}", 2, code="2")
    if plan.unsettled:
        page.heading("What this trial will not settle")
        page.each(plan.unsettled, 2)
    if plan.notes:
        page.heading("Note")
        page.each(plan.notes, 2)
    page.heading("Keep to it")
    page.each(
        [
            "Draw the seeds for every dish at random from the mixed lot, and label the dish before it is filled.",
            "At each look take out and count what has a root of 2 mm, pot it, and note its shoot when that comes. Write 0 where you saw none.",
            "At the last look cut what is left: hard, firm, rotten or empty.",
            "Gloves and a covered medium; never keep poisonous seed in a food fridge. Blades: cut away from the hand.",
        ],
        2,
    )
    return page.text()


def _interval(interval: Interval) -> str:
    return f"{100 * interval.low:.0f}–{100 * interval.high:.0f}"


def _days(value: float | None) -> str:
    return "–" if value is None else f"{value:.0f}" if value >= 100 else f"{value:.1f}"


def _row(r: ArmResult) -> str:
    chance = "–" if r.chance is None else "<0.001" if r.chance < 0.001 else f"{r.chance:.3f}"
    shoots = f"{100 * r.shoots.share:.0f}" if r.shoots else "–"
    g = r.roots
    return (
        f"{r.arm.label[:21]:<21} {f'{g.germinated}/{g.seeds}':>8} {100 * g.share:>4.0f} {_interval(g.wilson):>7} {shoots:>6} "
        f"{_days(g.mean_time):>6} {_days(g.t50):>6} {g.speed:>6.2f} {chance:>7}"
    )


def render_result(result: TrialResult, page: Page) -> str:
    page.heading("Germination of filled seed (roots)")
    page.lines.append(
        f"{'arm':<21} {'seeds':>8} {'%':>4} {'95 %':>7} {'shoots':>6} {'mean d':>6} {'T50 d':>6} {'speed':>6} {'p':>7}"
    )
    page.lines += [_row(r) for r in result.arms]
    page.say(
        "95 %: Wilson's interval. shoots: % of filled seed. mean d, T50 d: days from the start of the arm, treatment included. speed: seeds a day. "
        "p: Fisher's exact test against the control, Holm's correction.",
        code="2",
    )
    page.heading("Replicates and ungerminated seed")
    for r in result.arms:
        each = ", ".join(f"{d.roots.germinated}/{d.roots.filled}" for d in r.dishes)
        fates = ", ".join(f"{n} {name}" for name, n in r.fates.items() if n)
        even = "" if r.uneven is None else f"; chance of such differences {r.uneven.chance:.2f}"
        table = f"; {r.range_check.reason}" if r.range_check and r.range_check.limit is not None else ""
        page.say(f"{r.arm.label}: {each}{even}{table}. Left: {fates or 'none'}.", 2, "- ")
    if result.within:
        page.say(
            f"Dishes within arms, all together: deviance {result.within.deviance:.2f} on {result.within.freedom} degrees of "
            f"freedom, chance {result.within.chance:.3f}.",
            2,
        )
    silent = dict.fromkeys(r.range_check.reason for r in result.arms if r.range_check and r.range_check.limit is None)
    if silent:
        page.say(f"Tolerated ranges of 7 CFR 201.55 do not apply: {next(iter(silent))}.", 2, code="2")
    page.heading("Dormancy that fits")
    page.each((v.label for v in result.fitting), 2) if result.fitting else page.say(
        "None of the kinds in the table.", 2
    )
    page.heading("Ruled out")
    page.each((f"{v.label}: {'; '.join(v.against[:2])}" for v in result.verdicts if v.against), 2)
    if result.notes:
        page.heading("Note")
        page.each(result.notes, 2, code="33")
    if result.settled:
        page.heading("Settled")
        page.each((f"{t.replace('_', ' ')}: {w.replace('_', ' ')}" for t, w in result.settled.items()), 2)
    if result.unsettled:
        page.heading("What would tell the rest apart")
        page.each(result.unsettled, 2)
    return page.text()
