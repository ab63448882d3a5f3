"""Numbers and facts as words. Decides nothing."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rousewort.knowledge.vocabulary import Vocabulary
    from rousewort.planning.amounts import Amount
    from rousewort.planning.facts import Known

_PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")


def fill(text: str, values: Mapping[str, str]) -> str:
    """Replace {word} by its value; a word without one stays, so that it is seen."""
    return _PLACEHOLDER.sub(lambda m: values.get(m[1], m[0]), text)


def amount_text(amount: Amount, unit: str) -> str:
    """`90 (60–120)`, or `90` where the range is one value; seconds for parts of a minute."""
    low, use, high = amount.low, amount.use, amount.high
    if unit == "minutes" and use is not None and use < 1:
        return f"{round(use * 60)} seconds"
    if low == high == use or (low is None and high is None):
        return f"{use}"
    return f"{use} ({low if low is not None else '…'}–{high if high is not None else '…'})"


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
