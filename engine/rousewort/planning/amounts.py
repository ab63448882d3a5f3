"""The only chooser of numbers: how long, how warm.

From the most specific evidence: reports on the species, else on its genus, else the published span for its class and
level, else the treatment in general. A report says what its number is; only the best rank of it is used. Days of cold are a
decision (rousewort.planning.need) within what the species' own published reports say.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from rousewort.knowledge.cases import holds
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import UNITS
from rousewort.knowledge.summary import ground
from rousewort.planning.facts import Facts
from rousewort.planning.need import length, need


class Amount(NamedTuple):
    """A range and the value to use. `basis`: species, genus, class or treatment; `sources`: what it rests on."""

    low: float | None
    use: Any
    high: float | None
    basis: str
    sources: tuple[Mapping[str, Any], ...] = ()
    note: str = ""

    def to_json(self) -> dict[str, Any]:
        return {"low": self.low, "use": self.use, "high": self.high, "from": self.basis}


class StepAmounts(NamedTuple):
    """Amounts of one step by unit; `way` where the treatment can be done in several."""

    amounts: Mapping[str, Amount]
    temperature: Amount | None
    way: str | None = None


def quantile(values: Sequence[float], q: float) -> float:
    """Linear interpolation between order statistics (type 7)."""
    ordered = sorted(values)
    place = (len(ordered) - 1) * q
    low = int(place)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (ordered[high] - ordered[low]) * (place - low)


def step_amounts(
    kb: KnowledgeBase, facts: Facts, kind: str, obstacles: Sequence[str], lean: str | None = None
) -> StepAmounts:
    """Numbers for one treatment of one plant. `lean`: "short" for mild winters and winter annuals, "long" for cold homes."""
    treatment = kb.treatments[kind]
    unit = treatment.get("measures")
    evidence = _evidence(kb, facts, kind, obstacles)
    if treatment.get("irreversible"):  # what was only tried is no measure for what cannot be undone
        evidence = [(basis, [d for d in doses if d["found"] != "tried"]) for basis, doses in evidence]
    way = None
    if ways := kb.vocabulary.kinds.ways(kind):
        way, evidence = _way(evidence, ways, treatment["usual_way"])
        unit = ways[way]["measures"]
    amounts: dict[str, Amount] = {}
    if unit:
        most = treatment.get("at_most", {}).get(unit)
        if kind in kb.vocabulary.kinds.indoors("cold") and unit == "days" and not _turn(kb, obstacles):
            amount: Amount | None = _cold(kb, facts, evidence, _row(treatment, facts, obstacles, unit), lean)
        else:
            amount = reported(kb, facts, kind, obstacles, evidence, way, lean)
        if amount:
            amounts[unit] = _capped(amount, most, unit)
    return StepAmounts(amounts, _temperature(kb, treatment, evidence, facts, obstacles, way), way)


def reported(
    kb: KnowledgeBase,
    facts: Facts,
    kind: str,
    obstacles: Sequence[str],
    evidence: list[tuple[str, list[dict[str, Any]]]] | None = None,
    way: str | None = None,
    lean: str | None = None,
) -> Amount | None:
    """The upper quartile of what the nearest reports say, else the published span."""
    treatment = kb.treatments[kind]
    unit = kb.vocabulary.kinds.ways(kind)[way]["measures"] if way else treatment["measures"]
    evidence = _evidence(kb, facts, kind, obstacles) if evidence is None else evidence
    amount = _from_reports(kb, evidence, unit, lean, treatment.get("at_most", {}).get(unit))
    return amount or _from_table(treatment, facts, obstacles, unit, way, lean)


def _cold(
    kb: KnowledgeBase,
    facts: Facts,
    evidence: list[tuple[str, list[dict[str, Any]]]],
    row: Mapping[str, Any] | None,
    lean: str | None,
) -> Amount:
    """Days of cold: the length from which most is expected (rousewort.planning.need), but within what was found on the species,
    else within what is published for it, and no shorter than any found needed. What use leaves, the range holds and the note says."""
    known = need(kb, facts)
    best = length(known, lean)
    ranks: dict[str, int] = {word: told["rank"] for word, told in kb.vocabulary.found.items()}
    own = [span for span in _spans(evidence[0][1], "days") if ranks[span[2]["found"]] < ranks["tried"]]
    own = [span for span in own if not span[2]["doubtful"]] or own
    if own:
        found = [span for span in own if ranks[span[2]["found"]] < ranks["advised"]]
        bound = found or [span for span in own if "source" in span[2]] or [(best.use, best.use, {})]
        low, high = min(low for low, _, _ in bound), max(high for _, high, _ in bound)
        needed = [low for low, _, dose in bound if dose.get("found") and ranks[dose["found"]] == ranks["needed"]]
        least = (min if lean == "short" else max)(needed) if needed else low
        use = max(min(max(best.use, low), high), least)
        left = [span for span in own if not low <= span[0] <= high or not low <= span[1] <= high]
        left = [span for span in left if not span[0] <= use <= span[1]]
        low, high = min(low, *(span[0] for span in left), use), max(high, *(span[1] for span in left), use)
        sources = tuple(ground(dose) for _, _, dose in own)
        return Amount(round(low), round(use), round(high), "species", sources, _leaves(left, bool(found)))
    for basis, studies in (("species", known.own), ("genus", known.kin)):
        if told := [study for study in studies if study["longest"]]:
            return Amount(*best, basis, tuple(map(ground, told)))
    if row and {"class", "level"} & row.keys():
        use = min(max(best.use, row["days"]["low"]), row["days"]["high"])
        return Amount(row["days"]["low"], use, row["days"]["high"], *_row_ground(row))
    return Amount(*best, "class" if facts.dormancy else "treatment", ({"held": "practice"},))


def _leaves(left: list[tuple[float, float, dict[str, Any]]], found: bool) -> str:
    """Why a length is not one that the species' own sources give; empty where none is left."""
    if not left:
        return ""
    said = " and ".join(sorted({f"{low:g}" if low == high else f"{low:g} to {high:g}" for low, high, _ in left}))
    why = (
        "what was found on it goes before what is advised"
        if found
        else "more is expected of this, by all reports on it"
    )
    return f"{said} days are advised for it too; {why}"


