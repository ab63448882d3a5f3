"""How far plans agree with what was published: every claim of a source is tried against a plan made without it.

A claim is what one source says of one species: give a kind of treatment or leave it, and for how long. A plan agrees
if it has the step, or has not; a step that it calls optional counts half.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from rousewort.base.parallel import map_on_cores
from rousewort.knowledge.kinds import Kinds
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.protocols import treatments
from rousewort.planning.amounts import quantile
from rousewort.planning.plan import Plan, Planner


@dataclass(frozen=True)
class Claim:
    """What one source says of one species. `give`: treatment → True (give it) or False (leave it).
    `days`: treatment → (low, high) of lengths that it found or recommends."""

    species: str
    source: str
    give: dict[str, bool]
    days: dict[str, tuple[float, float]]


@dataclass
class Judged:
    """One claim beside the plan made without it."""

    claim: Claim
    basis: str
    dormancy: str | None
    gives: dict[str, float]
    days: dict[str, tuple[float, float, float] | None]
    others: dict[str, set[bool]] = field(default_factory=dict)


def claims(kb: KnowledgeBase, species: str) -> list[Claim]:
    """The claims of each source on a species, doubtful protocols left out."""
    record = kb.taxon(species) or {}
    votes: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    spans: dict[str, dict[str, list[tuple[float, float]]]] = defaultdict(lambda: defaultdict(list))
    for protocol in record.get("protocols", ()):
        if protocol.get("low_standing") or "source" not in protocol:
            continue
        for treatment in treatments(protocol, kb.vocabulary):
            for what in kb.vocabulary.kinds.claims:
                if kb.vocabulary.kinds.group(treatment["kind"]) != what or treatment.get("low_standing"):
                    continue
                meaning = kb.vocabulary.found[treatment["found"]]
                if meaning["vote"]:
                    votes[protocol["source"]][what].append(meaning["vote"])
                days = treatment.get("days")
                if meaning["vote"] in ("needed", "helps") and days and (days["high"] or days["low"]):
                    low = days["low"] if days["low"] is not None else days["high"]
                    high = days["high"] if days["high"] is not None else days["low"]
                    if high > 0:
                        spans[protocol["source"]][what].append((low, high))
    return [
        Claim(
            species,
            source,
            {what: any(v in ("needed", "helps") for v in cast) for what, cast in votes[source].items()},
            {what: (min(s[0] for s in found), max(s[1] for s in found)) for what, found in spans[source].items()},
        )
        for source in sorted(votes)
    ]


def gives(kinds: Kinds, plan: Plan, what: str) -> float:
    """1 if the plan gives the treatment, ½ if it calls it optional, 0 if not."""
    steps = [s for s in plan.steps if kinds.claim(s.kind, s.removes) == what]
    return 0.0 if not steps else 0.5 if all(s.optional for s in steps) else 1.0


def planned_days(kinds: Kinds, plan: Plan, what: str) -> tuple[float, float, float] | None:
    """(low, use, high) of the longest such step of the plan, or None."""
    found = [s.amounts["days"] for s in plan.steps if s.kind in kinds.indoors(what) and "days" in s.amounts]
    if not found:
        return None
    longest = max(found, key=lambda a: a.use)
    low, high = (longest.use if end is None else end for end in (longest.low, longest.high))  # an open end
    return low, longest.use, high


def judge(planner: Planner, claim: Claim, others: list[Claim]) -> Judged:
    """The plan that `planner` (which must not know the claim's source) makes, beside the claim."""
    match = Match(
        claim.species,
        claim.species,
        "accepted",
        genus=claim.species.split()[0],
        family=_family(planner.kb, claim.species),
    )
    plan = planner.plan_for(match)
    return Judged(
        claim,
        plan.basis["kind"],
        plan.dormancy["class"],
        {what: gives(planner.kb.vocabulary.kinds, plan, what) for what in claim.give},
        {what: planned_days(planner.kb.vocabulary.kinds, plan, what) for what in claim.days},
        {what: {c.give[what] for c in others if what in c.give} for what in claim.give},
    )


def _family(kb: KnowledgeBase, species: str) -> str | None:
    record = kb.taxon(species)
    return record["family"] if record else kb.genus_family(species.split()[0])


def leave_sources_out(
    kb: KnowledgeBase, engine: str = "plain", progress: Callable[[int, int], None] | None = None
) -> list[Judged]:
    """Judge every claim on a species that at least two sources describe by the plan made without its source."""
    tasks: dict[str, list[tuple[Claim, list[Claim]]]] = defaultdict(list)
    for name in kb.names():
        if len(found := claims(kb, name)) >= 2:
            for claim in found:
                tasks[claim.source].append((claim, [other for other in found if other.source != claim.source]))
    judged = []
    for done, group in enumerate(map_on_cores(Planner, (kb, engine), _leave_out, sorted(tasks.items()), least=10), 1):
        if progress:
            progress(done, len(tasks))
        judged += group
    return judged


def _leave_out(known: Planner, task: tuple[str, list[tuple[Claim, list[Claim]]]]) -> list[Judged]:
    source, group = task
    planner = Planner(known.kb.without(source=source), known.engine)
    return [judge(planner, claim, others) for claim, others in group]


def from_traits_alone(kb: KnowledgeBase, engine: str = "plain") -> list[Judged]:
    """Judge every claim by the plan made from traits alone: all protocols, and what was inferred, withheld."""
    tasks = [
        (c, [o for o in found if o is not c]) for name in kb.names() for found in [claims(kb, name)] for c in found
    ]
    return list(map_on_cores(_without_reports, (kb, engine), _judge_one, tasks))


def _without_reports(kb: KnowledgeBase, engine: str) -> Planner:
    return Planner(kb.without(protocols=True), engine)


def _judge_one(planner: Planner, task: tuple[Claim, list[Claim]]) -> Judged:
    return judge(planner, *task)


def pairs_of_sources(kb: KnowledgeBase) -> tuple[dict[str, tuple[int, int]], tuple[int, int]]:
    """How often two sources on one species agree: treatment → (agree, pairs); lengths of cold overlapping, pairs."""
    agree: dict[str, list[int]] = {what: [0, 0] for what in kb.vocabulary.kinds.claims}
    overlap = [0, 0]
    for name in kb.names():
        found = claims(kb, name)
        for i, a in enumerate(found):
            for b in found[i + 1 :]:
                for what in set(a.give) & set(b.give):
                    agree[what][0] += a.give[what] == b.give[what]
                    agree[what][1] += 1
                if "cold" in a.days and "cold" in b.days:
                    overlap[0] += a.days["cold"][0] <= b.days["cold"][1] and b.days["cold"][0] <= a.days["cold"][1]
                    overlap[1] += 1
    return {what: (a, n) for what, (a, n) in agree.items()}, (overlap[0], overlap[1])


def _claims_in_genus(kb: KnowledgeBase, item: Judged) -> list[Claim]:
    """What every other source says of the species of a genus, the one judged among them."""
    if ("claims of genera",) not in kb.memo:
        of_genera: defaultdict[str, list[Claim]] = defaultdict(list)
        kb.memo["claims of genera",] = of_genera
        for name in kb.names():
            of_genera[name.split()[0]] += claims(kb, name)
    same = kb.memo["claims of genera",][item.claim.species.split()[0]]
    return [c for c in same if c.source != item.claim.source]


def baseline_days(
    kb: KnowledgeBase, judged: list[Judged], what: str = "cold"
) -> list[tuple[Judged, tuple[float, float, float] | None]]:
    """The plain baseline: the median length of the genus, without the source that is judged."""
    made: list[tuple[Judged, tuple[float, float, float] | None]] = []
    for item in judged:
        if what not in item.claim.days:
            continue
        spans = [c.days[what] for c in _claims_in_genus(kb, item) if what in c.days]
        if spans:
            low, high = quantile([s[0] for s in spans], 0.5), quantile([s[1] for s in spans], 0.5)
            made.append((item, (low, (low + high) / 2, high)))
        else:
            made.append((item, None))
    return made


def baseline_gives(kb: KnowledgeBase, item: Judged, what: str) -> float:
    """The plain baseline: what most claims in the genus say, without the source judged; else leave it."""
    votes = [c.give[what] for c in _claims_in_genus(kb, item) if what in c.give]
    return float(sum(votes) * 2 > len(votes)) if votes else 0.0


@dataclass(frozen=True)
class Score:
    """agreed of tried (halves for optional steps)."""

    agreed: float
    tried: int

    @property
    def share(self) -> float:
        return self.agreed / self.tried if self.tried else 0.0


def score(judged: Iterator[Judged] | list[Judged], what: str) -> Score:
    found = [(j.gives[what], j.claim.give[what]) for j in judged if what in j.claim.give]
    return Score(sum(given if wanted else 1 - given for given, wanted in found), len(found))


@dataclass(frozen=True)
class Lengths:
    """How planned lengths sit beside claimed ones. Widths are medians of high/low of ranges, ours and theirs."""

    tried: int
    use_within: int
    use_near: int
    overlap: int
    our_width: float
    their_width: float


def lengths(pairs: list[tuple[tuple[float, float, float] | None, tuple[float, float]]]) -> Lengths:
    """`use_within`: our value lies in the claimed range. `use_near`: in it widened by a sixth at each end, since most
    claims are one number of weeks or months. A plan without the step counts as a miss."""
    ours, theirs, within, near, overlap = [], [], 0, 0, 0
    for plan, (low, high) in pairs:
        theirs.append(high / max(low, 1))
        if plan is None:
            continue
        ours.append(plan[2] / max(plan[0], 1))
        within += low <= plan[1] <= high
        near += low * 5 / 6 <= plan[1] <= high * 7 / 6
        overlap += plan[0] <= high and low <= plan[2]

    def middle(values: list[float]) -> float:
        return round(quantile(values, 0.5), 2) if values else 0.0

    return Lengths(len(pairs), within, near, overlap, middle(ours), middle(theirs))


def disagreements(kb: KnowledgeBase, judged: list[Judged]) -> list[dict[str, Any]]:
    """Every claim that the plan contradicts, classed by where the fault may lie."""
    listed = []
    for item in judged:
        for what, wanted in item.claim.give.items():
            if item.gives[what] == float(wanted):
                continue
            if (not wanted) in item.others.get(what, ()):
                why = "sources disagree"
            elif _stated(kb, item.claim.species):
                why = "our rule"
            else:
                why = "our trait (lent, inferred or missing)"
            listed.append(
                {
                    "species": item.claim.species,
                    "source": item.claim.source,
                    "treatment": what,
                    "source_says": "give" if wanted else "leave",
                    "plan": {0.0: "leaves", 0.5: "optional", 1.0: "gives"}[item.gives[what]],
                    "class": item.dormancy,
                    "basis": item.basis,
                    "why": why,
                }
            )
    return listed


def _stated(kb: KnowledgeBase, species: str) -> bool:
    """Whether the species' dormancy class is stated, not inferred."""
    statements = (kb.taxon(species) or {}).get("traits", {}).get(kb.vocabulary.class_key, ())
    return any("inferred_from" not in s and not s.get("low_standing") for s in statements)


def measure(
    kb: KnowledgeBase, progress: Callable[[int, int], None] | None = None
) -> tuple[dict[str, Any], list[Judged], list[Judged]]:
    """All figures, and the judged claims behind them: sources left out in turn, then plans from traits alone."""
    left_out, alone = leave_sources_out(kb, progress=progress), from_traits_alone(kb)
    agree, overlap = pairs_of_sources(kb)
    figures: dict[str, Any] = {
        "sources": {"agree": {w: list(v) for w, v in agree.items()}, "cold_overlap": list(overlap)}
    }
    for key, judged in (("left_out", left_out), ("traits_alone", alone)):
        part: dict[str, Any] = {}
        for what in kb.vocabulary.kinds.claims:
            made = score(judged, what)
            part[what] = {"agreed": made.agreed, "tried": made.tried}
            if key == "left_out":
                base = [(baseline_gives(kb, j, what), j.claim.give[what]) for j in judged if what in j.claim.give]
                part[what]["baseline"] = sum(g if wanted else 1 - g for g, wanted in base)
        part["days"] = {
            w: vars(lengths([(j.days[w], j.claim.days[w]) for j in judged if w in j.claim.days]))
            for w in ("cold", "warm")
        }
        if key == "left_out":
            part["baseline_days"] = {
                w: vars(lengths([(p, j.claim.days[w]) for j, p in baseline_days(kb, judged, w)]))
                for w in ("cold", "warm")
            }
        part["why"] = _counted(d["why"] for d in disagreements(kb, judged))
        figures[key] = part
    figures["by_class"] = _by_class(kb, alone)
    return figures, left_out, alone


def _counted(items: Any) -> dict[str, int]:
    return dict(sorted(Counter(items).items()))


def _by_class(kb: KnowledgeBase, judged: list[Judged]) -> dict[str, Any]:
    table = {}
    for name in ("ND", "PY", "PD", "PY+PD", "MD", "MPD", None):
        of = [j for j in judged if j.dormancy == name]
        row: dict[str, Any] = {w: [score(of, w).agreed, score(of, w).tried] for w in kb.vocabulary.kinds.claims}
        row["cold_days"] = vars(lengths([(j.days["cold"], j.claim.days["cold"]) for j in of if "cold" in j.claim.days]))
        table[name or "not known"] = row
    return table
