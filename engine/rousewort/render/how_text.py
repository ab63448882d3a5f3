"""How one kind of treatment is done in general, as text: the file in kb/treatments, laid out. Decides nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import UNITS
from rousewort.planning.wording import fill
from rousewort.render.terminal import Page

# What stands for a plan's own numbers where there is no plan.
PLACES = {unit: f"so many {unit}" for unit in UNITS} | {
    "seeds": "few",
    "look": "first look within a fortnight, then weekly",
    "name": "the plant",
}


def kinds(kb: KnowledgeBase, page: Page) -> str:
    """Every kind by its word, in a line each."""
    wide = max(map(len, kb.treatments)) + 2
    for kind, told in kb.treatments.items():
        page.say(told["what"], bullet=kind.ljust(wide))
    return page.text()


def how(kb: KnowledgeBase, kind: str, page: Page) -> str:
    """One kind: what and why, what it takes, how it is done, lengths, cautions, sources."""
    told = kb.treatments[kind]
    values = PLACES | {"temperature": _degrees(told["temperature_c"]) if "temperature_c" in told else "its temperature"}
    page.lines.append(page.bold(told["label"][:1].upper() + told["label"][1:]))
    page.say(f"{told['what']} {told['why']}")
    things = [kb.vocabulary.files["equipment"][need]["means"] for need in told["needs"]]
    takes = [told["takes"][:1].upper() + told["takes"][1:] + "."] if "takes" in told else []
    if things or takes:
        page.heading("What it takes")
        page.each([*things, *takes])
    page.heading("How")
    page.each(_filled(told["do"], values))
    if "medium" in told:
        page.say(f"Medium: {told['medium']}.")
    page.each(_filled((f"{name}: {text}" for name, text in told.get("media", {}).items()), values))
    page.each((f"Watch: {line}" for line in _filled(told["watch"], values)), bullet="")
    if "{" not in told["until"]:
        page.say(f"Until: {told['until']}.")
    page.say(f"It worked if: {told['success']}")
    _differing(kb, told, values, page)
    _ranges(kb, told, page)
    if told["cautions"]:
        page.heading("Cautions")
        page.each((caution["text"] for caution in told["cautions"]), bullet="! ", code="33")
    _sources(kb, told, page)
    return page.text()


def _filled(lines: Any, values: Mapping[str, str]) -> Iterator[str]:
    for line in lines:
        line = line.replace("{depth} deep", "as deep as the plan says")
        text = fill(line, values)
        if "{" not in text:  # a line that is nothing but a plan's own text
            yield text[:1].upper() + text[1:]


def _differing(kb: KnowledgeBase, told: Mapping[str, Any], values: Mapping[str, str], page: Page) -> None:
    """What is done otherwise against one obstacle, or in one way."""
    cases = [
        (f"Where this stands in the way: {kb.vocabulary.obstacles[o]['label']}", case)
        for o, case in told.get("by_obstacle", {}).items()
    ]
    cases += [
        (told.get("ways", {}).get(w, {}).get("means", w.replace("_", " ")), c)
        for w, c in told.get("by_way", {}).items()
    ]
    for name, case in cases:
        lines = [*case.get("do", ()), *case.get("also", ()), *(f"Watch: {line}" for line in case.get("watch", ()))]
        lines += [f"Until {case['until']}."] if "until" in case else []
        if lines:
            page.heading(name[:1].upper() + name[1:].rstrip("."))
            page.each(_filled(lines, values))


def _ranges(kb: KnowledgeBase, told: Mapping[str, Any], page: Page) -> None:
    """Lengths and temperatures where no report on the plant or its genus gives one; the first that fits is used."""
    if not told.get("ranges"):
        return
    page.heading("Where nothing is reported of a plant or its genus")
    words = kb.vocabulary
    for span in told["ranges"]:
        amounts = [
            f"{span[unit]['use']} ({span[unit]['low']}–{span[unit]['high']}) {unit}" for unit in UNITS if unit in span
        ]
        whom = [words.classes[span["class"]]["label"]] if "class" in span else []
        whom += [words.levels[span["level"]]["label"]] if "level" in span else []
        whom += [words.obstacles[o]["label"] for o in span.get("for", ())[:1]] if not whom else []
        held = "; ".join(_cited(kb, s) for s in span.get("sources", ())) or "common practice"
        page.say(f"{', '.join(whom) or 'in general'}: {', '.join(amounts)}  ({held})", bullet="- ")


def _sources(kb: KnowledgeBase, told: Mapping[str, Any], page: Page) -> None:
    if told["sources"]:
        page.heading("Sources")
        page.each(f"{kb.sources[s['id']]['citation']}: {s.get('says', '')}".rstrip(": ") for s in told["sources"])


def _cited(kb: KnowledgeBase, source: Mapping[str, Any]) -> str:
    work = kb.sources[source["id"]]
    return f"{work.get('author', work['citation'])} {work.get('year', '')}".strip()


def _degrees(span: Mapping[str, Any]) -> str:
    use = span["use"]
    if isinstance(use, Mapping):
        return f"{use['day']} °C by day and {use['night']} °C by night"
    return f"{use} °C ({span['low']}–{span['high']})"
