"""What a grower wrote down: read from text or YAML, checked, and kept as plain data that can be saved again.

The file (format rousewort-observations-1) holds raw numbers only; what they mean is worked out anew each time, so that
a corrected threshold corrects old notes too.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import isfinite
from pathlib import Path
from typing import Any

import yaml

from rousewort.base.atomic_write import read_text
from rousewort.base.errors import UserError
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.observe.key import Field, Test, tests

FORMAT = "rousewort-observations-1"
HEAD = "# What was seen at the bench. Raw numbers; `rousewort observe --file` reads them, `rousewort plan --observations` plans with them.\n"


@dataclass
class Observations:
    """`seen`: test → field → value (count, number, list, {time: value}, word). `found`: trait → word that a trial
    settled; `left`: class or level → words that it left possible."""

    plant: str | None = None
    family: str | None = None
    seen: dict[str, dict[str, Any]] = field(default_factory=dict)
    found: dict[str, str] = field(default_factory=dict)
    left: dict[str, list[str]] = field(default_factory=dict)
    skipped: list[str] = field(default_factory=list)


def parse(text: str, wanted: Field) -> Any:
    """One answer as typed: `12`, `1.2 1.4 1.3`, `0=2.31, 24=2.33`, or a word. ValueError says what is wrong."""
    text = text.strip()
    if wanted.kind in ("count", "number"):
        return _number(text)
    if wanted.kind == "list":
        return [_number(part) for part in re.split(r"[,;\s]+", text) if part]
    if wanted.kind == "series":
        pairs = re.findall(r"([^\s,;=:]+)\s*[=:]\s*([^\s,;=:]+)", text)
        if not pairs or re.sub(r"[^\s,;=:]+\s*[=:]\s*[^\s,;=:]+", "", text).strip(" ,;"):
            raise ValueError(f"'{text}' is not a row of time=value pairs such as 0=2.31, 24=2.40")
        times = [_number(time) for time, _ in pairs]
        if twice := sorted({t for t in times if times.count(t) > 1}):
            raise ValueError(f"the time {twice[0]:g} comes twice")
        return {time: _number(value) for time, (_, value) in zip(times, pairs, strict=True)}
    return text.lower().replace(" ", "_")


def _number(text: str) -> int | float:
    try:
        return int(text) if re.fullmatch(r"[+-]?[0-9]+", text) else float(text)
    except ValueError:
        raise ValueError(f"'{text}' is not a number") from None


def fault(value: Any, wanted: Field) -> str | None:
    """What is impossible about a value, in words, or None."""
    if wanted.kind == "count":
        whole = isinstance(value, int) and not isinstance(value, bool)
        return None if whole and value >= 0 else f"must be a whole number of seeds, 0 or more, not {value!r}"
    if wanted.kind == "number":
        return None if _positive(value) else f"must be a number above 0, not {value!r}"
    if wanted.kind == "list":
        if not isinstance(value, list) or not value:
            return f"must be one or more numbers, not {value!r}"
        wrong = [v for v in value if not _positive(v)]
        return f"holds {wrong[0]!r}: every length must be above 0" if wrong else None
    if wanted.kind == "series":
        if not isinstance(value, Mapping) or not value:
            return f"must be times with values, such as 0=2.31, 24=2.40, not {value!r}"
        wrong = [(t, v) for t, v in value.items() if not _number_from(t, 0) or not _number_from(v, 0)]
        return f"holds {wrong[0][0]!r}={wrong[0][1]!r}: times and values must be numbers, 0 or more" if wrong else None
    return None if value in wanted.words else f"must be one of {', '.join(wanted.words)}, not {value!r}"


def _positive(value: Any) -> bool:
    return _number_from(value, 0) and value > 0


def _number_from(value: Any, least: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value) and value >= least


def checked(observations: Observations, vocabulary: Vocabulary, where: str = "") -> Observations:
    """The same, with values left out put in where a default is agreed. UserError names everything that is impossible."""
    key = tests(vocabulary)
    lead = f"{where}: " if where else ""
    problems = [
        f"{lead}'{name}' is no observation that Rousewort knows. Known: {', '.join(key)}."
        for name in [*observations.seen, *observations.skipped]
        if name not in key
    ]
    for trait, word in observations.found.items():
        if word not in vocabulary.given.get(trait, {}):
            problems.append(f"{lead}found: '{trait}: {word}' is no trait and word of the vocabulary.")
    for trait, words in observations.left.items():
        if not isinstance(words, list) or not words or set(words) - set(vocabulary.given.get(trait, {})):
            problems.append(f"{lead}left: '{trait}: {words}' is no trait with a list of its words.")
    whole: dict[str, dict[str, Any]] = {}
    for name, values in observations.seen.items():
        if name not in key:
            continue
        if not isinstance(values, Mapping):
            problems.append(f"{lead}{name}: must hold {', '.join(key[name].fields)}, not {values!r}.")
            continue
        problems += [f"{lead}{name}.{text}" for text in _faults(key[name], values)]
        whole[name] = {f.name: f.default for f in key[name].fields.values() if f.default is not None} | dict(values)
    if problems:
        raise UserError(*problems)
    return replace(observations, seen=whole)


def _faults(test: Test, values: Mapping[str, Any]) -> list[str]:
    known = ", ".join(test.fields)
    problems = [f"{name} is not part of it. Known: {known}." for name in values if name not in test.fields]
    problems += [
        f"{f.name} is missing: {f.ask}." for f in test.fields.values() if not f.optional and f.name not in values
    ]
    for name, value in values.items():
        wrong = fault(value, test.fields[name]) if name in test.fields else None
        if wrong:
            problems.append(f"{name} {wrong}.")
    return problems


def load_file(path: Path, vocabulary: Vocabulary) -> Observations:
    """Read and check a file of observations. UserError with every mistake in it."""
    try:
        data = yaml.safe_load(read_text(path, 4 * 1024 * 1024))
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}.") from None
    except (yaml.YAMLError, UnicodeDecodeError) as error:
        raise UserError(f"{path}: is not YAML: {error}") from None
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise UserError(f"{path}: is no file of observations; its first line should be 'format: {FORMAT}'.")
    known = {"format", "plant", "family", "observations", "found", "left", "skipped"}
    if more := sorted(set(map(str, data)) - known):
        raise UserError(f"{path}: {', '.join(more)}: not known here. Known: {', '.join(sorted(known))}.")
    shapes = (("observations", dict), ("found", dict), ("left", dict), ("skipped", list))
    if wrong := [name for name, shape in shapes if not isinstance(data.get(name) or shape(), shape)]:
        raise UserError(*(f"{path}: '{name}' has the wrong shape; see rousewort observe --help." for name in wrong))
    parts: dict[str, Any] = {name: data.get(name) or shape() for name, shape in shapes if name != "observations"}
    made = Observations(data.get("plant"), data.get("family"), data.get("observations") or {}, **parts)
    return checked(made, vocabulary, str(path))


def as_text(observations: Observations) -> str:
    """The file that `load_file` reads."""
    data: dict[str, Any] = {"format": FORMAT}
    data |= {name: getattr(observations, name) for name in ("plant", "family") if getattr(observations, name)}
    data["observations"] = observations.seen
    data |= {name: getattr(observations, name) for name in ("found", "left", "skipped") if getattr(observations, name)}
    text: str = yaml.safe_dump(data, sort_keys=False, allow_unicode=True, default_flow_style=None, width=110)
    return HEAD + text
