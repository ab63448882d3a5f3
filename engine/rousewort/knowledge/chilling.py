"""What reports say of how much cold a seed needs, as how well each kind of need fits them.

A lot of seed is taken to be of one of fifty types: the share of it that comes up unchilled (u), the days of cold after which half
of the rest does (`half`), and whether long cold harms it. Germination after d days of cold, as a share of what the lot can do, is

    u + (1 - u) · Φ((ln d - ln half) / 0.35),

falling, in a type that cold harms, from half as much again as it needed. What one work reports on one species is one study; how
well a type fits it is kept as -10 · ln of its likelihood beside that of the best type, a whole number up to MISFIT. Studies are
compared within themselves only: dormant lots were given longer chills, so pooled percentages mislead.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from itertools import product
from math import erf, exp, inf, log, sqrt
from typing import Any, NamedTuple

from rousewort.knowledge.protocols import Protocol, degrees, span, treatments, waits
from rousewort.knowledge.vocabulary import Vocabulary

SPREAD = 0.35  # of ln days within a lot
HALVES = (14.0, 28.0, 45.0, 60.0, 90.0, 120.0, 180.0, inf)  # inf: no cold wakes it
D90 = exp(1.2816 * SPREAD)  # days until nine tenths are ready, in days until half are
HARM_FROM, HARM_DAYS = 30.0, 150.0  # harm begins no earlier; the share left falls to 1/e in so many days
HARMED = 0.02  # the fit to trials alone gives 1 to 3 in 100
MISFIT = 60  # at most
LIKELY = tuple(exp(-misfit / 10) for misfit in range(MISFIT + 1))  # misfit → likelihood
# Several seeds of one lot tell less than as many lots would: so correlated are they, as if at most a dozen.
WITHIN = 0.08
USUAL_SOWN = 50  # where a per cent is given and no count
# Shares of a lot that can germinate at all, and how common they are.
ABLE = ((0.1, 0.1), (0.3, 0.13), (0.5, 0.17), (0.7, 0.2), (0.85, 0.2), (0.97, 0.2))
# How likely a source is to say so of a type, by u. Fixed: nobody counted; their order is what matters.
SAID = {
    "needed": {0.0: 1.0, 0.3: 0.5, 0.7: 0.1, 1.0: 0.02},
    "helps": {0.0: 1.0, 0.3: 1.0, 0.7: 0.6, 1.0: 0.1},
    "advised": {0.0: 1.0, 0.3: 0.9, 0.7: 0.6, 1.0: 0.3},
    "unneeded": {0.0: 0.05, 0.3: 0.25, 0.7: 0.8, 1.0: 1.0},
    "useless": {0.0: 0.1, 0.3: 0.25, 0.7: 0.8, 1.0: 1.0},
    "harmful": {0.0: 0.05, 0.3: 0.2, 0.7: 0.8, 1.0: 1.0},
}
HELD_STANDS = {"read": 1.0, "table": 1.0, "memory": 0.7, "practice": 0.4, "demo": 0.4}
REPORTED_WITHIN = 0.5  # of ln days: how near a length that worked is to the days until nine tenths are ready
WARMEST = 12.0  # °C: above it seed is not chilled


class Type(NamedTuple):
    """`u`: share that comes up unchilled; `half`: days of cold until half of the rest does; `harm`: whether long cold harms."""

    u: float
    half: float
    harm: bool

    @property
    def needs(self) -> bool:
        """Whether cold wakes what of it would not come up without."""
        return self.u < 1.0 and self.half < inf

    @property
    def word(self) -> str:
        """Its column in the table: `u0_45`, `u30_never_harm`."""
        if self.u == 1.0:
            return "u100_harm" if self.harm else "u100"
        return (
            f"u{round(self.u * 100)}_{'never' if self.half == inf else round(self.half)}{'_harm' if self.harm else ''}"
        )


TYPES: tuple[Type, ...] = (
    *(Type(u, half, harm) for u, half, harm in product((0.0, 0.3, 0.7), HALVES, (False, True))),
    Type(1.0, inf, False),
    Type(1.0, inf, True),
)


def even() -> list[float]:
    """Shares of the types before anything is known: alike by u and by days, and harm as rare as HARMED."""
    by_u = {u: sum(kind.u == u for kind in TYPES) / 2 for u in {kind.u for kind in TYPES}}
    return [(HARMED if kind.harm else 1 - HARMED) / by_u[kind.u] / len(by_u) for kind in TYPES]


@cache
def germinated(kind: Type, days: float) -> float:
    """Share of what the lot can do that comes up after so many days of cold."""
    ready = kind.u + (1.0 - kind.u) * reached(kind.half, days)
    if kind.harm:
        begins = max(HARM_FROM, 1.5 * kind.half if kind.half < inf else HARM_FROM)
        ready *= exp(-max(0.0, days - begins) / HARM_DAYS)
    return ready


def reached(half: float, days: float) -> float:
    """Share that so many days of cold are enough for, of seed of which half needs `half` days."""
    if days <= 0 or half == inf:
        return 0.0
    return 0.5 * (1.0 + erf((log(days) - log(half)) / SPREAD / 2**0.5))


class Tried(NamedTuple):
    """One length of a series: days of cold, share germinated, seeds sown."""

    days: float
    share: float
    sown: float


def curves(protocol: Protocol, vocabulary: Vocabulary) -> Iterator[list[Tried]]:
    """The series of a protocol in which only the days of cold differ; [] where it is no such trial."""
    phases = [phase for phase in protocol.get("phases", ()) if phase["kind"] != vocabulary.kinds.last]
    cold = [phase for phase in phases if vocabulary.kinds.group(phase["kind"]) == "cold"]
    if len(cold) != 1 or not _chills(cold[0]):
        return
    if waits(protocol):
        columns = list(protocol.get("columns", ()))
        if "cold_days" in columns:
            for result in protocol["results"]:
                if series := _series(result.get("rows", ()), columns):
                    yield series
        return
    days = span(cold[0].get("days"))
    if len(phases) > 1 or not days:  # what else was done to it would count as cold
        return
    whole = _middle(days)
    series = [
        Tried(0.0 if result.get("untreated") else whole, _middle(share) / 100, USUAL_SOWN)
        for result in protocol.get("results", ())
        if set(result) <= {"untreated", "germinated_pct"} and (share := span(result.get("germinated_pct")))
    ]
    if len({point.days for point in series}) > 1:
        yield series


def _chills(phase: Mapping[str, Any]) -> bool:
    """Whether the phase is cold enough, as far as it says."""
    warmth = degrees(phase.get("temperature_c"))
    ends = [end for end in (warmth or {}).values() if isinstance(end, (int, float))]
    return not ends or min(ends) <= WARMEST


def _ends(span: Mapping[str, Any] | None) -> tuple[float, float] | None:
    """Both ends of a span, an open one taken as the other; None where neither is said."""
    given = [end for end in ((span or {}).get("low"), (span or {}).get("high")) if end is not None]
    return (float(given[0]), float(given[-1])) if given else None


def _middle(span: Mapping[str, Any]) -> float:
    low, high = _ends(span) or (0.0, 0.0)
    return (low + high) / 2


def _series(rows: Iterable[Sequence[Any]], columns: list[str]) -> list[Tried]:
    made = []
    for row in rows:
        told = dict(zip(columns, row, strict=False))
        days, sown = span(told.get("cold_days")), told.get("sown")
        if not days:
            continue
        if told.get("germinated") is not None and sown:
            living = max(told.get("sound") or sown, told["germinated"])
            made.append(Tried(_middle(days), told["germinated"] / living, living))
        elif share := span(told.get("germinated_pct")):
            made.append(Tried(_middle(days), _middle(share) / 100, USUAL_SOWN))
    return made if len({point.days for point in made}) > 1 else []


def _of_series(series: Sequence[Tried]) -> list[float]:
    """ln likelihood of each type, the share that can germinate at all left open: it is the series' own."""
    weights = [point.sown / (1 + (point.sown - 1) * WITHIN) / _repeats(series, point) for point in series]
    made = []
    for kind in TYPES:
        total = 0.0
        for able, common in ABLE:
            fit = 0.0
            for point, weight in zip(series, weights, strict=True):
                p = min(max(able * germinated(kind, point.days), 0.01), 0.99)
                fit += weight * (point.share * log(p) + (1 - point.share) * log(1 - p))
            total += common * exp(fit)
        made.append(log(max(total, 1e-300)))
    return made


