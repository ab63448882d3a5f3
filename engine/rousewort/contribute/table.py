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
from rousewort.knowledge.holdout import sources_of
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.spelled_out import ORDER, as_written

DWC = "http://rs.tdwg.org/dwc/terms/"
DC = "http://purl.org/dc/terms/"
DESCRIPTION = "datapackage.json"
PARTED = " | "
LISTS = ("list", "one_or_list")
UNIT_CODES = {"days": "d", "hours": "h", "minutes": "min"}


class Column(NamedTuple):
    """`key`: where the value stands in the record, parted by dots; empty where it is not part of it. `type`: string, number,
    integer, boolean, list, one_or_list (a single word stands bare in the record), or data (a cell of JSON, for what is rare
    and has no columns of its own).
    """

    name: str
    key: str
    type: str
    means: str
    term: str = ""
    unit: str = ""


_NAME = Column("scientificName", "", "string", "Accepted name of the plant, without author.", DWC + "scientificName")
_PROTOCOL = Column("protocolID", "", "string", "The protocol, by its id within its entry.")
_GROUND = [
    Column(
        "sourceID", "source", "string", "The work, by its id in works.csv; empty for common practice.", DC + "source"
    ),
    Column("held", "held", "string", "How the fact is held: read, memory, practice, table, demo."),
    Column("place", "where", "string", "Place in the work: page, table, abstract."),
    Column("countsLess", "low_standing", "string", "Why the fact counts less than others."),
]
# Why a doubted fact stands, a column for each kind of doubt that an author may answer.
_JUDGED = [
    Column(f"judged{name}", f"judged.{code}", "string", f"Why the fact stands, though a check doubts {about}.")
    for name, code, about in (
        ("Contradiction", "contradiction", "that it goes with another"),
        ("FarNumber", "far-number", "its number"),
        ("ProtocolsDiffer", "protocols-differ", "it, as another protocol says otherwise"),
        ("WrongSubject", "wrong-subject", "that its work speaks of this plant"),
        ("ClassAgainstTable", "class-against-table", "its class, as the table of classes says otherwise"),
        ("InferredAgainstTable", "inferred-against-table", "its class, as the table of classes says otherwise"),
        ("AgainstTable", "against-table", "it, as a published table says otherwise"),
        ("SownInTheCold", "sown-in-the-cold", "germination at the chill's own temperature"),
    )
]
_NOTE = Column("remarks", "note", "string", "What a reader should know.", DWC + "measurementRemarks")
_SAID = Column("verbatim", "said", "string", "Words as printed, where they matter.")


def _span(name: str, key: str, means: str, unit: str) -> list[Column]:
    return [
        Column(f"{name}{end.capitalize()}", f"{key}.{end}", "number", f"{means}, {text} end; empty: open.", unit=unit)
        for end, text in (("low", "lower"), ("high", "upper"))
    ]


def _amount(name: str, key: str, means: str, unit: str) -> list[Column]:
    """A number is written with both ends alike; a word stands for an amount that is not given, or that was varied."""
    return [
        *_span(name, key, means, unit),
        Column(f"{name}Across", f"{key}.across", "string", f"{means}: what the range is over."),
        Column(f"{name}Word", f"{key}.word", "string", f"{means}: not_given, or varied, where there is no number."),
    ]


def _temperature(name: str, key: str, means: str) -> list[Column]:
    parts = {"day": "by day", "night": "by night", "day_hours": "hours of the day temperature", "below": "a limit: below",
             "above": "a limit: above"}  # fmt: skip
    named = {part: "".join(word.capitalize() for word in part.split("_")) for part in parts}
    return [
        *_span(name, key, means, "°C"),
        *(
            Column(
                f"{name}{named[part]}",
                f"{key}.{part}",
                "number",
                f"{means}, {text}.",
                unit="h" if "hours" in part else "°C",
            )
            for part, text in parts.items()
        ),
        Column(
            f"{name}Word",
            f"{key}.word",
            "string",
            f"{means}: varied, not_given, outdoors, room, where there are no degrees.",
        ),
    ]


