"""What came of closed batches, beside what was to be expected, and a species' own record as a source of its own.

Germination: a beta distribution. What is published (or the lot's own viability test) counts like a sowing of
`published_seeds` seeds; where nothing is published, both outcomes count like half a seed. Each closed batch of n seeds
adds its germinated and its other seeds, weighted by 1 / (1 + (n - 1) * likeness), since seeds of one batch share their
fate (the usual discount for a beta-binomial law, whose correlation is `likeness`).

Length: the mean of the planned length and the lengths given, each weighted by the seeds that germinated after it:
`published_seeds` times the expected share for the plan, the discounted germinated seeds of each batch for the rest. A
length after which little germinated so moves nothing. The numbers are in kb/vocabulary/bench.yaml (`own_record`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rousewort.base.atomic_write import write_atomically
from rousewort.base.binomial import beta_point
from rousewort.base.errors import UserError
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.names import slug
from rousewort.knowledge.protocols import came_up
from rousewort.knowledge.strict_yaml import read
from rousewort.ledger.events import Batch
from rousewort.planning.amounts import Amount
from rousewort.schedule.durations import amount

OWN = "own-record"


@dataclass(frozen=True)
class Expected:
    """The share that was to be expected, and what says so; None where nothing does. `sources`: ids of published works."""

    share: float | None
    said_by: str
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class Given:
    """A step's length in days: given, beside what the plan said."""

    step: str
    kind: str
    label: str
    days: int
    planned: Amount


@dataclass(frozen=True)
class BatchResult:
    """A sown batch that was closed. Shares are of the seeds sown; days are from sowing; None: not known."""

    batch: Batch
    expected: Expected
    share: float | None
    first: int | None
    half: int | None
    expected_days: tuple[int, int] | None
    given: tuple[Given, ...]


@dataclass(frozen=True)
class Length:
    """A step's planned length and the one that the own record makes of it, in days."""

    step: str
    label: str
    planned: int
    own: int
    tried: tuple[int, ...]


@dataclass(frozen=True)
class OwnRecord:
    """A species' own record. `share` is expected of the next batch, between `low` and `high` with probability `sure`."""

    species: str
    provenance: str
    results: tuple[BatchResult, ...]
    prior: Expected
    seeds: int
    germinated: int
    share: float
    low: float
    high: float
    sure: float
    lengths: tuple[Length, ...]
    held: str

    @property
    def citation(self) -> str:
        """How it is cited beside published sources."""
        days = [r.batch.last_day for r in self.results]
        years = f"{min(days).year}" if min(days).year == max(days).year else f"{min(days).year}–{max(days).year}"
        n = len(self.results)
        where = f", seed from {self.provenance}" if self.provenance else ""
        invented = " (invented)" if self.held == "demo" else ""
        return (
            f"Own record{invented}: {n} closed {'batch' if n == 1 else 'batches'} of {self.species}{where}, {years}, "
            f"{self.germinated} of {self.seeds} seeds germinated"
        )


def published(record: Mapping[str, Any] | None) -> Expected:
    """The mean germination after treatment in published protocols of a species; `record`: its entry."""
    shares, sources = [], set()
    for protocol in (record or {}).get("protocols", ()):
        ends = [end for end in came_up(protocol).get("treated", {}).values() if end is not None]
        if ends and protocol["source"] != OWN:
            shares.append(sum(ends) / len(ends) / 100)
            sources.add(protocol["source"])
    if not shares:
        return Expected(None, "nothing published says how much germinates")
    n = len(shares)
    return Expected(
        sum(shares) / n, f"mean of {n} published {'report' if n == 1 else 'reports'}", tuple(sorted(sources))
    )


def keep_expected(plan: Mapping[str, Any], record: Mapping[str, Any] | None) -> dict[str, Any]:
    """The plan (JSON) with what is published on germination, so that it is stored with the batch."""
    said = published(record)
    return {
        **plan,
        "expected_germination": {"share": said.share, "said_by": said.said_by, "sources": list(said.sources)},
    }


def expected_of(batch: Batch) -> Expected:
    """What was published when the batch began."""
    kept = batch.plan.get("expected_germination")
    return Expected(kept["share"], kept["said_by"], tuple(kept["sources"])) if kept else published(None)