def _repeats(series: Sequence[Tried], point: Tried) -> float:
    """Replicates of one length are worth more than one, and less than as many."""
    return sqrt(sum(other.days == point.days for other in series))


def _of_report(found: str, vote: str | None, days: Mapping[str, Any] | None) -> list[float] | None:
    """ln likelihood of each type by what a source says of a phase of cold: whether it was needed, and how long."""
    said = SAID.get("advised" if found == "advised" else vote or "")
    if said is None:
        return None
    ends = _ends(days)
    worked = vote in ("needed", "helps")
    made = []
    for kind in TYPES:
        fit = log(said[kind.u])
        if not worked and kind.half == inf and kind.u < 1.0:
            fit = log(0.5)  # nothing wakes it, cold neither
        elif worked and kind.half == inf and kind.u < 1.0:
            fit += log(0.05)
        elif worked and kind.needs and ends and ends[1] > 0:
            fit += _near(log(kind.half * D90), log(max(ends[0], 1.0)), log(ends[1]))
        made.append(fit)
    return made


def _near(wanted: float, low: float, high: float) -> float:
    """ln of how well days until nine tenths are ready fit a range that worked; far off, it counts no further."""
    off = max(low - wanted, wanted - high, 0.0) / REPORTED_WITHIN
    return max(-0.5 * off * off, -3.0)