def _turn(kb: KnowledgeBase, obstacles: Sequence[str]) -> str | None:
    """Which of two cold seasons is meant, where an obstacle says."""
    known = kb.vocabulary.obstacles
    return next((known[o]["turn"] for o in known if o in obstacles and "turn" in known[o]), None)


def _evidence(
    kb: KnowledgeBase, facts: Facts, kind: str, obstacles: Sequence[str]
) -> list[tuple[str, list[dict[str, Any]]]]:
    """Reported doses of this kind, by how near they are: (species, own), (genus, relatives).

    A relative counts if its dormancy is of the same class and level, as far as both are known.
    """
    turn = _turn(kb, obstacles)
    record = kb.taxon(facts.name) or {}
    own = (kb.store.summary(facts.name) or {}).get("doses", []) if record.get("rank") == "species" else []
    relatives: list[dict[str, Any]] = []
    if facts.genus:
        dormancy, level = facts.dormancy, facts.level
        relatives = [
            d
            for d in kb.store.group("genus", facts.genus)["doses"]
            if d["kind"] == kind
            and d["species"] != facts.name
            and (not dormancy or d["class"] in (None, dormancy))
            and (not level or d["level"] in (None, level))
        ]
        relatives += (kb.store.summary(facts.genus) or {}).get("doses", [])
    strength = kb.treatments[kind].get("strength_pct_from", 0)
    return [(basis, _usable(found, kind, turn, strength)) for basis, found in (("species", own), ("genus", relatives))]


def _usable(doses: Iterable[dict[str, Any]], kind: str, turn: str | None, strength: float) -> list[dict[str, Any]]:
    kept = [d for d in doses if d["kind"] == kind and d.get("strength_pct", 100) >= strength]
    if turn:
        kept = [d for d in kept if d.get("turn", turn) == turn]
    return kept


