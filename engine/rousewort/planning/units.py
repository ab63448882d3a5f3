"""Degrees and lengths of finished sentences in the units that a reader thinks in. Knowledge is metric throughout.

One gate for all texts, those of kb/treatments included: `3 °C (2–4)` becomes `37 °F (36–39)`, `6 mm` becomes `¼ in`.
"""

from __future__ import annotations

import re
from collections.abc import Callable

METRIC, US = "metric", "us"
UNITS = {METRIC: "°C, millimetres", US: "°F, inches"}
_NUMBER = r"(-?\d+(?:\.\d+)?)"
_DEGREES = re.compile(
    rf"{_NUMBER}(?:(–| to | and |/){_NUMBER})?( ?)°C(?: \({_NUMBER}–{_NUMBER}\))?( warmer| cooler| colder)?"
)
_LENGTH = re.compile(rf"{_NUMBER}(?:(–| to ){_NUMBER})?( ?)(mm|cm)\b")
_MM = {"mm": 1.0, "cm": 10.0}
_EIGHTHS = ("", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞")
INCH = 25.4


def converted(text: str, units: str) -> str:
    """The sentence with its degrees and lengths in these units."""
    if units == METRIC:
        return text
    return _LENGTH.sub(_inches, _DEGREES.sub(_fahrenheit, text))


def fahrenheit(celsius: float) -> int:
    """To the whole degree, as thermometers show it."""
    return round(celsius * 9 / 5 + 32)


def inches(millimetres: float) -> str:
    """To an eighth, below that to a sixteenth; from ten inches up whole."""
    length = millimetres / INCH
    if 0 < length < 3 / 32:
        return "1/16"
    if length >= 10:
        return str(round(length))
    whole, eighths = divmod(round(length * 8), 8)
    return f"{whole or ''}{_EIGHTHS[eighths]}" or "0"


def _fahrenheit(found: re.Match[str]) -> str:
    first, between, second, space, low, high, than = found.groups()
    if than:  # a difference, no place on the scale
        return f"{round(float(first) * 9 / 5)}{space}°F{than}"
    text = _both(lambda n: str(fahrenheit(float(n))), first, between, second)
    span = f" ({fahrenheit(float(low))}–{fahrenheit(float(high))})" if low else ""
    return f"{text}{space}°F{span}"


def _inches(found: re.Match[str]) -> str:
    first, between, second, space, unit = found.groups()
    return _both(lambda n: inches(float(n) * _MM[unit]), first, between, second) + f"{space or ' '}in"


def _both(change: Callable[[str], str], first: str, between: str | None, second: str | None) -> str:
    one = change(first)
    two = change(second) if second else one
    return one if one == two else f"{one}{between}{two}"
