"""Entries as tables that others can use, and back: CSV files with a description of every column.

Names are Darwin Core terms (https://dwc.tdwg.org/terms/). Times are in days, hours and minutes and temperatures in
degrees Celsius, units of the SI or accepted beside it; each number's unit stands in a column of its own or in the
description. The description, `datapackage.json`, is a Table Schema: name, type, meaning, unit and term of every column.
Several names in one cell are parted by ` | `, as Darwin Core recommends.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.atomic_write import read_whole
from rousewort.base.errors import Problem, UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase

DWC = "http://rs.tdwg.org/dwc/terms/"
DC = "http://purl.org/dc/terms/"
DESCRIPTION = "datapackage.json"
PARTED = " | "
UNIT_CODES = {"days": "d", "hours": "h", "minutes": "min"}


class Column(NamedTuple):
    """`key`: where the value stands in the record, parted by dots; empty where it is not part of it."""

    name: str
    key: str
    type: str
    means: str
    term: str = ""
    unit: str = ""


_NAME = Column("scientificName", "", "string", "Accepted name of the plant, without author.", DWC + "scientificName")
_GROUND = [
    Column(
        "sourceID", "source", "string", "The work, by its id in works.csv; empty for common practice.", DC + "source"
    ),
    Column("held", "held", "string", "How the fact is held: read, memory, practice, demo."),
    Column("place", "where", "string", "Place in the work: page, table, abstract."),
    Column("countsLess", "low_standing", "string", "Why the fact counts less than others."),
]
# Why a doubted fact stands, a column for each kind of doubt that an author may answer.
_JUDGED = [
    Column(f"judged{name}", f"judged.{code}", "string", f"Why the fact stands, though a check doubts {about}.")
    for name, code, about in (
        ("Contradiction", "contradiction", "that it goes with another"),
        ("FarNumber", "far-number", "its number"),
        ("ReportsDiffer", "reports-differ", "it, as another report says otherwise"),
        ("WrongSubject", "wrong-subject", "that its work speaks of this plant"),
        ("SownInTheCold", "sown-in-the-cold", "germination at the chill's own temperature"),
    )
]
_NOTE = Column("remarks", "note", "string", "What a reader should know.", DWC + "measurementRemarks")


def _span(name: str, key: str, means: str, unit: str) -> list[Column]:
    return [
        Column(f"{name}{end.capitalize()}", f"{key}.{end}", "number", f"{means}, {text} end; empty: open.", unit=unit)
        for end, text in (("low", "lower"), ("high", "upper"))
    ]


def _temperature(name: str, key: str, means: str) -> list[Column]:
    both = [
        Column(f"{name}{part.capitalize()}", f"{key}.{part}", "number", f"{means}, by {part}.", unit="°C")
        for part in ("day", "night")
    ]
    return [*_span(name, key, means, "°C"), *both]


TABLES: dict[str, list[Column]] = {
    "taxa": [
        _NAME,
        Column("taxonRank", "rank", "string", "species (or below), genus or family.", DWC + "taxonRank"),
        Column("family", "family", "string", "Its family; empty for a family.", DWC + "family"),
        Column("synonyms", "synonyms", "list", "Other scientific names."),
        Column("vernacularName", "common_names", "list", "Common names.", DWC + "vernacularName"),
        Column("addsTo", "adds_to", "string", "The accepted name whose entry beneath these reports are added to."),
    ],
    "traits": [
        _NAME,
        Column("measurementType", "", "string", "The trait.", DWC + "measurementType"),
        Column("measurementValue", "is", "string", "Its word; empty for a number.", DWC + "measurementValue"),
        *_span("measurementValue", "", "The number", "see measurementUnit"),
        Column("measurementUnit", "", "string", "1/g for seeds per gram; empty for a word.", DWC + "measurementUnit"),
        *_GROUND,
        Column("inferredFrom", "inferred_from", "string", "What somebody inferred it from; empty where the work says it."),
        _NOTE,
        *_JUDGED,
    ],
    "reports": [
        _NAME,
        Column("reportNumber", "", "integer", "Number of the report within its entry, from 1."),
        *_GROUND,
        Column("lotState", "lot.state", "string", "State of the seed: fresh, stored_dry, stored_moist."),
        Column("lotProvenance", "lot.provenance", "string", "Where the seed came from."),
        *_span("germinationTreated", "germination_pct.treated", "Share that germinated after the treatments", "%"),
        *_span("germinationUntreated", "germination_pct.untreated", "Share that germinated without them", "%"),
        *_temperature("germinationTemperature", "germination_temperature_c", "Temperature of the germination test or sowing"),
        _NOTE,
        *_JUDGED,
    ],
    "treatments": [
        _NAME,
        Column("reportNumber", "", "integer", "The report in reports.csv that this is a part of."),
        Column("treatment", "kind", "string", "What was done."),
        Column("meaning", "means", "string", "What the number is: found_needed, found_effective, recommended, tested, found_unneeded, "
            "found_useless, found_harmful."),
        *_span("duration", "", "How long", "see durationUnit"),
        Column("durationUnit", "", "string", "d (day), h (hour) or min (minute)."),
        *_temperature("temperature", "temperature_c", "Temperature of the treatment"),
        Column("way", "way", "string", "For hot water: poured, held or unknown."),
        Column("strength", "strength_pct", "number", "Strength of acid or solution.", unit="%"),
        Column("countsLess", "low_standing", "string", "Why this treatment counts less than the rest of the report."),
        _NOTE,
        *_JUDGED,
    ],
    "lots": [
        _NAME,
        *_GROUND[:3],
        Column("says", "says", "string", "How lots or provenances differ."),
        Column("lotProvenance", "provenance", "string", "What the difference follows: latitude, height, ripeness."),
    ],
    "works": [
        Column("sourceID", "", "string", "Id of the work.", DC + "identifier"),
        Column("bibliographicCitation", "citation", "string", "How it is cited.", DC + "bibliographicCitation"),
        Column("creator", "author", "string", "Who wrote it, as in the citation.", DC + "creator"),
        Column("year", "year", "integer", "Its year; empty where none is known.", DC + "date"),
        Column("doi", "doi", "string", "Digital object identifier."),
        Column("isbn", "isbn", "string", "International standard book number."),
        Column("reportOrHandbook", "report", "string", "Series and number of a report or public handbook."),
        Column("pmc", "pmc", "string", "Number in the open archive of life-science papers."),
        Column("pmid", "pmid", "string", "Number in the catalogue of medical papers."),
        Column("handle", "handle", "string", "Handle of a university's archive."),
        Column("partRead", "read", "string", "What of it was read."),
        Column("recalled", "recalled", "list", "Fields that nobody saw in a text."),
        Column("remarks", "note", "string", "What of it is uncertain."),
    ],
}  # fmt: skip


def export(kb: KnowledgeBase, names: Iterable[str] | None = None) -> dict[str, str]:
    """File name → text. `names`: accepted names; by default every entry. Works: those that the entries cite."""
    records = kb._memory.records
    chosen = [records[name] for name in (names if names is not None else sorted(records))]
    rows: dict[str, list[dict[str, Any]]] = {table: [] for table in TABLES}
    for record in chosen:
        _rows_of(record, rows)
    cited = sorted(
        {row["sourceID"] for table in ("traits", "reports", "lots") for row in rows[table] if row.get("sourceID")}
    )
    rows["works"] = [{"sourceID": source, **_flat(kb.sources[source], "works")} for source in cited]
    files = {f"{table}.csv": _csv(table, rows[table]) for table in TABLES}
    return files | {DESCRIPTION: json.dumps(description(), ensure_ascii=False, indent=2) + "\n"}


def _rows_of(record: Mapping[str, Any], rows: dict[str, list[dict[str, Any]]]) -> None:
    name = {"scientificName": record["name"]}
    rows["taxa"].append(name | _flat(record, "taxa"))
    for trait, statements in record.get("traits", {}).items():
        for statement in statements:
            row = name | {"measurementType": trait} | _flat(statement, "traits")
            if "is" not in statement:
                row |= {
                    "measurementValueLow": statement["low"],
                    "measurementValueHigh": statement["high"],
                    "measurementUnit": "1/g",
                }
            rows["traits"].append(row)
    for number, report in enumerate(record.get("reports", ()), 1):
        key = name | {"reportNumber": number}
        rows["reports"].append(key | _flat(report, "reports"))
        for treatment in report.get("treatments", ()):
            row = key | _flat(treatment, "treatments")
            for unit, code in UNIT_CODES.items():
                if unit in treatment:
                    row |= {
                        "durationLow": treatment[unit]["low"],
                        "durationHigh": treatment[unit]["high"],
                        "durationUnit": code,
                    }
            rows["treatments"].append(row)
    rows["lots"] += [name | _flat(lot, "lots") for lot in record.get("lots", ())]


def _flat(value: Mapping[str, Any], table: str) -> dict[str, Any]:
    """The columns of a record that have a value there."""
    row = {}
    for column in TABLES[table]:
        found: Any = value
        for step in column.key.split(".") if column.key and not column.key.startswith(".") else ():
            found = found.get(step) if isinstance(found, Mapping) else None
        if column.key and not column.key.startswith(".") and found is not None:
            row[column.name] = PARTED.join(found) if column.type == "list" else found
    return row


def _csv(table: str, rows: Sequence[Mapping[str, Any]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, [column.name for column in TABLES[table]], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def description() -> dict[str, Any]:
    """Every column: name, type, meaning, unit, the open term it stands for."""
    types = {"list": "string"}
    return {
        "profile": "tabular-data-package",
        "name": "rousewort-facts",
        "title": "What is known of the dormancy of seeds, each fact with its source and how it is held",
        "resources": [
            {
                "name": table,
                "path": f"{table}.csv",
                "profile": "tabular-data-resource",
                "encoding": "utf-8",
                "schema": {
                    "fields": [
                        {
                            "name": c.name,
                            "type": types.get(c.type, c.type),
                            "description": c.means
                            + (f" Several are parted by `{PARTED}`." if c.type == "list" else ""),
                            **({"unit": c.unit} if c.unit else {}),
                            **({"rdfType": c.term} if c.term else {}),
                        }
                        for c in columns
                    ]
                },
            }
            for table, columns in TABLES.items()
        ],
    }


def read_folder(folder: Path) -> tuple[dict[str, dict[str, Any]], dict[str, dict[str, Any]]]:
    """Entries and works by name and id, from the tables of a folder; tables but taxa.csv may be missing.

    Raises UserError with every cell that cannot be read; whether the entries are right is for the checks to say.
    """
    problems: list[str | Problem] = []
    rows = {table: list(_read(folder / f"{table}.csv", table, problems)) for table in TABLES}
    if not rows["taxa"] and not problems:
        problems.append(f"{folder / 'taxa.csv'} is missing or empty: it names the plants.")
    records: dict[str, dict[str, Any]] = {}
    for line, row in rows["taxa"]:
        name = row.pop("scientificName", "")
        if not name or name in records:
            problems.append(
                Problem(
                    str(folder / "taxa.csv"),
                    line,
                    1,
                    f"'{name}' stands twice" if name else "the name is empty",
                    "One row a plant.",
                )
            )
        records[name] = _ordered({"name": name, **_deep(row, "taxa")})
    if not problems:
        _fill(folder, records, rows, problems)
    if problems:
        raise UserError(*problems)
    works = {row.pop("sourceID"): _deep(row, "works") for _, row in rows["works"]}
    return records, works


def _fill(folder: Path, records: dict[str, dict[str, Any]], rows: Mapping[str, list[Any]], problems: list[Any]) -> None:
    reports: dict[tuple[str, int], dict[str, Any]] = {}
    for table in ("traits", "reports", "treatments", "lots"):
        for line, row in rows[table]:
            record = records.get(row.pop("scientificName", ""))
            if record is None:
                problems.append(
                    Problem(
                        str(folder / f"{table}.csv"),
                        line,
                        1,
                        "the plant of this row is not in taxa.csv",
                        "Add it there.",
                    )
                )
            elif table == "traits":
                low, high, _ = (
                    row.pop(k, None) for k in ("measurementValueLow", "measurementValueHigh", "measurementUnit")
                )
                trait, made = row.pop("measurementType", ""), _deep(row, "traits")
                made = made if "is" in made else {"low": low, "high": high, **made}
                record.setdefault("traits", {}).setdefault(trait, []).append(made)
            elif table == "reports":
                number, made = row.pop("reportNumber", 0), _deep(row, "reports")
                reports[record["name"], number] = made
                record.setdefault("reports", []).append(made)
            elif table == "treatments":
                report = reports.get((record["name"], row.pop("reportNumber", 0)))
                if report is None:
                    problems.append(
                        Problem(
                            str(folder / "treatments.csv"),
                            line,
                            2,
                            "there is no such report in reports.csv",
                            "Mend the number.",
                        )
                    )
                else:
                    report.setdefault("treatments", []).append(_treatment(row))
            else:
                record.setdefault("lots", []).append(_deep(row, "lots"))
    last = ("treatments", "lot", "germination_pct", "germination_temperature_c", "note")
    for report in reports.values():  # as entries have it: the ground first, the note last
        report.update({key: report.pop(key) for key in last if key in report})


def _treatment(row: dict[str, Any]) -> dict[str, Any]:
    low, high, code = (row.pop(k, None) for k in ("durationLow", "durationHigh", "durationUnit"))
    unit = next((u for u, c in UNIT_CODES.items() if c == code), code)
    made = _deep(row, "treatments")
    head: dict[str, Any] = {k: made.pop(k) for k in ("kind", "means") if k in made}
    return {**head, **({unit: {"low": low, "high": high}} if unit else {}), **made}


def _ordered(record: dict[str, Any]) -> dict[str, Any]:
    order = ("name", "rank", "family", "adds_to", "synonyms", "common_names")
    return {key: record[key] for key in order if key in record}


def _deep(row: Mapping[str, Any], table: str) -> dict[str, Any]:
    """A row as it stands in an entry: `lot.state` inside `lot`; a range with an open end keeps it as null."""
    made: dict[str, Any] = {}
    for column in TABLES[table]:
        if column.name in row and column.key and not column.key.startswith("."):
            *outer, last = column.key.split(".")
            part = made
            for step in outer:
                part = part.setdefault(step, {})
            part[last] = row[column.name]
            if last in ("low", "high"):
                part.setdefault("high" if last == "low" else "low", None)
    return made


def _read(path: Path, table: str, problems: list[Any]) -> Iterable[tuple[int, dict[str, Any]]]:
    """(line, row without its empty cells, numbers as numbers) of one table, as a spreadsheet may have saved it: parted by
    commas, semicolons or tabs, with a byte order mark, in UTF-8 or UTF-16, with empty rows and cells at the end.
    """
    if not path.exists():
        return
    columns = {column.name: column for column in TABLES[table]}
    try:
        text = _decoded(read_whole(path))
        mark = _parting(text.partition("\n")[0])
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
        head = [name.strip() for name in next(reader, [])]
        while head and not head[-1]:
            head.pop()
        unknown = [name or "(empty)" for name in head if name not in columns]
        twice = sorted({name for name in head if head.count(name) > 1})
        if unknown or twice:
            what = (
                f"no such columns: {', '.join(unknown)}" if unknown else f"columns that stand twice: {', '.join(twice)}"
            )
            problems.append(Problem(str(path), 1, 1, what, f"Columns: {', '.join(columns)}"))
            return
        for cells in reader:
            cells = [cell.strip() for cell in cells]
            if any(cells[len(head) :]):
                what = f"the row has {len(cells)} cells and the head {len(head)}"
                problems.append(Problem(str(path), reader.line_num, 1, what, f"Quote cells that hold a `{mark}`."))
            elif any(cells):
                row = dict(zip(head, cells, strict=False))
                yield reader.line_num, dict(_cells(row, columns, str(path), reader.line_num, mark != ",", problems))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        problems.append(Problem(str(path), 0, 0, f"cannot be read: {error}", "Save it as CSV in UTF-8."))


def _decoded(data: bytes) -> str:
    return data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")


def _parting(head: str) -> str:
    """What parts the columns: spreadsheets write semicolons where a comma marks decimals."""
    return max(",;\t", key=head.count)


def _cells(
    row: Mapping[str, str], columns: Mapping[str, Column], file: str, line: int, comma: bool, problems: list[Any]
) -> Iterable[tuple[str, Any]]:
    """`comma`: whether a comma may mark decimals, because it does not part the columns."""
    for number, (name, text) in enumerate(row.items(), 1):
        if text == "":
            continue
        column = columns[name]
        if column.type in ("number", "integer"):
            plain = text.replace(",", ".") if comma else text
            if not re.fullmatch(r"-?\d+(\.\d*)?", plain):
                problems.append(Problem(file, line, number, f"{name}: '{text}' is no number", column.means))
                continue
            value = float(plain)
            yield name, int(value) if value.is_integer() else value
        else:
            yield name, [part.strip() for part in text.split(PARTED.strip())] if column.type == "list" else text