def _way(
    evidence: list[tuple[str, list[dict[str, Any]]]], ways: Mapping[str, Mapping[str, Any]], usual: str
) -> tuple[str, list[tuple[str, list[dict[str, Any]]]]]:
    """Each way is a treatment of its own: the nearest evidence that says which decides. Relatives lend only some."""
    for basis, doses in evidence:
        able = [way for way, told in ways.items() if basis == "species" or told["lent"]]
        said = [d["way"] for d in doses if d.get("way") in able and any(u in d for u in UNITS)]
        if said:
            way = max(set(said), key=lambda w: (said.count(w), w))
            return way, [(basis, [d for d in found if d.get("way") == way]) for basis, found in evidence]
    return usual, [(basis, []) for basis, _ in evidence]


def _spans(doses: list[dict[str, Any]], unit: str) -> list[tuple[float, float, dict[str, Any]]]:
    """(low, high, dose); an open end is taken as the other end. Doses of nothing are no doses."""
    spans = []
    for d in doses:
        low, high = d.get(unit, {}).get("low"), d.get(unit, {}).get("high")
        if low is None and high is None:
            continue
        low, high = (high if low is None else low), (low if high is None else high)
        if high > 0:
            spans.append((low, high, d))
    return spans


def _from_reports(
    kb: KnowledgeBase, evidence: list[tuple[str, list[dict[str, Any]]]], unit: str, lean: str | None, most: float | None
) -> Amount | None:
    ranks = kb.vocabulary.found
    for basis, doses in evidence:
        spans = _spans(doses, unit)
        if basis != "species" and most is not None:  # years in a store, found in a relative, are no length to lend
            spans = [s for s in spans if s[0] <= most]
        if not spans:
            continue
        if basis == "species":  # relatives are pooled whole: one good trial of one of them says little of the rest
            spans = [s for s in spans if not s[2]["doubtful"]] or spans
            best = min(ranks[d["found"]]["rank"] for _, _, d in spans)
            spans = [s for s in spans if ranks[s[2]["found"]]["rank"] == best]
        return _pooled(spans, basis, lean, unit)
    return None


def _pooled(spans: list[tuple[float, float, dict[str, Any]]], basis: str, lean: str | None, unit: str) -> Amount:
    """The span of the evidence and the value to use: its upper quartile, unless the lot leans short or long."""
    lows, highs = [s[0] for s in spans], [s[1] for s in spans]
    low, high = (min(lows), max(highs)) if len(spans) < 4 else (quantile(lows, 0.25), quantile(highs, 0.75))
    ends = [end for s in spans for end in (s[0], s[1])]
    # Err long among lots of one species; among relatives the middle, since they differ in kind and not by lot.
    usual = 0.75 if basis == "species" else 0.5
    use = quantile(ends, {"short": 0.25, "long": 1.0}.get(lean or "", usual))
    sources = tuple(ground(d) for _, _, d in spans)
    return Amount(_tidy(low, unit), _tidy(min(max(use, low), high), unit), _tidy(high, unit), basis, sources)


def _capped(amount: Amount, most: float | None, unit: str) -> Amount:
    """No longer than the treatment allows in general, whatever a report did; the note keeps what it did."""
    if most is None or amount.high is None or amount.high <= most:
        return amount
    note = f"reports go up to {amount.high} {unit}; more than {most} is not advised"
    return amount._replace(low=min(amount.low or most, most), use=min(amount.use, most), high=most, note=note)


def _tidy(value: float | None, unit: str) -> float | int | None:
    if value is None:
        return None
    return round(value) if unit == "days" or value >= 10 or value == int(value) else round(value, 2)


def _from_table(
    treatment: Mapping[str, Any], facts: Facts, obstacles: Sequence[str], unit: str, way: str | None, lean: str | None
) -> Amount | None:
    if way != treatment.get("usual_way"):
        return None  # the table is of the usual way; of another no source says how long
    row = _row(treatment, facts, obstacles, unit)
    if row is None:
        return None
    span = row[unit]
    use = span[{"short": "low", "long": "high"}.get(lean or "", "use")]
    return Amount(span["low"], use, span["high"], *_row_ground(row))


