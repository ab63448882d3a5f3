"""A species' own protocols as a plan can follow them: each whole, with what it gives, what it speaks against, and what came of it.

A protocol that tells sequence from alternative, or leaves no doubt about it, is a course. What is not, is a fragment: evidence
only about what it varied. The numbers of support are those of a first proposal, round, and no published limits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import Protocol, came_up, found, span, waits, works_of
from rousewort.knowledge.vocabulary import Vocabulary

HELPS = ("needed", "helps")
CAME_UP_PCT = 70  # untreated seed of which so much came up needs nothing
FAILED_PCT, WORKED_PCT = 10, 50  # on one lot: what fails and what works
GAIN_STEP_PCT, GAIN_LEAST, GAIN_MOST = 20, -2.0, 3.0
FEW_SEEDS, SEEDS_MOST = 25, 2.0
NORMAL = 1.96  # standard errors to the end of a 95 % interval
AGREE_MOST, CONTRADICTS, DOUBTED, NO_NUMBER = 3, -2.0, -3.0, -1.0


class Phase(NamedTuple):
    """One phase of a protocol: its kind and group, what its source found of it and the vote that this casts, and the phase as written."""

    kind: str
    group: str | None
    found: str
    vote: str | None
    told: Mapping[str, Any]

    @property
    def given(self) -> bool:
        """Whether somebody who follows the source does it."""
        return self.vote is None or self.vote in HELPS


class Course(NamedTuple):
    """One protocol. `phases`: all but sowing, in order; `ordered`: whether that order is the order of doing; `ground`: experiment,
    advice, standard or practice; `treated` and `untreated`: per cent that came up; `seeds`: how many were counted;
    `days`: until seedlings showed, {low, high}; `varied`: the group of treatments that its rows vary."""

    protocol: Protocol
    phases: tuple[Phase, ...]
    ordered: bool
    ground: str
    design: float
    treated: float | None
    untreated: float | None
    seeds: int
    days: Mapping[str, Any] | None = None
    varied: str | None = None

    @property
    def source(self) -> str | None:
        source: str | None = self.protocol.get("source")
        return source

    @property
    def works(self) -> frozenset[str]:
        return frozenset(works_of(self.protocol)) or frozenset({self.protocol["id"]})

    @property
    def doubted(self) -> bool:
        return "low_standing" in self.protocol

    @property
    def tried(self) -> bool:
        """Whether it counted seed rather than advised."""
        return self.design > 1

    def given(self) -> tuple[Phase, ...]:
        return tuple(phase for phase in self.phases if phase.given)


def courses(kb: KnowledgeBase, name: str) -> tuple[Course, ...]:
    """Every protocol of a species; none of a genus or family."""
    if ("courses", name) not in kb.memo:
        record = kb.taxon(name) or {}
        own = record.get("protocols", ()) if record.get("rank") == "species" else ()
        kb.memo["courses", name] = tuple(read(protocol, kb.vocabulary) for protocol in own)
    made: tuple[Course, ...] = kb.memo["courses", name]
    return made


def ranked(kb: KnowledgeBase, name: str) -> tuple[Course, ...]:
    """The same, best supported first."""
    if ("ranked courses", name) not in kb.memo:
        every = courses(kb, name)
        kb.memo["ranked courses", name] = tuple(
            sorted(every, key=lambda course: -support(course, every, kb.vocabulary))
        )
    made: tuple[Course, ...] = kb.memo["ranked courses", name]
    return made


def read(protocol: Protocol, vocabulary: Vocabulary) -> Course:
    kinds = vocabulary.kinds
    written = [phase for phase in protocol.get("phases", ()) if phase["kind"] != kinds.last]
    phases = tuple(_phase(protocol, phase, vocabulary) for phase in written)
    design = vocabulary.files["protocol"]["design"].get(protocol.get("design"))
    ground, weight = (design["evidence"], design["support"]) if design else _unsaid(protocol, phases, vocabulary)
    if waits(protocol):
        varied, untreated, treated, seeds = _rows(protocol, phases, vocabulary)
    else:
        share = came_up(protocol)
        treated, untreated, varied = _middle(share.get("treated")), _middle(share.get("untreated")), None
        seeds = _seeds(protocol)
    days = next((span(result["days"]) for result in protocol.get("results", ()) if "days" in result), None)
    ordered = protocol.get("order") is None or _unambiguous(phases, vocabulary)
    return Course(protocol, phases, ordered, ground, weight, treated, untreated, seeds, days, varied)


def _phase(protocol: Protocol, told: Mapping[str, Any], vocabulary: Vocabulary) -> Phase:
    word = found(protocol, told, vocabulary)
    return Phase(told["kind"], vocabulary.kinds.group(told["kind"]), word, vocabulary.found[word]["vote"], told)


def _unsaid(protocol: Protocol, phases: Sequence[Phase], vocabulary: Vocabulary) -> tuple[str, float]:
    """Ground and weight where the source tells no design: counted, or only said."""
    designs = vocabulary.files["protocol"]["design"]
    counted = protocol.get("results") or any("found" in phase.told for phase in phases) or "found" in protocol
    word = "practice" if "source" not in protocol else "uncontrolled" if counted else "advice"
    return designs[word]["evidence"], designs[word]["support"]


def _middle(share: Mapping[str, Any] | None) -> float | None:
    if share is None:
        return None
    low, high = share["low"], share["high"]
    return float(high if low is None else low if high is None else (low + high) / 2)


def _seeds(protocol: Protocol) -> int:
    test = protocol.get("test", {})
    sown = max((result.get("sown", 0) for result in protocol.get("results", ())), default=0)
    return sown or int(test.get("replicates", 1)) * int(test.get("seeds_each", 0))


def _unambiguous(phases: Sequence[Phase], vocabulary: Vocabulary) -> bool:
    """Whether phases that nobody put in order can only be done in one: at most one way of doing each thing, and seasons as written.

    Two ways to the same end are alternatives; what stands beside a season and may replace it (a signal) is one too.
    """
    groups = vocabulary.files["treatment_groups"]
    given = [phase for phase in phases if phase.given]
    once = [phase.group for phase in given if not groups.get(phase.group or "", {}).get("season")]
    seasons = any(groups.get(phase.group or "", {}).get("season") for phase in given)
    replaces = seasons and any(groups.get(phase.group or "", {}).get("may_replace_season") for phase in given)
    return len(once) == len(set(once)) and not replaces and not _two_ways_to_one_season(given, groups)


def _two_ways_to_one_season(given: Sequence[Phase], groups: Mapping[str, Any]) -> bool:
    """Whether two phases of one season stand side by side that are no parts of it: other kinds, or nothing tells them apart."""
    for one, other in pairwise(given):
        if one.group == other.group and groups.get(one.group or "", {}).get("season"):
            warmth, other_warmth = one.told.get("temperature_c"), other.told.get("temperature_c")
            if one.kind != other.kind or None in (warmth, other_warmth) or warmth == other_warmth:
                return True
    return False


# --- rows of a table: germination against the length of one phase


def _rows(
    protocol: Protocol, phases: Sequence[Phase], vocabulary: Vocabulary
) -> tuple[str | None, float | None, float | None, int]:
    """(group that is varied, per cent without it, per cent at its best length, seeds): medians over what else was varied."""
    varied = [phase.group for phase in phases if phase.told.get("days") == "varied"]
    if len(varied) != 1:
        return None, None, None, 0
    without, best, seeds = [], [], 0
    for result in protocol.get("results", ()):
        at: dict[float, list[float]] = {}
        for length, share, sown in _cells(protocol, result, vocabulary):
            at.setdefault(length, []).append(share)
            seeds += sown
        means = {length: sum(shares) / len(shares) for length, shares in at.items()}
        if 0 in means and len(means) > 1:
            without.append(means[0])
        if means:
            best.append(max(share for length, share in means.items() if length or len(means) == 1))
    return varied[0], _median(without), _median(best), seeds


def _median(shares: list[float]) -> float | None:
    return sorted(shares)[len(shares) // 2] if shares else None


def _cells(protocol: Protocol, result: Mapping[str, Any], vocabulary: Vocabulary) -> Iterator[tuple[float, float, int]]:
    """(length, per cent germinated, seeds sown) of each row that gives the first two."""
    words = vocabulary.files["protocol"]["columns"]
    columns = result.get("columns") or protocol.get("columns", ())
    place = {column: number for number, column in enumerate(columns)}
    length = next((place[column] for column in columns if words[column].get("length")), None)
    for row in result.get("rows", ()) if length is not None else ():
        cell = {column: row[number] for column, number in place.items() if number < len(row)}
        share, sown = cell.get("germinated_pct"), cell.get("sown") or cell.get("sound")
        if share is None and sown and cell.get("germinated") is not None:
            share = 100 * cell["germinated"] / sown
        if isinstance(share, (int, float)) and isinstance(row[length], (int, float)):
            yield row[length], float(share), int(sown or 0)


def sprouted(course: Course, kind: str, vocabulary: Vocabulary) -> Iterator[int]:
    """Days by which seed had sprouted in a phase of this kind, as far as a protocol tells."""
    for phase in course.phases:
        if phase.kind == kind and "first_day" in phase.told.get("sprouting", {}):
            yield phase.told["sprouting"]["first_day"]
    if not any(phase.kind == kind and phase.told.get("days") == "varied" for phase in course.phases):
        return
    words = vocabulary.files["protocol"]["columns"]
    for result in course.protocol.get("results", ()):
        columns = result.get("columns") or course.protocol.get("columns", ())
        length = next((n for n, column in enumerate(columns) if words[column].get("length")), None)
        early = [n for n, column in enumerate(columns) if words[column].get("within")]
        for row in result.get("rows", ()):
            if length is not None and row[length] and any(n < len(row) and row[n] for n in early):
                yield int(row[length])


# --- how well a course is supported


def support(course: Course, every: Sequence[Course], vocabulary: Vocabulary) -> float:
    """How well a course is supported among all of its species: design, gain over the control, seeds, and who agrees."""
    given = {phase.group for phase in course.given() if vocabulary.kinds.wakes(phase.kind)}
    agree, contradict = set[str](), set[str]()
    for other in every:
        if other.works & course.works:
            continue
        theirs = {phase.group for phase in other.given() if vocabulary.kinds.wakes(phase.kind)}
        if theirs == given and given:
            agree |= other.works
        elif other.tried and any(phase.group in given and not phase.given for phase in other.phases):
            contradict |= other.works
    score = course.design + _gain(course) + min(len(agree), AGREE_MOST) + CONTRADICTS * len(contradict)
    score += min(max(math.log10(course.seeds / FEW_SEEDS), 0), SEEDS_MOST) if course.seeds else 0
    numbered = all(_numbered(phase) for phase in course.given() if vocabulary.kinds.wakes(phase.kind))
    return score + DOUBTED * course.doubted + (0 if numbered else NO_NUMBER)


def _numbered(phase: Phase) -> bool:
    return "end_sign" in phase.told or any(unit in phase.told for unit in ("days", "hours", "minutes"))


def _gain(course: Course) -> float:
    """The lower bound of the gain over the control, in steps; nothing where the one or the other is not told."""
    if course.treated is None or course.untreated is None or not course.seeds:
        return 0.0
    share, arm = course.treated / 100, max(1, course.seeds // 2)
    low = 100 * (share - NORMAL * math.sqrt(share * (1 - share) / arm))
    return min(max((low - course.untreated) / GAIN_STEP_PCT, GAIN_LEAST), GAIN_MOST)
