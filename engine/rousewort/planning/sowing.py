"""How seed is sown: in what, how wet, how deep and which way up, how warm, and how it is kept till then.

Each part is decided on its own, by the first case of the sowing treatment that holds for what is known of the seed and what the rules
concluded. Only the temperature also asks reports on the species: what was tested is a window, not a way to sow.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from typing import Any, NamedTuple

from rousewort.knowledge.cases import LOT, Case, holds, lines
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.rules import FactKey
from rousewort.knowledge.summary import ground
from rousewort.planning.amounts import Amount
from rousewort.planning.facts import Facts
from rousewort.planning.rules.run import Findings, Firing
from rousewort.planning.wording import fill, temperature_text

KEPT = "storage"  # the part that is said with the first step of a plan, not with the last
EXPECT = "expect"  # the part that says what comes of it
# How far beyond the coolest and warmest test seed may be sown, in °C: tests seldom look for the ends of what it bears.
BEYOND_TESTS = 5
# How many relatives must have been tested before their temperatures say anything of a species.
RELATIVES_TRIED = 3


class Sowing(NamedTuple):
    """`told`: as in the plan's JSON. `lines`: instructions, in order, for the sheet `short`, and the `firings` behind them. `kept`: how it is kept until
    the plan begins, which its first step says, and why. `expect`: when seedlings come, and when to give up."""

    told: Mapping[str, Any]
    temperature: Amount
    lines: tuple[str, ...]
    short: tuple[str, ...]
    firings: tuple[Firing, ...]
    expect: Mapping[str, Any]
    kept: str | None
    kept_short: str | None
    kept_because: tuple[Firing, ...]
    sources: tuple[Mapping[str, Any], ...]


def sowing(kb: KnowledgeBase, facts: Facts, findings: Findings, lot: str | None = None) -> Sowing:
    """How this seed is sown. `lot`: a word for its size (knowledge/cases.py), where that matters."""
    known = findings.facts | ({(LOT, lot)} if lot else set())
    chosen = {part: case for part in _table(kb) if (case := _case(kb, part, known, findings.optional)) is not None}
    temperature = _temperature(kb, facts, chosen)
    depth = _depth(kb, chosen["position"], known)
    said = {part: chosen[part].get("is") if part in chosen else None for part in _table(kb)}
    values = {
        **{part: str(words) for part, words in said.items()},
        "depth": f"{depth['use']} mm" if depth else "one to two seed thicknesses",
        "temperature": temperature_text(temperature),
        "name": facts.name,
    }
    lines_said = {part: fill(case["do"], values) for part, case in chosen.items() if "do" in case}
    short_said = {part: fill(case.get("short", case["do"]), values) for part, case in chosen.items() if "do" in case}
    short_said = {part: line[:1].upper() + line[1:] for part, line in short_said.items()}  # a depth may stand first
    kept_short = short_said.pop(KEPT, None) if "short" in chosen[KEPT] else None
    short_said.pop(KEPT, None)
    kept, kept_because = lines_said.pop(KEPT, None), tuple(_behind(chosen[KEPT], findings))
    told = {part: words for part, words in said.items() if part not in ("temperature_c", EXPECT)} | {"depth_mm": depth}
    return Sowing(
        told,
        temperature,
        tuple(lines_said.values()),
        tuple(short_said.values()),
        tuple(
            firing for part, case in chosen.items() if part not in (KEPT, EXPECT) for firing in _behind(case, findings)
        ),
        chosen[EXPECT],
        kept,
        kept_short,
        kept_because,
        tuple({"source": s["id"], "held": s["held"]} for case in chosen.values() for s in case.get("sources", ())),
    )


def _table(kb: KnowledgeBase) -> Mapping[str, Any]:
    table: Mapping[str, Any] = kb.treatments[kb.vocabulary.kinds.last]["sowing"]
    return table


def _case(kb: KnowledgeBase, part: str, known: Set[FactKey], optional: Set[str]) -> Case | None:
    """The first case that holds; of a part that need not matter (a host, salt) the last says nothing."""
    return next((case for case in _table(kb)[part] if holds(case, known, optional)), None)


def _behind(case: Case, findings: Findings) -> Iterable[Firing]:
    """The rules that concluded what a case asks for: why this seed is sown so."""
    for line in lines(case, "when"):
        for key, word in sorted(line):  # sets have no order of their own
            if key == "finding":
                yield from findings.support.get((key, word), ())


def _depth(kb: KnowledgeBase, case: Case, known: Set[FactKey]) -> dict[str, Any] | None:
    """Millimetres of cover: the case's own, else by the size of the seed; None where that is not known."""
    if "by_size" not in case:
        return dict(case["depth_mm"])
    by_size = kb.vocabulary.files["bands"]["sowing_depth_mm"]["words"]
    size = next((word for key, word in known if key == kb.vocabulary.size_key), None)
    found: dict[str, Any] | None = by_size.get(size)
    return found


