"""Pages for contributors: how knowledge is added, and every key of every form of file, read off the schemas."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from markupsafe import Markup

from rousewort.base.errors import UserError
from rousewort.handbook.escape import escaped
from rousewort.handbook.pages import Page, Writer
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.schemas import all_schemas

# What a reader would call each form, and where its files lie.
FORMS = {
    "taxon": ("Entry of a species, genus or family", "kb/species, kb/genera, kb/families"),
    "rule": ("Rule", "kb/rules"),
    "treatment": ("Treatment", "kb/treatments"),
    "sources": ("Works cited", "kb/sources.yaml"),
    "plan": ("Plan as data", "what `rousewort plan --json` prints"),
}
AGAIN = 3  # a key that stands so often with one meaning is explained once
LONGEST = 70  # letters of an example


class Row(NamedTuple):
    """One key: what it means, its form in words, allowed words with meanings, keys inside, an example from our files.
    `again`: explained once for the whole page, under that name."""

    key: str
    means: Markup
    form: str
    required: bool
    words: tuple[tuple[str, str], ...] = ()
    inside: tuple[Row, ...] = ()
    example: str = ""
    again: bool = False


def docs_folder() -> Path:
    """`docs/` of a clone, or its copy in an installed wheel."""
    here = Path(__file__).resolve()
    for folder in (here.parents[3] / "docs", here.parents[1] / "docs"):
        if (folder / "contributing.md").is_file():
            return folder
    raise UserError("This installation lacks the contributor's guide. Install rousewort again.")


def contributor_pages(write: Writer) -> Iterator[Page]:
    """The guide as it stands in docs/, its templates, and a page for every schema."""
    for path in ("contributing.md", "templates/change.md", "templates/correction.md", "templates/species.md"):
        text = (docs_folder() / path).read_text(encoding="utf-8").replace("](templates/", "](contributing/")
        name = Path(path).stem
        title = "Adding and correcting knowledge" if name == "contributing" else f"Template: {name}"
        head = {"title": title, "description": "For contributors to the knowledge base.", "hide": ["navigation"]}
        if name == "contributing":
            text += "\n\nEvery key of every form of file, with its allowed words: [forms](schema.md).\n"
        else:
            text = f"# {title}\n\nCopy it into your change.\n\n```\n{text.rstrip()}\n```\n"
        yield Page(
            path.replace("templates/", "contributing/"), f"---\n{json.dumps(head, sort_keys=True)}\n---\n\n{text}"
        )
    forms = all_schemas(write.kb.vocabulary, write.kb.treatments)
    yield write.page(
        "schema",
        "schemas.md",
        "Forms of files",
        "Every form of file of the knowledge base, key by key.",
        forms=[(stem, *FORMS[stem], schema["description"]) for stem, schema in forms.items()],
    )
    for stem, schema in forms.items():
        examples = _examples(_files(write, stem))
        rows, again = rows_of(schema, examples)
        yield write.page(
            f"schema/{stem}",
            "schema.md",
            FORMS[stem][0],
            schema["description"],
            means=schema["description"],
            where=FORMS[stem][1],
            stem=stem,
            rows=rows,
            again=again,
            whole=[_line(line) for line in _whole(write, stem).splitlines()],
        )
        yield Page(
            f"schema/{stem}.schema.json", json.dumps(schema, ensure_ascii=False, indent=1, sort_keys=True) + "\n"
        )


def rows_of(schema: Mapping[str, Any], examples: Mapping[tuple[str, ...], str]) -> tuple[list[Row], list[Row]]:
    """The keys of a schema, and those that come again and again in it, each explained once."""
    counts: dict[str, int] = {}
    _count(schema, counts)
    often: set[str] = set()
    for name, count in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
        key = name.split(" ")[0]
        if count >= AGAIN and not any(other.split(" ")[0] == key for other in often):  # of two meanings, the commoner
            often.add(name)
    shared: dict[str, Row] = {}
    rows = [*_rows(_body(schema), (), often, shared, examples)]
    return rows, sorted((row for row in shared.values()), key=lambda row: row.key)


def _name(key: str, schema: Mapping[str, Any]) -> str:
    return f"{key} {json.dumps(schema, sort_keys=True)}"


def _count(schema: Any, counts: dict[str, int]) -> None:
    if isinstance(schema, Mapping):
        for key, value in schema.get("properties", {}).items():
            if isinstance(value, Mapping) and "description" in value:
                counts[_name(key, value)] = counts.get(_name(key, value), 0) + 1
        for part in ("properties", "$defs"):
            for value in schema.get(part, {}).values():
                _count(value, counts)
        for part in ("items", "additionalProperties"):
            _count(schema.get(part), counts)
        for part in ("anyOf", "oneOf"):
            for value in schema.get(part, ()):
                _count(value, counts)


def _rows(
    schema: Mapping[str, Any],
    path: tuple[str, ...],
    often: set[str],
    shared: dict[str, Row],
    examples: Mapping[tuple[str, ...], str],
    explained: bool = False,
) -> Iterator[Row]:
    """`schema`: one whose properties are the keys. `explained`: within a key that comes again, where all is said once."""
    for key, value in schema.get("properties", {}).items():
        here = (*path, key)
        again = not explained and _name(key, value) in often
        inside: list[Row] = []
        for body in _bodies(value):
            inside += _rows(body, here, often, shared, examples, explained or again)
        row = Row(
            key,
            said(value.get("description", "")),
            form_of(value),
            key in schema.get("required", ()),
            tuple((str(o["const"]), said(o.get("description", ""))) for o in _options(value)),
            tuple(inside),
            examples.get(here, ""),
            again,
        )
        if again:
            known = shared.get(key)
            shared[key] = row._replace(
                again=False, required=False, example=row.example or (known.example if known else "")
            )
        yield row


def _body(schema: Mapping[str, Any]) -> Mapping[str, Any]:
    """A list's items, or the thing itself; where names are free, what each of them holds."""
    if isinstance(schema.get("items"), Mapping):
        return _body(schema["items"])
    if isinstance(schema.get("additionalProperties"), Mapping) and "properties" not in schema:
        return _body(schema["additionalProperties"])
    return schema