def result_of(batch: Batch) -> BatchResult:
    """What came of a sown batch. The lot's own viability test goes before what is published."""
    expected = Expected(batch.viability, "viability of the lot") if batch.viability else expected_of(batch)
    share = batch.germinated / batch.sown if batch.sown else None
    sowing = (batch.plan["steps"][-1].get("sowing") or {}).get("expect_days")
    return BatchResult(
        batch,
        expected,
        share,
        _days_to(batch, 1),
        _days_to(batch, (batch.germinated + 1) // 2),
        (sowing["low"], sowing["high"]) if sowing else None,
        tuple(_given(batch)),
    )


def _days_to(batch: Batch, seedlings: int) -> int | None:
    so_far = 0
    for day, new in batch.counts:
        so_far += new
        if seedlings and so_far >= seedlings:
            return (day - batch.sown_on).days  # type: ignore[operator]  # what is counted was sown
    return None


def _given(batch: Batch) -> Iterator[Given]:
    for step in batch.plan["steps"][:-1]:
        planned = amount(step, "days")
        was = batch.past.get(step["id"])
        if planned and planned.use is not None and was and was.begun:
            yield Given(step["id"], step["kind"], step["label"], was.days, planned)


def own_record(batches: Iterable[Batch], species: str, habits: Mapping[str, Any], provenance: str = "") -> OwnRecord:
    """The record of one species (and one provenance, if named) from its closed batches of known size.

    Raises UserError where there is none.
    """
    closed = [
        b for b in batches
        if b.species == species and b.ended and b.ended.kind == "close" and b.sown and provenance in ("", b.provenance)
    ]  # fmt: skip
    if not closed:
        of = f" with seed from {provenance}" if provenance else ""
        raise UserError(f"No closed batch of {species}{of} says how many of how many seeds germinated.")
    results, printed = tuple(result_of(b) for b in closed), expected_of(closed[-1])
    ahead = habits["published_seeds"] if printed.share is not None else 1
    prior = printed.share if printed.share is not None else 0.5
    weighted = [(_weight(b.sown or 1, habits["likeness"]), b) for b in closed]
    good = prior * ahead + sum(w * b.germinated for w, b in weighted)
    bad = (1 - prior) * ahead + sum(w * ((b.sown or 0) - b.germinated) for w, b in weighted)
    good, bad = max(good, 1e-3), max(bad, 1e-3)  # a published 0 or 100 % is no certainty
    tail = (1 - habits["sure"]) / 2
    return OwnRecord(
        species=species,
        provenance=provenance,
        results=results,
        prior=printed,
        seeds=sum(b.sown or 0 for b in closed),
        germinated=sum(b.germinated for b in closed),
        share=good / (good + bad),
        low=beta_point(good, bad, tail),
        high=beta_point(good, bad, 1 - tail),
        sure=habits["sure"],
        lengths=tuple(_lengths(results, prior * habits["published_seeds"], habits["likeness"])),
        held="demo" if any(b.held == "demo" for b in closed) else "read",
    )


def _weight(seeds: int, likeness: float) -> float:
    return 1 / (1 + (seeds - 1) * likeness)


def _lengths(results: tuple[BatchResult, ...], planned_weight: float, likeness: float) -> Iterator[Length]:
    """For each step of the latest batch's plan that has a length in days."""
    for now in results[-1].given:
        tried = [(g.days, r.batch) for r in results for g in r.given if g.step == now.step]
        weights = [_weight(b.sown or 1, likeness) * b.germinated for _, b in tried]
        total = now.planned.use * planned_weight + sum(w * days for w, (days, _) in zip(weights, tried, strict=True))
        own = round(total / (planned_weight + sum(weights))) if planned_weight + sum(weights) else now.planned.use
        yield Length(now.step, now.label, now.planned.use, own, tuple(days for days, _ in tried))


def with_own_lengths(plan: Mapping[str, Any], record: OwnRecord) -> dict[str, Any]:
    """A plan (JSON) with its lengths moved by the own record, which stands among its sources as one of its own."""
    own = {length.step: length for length in record.lengths}
    steps = [
        _moved(step, own[step["id"]]) if step["id"] in own and step.get("days") else step for step in plan["steps"]
    ]
    source = {"id": OWN, "citation": record.citation, "held": record.held}
    return {**plan, "steps": steps, "sources": [*plan["sources"], source]}


def _moved(step: Mapping[str, Any], length: Length) -> Mapping[str, Any]:
    planned, use = amount(step, "days"), length.own
    if planned is None or planned.use != length.planned or use == length.planned:
        return step
    low = None if planned.low is None else min(planned.low, use)
    high = None if planned.high is None else max(planned.high, use)
    span = Amount(low, use, high, OWN).to_json()
    said = f"By your own record {use} days, where published sources make it {length.planned}."
    because = {
        "text": said,
        "rule": OWN,
        "facts": [f"given before: {', '.join(map(str, length.tried))} days"],
        "sources": [OWN],
    }
    return {**step, "days": span, "do": [said, *step["do"]], "because": [*step["because"], because]}


def protocols(record: OwnRecord, source: str) -> list[dict[str, Any]]:
    """One protocol a batch, in the form of the knowledge base. Without an untreated control nobody knows what a length raised:
    it says nothing of what was found."""
    made = []
    for result in record.results:
        batch = result.batch
        protocol: dict[str, Any] = {"id": f"batch-{slug(batch.code)}", "source": source, "held": record.held}
        protocol |= {"where": f"batch {batch.code}", "design": "uncontrolled"}
        if batch.provenance:
            protocol["lot"] = {"provenance": batch.provenance}
        phases = [{"kind": g.kind, "days": g.days, "length_basis": "only_tried"} for g in result.given if g.days > 0]
        if phases:
            protocol["phases"] = phases
        protocol["results"] = [{"germinated_pct": round(100 * (result.share or 0), 1)}]
        protocol["note"] = f"{batch.germinated} of {batch.sown} seeds germinated; sown {batch.sown_on}."
        made.append(protocol)
    return made


def write_protocols(folder: Any, record: OwnRecord, family: str, nursery: str) -> list[Any]:
    """Put the protocols into a private knowledge base, as an entry that adds to the one beneath. Returns the files made.

    Raises UserError where that species has a file there already (nothing is overwritten).
    """

    source = f"own-record-{slug(nursery)}"
    entry = Path(folder) / "species" / slug(record.species.split()[0]) / f"{slug(record.species)}.yaml"
    if entry.exists():
        raise UserError(f"{entry} is there already. Add these protocols by hand, or name another folder.")
    cited = Path(folder) / "sources.yaml"
    sources = dict(read(cited.read_bytes(), str(cited)).data) if cited.exists() else {}
    invented = " (invented)" if record.held == "demo" else ""
    sources.setdefault(source, {"citation": f"{nursery}: own germination records{invented}"})
    data = {
        "name": record.species,
        "rank": "species",
        "family": family,
        "adds_to": record.species,
        "protocols": protocols(record, source),
    }
    write_atomically(cited, dump(dict(sorted(sources.items()))).encode())
    write_atomically(entry, dump(data).encode())
    return [cited, entry]
