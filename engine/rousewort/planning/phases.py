"""Numbers and signs of one phase of the protocol that a plan follows, laid over those that the species' reports amount to.

A season that its source gives in several parts stays in several parts, each as warm as it was: nothing is averaged over them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import degrees, span
from rousewort.planning.amounts import Amount, StepAmounts


class Part(NamedTuple):
    """A phase that a step follows, and where it stands among `of` parts of one season. `ground`: source and how it is held."""

    told: Mapping[str, Any]
    ground: Mapping[str, Any]
    of: int = 1


def of_part(kb: KnowledgeBase, kind: str, made: StepAmounts, part: Part) -> StepAmounts:
    """The amounts of a step as its phase has them. Days only of a season in parts: those of a whole one are chosen over all that
    is known of it."""
    amounts = dict(made.amounts)
    if part.of > 1 and "days" in amounts:
        amounts["days"] = _days(amounts["days"], part)
    return made._replace(amounts=amounts, temperature=_temperature(kb.treatments[kind], part) or made.temperature)


def _days(whole: Amount, part: Part) -> Amount:
    told = span(part.told.get("days"))
    if told:
        low, high = (told["high"] if told["low"] is None else told["low"]), told["high"]
        use = low if high is None else high
        return Amount(round(low), round(use), None if high is None else round(high), "species", (part.ground,))
    low, use, high = (None if days is None else round(days / part.of) for days in (whole.low, whole.use, whole.high))
    note = f"its source does not say how long: {part.of} such parts share the season"
    return Amount(low, use, high, whole.basis, whole.sources, note)


def _temperature(treatment: Mapping[str, Any], part: Part) -> Amount | None:
    """One temperature, a range by its middle, day and night as they are; of a limit the treatment's own, within it."""
    told = part.told.get("temperature_c")
    warmth = degrees(told)
    if warmth is None:
        return None
    if "day" in warmth:
        return Amount(
            min(warmth["day"], warmth["night"]), warmth, max(warmth["day"], warmth["night"]), "species", (part.ground,)
        )
    low, high = warmth["low"], warmth["high"]
    if None not in (low, high):
        return Amount(low, _tidy((low + high) / 2), high, "species", (part.ground,))
    usual = treatment.get("temperature_c")
    if not usual:
        return None
    low, high = (min(usual["low"], high), high) if low is None else (low, max(usual["high"], low))
    limit = f"below {high}" if warmth["low"] is None else f"above {low}"
    return Amount(
        low, min(max(usual["use"], low), high), high, "species", (part.ground,), f"its source says {limit} °C"
    )


def _tidy(value: float) -> float | int:
    return int(value) if value == int(value) else round(value, 1)


def until(kb: KnowledgeBase, part: Part) -> str | None:
    """The sign on which its source ended the phase, or None."""
    sign = part.told.get("end_sign")
    if sign is None:
        return None
    label: str = kb.vocabulary.files["protocol"]["end_sign"][sign]["label"]
    return f"{label}: {part.told['root_cm']} cm" if "root_cm" in part.told else label


def only_if(kb: KnowledgeBase, part: Part) -> str | None:
    word = part.told.get("only_if")
    label: str | None = kb.vocabulary.files["protocol"]["only_if"][word]["label"] if word else None
    return label
