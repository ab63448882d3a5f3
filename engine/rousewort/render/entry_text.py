"""An entry as text for a terminal. Decides nothing."""

from __future__ import annotations

from typing import Any

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.render.terminal import Page


def provenance(kb: KnowledgeBase, fact: dict[str, Any]) -> str:
    """`[citation; held]`, with what it was inferred from and why it counts less."""
    cited = kb.sources[fact["source"]]["citation"] if "source" in fact else "no source"
    parts = [
        cited + (f", {fact['where']}" if "where" in fact else ""),
        kb.vocabulary.files["held"][fact["held"]]["label"],
    ]
    if "inferred_from" in fact:
        parts.append(f"inferred from: {fact['inferred_from']}")
    if "low_standing" in fact:
        parts.append(f"counts less: {fact['low_standing']}")
    return f"[{'; '.join(parts)}]"


def span_text(span: dict[str, Any], unit: str) -> str:
    if "day" in span:
        return f"{span['day']}/{span['night']} {unit}"
    low, high = span["low"], span["high"]
    if low == high:
        return f"{low} {unit}"
    return f"{'up to' if low is None else low}{'–' if None not in (low, high) else ' '}{'or more' if high is None else high} {unit}"


def treatment_text(kb: KnowledgeBase, treatment: dict[str, Any]) -> str:
    parts = [span_text(treatment[u], u) for u in ("days", "hours", "minutes") if u in treatment]
    if "temperature_c" in treatment:
        parts.append(span_text(treatment["temperature_c"], "°C"))
    if "strength_pct" in treatment:
        parts.append(f"{treatment['strength_pct']} % strong")
    if "way" in treatment:
        parts.append(
            {"poured": "poured over, left to cool", "held": "held", "unknown": "way not stated"}[treatment["way"]]
        )
    meaning = kb.vocabulary.files["report_meanings"][treatment["means"]]["label"]
    kind = kb.treatments.get(treatment["kind"], {}).get("label", treatment["kind"].replace("_", " "))
    note = f" ({treatment['note']})" if "note" in treatment else ""
    return f"{kind}: {meaning}" + (f", {', '.join(parts)}" if parts else "") + note


def render(kb: KnowledgeBase, record: dict[str, Any], page: Page) -> str:
    page.say(page.bold(record["name"]) + (f"  ({record['family']})" if "family" in record else ""))
    if record.get("common_names"):
        page.say("Common names: " + ", ".join(record["common_names"]))
    if record.get("synonyms"):
        page.say("Synonyms: " + ", ".join(record["synonyms"]))
    if record.get("traits"):
        page.heading("Traits")
    for key, statements in record.get("traits", {}).items():
        for fact in statements:
            value = kb.vocabulary.label(key, fact["is"]) if "is" in fact else span_text(fact, "")
            page.say(f"{key.replace('_', ' ')}: {value}")
            if "note" in fact:
                page.say(fact["note"], 4)
            page.say(provenance(kb, fact), 4, code="2")
    if record.get("reports"):
        page.heading("Reports")
    for report in record.get("reports", ()):
        for treatment in report.get("treatments", ()):
            page.say(treatment_text(kb, treatment), 2, "- ")
        for key, words in (("treated", "germinated"), ("untreated", "untreated")):
            if key in report.get("germination_pct", {}):
                page.say(f"{words}: {span_text(report['germination_pct'][key], '%')}", 4)
        if "germination_temperature_c" in report:
            page.say(f"germinated at {span_text(report['germination_temperature_c'], '°C')}", 4)
        if "note" in report:
            page.say(report["note"], 4)
        page.say(provenance(kb, report), 4, code="2")
    if record.get("lots"):
        page.heading("How lots differ")
        for lot in record["lots"]:
            page.say(lot["says"], 2, "- ")
            page.say(provenance(kb, lot), 4, code="2")
    return page.text()