def _temperature(kb: KnowledgeBase, facts: Facts, chosen: Mapping[str, Case]) -> Amount:
    """What its home and season ask for, moved towards the window in which reports on it saw it germinate.

    Nothing leaves the bounds of the case: no cool nights for seed of warm lowlands, whatever was tested.
    """
    case = chosen["temperature_c"]
    span = case["temperature_c"]
    sources = tuple({"source": s["id"], "held": s["held"]} for s in span.get("sources", ()))
    held = sources or ({"held": span.get("held", "practice")},)
    usual = Amount(span["low"], span["use"], span["high"], "treatment", held)
    found, basis = _reports(kb, facts)
    if not found:
        return usual
    by_day = [_by_day(item["temperature_c"]) for item in found]
    coolest, warmest = min(low for low, _ in by_day), max(high for _, high in by_day)
    top = max(min(warmest + BEYOND_TESTS, span["high"]), span["low"])
    floor = span["low"] if case.get("firm") else min(max(coolest - BEYOND_TESTS, span["low"]), top)
    use = _moved(span["use"], floor, top, span)
    if use == span["use"]:
        return usual
    ends = f"{coolest}" if coolest == warmest else f"{coolest}–{warmest}"
    note = f"reported by day at {ends} °C: a test shows what a seed bears, not how to sow it"
    return Amount(span["low"], use, span["high"], basis, tuple(map(ground, found)), note)


def _by_day(degrees: Mapping[str, Any]) -> tuple[float, float]:
    """The coolest and warmest day of one report; an open end is the other."""
    low, high = degrees.get("day", degrees.get("low")), degrees.get("day", degrees.get("high"))
    return (high if low is None else low), (low if high is None else high)


def _moved(use: Any, floor: float, top: float, span: Mapping[str, Any]) -> Any:
    """The day moved between `floor` and `top`, and the night with it, both within the bounds of the case."""
    by_day = use["day"] if isinstance(use, Mapping) else use
    shift = round(min(max(by_day, floor), top)) - by_day
    if not isinstance(use, Mapping):
        return use + shift
    return {turn: min(max(degrees + shift, span["low"]), span["high"]) for turn, degrees in use.items()}


def _reports(kb: KnowledgeBase, facts: Facts) -> tuple[list[dict[str, Any]], str]:
    """Temperatures of germination on the species, else those of enough relatives that share its climate."""
    own = _with_degrees((kb.store.summary(facts.name) or {}).get("sowing", ()))
    if own or not facts.genus:
        return own, "species"
    climate = kb.vocabulary.climate_key
    homes = {known.word for known in facts.of(climate)}
    relatives = [
        item
        for item in _with_degrees(kb.store.group("genus", facts.genus)["sowing"])
        if homes & {told[0] for told in (kb.store.summary(item["species"]) or {})["traits"].get(climate, ())}
    ]
    enough = len({item["species"] for item in relatives}) >= RELATIVES_TRIED
    return (relatives if enough else []), "genus"


def _with_degrees(items: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    key = "germination_temperature_c"
    found = [{**item, "temperature_c": item[key]} for item in items if key in item]
    return [item for item in found if not item["doubtful"]] or found
