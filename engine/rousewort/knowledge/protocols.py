"""What a protocol says of each treatment, in the terms in which votes and lengths are counted today.

A protocol is written whole, phase by phase (kb/schema/taxon.schema.yaml). Until planning follows protocols, it counts votes and
lengths treatment by treatment, and reads them here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rousewort.knowledge.vocabulary import Vocabulary

UNITS = ("days", "hours", "minutes")
Protocol = Mapping[str, Any]
Treatment = dict[str, Any]


def waits(protocol: Protocol) -> bool:
    """Whether a protocol waits for planning by whole protocols: a curve or a row of a published table is no single vote or length."""
    return protocol["held"] == "table" or any("rows" in result for result in protocol.get("results", ()))


def treatments(protocol: Protocol, vocabulary: Vocabulary) -> Iterator[Treatment]:
    """Each phase before sowing: {"phase": its index, "kind", "found": a word of protocol.yaml, days | hours | minutes as
    {low, high}, "temperature_c" as {low, high} or {day, night}, "way", "strength_pct", "low_standing", "note"}.
    """
    if waits(protocol):
        return
    for index, phase in enumerate(protocol.get("phases", ())):
        if phase["kind"] == vocabulary.kinds.last:  # sowing
            continue
        made: Treatment = {"phase": index, "kind": phase["kind"], "found": found(protocol, phase, vocabulary)}
        for unit in UNITS:
            if (amount := span(phase.get(unit))) is not None:
                made[unit] = amount
        if (warmth := degrees(phase.get("temperature_c"))) is not None:
            made["temperature_c"] = warmth
        yield made | {key: phase[key] for key in ("way", "strength_pct", "low_standing", "note") if key in phase}


def found(protocol: Protocol, phase: Mapping[str, Any], vocabulary: Vocabulary) -> str:
    """What the source found of a phase; where it does not say, what its design or the ground of its length amounts to."""
    said = phase.get("found") or protocol.get("found")
    if said:
        return said
    words = vocabulary.files["protocol"]
    grounds = (words["length_basis"].get(phase.get("length_basis")), words["design"].get(protocol.get("design")))
    return "advised" if any(ground and ground.get("counts_as") == "advised" for ground in grounds) else "tried"


def span(value: Any) -> dict[str, Any] | None:
    """One number, or {low, high} of which one end may be left out, as {low, high}, an open end null; else None."""
    if isinstance(value, Mapping):
        return {"low": value.get("low"), "high": value.get("high")} if {"low", "high"} & set(value) else None
    return None if value is None or isinstance(value, str) else {"low": value, "high": value}


def degrees(value: Any) -> dict[str, Any] | None:
    """A temperature as {low, high}, a limit as one end of it, or {day, night}; None where no degrees are given."""
    if isinstance(value, Mapping):
        if "day" in value:
            return {"day": value["day"], "night": value["night"]}
        if "below" in value or "above" in value:
            return {"low": value.get("above"), "high": value.get("below")}
    return span(value)


def sown_at(protocol: Protocol, vocabulary: Vocabulary) -> dict[str, Any] | None:
    """The temperature at which the seed was sown or tested, as `degrees`; of several the last."""
    if waits(protocol):
        return None
    sown = [phase for phase in protocol.get("phases", ()) if phase["kind"] == vocabulary.kinds.last]
    warm = [degrees(phase.get("temperature_c")) for phase in sown]
    return next((one for one in reversed(warm) if one), None)


def came_up(protocol: Protocol) -> dict[str, dict[str, Any]]:
    """{"treated": per cent as {low, high}, "untreated": …}, each where the source gives it for the lot as a whole."""
    made: dict[str, dict[str, Any]] = {}
    for result in () if waits(protocol) else protocol.get("results", ()):
        if set(result) <= {"untreated", "germinated_pct"} and (share := span(result.get("germinated_pct"))):
            made.setdefault("untreated" if result.get("untreated") else "treated", share)
    return {key: made[key] for key in ("treated", "untreated") if key in made}


def works_of(fact: Mapping[str, Any]) -> tuple[str, ...]:
    """The work of a statement or protocol, and those that carry it again."""
    again = fact.get("also_in", ())
    return (*((fact["source"],) if "source" in fact else ()), *((again,) if isinstance(again, str) else again))