def _row_ground(row: Mapping[str, Any]) -> tuple[str, tuple[Mapping[str, Any], ...], str]:
    """Basis, sources and note of a row of the treatment's table."""
    basis = "class" if "class" in row or "level" in row else "treatment"
    sources = tuple({"source": s["id"], "held": s["held"]} for s in row.get("sources", ()))
    return basis, sources or ({"held": row.get("held", "practice")},), row.get("note", "")


def _row(treatment: Mapping[str, Any], facts: Facts, obstacles: Sequence[str], unit: str) -> Mapping[str, Any] | None:
    """The first row of the treatment's table that fits obstacle, class and level."""
    dormancy = facts.dormancy
    levels = {facts.word(key) for key in facts.vocabulary.level_keys}
    for row in treatment.get("ranges", ()):
        if unit not in row or ("for" in row and not set(row["for"]) & set(obstacles)):
            continue
        if row.get("class", dormancy) != dormancy:
            continue
        if "level" not in row or row["level"] in levels:
            found: Mapping[str, Any] = row
            return found
    return None


def _temperature(
    kb: KnowledgeBase,
    treatment: Mapping[str, Any],
    evidence: list[Any],
    facts: Facts,
    obstacles: Sequence[str],
    way: str | None,
) -> Amount | None:
    for basis, doses in evidence:
        found = [d for d in doses if "temperature_c" in d and not d["doubtful"]]
        # A limit is no temperature to pool, and the parts of one season are none of each other's.
        found = [d for d in found if None not in d["temperature_c"].values() and not d.get("later_part")]
        if found:
            return _cooled(_pooled_temperature(found, basis), treatment)
    unit = treatment.get("measures")
    row = _row(treatment, facts, obstacles, unit) if unit else None
    table = (row or {}).get("temperature_c") or _by_case(treatment, facts) or treatment.get("temperature_c")
    if not table or (way and way != treatment["usual_way"]):
        return None
    sources = tuple({"source": s["id"], "held": s["held"]} for s in table.get("sources", ()))
    return Amount(
        table["low"], table["use"], table["high"], "treatment", sources or ({"held": table.get("held", "practice")},)
    )


def _cooled(amount: Amount, treatment: Mapping[str, Any]) -> Amount:
    """No hotter than the treatment allows, unless a report on the species itself says so."""
    most = treatment.get("at_most", {}).get("temperature_c")
    if (
        most is None
        or amount.basis == "species"
        or amount.high is None
        or amount.high <= most
        or isinstance(amount.use, Mapping)
    ):
        return amount
    return amount._replace(low=min(amount.low, most), use=min(amount.use, most), high=most)


def _by_case(treatment: Mapping[str, Any], facts: Facts) -> Mapping[str, Any] | None:
    """How warm, by the first case of the treatment that holds for what is known of the seed."""
    known = facts.keys()
    return next(
        (case["temperature_c"] for case in treatment.get("warmth", ()) if holds(case, known, frozenset())), None
    )


def _pooled_temperature(doses: list[dict[str, Any]], basis: str) -> Amount:
    """Fixed temperatures and ranges are pooled; one day/night pair is kept as such."""
    sources = tuple(ground(d) for d in doses)
    pairs = [d["temperature_c"] for d in doses if "day" in d["temperature_c"]]
    flat = [d["temperature_c"] for d in doses if "low" in d["temperature_c"]]
    if pairs and len(pairs) >= len(flat):
        nights, days = [p["night"] for p in pairs], [p["day"] for p in pairs]
        use = {"day": round(quantile(days, 0.5)), "night": round(quantile(nights, 0.5))}
        return Amount(min(nights), use, max(days), basis, sources)
    lows = [t["low"] if t["low"] is not None else t["high"] for t in flat]
    highs = [t["high"] if t["high"] is not None else t["low"] for t in flat]
    middle = quantile([(low + high) / 2 for low, high in zip(lows, highs, strict=True)], 0.5)
    return Amount(_degrees(min(lows)), _degrees(middle), _degrees(max(highs)), basis, sources)


def _degrees(value: float) -> float | int:
    return int(value) if value == int(value) else round(value, 1)
