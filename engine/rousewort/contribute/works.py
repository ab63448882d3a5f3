"""Works that are cited: a citation from CSL JSON, BibTeX or typed fields, its place in sources.yaml, and what rests on it."""

from __future__ import annotations

import json
import re
import unicodedata
import warnings
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from rapidfuzz import fuzz

from rousewort.base.atomic_write import read_text
from rousewort.base.errors import Problem, UserError
from rousewort.contribute.tidy import schema_for, tidy
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import works_of
from rousewort.knowledge.strict_yaml import read

STYLE = "harvard-cite-them-right"  # the citation style that comes with the library
ALIKE = 92  # of 100: how like two citations are that may be the same work
_DOI = re.compile(r"10\.\d{4,9}/\S+")
_YEAR = re.compile(r"(1[5-9]|20)\d\d")
# What of a record becomes a word of the id when the author gives none.
_SMALL = {"a", "an", "the", "of", "on", "in", "and", "for", "to", "der", "die", "das", "la", "le", "el", "de"}


class Work(NamedTuple):
    """One work, ready to be written: an id of its own, and how it is cited."""

    id: str
    citation: str
    note: str | None = None


class Use(NamedTuple):
    """One thing that rests on a work: an entry, rule or treatment, which part of it, and how it is held."""

    kind: str
    name: str
    part: str
    held: str


def fields(citation: str) -> dict[str, Any]:
    """Author, year and DOI where the citation has them as our style writes them: `Reed, A. (2001) 'Title' … doi:10.…`."""
    found: dict[str, Any] = {}
    head = re.match(r"(?P<author>[^(]{2,}?) \((?P<year>(1[5-9]|20)\d\d)\)", citation)
    if head:
        found = {"author": head["author"], "year": int(head["year"])}
    doi = _DOI.search(citation)
    return {**found, **({"doi": doi[0].rstrip(".")} if doi else {})}


def read_file(path: Path) -> list[dict[str, Any]]:
    """The works of a CSL JSON (.json) or BibTeX (.bib) file, as CSL records. Raises UserError."""
    try:
        text = read_text(path)
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(f"{path} cannot be read: {getattr(error, 'strerror', None) or 'not UTF-8 text'}.") from None
    if path.suffix.lower() in (".bib", ".bibtex"):
        return [
            {"bibtex": path, "id": key}
            for key in re.findall(r"^\s*@(?!comment|string|preamble)\w+\s*[{(]\s*([^,\s]+)\s*,", text, re.M | re.I)
        ]
    try:
        data = json.loads(text)
    except ValueError as error:
        raise UserError(f"{path} is no CSL JSON: {error}. Name a .json or .bib file.") from None
    records = data if isinstance(data, list) else [data]
    if not records or not all(isinstance(r, dict) and r.get("title") for r in records):
        raise UserError(f"{path}: every work needs at least `title`, and should have `author` and `issued`.")
    return [{"type": "document", "id": f"work-{i}", **r} for i, r in enumerate(records)]


def cite(record: Mapping[str, Any]) -> str:
    """The citation of one record, by the citation library. Raises UserError for a record it cannot read."""
    from citeproc import Citation, CitationItem, CitationStylesBibliography, CitationStylesStyle, formatter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            source = _source(record)
            bibliography = CitationStylesBibliography(
                CitationStylesStyle(STYLE, validate=False), source, formatter.plain
            )
            bibliography.register(
                Citation([CitationItem(str(record["id"]).lower() if "bibtex" in record else str(record["id"]))])
            )
            text = "".join(bibliography.bibliography()[0])
        except Exception as error:  # the library raises whatever its parts raise
            raise UserError(
                f"The record {record.get('id')} cannot be read as a work: {error!r}. Type its fields instead: --title, --author …"
            ) from None
    if record.get("genre", "").lower() != "preprint" and "bibtex" not in record:
        text = text.replace(" [Preprint]", "")  # the style's guess for an article without volume and pages
    return tidy_citation(text)


def _source(record: Mapping[str, Any]) -> Any:
    from citeproc.source import bibtex
    from citeproc.source import json as csl_json

    if "bibtex" in record:
        return bibtex.BibTeX(str(record["bibtex"]))
    return csl_json.CiteProcJSON([{k: v for k, v in record.items() if v not in (None, "")}])


