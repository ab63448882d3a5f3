"""Numbers and facts as words. Decides nothing."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rousewort.knowledge.vocabulary import Vocabulary
    from rousewort.planning.amounts import Amount
    from rousewort.planning.evidence import Evidence
    from rousewort.planning.facts import Known

# What a rule's sentences say of no plant in particular.
OF_ANY_PLANT = {"name": "the species", "reports": "Reports on the species or its relatives", "toxic_note": ""}
_NAMED = 2  # relatives named in a sentence
_PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")


def fill(text: str, values: Mapping[str, str]) -> str:
    """Replace {word} by its value; a word without one stays, so that it is seen."""
    return _PLACEHOLDER.sub(lambda m: values.get(m[1], m[0]), text)


def reports_text(name: str, evidence: Iterable[Evidence]) -> str:
    """Who says so, as the subject of a verb in the plural: reports on this plant, else on relatives, else growers' practice.

    "Reports on" a plant is said only where a work on that plant reports it.
    """
    told = list(evidence)
    own = [e for e in told if e.role == "this plant"]
    if any(e.source for e in own):
        return f"Reports on {name}"
    if any(e.kind == "observation" for e in own):
        return "Observations at the bench"
    kin = [e for e in told if e.role == "relative"]
    cited = [e for e in kin if e.source]
    if kin and (cited or not own):
        names = list(dict.fromkeys(str(e.name) for e in cited or kin))
        which = " and ".join(names[:_NAMED]) if len(names) <= _NAMED else f"{', '.join(names[:_NAMED])} and others"
        among = f"relatives of {name} ({which})" if " " in name else which
        return f"In {among}, {'reports' if cited else 'growers commonly'}"
    return f"Growers of {name} commonly"


def amount_text(amount: Amount, unit: str) -> str:
    """`90 (60–120)`, or `90` where the range is one value; seconds for parts of a minute."""
    low, use, high = amount.low, amount.use, amount.high
    if unit == "minutes" and use is not None and use < 1:
        return f"{round(use * 60)} seconds"
    if low == high == use or (low is None and high is None):
        return _number(use)
    return f"{_number(use)} ({_number(low)}–{_number(high)})"


def _number(value: float | None) -> str:
    """No finer than a hand can measure: whole from ten on, else to a tenth; `…` for an open end."""
    if value is None:
        return "…"
    return f"{value:.0f}" if abs(value) >= 10 else f"{round(value, 1):g}"


def length_text(amount: Amount, unit: str) -> str:
    """`90 (60–120) days`, `1 hour`, `30 seconds`: with its unit, so that no sentence can lack it."""
    said = amount_text(amount, unit)
    return said if said.endswith("seconds") else f"{said} {unit.removesuffix('s') if said == '1' else unit}"


def temperature_text(amount: Amount) -> str:
    """`4 °C (1–5)`, `20 °C by day and 10 °C by night`."""
    if isinstance(amount.use, Mapping):
        return f"{amount.use['day']} °C by day and {amount.use['night']} °C by night"
    if amount.low == amount.high:
        return f"{amount.use} °C"
    return f"{amount.use} °C ({amount.low}–{amount.high})"


def ground_text(known: Known, vocabulary: Vocabulary) -> str:
    """A fact and where it is from, for a trace."""
    name = known.key.replace("_", " ")
    value = vocabulary.label(known.key, known.word)
    if known.basis in ("genus", "family") and known.key == vocabulary.class_key:
        return f"{name}: {value} (from the {known.basis}, likely for {round(known.share * 100)} in 100 such plants)"
    if known.basis in ("genus", "family"):
        return f"{name}: {value} (from the {known.basis}, {round(known.share * 100)} % of what is known there)"
    return f"{name}: {value}" + (" (observed at the bench)" if known.basis == "bench" else "")


def begun(text: str) -> str:
    """As a sentence begins."""
    return text[:1].upper() + text[1:]
