"""An entry as text for a terminal. Decides nothing."""

from __future__ import annotations

from typing import Any

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.render.protocol_text import lot_text, phase_texts, result_tables, result_texts, span_text
from rousewort.render.terminal import Page


def provenance(kb: KnowledgeBase, fact: dict[str, Any]) -> str:
    """`[citation; held]`, with what it was inferred from and why it counts less."""
    cited = kb.sources[fact["source"]]["citation"] if "source" in fact else "no source"
    parts = [
        cited + (f", {fact['where']}" if "where" in fact else ""),
        kb.vocabulary.files["held"][fact["held"]]["label"],
    ]
    if "inferred_from" in fact:
        parts.append(f"inferred from: {kb.vocabulary.files['inferred_from'][fact['inferred_from']]['label']}")
    if "low_standing" in fact:
        parts.append(f"counts less: {fact['low_standing']}")
    return f"[{'; '.join(parts)}]"


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
    if record.get("protocols"):
        page.heading("Protocols")
    for protocol in record.get("protocols", ()):
        _protocol(kb, protocol, page)
    if record.get("lots"):
        page.heading("How lots differ")
        for lot in record["lots"]:
            page.say(lot["says"], 2, "- ")
            page.say(provenance(kb, lot), 4, code="2")
    return page.text()


def _protocol(kb: KnowledgeBase, protocol: dict[str, Any], page: Page) -> None:
    for phase in phase_texts(kb, protocol):
        page.say(phase["text"], 2, "- ")
    if "order" in protocol:
        page.say("whether in this order, or one instead of another, is not read yet", 4)
    for line in result_texts(kb, protocol):
        page.say(line, 4)
    for table in result_tables(kb, protocol):
        page.say((f"{table['who']}: " if table["who"] else "") + " / ".join(table["head"]), 4)
        for row in table["rows"]:
            page.say(" / ".join(map(str, row)), 6)
    if "lot" in protocol:
        page.say("lot: " + lot_text(kb, protocol["lot"]), 4)
    for key in ("said", "note"):
        if key in protocol:
            page.say(protocol[key], 4)
    if "quoting" in protocol:
        page.say(f"told from {protocol['quoting']}", 4)
    page.say(provenance(kb, protocol), 4, code="2")