def tidy_citation(text: str) -> str:
    """Plain quotes and spaces; a DOI as `doi:…`, not as the address of a resolver."""
    text = text.replace("“", "'").replace("”", "'").replace("‘", "'").replace("’", "'")
    text = re.sub(r"(Available at: )?https?://(dx\.)?doi\.org/(10\.\S+?)\.?$", r"doi:\3", " ".join(text.split()))
    return text.strip()


def typed(fields: Mapping[str, str]) -> dict[str, Any]:
    """A CSL record from typed fields; authors as `Family, Given; Family, Given`. Raises UserError for every wrong field."""
    problems = []
    year, doi, isbn = fields.get("year", ""), fields.get("doi", ""), fields.get("isbn", "")
    if not fields.get("title"):
        problems.append("A work needs a title: --title 'Dormancy of …'")
    if year and not re.fullmatch(_YEAR, year):
        problems.append(f"--year {year}: write four digits.")
    if doi and not _DOI.fullmatch(_bare_doi(doi)):
        problems.append(f"--doi {doi}: a DOI looks like 10.1234/abc.")
    if isbn and not isbn_holds(isbn):
        problems.append(f"--isbn {isbn}: its check digit does not fit; look at the number again.")
    if problems:
        raise UserError(*problems)
    authors = [a.strip() for a in fields.get("author", "").split(";") if a.strip()]
    record: dict[str, Any] = {"id": "typed", "type": _type(fields), "title": fields["title"]}
    record["author"] = [_author(a) for a in authors]
    if year:
        record["issued"] = {"date-parts": [[int(year)]]}
    names = {
        "journal": "container-title",
        "volume": "volume",
        "issue": "issue",
        "pages": "page",
        "publisher": "publisher",
        "url": "URL",
    }
    record |= {csl: fields[ours] for ours, csl in names.items() if fields.get(ours)}
    return record | ({"DOI": _bare_doi(doi)} if doi else {}) | ({"ISBN": isbn} if isbn else {})


def _type(fields: Mapping[str, str]) -> str:
    if fields.get("journal"):
        return "article-journal"
    return "book" if fields.get("publisher") or fields.get("isbn") else "webpage" if fields.get("url") else "document"


def _author(text: str) -> dict[str, str]:
    family, comma, given = text.partition(",")
    return {"family": family.strip(), "given": given.strip()} if comma else {"literal": text}


def _bare_doi(text: str) -> str:
    return re.sub(r"^(https?://(dx\.)?doi\.org/|doi:\s*)", "", text.strip(), flags=re.I)


def isbn_holds(text: str) -> bool:
    """Whether the check digit of an ISBN of 10 or 13 digits fits (ISO 2108)."""
    digits = re.sub(r"[\s-]", "", text).upper()
    if re.fullmatch(r"\d{9}[\dX]", digits):
        return sum((10 - i) * (10 if d == "X" else int(d)) for i, d in enumerate(digits)) % 11 == 0
    return (
        bool(re.fullmatch(r"97[89]\d{10}", digits))
        and sum(int(d) * (3 if i % 2 else 1) for i, d in enumerate(digits)) % 10 == 0
    )


def id_for(record: Mapping[str, Any], citation: str, taken: Mapping[str, Any]) -> str:
    """`garcia-2011-dormancy`: first author, year, first telling word of the title; numbered where it is taken."""
    authors = record.get("author") or []
    first = authors[0] if authors and isinstance(authors[0], dict) else {}
    author = first.get("family") or first.get("literal") or citation.split(",")[0].split("(")[0]
    year = _YEAR.search(str(record.get("issued", "")) + " " + citation)
    title = record.get("title") or citation[citation.find(")") + 1 :]
    word = next((w for w in _plain(title).split("-") if len(w) > 2 and w not in _SMALL), "")
    base = "-".join(part for part in ("-".join(_plain(author).split("-")[:3]), year[0] if year else "", word) if part)
    number, made = 2, base
    while made in taken:
        made, number = f"{base}-{number}", number + 1
    return made


def _plain(text: str) -> str:
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", ascii_text).strip("-")