def studies(record: Mapping[str, Any], vocabulary: Vocabulary) -> Iterator[dict[str, Any]]:
    """What each work reports of cold for one taxon.

    Shape: {"source", "held", "stands": 0 to 1, "fits": one number a type, "longest": days that it tried or found, or null,
    "curve": whether it counted seed at several lengths}.
    """
    series: dict[str, list[list[float]]] = defaultdict(list)
    said: dict[str, list[list[float]]] = defaultdict(list)
    longest: dict[str, float] = {}
    first: dict[str, Protocol] = {}
    stands: dict[str, float] = {}
    for protocol in record.get("protocols", ()):
        work = protocol.get("source", "")
        found = [_of_series(one) for one in curves(protocol, vocabulary)]
        lengths = [point.days for one in curves(protocol, vocabulary) for point in one]
        series[work] += found
        for treatment in treatments(protocol, vocabulary) if not found else ():
            if vocabulary.kinds.group(treatment["kind"]) != "cold":
                continue
            vote = vocabulary.found[treatment["found"]]["vote"]
            report = _of_report(treatment["found"], vote, treatment.get("days"))
            if report is not None:
                said[work].append(report)
                if vote in ("needed", "helps") and treatment.get("days"):
                    lengths.append(max(end for end in treatment["days"].values() if end is not None))
        if series[work] or said[work]:
            first.setdefault(work, protocol)
            standing = HELD_STANDS.get(protocol["held"], 0.4) * (0.5 if protocol.get("low_standing") else 1.0)
            stands[work] = max(standing, stands.get(work, 0.0))
            longest[work] = max([longest.get(work, 0.0), *lengths])
    for work, protocol in first.items():
        total = [sum(column) for column in zip(*map(_mean, filter(None, (series[work], said[work]))), strict=True)]
        best = max(total)
        yield {
            **{key: protocol[key] for key in ("source", "held") if key in protocol},
            "stands": stands[work],
            "fits": [min(MISFIT, round(10 * (best - fit))) for fit in total],
            "longest": longest[work] or None,
            "curve": bool(series[work]),
        }


def _mean(rows: list[list[float]]) -> list[float]:
    """Several series of one work are one study of one lot, or little more."""
    return [sum(column) / len(rows) for column in zip(*rows, strict=True)]
