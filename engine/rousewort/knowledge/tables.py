"""Published tables taken whole: `kb/tables/<stem>.csv`, each described by `<stem>.yaml` (source, terms, columns)."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.errors import Problem
from rousewort.knowledge.chilling import TYPES
from rousewort.knowledge.names import fold

_WORDS = {"type": "string", "description": "In words."}
ABOUT = {
    "type": "object",
    "description": "What a table is: where it is from, on what terms, and what its columns mean.",
    "required": ["source", "terms", "columns"],
    "additionalProperties": False,
    "properties": {
        "source": {"description": "Ids in sources.yaml.", "type": ["string", "array"], "items": _WORDS},
        "terms": {**_WORDS, "description": "The licence, and where its notice stands."},
        "note": {**_WORDS, "description": "What was changed, and where the table is overruled."},
        "columns": {"type": "object", "description": "Column → what it means.", "additionalProperties": _WORDS},
    },
}


CLASSES = "class_of_species"
GENERA = "genus_traits"
DIFFERS = "differs"  # in the table of genera: the species differ so much in this that none of it may be lent
# Tables that the index takes in, with the columns that it reads.
READ = {
    "genus_family": ("genus", "family"),
    "common_names": ("name", "taxon", "species"),
    CLASSES: ("species", "classes"),
    GENERA: ("genus",),
    "chilling": ("group", "longest", "evidence", *(kind.word for kind in TYPES)),
}


class Tables(NamedTuple):
    """What the tables of one layer say: genus → family, folded common name → taxa that it names, species → its classes of
    dormancy as the table abbreviates them, group of plants → how common each type of need for cold is
    (rousewort.planning.lengths), and genus → trait → words that fit nearly all its species, none where they differ."""

    genus_family: dict[str, str]
    listed: dict[str, list[str]]
    classed: dict[str, list[str]]
    chilling: dict[str, dict[str, Any]]
    of_genera: dict[str, dict[str, list[str]]]
    problems: list[Problem]


def rows_of(layer: Path, stem: str, columns: tuple[str, ...]) -> Iterator[dict[str, str]]:
    """The rows of a table; none where the layer has no such table. Raises ValueError where a column is missing."""
    path = layer / "tables" / f"{stem}.csv"
    if not path.is_file():
        return
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        if missing := [column for column in columns if column not in (reader.fieldnames or ())]:
            raise ValueError(f"has no column {', '.join(missing)}")
        yield from reader


def read_tables(layer: Path) -> Tables:
    """The tables of a layer. Of genera that share a common name, the one with most species called so is first."""
    genera: dict[str, str] = {}
    called: dict[str, dict[str, int]] = {}
    classed: dict[str, list[str]] = {}
    chilling: dict[str, dict[str, Any]] = {}
    of_genera: dict[str, dict[str, list[str]]] = {}
    problems = []
    for stem, columns in READ.items():
        try:
            for row in rows_of(layer, stem, columns):
                if stem == "genus_family":
                    genera[row["genus"]] = row["family"]
                elif stem == CLASSES:
                    classed[row["species"]] = row["classes"].split(";")
                elif stem == GENERA:
                    genus = row.pop("genus")
                    told = {trait: words.split(";") for trait, words in row.items() if words}
                    of_genera[genus] = {trait: [] if words == [DIFFERS] else words for trait, words in told.items()}
                elif stem == "common_names":
                    called.setdefault(fold(row["name"]), {})[row["taxon"]] = int(row["species"] or 0)
                else:
                    chilling[row["group"]] = _chilling(row)
        except (ValueError, OSError) as wrong:
            path = str(layer / "tables" / f"{stem}.csv")
            problems.append(Problem(path, 0, 0, f"the table {wrong}", "Restore it as its description (.yaml) says."))
    listed = {name: sorted(taxa, key=lambda t: (-taxa[t], t)) for name, taxa in called.items()}
    return Tables(genera, listed, classed, chilling, of_genera, problems)


def _chilling(row: dict[str, str]) -> dict[str, Any]:
    """{"longest": days, "evidence": digest of what it was fitted to, "shares": one a type of need}."""
    return {
        "longest": int(row["longest"]),
        "evidence": row["evidence"],
        "shares": [float(row[kind.word]) for kind in TYPES],
    }


def about_problem(data: dict[str, Any], sources: set[str]) -> str | None:
    """What is wrong with a description whose form is right: a source that is cited nowhere."""
    named = data["source"] if isinstance(data["source"], list) else [data["source"]]
    unknown = [source for source in named if source not in sources]
    return f"sources.yaml has no {', '.join(unknown)}" if unknown else None