def _bodies(schema: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    body = _body(schema)
    several = [_body(one) for one in (*body.get("anyOf", ()), *body.get("oneOf", ())) if "const" not in one]
    return [one for one in (several or [body]) if one.get("properties")]


def _options(schema: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    body = _body(schema)
    found = [one for one in body.get("oneOf", ()) if "const" in one]
    return found + ([body] if "const" in body else [])


def form_of(schema: Mapping[str, Any]) -> str:
    """What may stand there, in plain words."""
    if "items" in schema:
        items = schema["items"]
        if not isinstance(items, Mapping):
            return "a list"
        if items.get("description") and isinstance(items.get("additionalProperties"), Mapping):
            return "a list; each of them: " + items["description"].rstrip(".")
        return "a list: " + form_of(items)
    if any("const" in one for one in schema.get("oneOf", ())):
        return "one of the words below"
    if "const" in schema:
        return "always the same word"
    if several := schema.get("anyOf") or schema.get("oneOf"):
        return " or ".join(dict.fromkeys(form_of(one) for one in several))
    kinds = schema.get("type", "anything")
    kinds = [kinds] if isinstance(kinds, str) else list(kinds)
    if isinstance(schema.get("additionalProperties"), Mapping) and "properties" not in schema:
        return "a name and for it " + form_of(schema["additionalProperties"])
    words = {
        "string": "text",
        "number": "a number",
        "integer": "a whole number",
        "boolean": "true or false",
        "object": "the keys below" if schema.get("properties") else "keys with values",
        "null": "nothing (null: open, or not known)",
        "array": "a list",
    }
    said = " or ".join(words.get(kind, kind) for kind in kinds)
    if "minimum" in schema or "maximum" in schema:
        said += f", from {schema.get('minimum', '…')} to {schema.get('maximum', '…')}"
    return said


# Examples


def _files(write: Writer, stem: str) -> Iterable[Mapping[str, Any]]:
    kb = write.kb
    if stem == "taxon":
        names = [*write.catalogue.species, *write.catalogue.places.all("genus"), *write.catalogue.places.all("family")]
        return (record for name in names if (record := kb.taxon(name)))
    if stem == "sources":
        return (dict(kb.sources[key]) for key in write.catalogue.places.all("source"))
    return kb.rules if stem == "rule" else kb.treatments.values() if stem == "treatment" else ()


def _examples(files: Iterable[Mapping[str, Any]]) -> dict[tuple[str, ...], str]:
    """Path of a key → a value that some file of ours has there, the shortest of the first few."""
    found: dict[tuple[str, ...], str] = {}
    seen: dict[tuple[str, ...], int] = {}
    for record in files:
        stack: list[tuple[tuple[str, ...], Any]] = [((), record)]
        while stack:
            path, value = stack.pop()
            if isinstance(value, Mapping):
                stack += [((*path, str(key)), part) for key, part in value.items()]
                if path:  # names of free choice are no part of a schema's path
                    stack += [(path, part) for part in value.values() if isinstance(part, Mapping)]
                if path and len(value) == 1 and isinstance(part := next(iter(value.values())), str):
                    stack.append((path, f"{next(iter(value))}: {part}"))
            elif isinstance(value, list) and any(isinstance(part, Mapping | list) for part in value):
                stack += [(path, part) for part in value]
            elif path and value is not None and seen.get(path, 0) < 5:
                seen[path] = seen.get(path, 0) + 1
                text = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
                text = text if len(text) <= LONGEST else text[:LONGEST].rsplit(" ", 1)[0] + " …"
                if path not in found or len(text) < len(found[path]):
                    found[path] = text
    return found


def said(text: str) -> Markup:
    """A description; what stands between backticks is code."""
    parts = text.split("`")
    return Markup("").join(
        Markup("<code>{}</code>").format(escaped(p)) if i % 2 else escaped(p) for i, p in enumerate(parts)
    )


def _line(text: str) -> Markup:
    """One line of a file; what indents it is kept."""
    bare = text.lstrip(" ")
    return Markup(" " * (len(text) - len(bare))) + escaped(bare)


def _whole(write: Writer, stem: str) -> str:
    """A whole short file of that form, as it would be written."""
    if stem == "sources":
        key = next(iter(write.catalogue.places.all("source")), None)
        return dump({key: dict(write.kb.sources[key])}) if key else ""
    if stem == "taxon":
        full = [
            r
            for name in write.catalogue.species
            if (r := write.kb.taxon(name)) and r.get("protocols") and r.get("traits")
        ]
        chosen = min(full, key=lambda record: len(json.dumps(record)), default=None)
    else:
        files = list(_files(write, stem))
        chosen = min(files, key=lambda record: len(json.dumps(record)), default=None)
    return dump(dict(chosen)) if chosen else ""
