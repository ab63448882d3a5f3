"""What a species' own protocols say for and against one step, and whether they overrule what the rules chose.

Two works that counted and found a step of no use, or one lot on which it failed and something else worked, veto it: it is never
a required step. Anything less is dissent: it stands at the step, and what one source found needless may be left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import span
from rousewort.planning.facts import Facts
from rousewort.planning.protocols import (
    CAME_UP_PCT,
    FAILED_PCT,
    HELPS,
    WORKED_PCT,
    Course,
    Phase,
    ranked,
)

VETO_WORKS = 2  # independent works that counted, to strike a step
UNNEEDED = "unneeded"  # the vote of a source whose seed came up without
OUTWEIGHED = 3  # independent works for a step, which one work against does not overturn


class Verdict(NamedTuple):
    """What the species' own works say of one step. `against`: who says what against it; `needless`: untreated seed came up."""

    vetoed: bool = False
    optional: bool = False
    needless: bool = False
    against: tuple[str, ...] = ()
    sources: tuple[Mapping[str, Any], ...] = ()


NONE = Verdict()


class Own:
    """The own evidence of one species on each kind of treatment."""

    def __init__(self, kb: KnowledgeBase, name: str) -> None:
        self.kb, self.vocabulary = kb, kb.vocabulary
        self.courses = ranked(kb, name)  # best supported first
        self._verdicts: dict[str, Verdict] = {}

    def verdict(self, kind: str) -> Verdict:
        if kind not in self._verdicts:
            self._verdicts[kind] = self._judge(kind) if self.courses else NONE
        return self._verdicts[kind]

    def speaks(self, phase: Phase, kind: str) -> bool:
        """Whether a phase is about a kind: the same one, the same season, or its group where the source tells no more."""
        if phase.kind == kind:
            return True
        group = self.vocabulary.kinds.group(kind)
        if phase.group != group:
            return False
        season = self.vocabulary.files["treatment_groups"].get(group, {}).get("season")
        return bool(season) or phase.kind in self.vocabulary.files["report_kinds"]

    def _judge(self, kind: str) -> Verdict:
        for_it, against, counted, bare = set[str](), dict[str, str](), set[str](), dict[str, str]()
        contrast, cited = False, []
        for course in self.courses:
            came_up = self._came_up_without(course, kind)
            if came_up:
                bare[self.who(course)] = came_up
                cited.append(course)
            for phase in course.phases:
                if not self.speaks(phase, kind) or phase.vote is None:
                    continue
                if phase.vote in HELPS:
                    if not came_up and not course.doubted:
                        for_it |= course.works
                elif phase.vote == UNNEEDED or not self._helped(course, kind):  # else only so much of it did not
                    cited.append(course)
                    against[self.who(course)] = self.vocabulary.found[phase.found]["label"]
                    if course.tried and not course.doubted:
                        counted |= course.works
                        contrast = contrast or self._failed(course, phase)
        if not against and not bare:
            return NONE
        vetoed = bool(against) and (
            (len(counted) >= VETO_WORKS and len(counted) > len(for_it)) or (contrast and len(for_it) < OUTWEIGHED)
        )
        optional = vetoed or bool(bare) or len(for_it) < OUTWEIGHED * len(against)
        said = tuple(f"{who}: {what}" for who, what in {**against, **bare}.items())
        sources = tuple({k: c.protocol[k] for k in ("source", "held") if k in c.protocol} for c in cited)
        return Verdict(vetoed, optional, bool(bare), said, sources)

    def _helped(self, course: Course, kind: str) -> bool:
        return any(phase.vote in HELPS and self.speaks(phase, kind) for phase in course.phases)

    def _came_up_without(self, course: Course, kind: str) -> str:
        """What to say where seed came up without this kind: an untreated lot, a table's row of no days, a range that starts there."""
        group = self.vocabulary.kinds.group(kind)
        bare = course.untreated is not None and course.untreated >= CAME_UP_PCT and course.varied in (None, group)
        if bare and not course.doubted and course.untreated is not None:
            return f"{round(course.untreated)} % came up without it"
        for phase in course.given():
            helps = phase.vote in HELPS and self.speaks(phase, kind)  # that none was tried too says nothing
            if helps and (span(phase.told.get("days")) or {}).get("low") == 0:
                return "from no days upward, by lot"
        return ""

    def _failed(self, course: Course, phase: Phase) -> bool:
        """Whether on this lot the step failed where something else worked."""
        others = [other for other in course.phases if other is not phase and self.vocabulary.kinds.wakes(other.kind)]
        worked = any(other.vote == HELPS[0] for other in others) or (course.treated or 0) > WORKED_PCT
        helped = any(other.vote in HELPS for other in others)
        return phase.vote != UNNEEDED and helped and worked and (course.untreated or 0) < FAILED_PCT

    def who(self, course: Course) -> str:
        return cited(self.kb, course.source)

    def reported(self, kind: str, facts: Facts) -> bool:
        """Whether anybody reports this very kind of the species or its genus."""
        if any(phase.kind == kind for course in self.courses for phase in course.phases):
            return True
        doses = self.kb.store.group("genus", facts.genus)["doses"] if facts.genus else ()
        asked = [key for key, response in self.vocabulary.responses.items() if response["kinds"] == [kind]]
        answered = (known.basis in ("species", "genus") for key in asked for known in facts.of(key))
        return any(dose["kind"] == kind for dose in doses) or any(answered)

    def found_to_work(self) -> frozenset[str]:
        """Kinds that helped where the species' own seed was counted."""
        return frozenset(p.kind for c in self.courses if c.tried for p in c.phases if p.vote in HELPS)

    def silent_on(self, kind: str) -> tuple[Course, ...]:
        """Sourced protocols that tell what to do, or by which most seed came up, and do not tell of this kind, where no other of the
        species' own does. An experiment that only varied something else says nothing by its silence."""
        if any(self.speaks(phase, kind) for course in self.courses for phase in course.phases):
            return ()
        sourced = [course for course in self.courses if course.source and not course.doubted]
        return tuple(c for c in sourced if self._advises(c) or max(c.treated or 0, c.untreated or 0) > WORKED_PCT)

    def _advises(self, course: Course) -> bool:
        return not course.tried and bool(course.phases) and all(phase.vote in HELPS for phase in course.phases)


def own(kb: KnowledgeBase, name: str) -> Own:
    """The own evidence of a species, worked out once."""
    if ("own", name) not in kb.memo:
        kb.memo["own", name] = Own(kb, name)
    made: Own = kb.memo["own", name]
    return made


def cited(kb: KnowledgeBase, source: str | None) -> str:
    """A work in two words: author and year; common practice where nobody is named."""
    if source is None:
        return "common practice"
    work = kb.sources.get(source, {})
    named = " ".join(str(work[key]) for key in ("author", "year") if key in work)
    return named or source


def line(course: Course, kb: KnowledgeBase) -> str:
    """What a protocol does, in one line: `cold and moist 60–90 days, sow`; what it found of no use is not in it."""
    parts = []
    for phase in course.given():
        label = kb.treatments.get(phase.kind, {}).get("label", phase.kind.replace("_", " "))
        days = span(phase.told.get("days"))
        parts.append(f"{label} {_days(days)}" if days else label)
    return ", ".join([*parts, kb.treatments[kb.vocabulary.kinds.last]["label"]])


def _days(days: Mapping[str, Any]) -> str:
    low, high = days["low"], days["high"]
    if low is None:
        return f"up to {high} days"
    return f"{low} days" if low == high else f"{low} days or more" if high is None else f"{low}–{high} days"
