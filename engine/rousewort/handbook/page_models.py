"""What a page shows of an entry and its plan: facts and protocols laid out for templates. Chooses nothing, words little."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import treatments
from rousewort.planning.plan import Plan
from rousewort.planning.sheet import Sheet
from rousewort.render.protocol_text import lot_text, phase_texts, result_tables, result_texts, span_text
from rousewort.schedule.model import Schedule

_YEAR = re.compile(r"^(.{3,70}?\b(?:1[6-9]|20)\d\d[a-z]?)\b")
HALF_A_YEAR = 182
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def short_citation(citation: str) -> str:
    """Author and year where the citation has them, else its beginning."""
    found = _YEAR.match(citation)
    if found:
        return found[1]
    return citation if len(citation) <= 60 else citation[:58].rsplit(" ", 1)[0] + " …"


def day_text(day: date) -> str:
    return f"{day.day} {MONTHS[day.month - 1]}"


def statement(kb: KnowledgeBase, key: str, fact: Mapping[str, Any]) -> dict[str, Any]:
    """One statement of a trait: its words, where it is from and how it is held."""
    value = kb.vocabulary.label(key, fact["is"]) if "is" in fact else span_text(dict(fact), "")
    return {"value": value, **origin(kb, fact)}


def origin(kb: KnowledgeBase, fact: Mapping[str, Any]) -> dict[str, Any]:
    """Where a fact is from: source id or None, its short citation, how held, and all that qualifies it."""
    source = fact.get("source")
    citation = kb.sources[source]["citation"] if source in kb.sources else None
    return {
        "source": source,
        "cited": short_citation(citation) if citation else None,
        "held": kb.vocabulary.files["held"][fact["held"]]["label"] if "held" in fact else None,
        "inferred_from": kb.vocabulary.files["inferred_from"].get(fact.get("inferred_from"), {}).get("label"),
        **{key: fact.get(key) for key in ("where", "note", "low_standing")},
    }


def traits(kb: KnowledgeBase, record: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What an entry states of its seed, in the order of the vocabulary."""
    stated = record.get("traits", {})
    return [
        {"key": key, "means": trait["means"], "statements": [statement(kb, key, fact) for fact in stated[key]]}
        for key, trait in kb.vocabulary.traits.items()
        if key in stated
    ]