def faults(work: Work, sources: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """What is wrong with a work that is to be added: its id, its style, or that it is there already."""
    found = []
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", work.id):
        found.append(f"'{work.id}' is no id: lower-case letters, digits and hyphens.")
    elif work.id in sources:
        found.append(f"'{work.id}' is taken by: {sources[work.id]['citation']}. Give another with --id.")
    if not _YEAR.search(work.citation) and "undated" not in work.citation and "n.d." not in work.citation:
        found.append("The citation has no year. Give --year, or write 'undated' in the citation.")
    if len(work.citation) < 20:
        found.append(f"The citation '{work.citation}' is too short to find the work by.")
    same = same_work(work.citation, sources)
    if same:
        found.append(
            f"That work may be there already, as '{same}': {sources[same]['citation']}. If it is another, say --force."
        )
    return found


def same_work(citation: str, sources: Mapping[str, Mapping[str, Any]]) -> str | None:
    """The id of a work with the same DOI, or a citation much like this one."""
    doi = _DOI.search(citation)
    years = {m[0] for m in _YEAR.finditer(citation)}
    for known, source in sources.items():
        other = source["citation"]
        if doi and doi[0].rstrip(".").lower() in f"{other} {source.get('doi', '')}".lower():
            return known
        if (not years or any(year in other for year in years)) and fuzz.token_sort_ratio(
            citation.lower(), other.lower()
        ) >= ALIKE:
            return known
    return None


def inserted(text: str, work: Work) -> str:
    """sources.yaml with one work more, in the order of ids; everything else stays as it stands, comments too."""
    note = {"note": work.note} if work.note else {}
    block = dump({work.id: {"citation": work.citation, **fields(work.citation), **note}})
    if not text.strip():
        return block
    document = read(text, "sources.yaml")
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    after = [place[0] for keys, place in document.key_marks.items() if len(keys) == 1 and keys[0] > work.id]
    at = min(after) - 1 if after else len(lines)
    while at > 0 and after and lines[at - 1].startswith("#") and at > 2:
        at -= 1
    made = "".join([*lines[:at], block, *lines[at:]])
    if read(made, "sources.yaml").data != {**document.data, work.id: read(block, "").data[work.id]}:
        raise UserError(
            Problem("sources.yaml", 0, 0, "the work could not be put in without changing others", "Add it by hand.")
        )
    return made


def with_works(folder: Path, works: Iterable[Work]) -> str:
    """The sources.yaml of a layer with these works put in, in the canonical form. Raises UserError, KnowledgeError."""
    path = folder / "sources.yaml"
    text = path.read_text("utf-8") if path.exists() else ""
    for work in works:
        text = inserted(text, work)
    return tidy(text, str(path), schema_for(path.resolve(), folder.resolve())) if text.strip() else text


def uses(kb: KnowledgeBase, source: str) -> Iterator[Use]:
    """Everything that rests on a work, entries first."""
    store = kb._memory
    for name, record in store.records.items():
        for key, statements in record.get("traits", {}).items():
            yield from (Use(record["rank"], name, key, s["held"]) for s in statements if s.get("source") == source)
        for part in ("protocols", "lots"):
            yield from (
                Use(record["rank"], name, part[:-1], r["held"]) for r in record.get(part, ()) if source in works_of(r)
            )
    for rule in kb.rules:
        yield from (Use("rule", rule["id"], "ground", s["held"]) for s in rule["sources"] if s.get("id") == source)
        for example in (*rule["examples"]["fires"], *rule["examples"]["silent"]):
            if example.get("source") == source:
                held = example.get("held") or _held_in(store.record(example["species"]) or {}, source)
                yield Use("rule", rule["id"], "example", held)
    for kind, treatment in kb.treatments.items():
        yield from (Use("treatment", kind, part, held) for part, held in _cited(treatment, source))


def _held_in(record: Mapping[str, Any], source: str) -> str:
    """How an entry holds what it has from a work: an example by species leaves that to the entry. Read, if any of it is."""
    held = {held for _, held in _cited(dict(record), source)}
    return "read" if "read" in held else min(held, default="practice")


def _cited(value: Any, source: str, part: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        if source in (value.get("id"), value.get("source")):
            yield part, value.get("held", "practice")
        for key, item in value.items():
            yield from _cited(item, source, part or key)
    elif isinstance(value, list):
        for item in value:
            yield from _cited(item, source, part)
