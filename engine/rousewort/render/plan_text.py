"""All that a plan says, as text for a terminal: the sheet (render/sheet_text.py) is what a hand works from. Decides nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rousewort.planning.plan import Plan
from rousewort.planning.sheet import read_as
from rousewort.planning.steps import Step
from rousewort.planning.sureness import sure_of
from rousewort.planning.wording import amount_text, temperature_text
from rousewort.render.terminal import Page


def render(plan: Plan, page: Page) -> str:
    """The plan, top to bottom: what it is, the steps, what else could be done, what is not known, sources."""
    _head(plan, page)
    if plan.outcome != "plan":
        page.heading(
            {"laboratory": "No bench plan", "unreachable": "Not reachable as things are", "unknown": "Not known"}[
                plan.outcome
            ]
        )
        page.each(plan.advice)
    if plan.splits:
        page.heading("Since relatives differ")
        page.each(f"{split['text']} {_command(plan, split['observed'])}" for split in plan.splits)
    for number, step in enumerate(plan.steps, 1):
        _step(step, number, page)
    _others(plan, page)
    _rest(plan, page)
    return page.text()


def _head(plan: Plan, page: Page) -> None:
    name = plan.match.name or plan.query
    page.say(page.bold(name) + (f"  ({plan.family})" if plan.family and plan.family != name else ""))
    for said in read_as(plan):
        page.say(said, code="2")
    page.say(f"Dormancy: {plan.dormancy['words']}")
    sure = f"{round(plan.basis['confidence'] * 100)} %" if plan.basis["confidence"] else "not measured"
    page.say(f"How sure: {sure}. {plan.basis['note']}")
    page.each(f"{sure.claim}: {sure.figure or 'not measured'}; {sure.rests_on}." for sure in sure_of(plan))
    page.each(plan.cautions, bullet="! ", code="33")


def _others(plan: Plan, page: Page) -> None:
    """Whose protocol it is, and what others did with the species."""
    works = {source["id"]: source["citation"] for source in plan.sources}
    if plan.follows:
        page.heading("Follows")
        page.each(works.get(source, source) for source in plan.follows["sources"] or ["common practice"])
        page.each(plan.follows["changed"], 2)
    if plan.others:
        page.heading("What others did")
        for other in plan.others:
            page.say(
                f"{other['line']}{_came(other)} ({works.get(other['source'], other['source'] or other['kind'])})",
                bullet="- ",
            )


def _came(other: Mapping[str, Any]) -> str:
    came = [f"{other['germinated_pct']} % came up"] if other["germinated_pct"] is not None else []
    came += [f"{other['untreated_pct']} % without"] if other["untreated_pct"] is not None else []
    return f": {', '.join(came)}" if came else ""


def _step(step: Step, number: int, page: Page) -> None:
    numbers = [
        f"{amount_text(a, unit)} {'' if 'seconds' in amount_text(a, unit) else unit}".strip()
        for unit, a in step.amounts.items()
    ]
    if step.temperature:
        numbers.append(temperature_text(step.temperature))
    title = f"{number}. {step.label[:1].upper()}{step.label[1:]}" + (f": {', '.join(numbers)}" if numbers else "")
    page.heading(title + ("  (optional)" if step.optional else ""))
    if step.only_if:
        page.say(f"Only if {step.only_if}.", 3)
    page.each(step.do, 3)
    if step.medium:
        page.say(f"Medium: {step.medium}.", 3)
    page.say(f"Until: {step.until}.", 3)
    page.say(f"It worked if: {step.success}", 3)
    page.each((f"Watch: {text}" for text in step.watch), 3, bullet="")
    page.each(step.cautions, 3, bullet="! ", code="33")
    page.each((f"Why: {reason.text}" for reason in step.because), 3, bullet="", code="2")
    froms = {a.basis for a in step.amounts.values()} - {"species"}
    if froms:
        words = {
            "genus": "its genus",
            "class": "its class of dormancy",
            "treatment": "general practice",
            "species": "the species",
        }
        page.say(
            "Numbers from " + " and ".join(sorted(words[f] for f in froms)) + ", not from reports on the species.",
            3,
            code="2",
        )


def _rest(plan: Plan, page: Page) -> None:
    if plan.unmet:
        page.heading("Left undone")
        page.each(f"{item['label']}: {item['because']}" for item in plan.unmet)
    if plan.alternatives:
        page.heading("Instead")
        page.each(alternative.text for alternative in plan.alternatives)
    if plan.ruled_out:
        page.heading("Not used")
        page.each(f"{item['kind'].replace('_', ' ')}: {_refusal(item)}" for item in plan.ruled_out)
    named = [u.split(":")[0] for u in plan.unknowns]
    traits = [
        n.replace("_", " ")
        for n in named
        if not n.startswith("reported_") and n not in ("season_order", "class_known_from")
    ]
    if traits:
        page.heading("Not known")
        reports = len(named) - len(traits)
        page.say(", ".join(traits) + (f"; and no reports on {reports} kinds of treatment." if reports else "."))
    if plan.sources:
        page.heading("Sources")
        marks = {"memory": "  (from memory, to be checked)", "practice": "  (common practice)"}
        for role, words in _ROLES.items():  # nearest first, as they come
            works = [source for source in plan.sources if source["role"] == role]
            if works:
                page.say(words)
                page.each(f"{source['citation']}{marks.get(source['held'], '')}" for source in works)


_ROLES = {"this plant": "On this plant:", "relative": "On its relatives:", "general": "In general:"}


def _refusal(item: Mapping[str, Any]) -> str:
    """Why not, with the option that would change it."""
    options = "".join(f" (--{how} {word})" for how, words in item.get("when", {}).items() for word in words)
    return f"{item['because'].removesuffix('.')}{options}." if options else item["because"]


def _command(plan: Plan, observed: Mapping[str, str]) -> str:
    words = " ".join(f"--observed {key}={word}" for key, word in observed.items())
    return f"That plan: rousewort plan '{plan.match.query}' {words}"