def protocols(kb: KnowledgeBase, record: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Every protocol of an entry: what was done, what came up, who says so."""
    return [
        {
            "done": phase_texts(kb, protocol),
            "came": result_texts(kb, protocol),
            "tables": result_tables(kb, protocol),
            "lot": lot_text(kb, protocol.get("lot", {})),
            "not_read": "order" in protocol,
            **{key: protocol.get(key) for key in ("said", "quoting")},
            **origin(kb, protocol),
        }
        for protocol in record.get("protocols", ())
    ]


def lengths(kb: KnowledgeBase, record: Mapping[str, Any], plan: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Published lengths by kind of treatment and source, beside what the plan uses; shares of one scale in percent.

    Only kinds for which two sources or more give days, so that there is something to compare.
    """
    found: dict[str, list[dict[str, Any]]] = {}
    for protocol in record.get("protocols", ()):
        for treatment in treatments(protocol, kb.vocabulary):
            span = treatment.get("days")
            if span and span.get("high") is not None:
                low = span["low"] if span.get("low") is not None else span["high"]
                row = {
                    "low": low,
                    "high": span["high"],
                    "means": kb.vocabulary.found[treatment["found"]]["label"],
                    **origin(kb, protocol),
                }
                found.setdefault(treatment["kind"], []).append(row)
    plots = []
    for kind, rows in found.items():
        if len({row["source"] for row in rows}) < 2:
            continue
        uses = [step["days"] for step in plan["steps"] if step["kind"] == kind and "days" in step]
        top = max([row["high"] for row in rows] + [use["use"] or 0 for use in uses] + [1])
        for row in rows:
            row["left"], row["width"] = _share(row["low"], top), max(_share(row["high"] - row["low"], top), 1.5)
        marks = [{"days": use["use"], "left": _share(use["use"], top)} for use in uses if use["use"] is not None]
        plots.append({"kind": kind, "label": kb.treatments[kind]["label"] if kind in kb.treatments else kind.replace("_", " "),
                      "rows": sorted(rows, key=lambda row: (row["low"], row["high"], row["cited"] or "")), "marks": marks, "top": top})  # fmt: skip
    return plots


def disagreements(kb: KnowledgeBase, record: Mapping[str, Any], plan: Plan) -> list[str]:
    """Sentences on what sources say against each other: kinds of treatment, then traits."""
    meanings = kb.vocabulary.found
    votes: dict[str, dict[str, set[str]]] = {}
    for protocol in record.get("protocols", ()):
        for treatment in treatments(protocol, kb.vocabulary):
            meaning = meanings[treatment["found"]]
            if meaning["vote"]:
                by = votes.setdefault(treatment["kind"], {}).setdefault(meaning["label"], set())
                by.add(protocol.get("source", ""))
    against = {entry["label"] for entry in meanings.values() if entry["vote"] in ("unneeded", "useless", "harmful")}
    told = []
    for kind, said in votes.items():
        if against & set(said) and set(said) - against:
            label = kb.treatments.get(kind, {}).get("label", kind.replace("_", " "))
            told.append(f"{label}: " + ", ".join(f"{word} by {len(who)}" for word, who in sorted(said.items())))
    for known in plan.facts.known.values():
        others = sorted({kb.vocabulary.label(known.key, fact["is"]) for fact in known.against if "is" in fact})
        if others:
            told.append(
                f"{known.key.replace('_', ' ')}: taken as {kb.vocabulary.label(known.key, known.word)}; another source says {', '.join(others)}"
            )
    return told


def timeline(kb: KnowledgeBase, dated: Schedule) -> dict[str, Any]:
    """The plan on the year: rows of twelve months, January first, one scale for all plans; shares of a row in percent.

    What lasts a year at most stands on one row, and goes on at its beginning where the year ends; a longer plan has a row a year.
    """
    start, last = dated.start, (dated.seedlings.planned if dated.seedlings else dated.steps[-1].planned)
    kinds, one_row = kb.vocabulary.kinds, (last - start).days < 365
    rows: list[list[dict[str, Any]]] = [[] for _ in range(1 if one_row else last.year - start.year + 1)]
    steps = []
    for number, step in enumerate(dated.steps, 1):
        end = last if kinds.emergence(step.kind) else step.planned
        bar = {"colour": kinds.drawn(step.kind), "kind": step.kind, "label": step.label, "number": number}
        steps.append({**bar, "begin": day_text(step.start), "end": day_text(end), "days": (end - step.start).days})
        for year, left, width in _pieces(step.start, end):
            rows[0 if one_row else year - start.year].append({**bar, "left": left, "width": width})
    return {
        "rows": rows,
        "steps": steps,
        "begin": day_text(start),
        "begin_day": f"{start:%m-%d}",
        "begin_south": day_text(start + timedelta(days=HALF_A_YEAR)),
        "seedlings": day_text(last),
        "days": (last - start).days,
    }


def _pieces(start: date, end: date) -> Iterable[tuple[int, float, float]]:
    """A span cut at each New Year: the year, and where in it, as shares in percent."""
    for year in range(start.year, end.year + 1):
        first, after = date(year, 1, 1), date(year + 1, 1, 1)
        left, right = max(start, first), min(end, after)
        if left < right or start == end:
            days = (after - first).days
            yield year, _share((left - first).days, days), _share((right - left).days, days)


def sure_lines(sheet: Sheet, plan: Plan) -> list[dict[str, Any]]:
    """The claims of a sheet: `text`, `short` (in how many such cases it was right), and in whole `figure`, `rests_on`."""
    counts = {
        claim.about: f"{round(claim.right * claim.tried)} of {claim.tried}"
        for claim in plan.claims
        if claim.right is not None and claim.tried
    }
    return [
        {
            "text": claim.claim,
            "short": counts.get(claim.about, "not measured"),
            "figure": claim.figure or "not measured",
            "rests_on": claim.rests_on,
        }
        for claim in sheet.sure
    ]


def known_words(kb: KnowledgeBase, plan: Plan) -> tuple[dict[str, str], dict[str, str], list[str]]:
    """For the picture: trait → word, trait → plain words, and which of them were lent by relatives."""
    known = {
        key: word for key, word in sorted(plan.findings.facts) if word != "unknown" and key in kb.vocabulary.traits
    }
    words = {key: kb.vocabulary.label(key, word) for key, word in known.items()}
    lent = [fact.key for fact in plan.facts.known.values() if fact.basis in ("genus", "family") and fact.key in known]
    return known, words, lent


def _share(part: float, whole: float) -> float:
    return round(100 * part / whole, 2)
