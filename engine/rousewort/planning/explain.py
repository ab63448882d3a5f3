"""Why a step stands in a plan, or why a treatment does not: traced rule by rule to traits and their sources."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import FactKey
from rousewort.planning.evidence import GENERAL, THIS_PLANT, Evidence, of_rule
from rousewort.planning.plan import Plan
from rousewort.planning.reasons import Reasons
from rousewort.planning.rules.run import Firing
from rousewort.planning.steps import Step
from rousewort.planning.wording import fill, ground_text

_TOLD_KINDS = ("experiment", "advice", "standard")  # of evidence; what is left says itself how it is held


@dataclass(frozen=True)
class Line:
    """One line of a trace: how deep, what kind (obstacle, rule, ground, limit, fact, source, note), and its text."""

    depth: int
    kind: str
    text: str


def find_step(plan: Plan, wanted: str) -> Step:
    """The step with this id, or the first of this kind. Raises UserError naming the steps there are."""
    wanted = wanted.replace("-", "_") if wanted.replace("-", "_") in {s.kind for s in plan.steps} else wanted
    for step in plan.steps:
        if wanted in (step.id, step.kind):
            return step
    raise UserError(
        f"The plan for {plan.match.name} has no step '{wanted}'. Its steps: {', '.join(s.id for s in plan.steps) or 'none'}.\n"
        f"To ask why not: rousewort why --not '{plan.match.name}' {wanted}"
    )


def why(kb: KnowledgeBase, plan: Plan, wanted: str) -> list[Line]:
    """The trace of one step: obstacles it removes, rules that named them and offered it, facts, sources."""
    step = find_step(plan, wanted)
    lines = [Line(0, "step", f"{step.label} ({step.id})")]
    trace = _Trace(kb, plan)
    for obstacle in step.removes:
        lines.append(Line(1, "obstacle", f"removes: {kb.vocabulary.obstacles[obstacle]['label']}"))
        for firing in plan.findings.support.get(("obstacle", obstacle), ()):
            lines += trace.firing(firing, 2)
    for chosen in plan.sequence.chosen:
        if chosen.kind == step.kind and tuple(chosen.obstacles) == step.removes:
            for offer in chosen.offers:
                lines.append(Line(1, "offer", f"offered for it, standing: {offer.standing.replace('_', ' ')}"))
                for firing in offer.firings:
                    lines += trace.firing(firing, 2)
    for unit, amount in step.amounts.items():
        lines.append(Line(1, "number", f"{unit}: use {amount.use} ({amount.low}–{amount.high}), from {amount.basis}"))
        lines += trace.sources(amount.sources, 2)
        if amount.note:
            lines.append(Line(2, "note", amount.note))
    if not step.removes:
        lines.append(Line(1, "note", "Every plan has this step."))
    return lines


def why_not(kb: KnowledgeBase, plan: Plan, kind: str) -> list[Line]:
    """Why a treatment is not in the plan: ruled out, refused for want of something, outranked, or never offered."""
    kind = kind.replace("-", "_")
    if kind not in kb.treatments:
        raise UserError(f"'{kind}' is no treatment. Known: {', '.join(sorted(kb.treatments))}.")
    lines = [Line(0, "step", f"{kb.treatments[kind]['label']}: not in the plan")]
    used = [s for s in plan.steps if s.kind == kind]
    if used:
        return [Line(0, "note", f"It is in the plan, as {', '.join(s.id for s in used)}. Ask: rousewort why")]
    trace = _Trace(kb, plan)
    for refused in plan.sequence.refused:
        if refused.kind == kind:
            target = f" for {kb.vocabulary.obstacles[refused.obstacle]['label']}" if refused.obstacle else ""
            if refused.firings:
                lines.append(Line(1, "rule", f"ruled out{target}"))
                for firing in refused.firings:
                    lines += trace.firing(firing, 2)
            elif refused.lot:
                lines.append(Line(1, "note", f"does not suit the lot{target}: {refused.lot}"))
            else:
                equipment = kb.vocabulary.files["equipment"][refused.need]
                how = "--allow" if equipment.get("permission") else "--have"
                lines.append(
                    Line(1, "note", f"offered{target}, but it takes {equipment['label']} ({how} {refused.need})")
                )
    for offer in plan.findings.offers:
        winner = next((c for c in plan.sequence.chosen if offer.obstacle in c.obstacles), None)
        if offer.kind == kind and winner and winner.kind != kind:
            label = kb.vocabulary.obstacles[offer.obstacle]["label"]
            lines.append(
                Line(
                    1,
                    "note",
                    f"offered for {label}, standing {offer.standing.replace('_', ' ')}; {winner.kind.replace('_', ' ')} stands as well or better",
                )
            )
    if len(lines) == 1:
        lines.append(Line(1, "note", "no rule offers it: no obstacle that it removes was found. Obstacles found: " + (", ".join(
            kb.vocabulary.obstacles[o]["label"] for o in sorted(plan.findings.obstacles, key=kb.vocabulary.obstacle_rank.__getitem__)) or "none")))  # fmt: skip
    return lines


class _Trace:
    def __init__(self, kb: KnowledgeBase, plan: Plan) -> None:
        self.kb, self.plan = kb, plan
        self.name = plan.match.name or plan.query
        self.reasons = Reasons(kb, plan.facts, plan.findings, self.name)
        self._told: set[str] = set()

    def firing(self, firing: Firing, depth: int) -> Iterator[Line]:
        rule = firing.rule.data
        values = {"name": self.name, "toxic_note": ""}
        if rule["id"] in self._told:
            yield Line(depth, "rule", f"rule {rule['id']} (see above)")
            return
        self._told.add(rule["id"])
        status = "" if rule["status"] == "stable" else f" ({rule['status']})"
        yield Line(
            depth,
            "rule",
            f"rule {rule['id']}{status}: {self.reasons.text(firing)}",
        )
        yield Line(depth + 1, "ground", fill(rule["because"]["ground"], values))
        if status:  # of a rule that is not sure, where it may be wrong belongs to the answer
            yield from (Line(depth + 1, "limit", f"may be wrong: {limit}") for limit in rule["limits"])
        yield from (self.record(evidence, depth + 1) for evidence in of_rule(rule))
        for fact in firing.on:
            yield from self.fact(fact, depth + 1)

    def fact(self, fact: FactKey, depth: int) -> Iterator[Line]:
        known = self.plan.facts.known.get(fact)
        if known:
            yield Line(depth, "fact", ground_text(known, self.kb.vocabulary))
            shown = self.reasons.evidence(fact)
            yield from (self.record(evidence, depth + 1) for evidence in shown)
            more = len(set(known.relatives) - {evidence.name for evidence in shown})
            if known.basis != "species" and more:
                yield Line(depth + 1, "note", f"and of {more} more relative{'s' if more > 1 else ''}")
            for other in known.against:
                yield Line(
                    depth + 1,
                    "note",
                    f"but {self.kb.vocabulary.label(known.key, other['is'])}, says {other.get('source', 'common practice')}",
                )
        elif fact[1] == "unknown":
            yield Line(depth, "fact", f"{fact[0].replace('_', ' ')} is not known")
        else:
            yield Line(depth, "fact", f"{fact[0]}: {fact[1].replace('_', ' ')}")
            for firing in self.plan.findings.support.get(fact, ()):
                yield from self.firing(firing, depth + 1)

    def record(self, evidence: Evidence, depth: int) -> Line:
        """On whom, what it says, and which work says so, how it is held."""
        on = {THIS_PLANT: "on this plant", GENERAL: "in general"}.get(evidence.role, f"on {evidence.name}")
        cited = self.kb.sources[evidence.source]["citation"] if evidence.source else "common practice"
        by = "seen at the bench" if evidence.held is None else f"{cited}; {evidence.held}"
        kind = f"{evidence.kind}, " if evidence.kind in _TOLD_KINDS else ""
        return Line(depth, "source", f"{on}: {evidence.says} [{kind}{by}]")

    def sources(self, statements: tuple[Any, ...], depth: int) -> Iterator[Line]:
        for s in statements:
            cited = self.kb.sources[s["source"]]["citation"] if "source" in s else "common practice"
            inferred = f"; inferred: {self._inferred(s)}" if "inferred_from" in s else ""
            doubt = f"; counts less: {s['low_standing']}" if s.get("low_standing") else ""
            yield Line(depth, "source", f"[{cited}; {s.get('held', 'practice')}{inferred}{doubt}]")

    def _inferred(self, statement: Mapping[str, Any]) -> str:
        """From what it was inferred; the note says more than the code does."""
        label = self.kb.vocabulary.files["inferred_from"][statement["inferred_from"]]["label"]
        return f"{label} ({statement['note']})" if "note" in statement else label