TABLES: dict[str, list[Column]] = {
    "taxa": [
        _NAME,
        Column("taxonRank", "rank", "string", "species (or below), genus or family.", DWC + "taxonRank"),
        Column("family", "family", "string", "Its family; empty for a family.", DWC + "family"),
        Column("synonyms", "synonyms", "list", "Other scientific names."),
        Column("vernacularName", "common_names", "list", "Common names.", DWC + "vernacularName"),
        Column("addsTo", "adds_to", "string", "The accepted name whose entry beneath these protocols are added to."),
    ],
    "traits": [
        _NAME,
        Column("measurementType", "", "string", "The trait.", DWC + "measurementType"),
        Column("measurementValue", "is", "string", "Its word; empty for a number.", DWC + "measurementValue"),
        *_span("measurementValue", "", "The number", "see measurementUnit"),
        Column("measurementUnit", "", "string", "1/g for seeds per gram; empty for a word.", DWC + "measurementUnit"),
        *_GROUND,
        Column("inferredFrom", "inferred_from", "string", "What somebody inferred it from; empty where the work says it."),
        Column("sharedBy", "shared_by", "string", "The genus that says it of all its species; not read back into a species."),
        _NOTE,
        *_JUDGED,
    ],
    "protocols": [
        _NAME,
        _PROTOCOL,
        *_GROUND,
        Column("alsoIn", "also_in", "one_or_list", "Works that carry the same facts again."),
        Column("quoting", "quoting", "string", "The work that it is told from, where the source tells it from another."),
        Column("partRead", "read_what", "string", "What of the work was read."),
        Column("design", "design", "string", "What kind of evidence it is."),
        Column("lotTaxon", "lot.taxon", "string", "The taxon as printed, where other than the entry."),
        Column("lotProvenance", "lot.provenance", "string", "Where the seed came from."),
        *_amount("lotElevation", "lot.elevation_m", "Height above the sea", "m"),
        Column("lotCollected", "lot.collected", "string", "When it was gathered."),
        Column("lotGathered", "lot.gathered", "string", "Where the plants grew: wild, cultivated, bought, seed_bank."),
        Column("lotMaturity", "lot.maturity", "string", "How ripe the seed was."),
        Column("lotStored", "lot.stored.word", "string", "How the seed was kept until then: fresh, dry, moist, frozen."),
        Column("lotStorage", "lot.stored.list", "data", "Spells of storage in order, where one word is not enough."),
        *_amount("lotFilled", "lot.filled_pct", "Share of filled seed", "%"),
        *_amount("lotViable", "lot.viable_pct", "Share of living seed", "%"),
        Column("lotViableBy", "lot.viable_by", "string", "How that was tested."),
        Column("lotCount", "lot.lots", "integer", "How many lots are put together."),
        Column("lotMotherTrees", "lot.mother_trees", "integer", "From how many mother plants."),
        Column("lotRemarks", "lot.note", "string", "What a reader should know of the lot."),
        Column("order", "order", "string", "not_read: nobody has looked yet whether the phases stand in order."),
        Column("found", "found", "string", "What the source found of all phases."),
        Column("chosen", "chosen", "data", "What the authors chose among what they tried."),
        Column("testCounted", "test.counted", "string", "What counted as germinated."),
        Column("testOf", "test.of", "string", "What the shares are of: sown, filled, viable."),
        Column("testReplicates", "test.replicates", "integer", "Replicates of each arm."),
        Column("testSeedsEach", "test.seeds_each", "integer", "Seeds in each replicate."),
        *_amount("testLength", "test.days", "How long it was watched", "d"),
        Column("columns", "columns", "list", "What the columns of its figures hold, in order."),
        Column("notGiven", "not_given", "list", "What the source leaves out."),
        _SAID,
        _NOTE,
        *_JUDGED,
    ],
    "phases": [
        _NAME,
        _PROTOCOL,
        Column("treatment", "kind", "string", "What was done."),
        Column("found", "found", "string", "What the source found of this phase."),
        *_amount("duration", "", "How long", "see durationUnit"),
        Column("durationUnit", "", "string", "d (day), h (hour) or min (minute)."),
        Column("durationBasis", "length_basis", "string", "What the length is: needed, the only one tried, advice."),
        *_temperature("temperature", "temperature_c", "Temperature of the phase"),
        Column("medium", "medium", "string", "What it was done in or on."),
        Column("water", "water", "string", "How wet."),
        Column("light", "light", "string", "Light or dark."),
        Column("lightHours", "light_hours", "number", "Hours of light a day.", unit="h"),
        Column("agent", "agent", "string", "The compound."),
        *_amount("concentration", "ppm", "Strength in parts per million", "ppm"),
        *_amount("strength", "strength_pct", "Strength of acid or solution", "%"),
        Column("dose", "dose", "string", "How much, where it has no other unit."),
        Column("way", "way", "string", "For hot water: poured, held or unknown."),
        Column("site", "place", "string", "Where, if outdoors."),
        Column("begun", "from", "string", "When it began, if that matters."),
        Column("endSign", "end_sign", "string", "What ended it, whatever the days."),
        Column("rootLength", "root_cm", "number", "How long the root was then.", unit="cm"),
        Column("sproutingFirst", "sprouting.first_day", "integer", "Day on which the first sprouted in it."),
        Column("sproutingMost", "sprouting.most_by_day", "integer", "Day by which most had sprouted in it."),
        *_amount("sproutingShare", "sprouting.pct", "Share that sprouted in it", "%"),
        Column("onlyIf", "only_if", "string", "Done only to some of the seed."),
        Column("onlyIn", "only_in", "string", "some_arms: not every arm had it."),
        Column("driedAfter", "dried_after", "boolean", "true where the seed was dried after it."),
        Column("countsLess", "low_standing", "string", "Why this phase counts less than the rest of the protocol."),
        _SAID,
        _NOTE,
        *_JUDGED,
    ],
    "results": [
        _NAME,
        _PROTOCOL,
        Column("arm", "arm", "list", "Which of the phases this arm had."),
        Column("untreated", "untreated", "boolean", "true for seed that had none of the phases before sowing."),
        Column("lotName", "lot.name", "string", "The name that the source gives the lot."),
        Column("lotProvenance", "lot.provenance", "string", "Where this lot came from."),
        Column("lotCount", "lot.lots", "integer", "How many lots are put together."),
        Column("lotRemarks", "lot.note", "string", "What a reader should know of the lot."),
        Column("at", "at", "data", "The values of what was varied that this holds for."),
        Column("of", "of", "string", "What the figure is of: best_lot, every_lot."),
        Column("germinated", "germinated", "integer", "Seeds that germinated."),
        Column("sown", "sown", "integer", "Seeds sown."),
        *_amount("germinatedShare", "germinated_pct", "Share that germinated", "%"),
        *_amount("time", "days", "In how many days", "d"),
        Column("verdict", "verdict", "string", "What the authors say of it, where no figure is printed."),
        Column("columns", "columns", "list", "What the columns of its figures hold, where not those of the protocol."),
        Column("figures", "rows", "data", "Rows of figures, in the order of the columns."),
        _NOTE,
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
    cited = sorted({work for record in chosen for work in sources_of(record)})
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
    for protocol in record.get("protocols", ()):
        key = name | {"protocolID": protocol["id"]}
        rows["protocols"].append(key | _flat(protocol, "protocols"))
        for phase in protocol.get("phases", ()):
            unit = next((u for u in UNIT_CODES if u in phase), None)
            length = _flat({"": phase[unit]}, "phases") | {"durationUnit": UNIT_CODES[unit]} if unit else {}
            rows["phases"].append(key | _flat(phase, "phases") | length)
        rows["results"] += [key | _flat(result, "results") for result in protocol.get("results", ())]
    rows["lots"] += [name | _flat(lot, "lots") for lot in record.get("lots", ())]


def _flat(value: Mapping[str, Any], table: str) -> dict[str, Any]:
    """The columns of a record that have a value there. A plain number is both ends of its range; a word and a list go by those names."""
    row = {}
    for column in TABLES[table]:
        found: Any = value
        for step in column.key.split(".") if column.key else (None,):
            found = found.get(step) if isinstance(found, Mapping) else _as_part(found, step)
        if found is not None:
            row[column.name] = _cell(found, column.type)
    return row


def _as_part(value: Any, part: str | None) -> Any:
    if isinstance(value, str):
        return value if part == "word" else None
    if isinstance(value, list):
        return value if part == "list" else None
    return value if part in ("low", "high") else None


def _cell(value: Any, kind: str) -> Any:
    if kind in LISTS:
        return PARTED.join([value] if isinstance(value, str) else value)
    if kind == "data":
        return json.dumps(value, ensure_ascii=False)
    return str(value).lower() if kind == "boolean" else value


def _csv(table: str, rows: Sequence[Mapping[str, Any]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, [column.name for column in TABLES[table]], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def description() -> dict[str, Any]:
    """Every column: name, type, meaning, unit, the open term it stands for."""
    types = dict.fromkeys((*LISTS, "data"), "string")
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
                            + (f" Several are parted by `{PARTED}`." if c.type in LISTS else "")
                            + (" As JSON." if c.type == "data" else ""),
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
    protocols: dict[tuple[str, str], dict[str, Any]] = {}
    for table in ("traits", "protocols", "phases", "results", "lots"):
        for line, row in rows[table]:
            file = str(folder / f"{table}.csv")
            record = records.get(row.pop("scientificName", ""))
            if record is None:
                problems.append(Problem(file, line, 1, "the plant of this row is not in taxa.csv", "Add it there."))
            elif table == "traits":
                _add_statement(record, row)
            elif table == "lots":
                record.setdefault("lots", []).append(_deep(row, "lots"))
            elif table == "protocols":
                made = {"id": row.pop("protocolID", ""), **_deep(row, "protocols")}
                protocols[record["name"], made["id"]] = made
                record.setdefault("protocols", []).append(made)
            else:
                protocol = protocols.get((record["name"], row.pop("protocolID", "")))
                if protocol is None:
                    what = "there is no such protocol in protocols.csv"
                    problems.append(Problem(file, line, 2, what, "Mend its id."))
                else:
                    made = _phase(row) if table == "phases" else _deep(row, "results")
                    protocol.setdefault(table, []).append(made)
    last = ("lot", "order", "phases", "found", "chosen", "test", "columns", "results", "said", "not_given", "note")
    for protocol in protocols.values():  # as entries have it: the ground first, the note last
        protocol.update({key: protocol.pop(key) for key in last if key in protocol})
    for name, record in records.items():
        records[name] = as_written(record)


def _add_statement(record: dict[str, Any], row: dict[str, Any]) -> None:
    low, high, _ = (row.pop(k, None) for k in ("measurementValueLow", "measurementValueHigh", "measurementUnit"))
    trait, made = row.pop("measurementType", ""), _deep(row, "traits")
    made = made if "is" in made else {"low": low, "high": high, **made}
    record.setdefault("traits", {}).setdefault(trait, []).append(made)


def _phase(row: dict[str, Any]) -> dict[str, Any]:
    code = row.pop("durationUnit", None)
    made = _deep(row, "phases")
    length = made.pop("", None)
    unit = next((u for u, c in UNIT_CODES.items() if c == code), code)
    head: dict[str, Any] = {key: made.pop(key) for key in ("kind", "found") if key in made}
    return {**head, **({unit: length} if unit and length is not None else {}), **made}


def _ordered(record: dict[str, Any]) -> dict[str, Any]:
    return {key: record[key] for key in ORDER if key in record}


def _deep(row: Mapping[str, Any], table: str) -> dict[str, Any]:
    """A row as it stands in an entry: `lot.provenance` inside `lot`; a range with like ends is a number, an open end is left out."""
    made: dict[str, Any] = {}
    for column in TABLES[table]:
        if column.name in row and column.key:
            *outer, last = column.key.split(".")
            part = made
            for step in outer:
                part = part.setdefault(step, {})
            part[last] = row[column.name]
    return {key: _joined(value) for key, value in made.items()}


def _joined(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    for whole in ("word", "list"):
        if whole in value:
            return value[whole]
    if set(value) == {"low", "high"} and value["low"] == value["high"]:
        return value["low"]
    return {key: _joined(item) for key, item in value.items()}


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
        elif column.type == "data":
            try:
                yield name, json.loads(text)
            except ValueError:
                problems.append(Problem(file, line, number, f"{name}: '{text}' is no JSON", column.means))
        elif column.type == "boolean":
            yield name, {"true": True, "false": False}.get(text.lower(), text)
        elif column.type in LISTS:
            parts = [part.strip() for part in text.split(PARTED.strip())]
            yield name, parts[0] if column.type == "one_or_list" and len(parts) == 1 else parts
        else:
            yield name, text
