"""How many seeds make a gram, and whether seed needs cold, by the published tables of kb/tables.

A count of USDA that is more than ten times off the manual's, or off the others of its genus, is disputed: it counts only where the
entry's own size of seed bears it out. The table holds slips of ten to a thousand times.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

from rousewort.base.errors import KnowledgeError, Problem
from rousewort.knowledge.store import genus_of
from rousewort.knowledge.strict_yaml import read
from rousewort.knowledge.tables import rows_of

GRAMS_IN_A_POUND = 453.592
TIMES_OFF = 10.0  # beyond which two counts are not of one plant, or of one genus
_WEIGHTS, CHARACTERISTICS, TESTS = "manual_seed_weights", "usda_characteristics", "manual_germination"
_TABLES = {
    _WEIGHTS: ("species", "low", "high", "average"),
    CHARACTERISTICS: ("species", "cold_stratification", "seeds_per_pound"),
    TESTS: ("scientific_name", "cold_days_lo", "germ_lo", "germ_hi", "germ_avg", "flags"),
}


class Count(NamedTuple):
    """Seeds in a gram by one table: the range that it prints, and its average or the middle."""

    low: float
    use: float
    high: float
    table: str


def read_seed_tables(layer: Path) -> dict[str, Any]:
    """What the tables of one layer say, as data of an index; empty where it has none.

    Shape: {"sources": {table: id}, "from": {part: table}, "counts": {name: [low, use, high, table]}, "disputed": {name: its counts}, "cold_yes": [name],
    "chilled": {name: least days of cold in any test in which half came up}}. Raises ValueError or OSError for a broken table.
    """
    rows = {stem: list(rows_of(layer, stem, columns)) for stem, columns in _TABLES.items()}
    if not any(rows.values()):
        return {}
    counts, disputed = sound(dict(_manual(rows[_WEIGHTS])), dict(_usda(rows[CHARACTERISTICS])))
    return {
        "sources": {stem: _source(layer, stem) for stem, found in rows.items() if found},
        "from": {"cold_yes": CHARACTERISTICS, "chilled": TESTS},
        "counts": {name: list(count) for name, count in counts.items()},
        "disputed": {name: [list(count) for count in of] for name, of in disputed.items()},
        "cold_yes": [row["species"] for row in rows[CHARACTERISTICS] if row["cold_stratification"] == "yes"],
        "chilled": _chilled(rows[TESTS]),
    }


def _source(layer: Path, stem: str) -> str:
    """The work that a table is from, by its description."""
    path = layer / "tables" / f"{stem}.yaml"
    source: str = read(path.read_bytes(), str(path)).data["source"]
    return source


def seed_tables(layer: Path) -> tuple[dict[str, Any], list[Problem]]:
    """As `read_seed_tables`, with what is wrong with them as a problem."""
    try:
        return read_seed_tables(layer), []
    except KnowledgeError:  # of a description; told by whoever reads the layer's YAML
        return {}, []
    except (ValueError, OSError) as wrong:
        says = f"a table of seed weights or tests {wrong}"
        return {}, [Problem(str(layer / "tables"), 0, 0, says, "Restore it as its description (.yaml) says.")]


def _manual(rows: Iterable[Mapping[str, str]]) -> Iterable[tuple[str, Count]]:
    """The manual's count of each name; several rows (lots, forms) as one range with the middle of their averages."""
    by_name: dict[str, list[Count]] = defaultdict(list)
    for row in rows:
        ends = [float(row[part]) / 1000 for part in ("low", "high") if row[part]]
        average = float(row["average"]) / 1000 if row["average"] else sum(ends) / len(ends)
        by_name[row["species"]].append(Count(min([*ends, average]), average, max([*ends, average]), _WEIGHTS))
    for name, made in by_name.items():
        yield name, Count(min(c.low for c in made), median(c.use for c in made), max(c.high for c in made), _WEIGHTS)


def _usda(rows: Iterable[Mapping[str, str]]) -> Iterable[tuple[str, Count]]:
    for row in rows:
        if row["seeds_per_pound"]:
            count = round(float(row["seeds_per_pound"]) / GRAMS_IN_A_POUND, 3)
            yield row["species"], Count(count, count, count, CHARACTERISTICS)


def sound(manual: Mapping[str, Count], usda: Mapping[str, Count]) -> tuple[dict[str, Count], dict[str, list[Count]]]:
    """The count of each name that stands, and the counts of those that are disputed.

    The manual's rows were checked one by one. A count of USDA stands where the manual's own is within ten times of it, or where the
    middle of the other sound counts of its genus is, or where nothing contradicts it.
    """
    kept = dict(manual)
    disputed: dict[str, list[Count]] = {}
    for name, count in usda.items():
        if name in manual and _times(count.use, manual[name].use) > TIMES_OFF:
            disputed[name] = [kept.pop(name), count]
    genera: dict[str, dict[str, float]] = defaultdict(dict)
    for name, count in {**{n: c for n, c in usda.items() if n not in disputed}, **kept}.items():
        genera[genus_of(name)][name] = count.use
    for name, count in usda.items():
        others = [use for other, use in genera[genus_of(name)].items() if other != name]
        if name in manual:
            continue
        if others and _times(count.use, median(others)) > TIMES_OFF:
            disputed[name] = [count]
        else:
            kept[name] = count
    return kept, disputed


def _times(one: float, other: float) -> float:
    return max(one / other, other / one)


def _chilled(rows: Iterable[Mapping[str, str]]) -> dict[str, float]:
    """Name → the fewest days of cold in any sound test in which half or more came up; names with such a test of unknown or no
    cold are left out."""
    days: dict[str, list[float | None]] = defaultdict(list)
    for row in rows:
        came = [float(row[part]) for part in ("germ_avg", "germ_hi", "germ_lo") if row[part]]
        if came and came[0] >= 50 and not row["flags"]:
            days[row["scientific_name"]].append(float(row["cold_days_lo"]) if row["cold_days_lo"] else None)
    return {name: min(d for d in of if d) for name, of in days.items() if all(of)}
