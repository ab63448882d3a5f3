"""A protocol in words: each phase, what came up, what lot it was. Decides nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import UNITS, degrees, span, treatments

Protocol = Mapping[str, Any]
ABSENT = {"not_given": "not given", "varied": "varied", "outdoors": "as the weather was", "room": "room temperature"}


def span_text(value: Mapping[str, Any], unit: str) -> str:
    """{low, high} or {day, night} with its unit; an open end in words."""
    if "day" in value:
        return f"{value['day']}/{value['night']} {unit}".rstrip()
    low, high = value["low"], value["high"]
    if low == high:
        return f"{low} {unit}".rstrip()
    both = f"{'up to' if low is None else low}{'–' if None not in (low, high) else ' '}{'or more' if high is None else high}"
    return f"{both} {unit}".rstrip()


def phase_texts(kb: KnowledgeBase, protocol: Protocol) -> list[dict[str, Any]]:
    """{"kind", "text", "doubt"} of each phase, in order; the text says what the source found of it."""
    told = {t["phase"]: kb.vocabulary.found[t["found"]]["label"] for t in treatments(protocol, kb.vocabulary)}
    return [
        {"kind": phase["kind"], "text": phase_text(kb, phase, told.get(i)), "doubt": phase.get("low_standing")}
        for i, phase in enumerate(protocol.get("phases", ()))
    ]


def phase_text(kb: KnowledgeBase, phase: Mapping[str, Any], found: str | None = None) -> str:
    kind = kb.treatments.get(phase["kind"], {}).get("label", phase["kind"].replace("_", " "))
    told = [*([found] if found else []), *_details(kb, phase)]
    note = "; ".join(phase[key] for key in ("said", "note") if key in phase)
    return kind + (f": {', '.join(told)}" if told else "") + (f" ({note})" if note else "")


def _details(kb: KnowledgeBase, phase: Mapping[str, Any]) -> Iterator[str]:
    words = kb.vocabulary.files["protocol"]
    for unit in UNITS:
        if unit in phase:
            yield _amount(phase[unit], unit, f"length {ABSENT.get(str(phase[unit]), '')}")
    if "temperature_c" in phase:
        yield _warmth(phase["temperature_c"])
    for key, unit in (("ppm", "ppm"), ("strength_pct", "% strong")):
        if key in phase:
            yield _amount(phase[key], unit, f"strength {ABSENT.get(str(phase[key]), '')}")
    if "way" in phase:
        yield kb.vocabulary.kinds.ways(phase["kind"]).get(phase["way"], {}).get("label", "way not stated")
    for key in ("agent", "water", "light", "only_if"):
        if key in phase:
            yield words[key][phase[key]]["label"]
    for key in ("medium", "dose", "place"):
        if key in phase:
            yield phase[key]
    if "from" in phase:
        yield f"from {phase['from']}"
    if "end_sign" in phase:
        yield "until " + words["end_sign"][phase["end_sign"]]["label"]
    if "root_cm" in phase:
        yield f"root {phase['root_cm']} cm"
    sprouting = phase.get("sprouting", {})
    if "first_day" in sprouting:
        yield f"sprouts from day {sprouting['first_day']}"
    if "most_by_day" in sprouting:
        yield f"most by day {sprouting['most_by_day']}"
    if "only_in" in phase:
        yield "in some arms"
    if phase.get("length_basis") not in (None, "advice", "not_given"):
        yield words["length_basis"][phase["length_basis"]]["label"]


def _amount(value: Any, unit: str, absent: str) -> str:
    known = span(value)
    across = f" across {value['across']}" if isinstance(value, Mapping) and "across" in value else ""
    return span_text(known, unit) + across if known else absent


def _warmth(value: Any) -> str:
    if isinstance(value, Mapping) and ("below" in value or "above" in value):
        return " and ".join(f"{end} {value[end]} °C" for end in ("above", "below") if end in value)
    known = degrees(value)
    return (
        span_text(known, "°C") if known else "temperature varied" if value == "varied" else ABSENT.get(str(value), "")
    )


def result_texts(kb: KnowledgeBase, protocol: Protocol) -> list[str]:
    """One line for each figure; a table of them is counted, its rows are for `result_tables`."""
    lines = []
    for result in protocol.get("results", ()):
        if "rows" in result:
            continue
        who = _who(kb, result)
        figures = list(_figures(result))
        if figures:
            lines.append(f"{who or 'treated'}: {', '.join(figures)}")
    return lines


def result_tables(kb: KnowledgeBase, protocol: Protocol) -> list[dict[str, Any]]:
    """{"who", "head", "rows"} of each table of figures, its head in words."""
    words = kb.vocabulary.files["protocol"]["columns"]
    return [
        {
            "who": _who(kb, result),
            "head": [words[column]["label"] for column in result.get("columns", protocol.get("columns", ()))],
            "rows": [[_cell(cell) for cell in row] for row in result["rows"]],
        }
        for result in protocol.get("results", ()) if "rows" in result
    ]  # fmt: skip


def _who(kb: KnowledgeBase, result: Mapping[str, Any]) -> str:
    parts = ["untreated"] if result.get("untreated") else []
    if "arm" in result:
        parts.append(" + ".join(kb.treatments.get(k, {}).get("label", k.replace("_", " ")) for k in result["arm"]))
    lot = result.get("lot", {})
    parts += [lot[key] for key in ("name", "provenance") if key in lot]
    if "at" in result:
        parts.append("at " + ", ".join(_held_fixed(kb, key, value) for key, value in result["at"].items()))
    if "of" in result:
        parts.append(result["of"].replace("_", " "))
    return ", ".join(parts)


def _held_fixed(kb: KnowledgeBase, key: str, value: Any) -> str:
    words = kb.vocabulary.files["protocol"]
    if key == "temperature_c":
        return _warmth(value)
    if key == "light":
        return words["light"][value]["label"]
    figures = " and ".join(f"{one:g}" for one in (value if isinstance(value, list) else [value]))
    return f"{figures} {words['columns'].get(key, {}).get('label', key)}"


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return span_text(span(value) or {}, "") if isinstance(value, Mapping) else value


def _figures(result: Mapping[str, Any]) -> Iterator[str]:
    if "germinated" in result and "sown" in result:
        yield f"{result['germinated']} of {result['sown']}"
    if "germinated_pct" in result:
        yield _amount(result["germinated_pct"], "%", "per cent not given")
    if "days" in result:
        yield "in " + _amount(result["days"], "days", "days not given")
    for key in ("verdict", "note"):
        if key in result:
            yield result[key]


def lot_text(kb: KnowledgeBase, lot: Mapping[str, Any]) -> str:
    words = kb.vocabulary.files["protocol"]
    stored = lot.get("stored", [])
    spells: Iterable[Mapping[str, Any]] = [{"how": stored}] if isinstance(stored, str) else stored
    parts = [lot["taxon"]] if "taxon" in lot else []
    parts += [words[key][lot[key]]["label"] for key in ("gathered", "maturity") if key in lot]
    for spell in spells:
        label = kb.vocabulary.files["lots"]["stored"][spell["how"]]["label"]
        parts.append(label + (f" {_amount(spell['days'], 'days', '')}" if "days" in spell else ""))
    if "provenance" in lot:
        parts.append(f"from {lot['provenance']}")
    for key, before, after in (
        ("collected", "gathered ", ""),
        ("lots", "", " lots"),
        ("mother_trees", "", " mother plants"),
    ):
        if key in lot:
            parts.append(f"{before}{lot[key]}{after}")
    return ", ".join([*parts, *([lot["note"]] if "note" in lot else [])])
