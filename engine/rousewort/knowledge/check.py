"""What makes a file of the knowledge base right: its schema first, then what a schema cannot say."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import Any

import jsonschema_rs

from rousewort.base.errors import Problem, capped
from rousewort.knowledge.cases import wrong_words
from rousewort.knowledge.files import TAXON_FOLDERS
from rousewort.knowledge.names import fold, slug
from rousewort.knowledge.protocols import UNITS
from rousewort.knowledge.rules import rule_problems
from rousewort.knowledge.schemas import all_schemas
from rousewort.knowledge.spelled_out import spelled_out
from rousewort.knowledge.strict_yaml import Document, Path
from rousewort.knowledge.tables import ABOUT, about_problem
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.knowledge.works import work_problems


class Checked:
    """The parts of one layer, and every problem found in it. A file with problems is left out of the parts."""

    def __init__(self) -> None:
        self.taxa: list[dict[str, Any]] = []
        self.rules: list[dict[str, Any]] = []
        self.treatments: dict[str, dict[str, Any]] = {}
        self.sources: dict[str, dict[str, Any]] = {}
        self.families: dict[str, dict[str, Any]] = {}
        self.genus_family: dict[str, str] = {}
        self.clades: dict[str, Any] = {}
        self.calibration: dict[str, Any] = {}
        self.problems: list[Problem] = []


def kind_of(path: str) -> str | None:
    """Which schema a file of a layer answers to, by its folder."""
    top = path.split("/")[0]
    if top in TAXON_FOLDERS:
        return "taxon"
    return {"rules": "rule", "treatments": "treatment", "sources.yaml": "sources"}.get(top)


_TABLE = {"type": "object", "description": "A table: one `key: value` a line."}
_NAMED = {"type": "array", "minItems": 1, "items": {"type": "string", "description": "A name."}}
CLADES = {
    **_TABLE,
    "additionalProperties": {
        "type": "object",
        "description": "A group between family and genus, or within a genus.",
        "required": ["rank", "of", "held"],
        "additionalProperties": False,
        "oneOf": [{"required": ["genera"]}, {"required": ["species"]}],
        "properties": {
            "rank": {"type": "string", "description": "subfamily, tribe, subgenus, section …"},
            "of": {"type": "string", "description": "The family, or the genus, that it is a part of."},
            "source": {"type": "string", "description": "Id in sources.yaml."},
            "held": {"type": "string", "description": "How it is held: a word of held.yaml."},
            "genera": {**_NAMED, "description": "The genera in it that are known here."},
            "species": {**_NAMED, "description": "The species in it that are known here, with the genus."},
        },
    },
}
# Tables without a schema file of their own: the part they fill, and their shape.
PLAIN: dict[str, tuple[str, dict[str, Any]]] = {
    "names/families.yaml": (
        "families",
        {**_TABLE, "additionalProperties": {"type": "object", "description": "The order of a family."}},
    ),
    "names/genera.yaml": (
        "genus_family",
        {**_TABLE, "additionalProperties": {"type": "string", "description": "The family of a genus."}},
    ),
    "names/clades.yaml": ("clades", CLADES),
    "calibration.yaml": ("calibration", _TABLE),
}
_READ_ELSEWHERE = ("vocabulary/", "schema/", ".")  # hidden folders and files are nobody's entries


def check_layer(
    documents: dict[str, Document], vocabulary: Vocabulary, known: dict[str, Any], names: set[str]
) -> Checked:
    """Check parsed files against schemas and each other. `known` and `names` are what lies beneath this layer."""
    checked = Checked()
    here = {path.split("/")[1][:-5]: d.data for path, d in documents.items() if path.startswith("treatments/")}
    kinds = {**known["treatments"], **here}
    schemas = all_schemas(vocabulary, kinds)
    needed = {kind_of(path) for path in documents} - {
        None
    }  # compiling a schema costs as much as checking a hundred files
    validators = {stem: _validator(stem, schemas[stem]) for stem in schemas if stem in needed}
    checked.sources = documents["sources.yaml"].data if "sources.yaml" in documents else {}
    sources = {**known["sources"], **(checked.sources if isinstance(checked.sources, dict) else {})}
    context = Context(vocabulary, set(sources), set(kinds), names)
    rules: dict[str, Document] = {}
    for path, document in documents.items():
        kind = kind_of(path)
        if kind is None:
            checked.problems += _take_plain(path, document, checked, set(sources))
            continue
        found = capped(schema_problems(document, validators[kind], schemas[kind]))
        if not found and kind == "taxon":
            found = capped(context.taxon(document, path))
        elif not found and kind == "rule":
            found = capped(context.rule(document, path))
        elif not found and kind == "treatment":
            found = capped(context.treatment(document, path))
        elif not found and kind == "sources":
            found = capped(work_problems(document))
        checked.problems += found
        if not found:
            _take(kind, spelled_out(document.data, vocabulary) if kind == "taxon" else document.data, checked)
            if kind == "rule":
                rules[document.data["id"]] = document
        elif kind == "sources":
            checked.sources = {}
    checked.problems += context.claims
    checked.problems += _place_problems(documents, {**known["treatments"], **checked.treatments})
    touched = any(kind_of(path) in ("rule", "treatment") for path in documents)
    given = sum(path.startswith("rules/") for path in documents)
    if touched and len(rules) == given:  # one broken rule would make others seem wrong
        merged = {rule["id"]: rule for rule in (*known["rules"], *checked.rules)}
        checked.problems += rule_problems(list(merged.values()), vocabulary, rules)
        checked.problems += _media_problems(merged, {**known["treatments"], **checked.treatments}, rules)
    return checked


def _place_problems(documents: dict[str, Document], treatments: dict[str, dict[str, Any]]) -> Iterator[Problem]:
    """Every plan begins with one kind and ends with one: a second would be left out of all of them in silence."""
    for place in ("first", "last"):
        those = [kind for kind, told in treatments.items() if told.get("place") == place]
        here = [documents[path] for kind in those if (path := f"treatments/{kind}.yaml") in documents]
        if len(those) > 1:
            for document in here:
                others = ", ".join(kind for kind in those if kind != document.data["kind"])
                yield document.problem(
                    ("place",), f"`place: {place}` is that of {others} already", "Keep it on one of them."
                )
        elif not those and any(path.startswith("treatments/") for path in documents):
            path = next(path for path in documents if path.startswith("treatments/"))
            yield Problem(
                documents[path].file,
                0,
                0,
                f"no treatment has `place: {place}`",
                "Every plan begins with one treatment and ends with one: set it there.",
            )


def _media_problems(
    rules: dict[str, dict[str, Any]], treatments: dict[str, dict[str, Any]], documents: dict[str, Document]
) -> Iterator[Problem]:
    """An offer in a medium that its treatment does not describe would show none at all."""
    for rule_id, rule in rules.items():
        for i, then in enumerate(rule["then"]):
            media = list(treatments.get(then.get("offer"), {}).get("media", {}))
            if "medium" in then and then["medium"] not in media:
                what = f"{then['offer']} has no medium `{then['medium']}`"
                mend = nearest(then["medium"], media) + "Its media: " + (", ".join(media) or "only the usual one")
                place = documents[rule_id].where(("then", i, "medium")) if rule_id in documents else (0, 0)
                yield Problem(
                    documents[rule_id].file if rule_id in documents else f"rules/{rule_id}.yaml", *place, what, mend
                )


def _take(kind: str, data: dict[str, Any], checked: Checked) -> None:
    if kind == "taxon":
        checked.taxa.append(data)
    elif kind == "rule":
        checked.rules.append(data)
    elif kind == "treatment":
        checked.treatments[data["kind"]] = data


def _take_plain(path: str, document: Document, checked: Checked, sources: set[str]) -> list[Problem]:
    """Take a table; a file that is no part of a knowledge base is named, not left out in silence."""
    if path in PLAIN:
        part, schema = PLAIN[path]
        found = capped(schema_problems(document, _validator(path, schema), schema))
        if not found:
            setattr(checked, part, document.data)
        return found
    if path.startswith("tables/"):
        found = list(schema_problems(document, _validator("tables", ABOUT), ABOUT))
        wrong = None if found else about_problem(document.data, sources)
        return [*found, document.problem(("source",), wrong, "Cite the work there, once.")] if wrong else found
    if path.startswith(_READ_ELSEWHERE) or "/." in path:
        return []
    places = ("species/", "genera/", "families/", "rules/", "treatments/", "tables/", "sources.yaml", *PLAIN)
    return [
        Problem(
            document.file,
            0,
            0,
            f"{path} is no part of a knowledge base",
            nearest(path.split("/")[0], [p.split("/")[0] for p in places]) + "Files stand in " + ", ".join(places),
        )
    ]


def _validator(stem: str, schema: dict[str, Any]) -> Any:
    return jsonschema_rs.Draft202012Validator(schema)


def schema_problems(document: Document, validator: Any, schema: dict[str, Any]) -> Iterator[Problem]:
    """Every way in which a document breaks its schema, in people's words."""
    if validator.is_valid(document.data):
        return
    for error in validator.iter_errors(document.data):
        if error.kind.name == "additionalProperties":
            allowed = list(_part_at(schema, list(error.schema_path)).get("properties", {}))
            for key in error.kind.unexpected:
                mend = nearest(key, allowed) + "Allowed: " + ", ".join(allowed)
                yield document.key_problem((*error.instance_path, key), f"`{key}` is not a key here", mend)
        else:
            yield explain(document, tuple(error.instance_path), error, schema)


def _part_at(schema: Any, path: list[Any]) -> dict[str, Any]:
    """The part of a schema that a failing keyword stands in."""
    for step in path[:-1]:
        schema = schema[step] if isinstance(schema, dict | list) else {}
    return schema if isinstance(schema, dict) else {}


def nearest(word: str, allowed: list[str]) -> str:
    close = difflib.get_close_matches(str(word), allowed, n=1, cutoff=0.6)
    return f"Did you mean `{close[0]}`? " if close else ""


def explain(document: Document, path: Path, error: Any, schema: dict[str, Any]) -> Problem:
    """One schema failure as where, what, and what to write instead."""
    kind, part = error.kind.name, _part_at(schema, list(error.schema_path))
    field_name = next((p for p in reversed(path) if isinstance(p, str) and p != "is"), "entry")
    value = error.instance
    if kind == "required":
        return document.problem(
            path, f"`{error.kind.property}` is missing in {field_name}", _describe(part, schema, error.kind.property)
        )
    if kind in ("oneOf", "enum", "const") and "oneOf" in part:
        allowed = [o["const"] for o in part["oneOf"] if "const" in o]
        return document.problem(
            path,
            f"`{value}` is not a word for {field_name}",
            nearest(value, allowed) + "Allowed: " + ", ".join(map(str, allowed)),
        )
    if kind == "anyOf" and (words := _words_among(part["anyOf"])):
        wrong = [one for one in (value if isinstance(value, list) else [value]) if one not in words]
        if wrong and isinstance(wrong[0], str) and (_only_words(part["anyOf"]) or nearest(wrong[0], words)):
            mend = nearest(wrong[0], words) + "Allowed: " + ", ".join(words)
            return document.problem(path, f"`{wrong[0]}` is not a word for {field_name}", mend)
    if kind == "anyOf":
        forms = "; or ".join(o.get("description", "") for o in part.get("anyOf", ()))
        return document.problem(path, f"{field_name} has none of the forms it may have", f"It may be: {forms}")
    if kind == "type":
        return document.problem(
            path, f"{field_name} must be of type {part.get('type')}, not `{value}`", part.get("description", "")
        )
    if kind == "pattern":
        said = str(value).encode("unicode_escape").decode("ascii") if not str(value).isprintable() else value
        return document.problem(path, f"`{said}` is not how {field_name} is written", part.get("description", ""))
    return document.problem(path, f"{field_name}: {error.message[:160]}", part.get("description", ""))


def _words_among(forms: list[dict[str, Any]]) -> list[str]:
    """The words that some of several forms allow."""
    return [option["const"] for form in forms for option in form.get("oneOf", ()) if "const" in option]


def _only_words(forms: list[dict[str, Any]]) -> bool:
    return all("oneOf" in form or "oneOf" in form.get("items", {}) for form in forms)


def _describe(part: dict[str, Any], schema: dict[str, Any], key: str) -> str:
    """What a key is for, as said where it fails, or for the file as a whole where a condition asks for it."""
    known = {**schema.get("properties", {}), **part.get("properties", {})}
    return str(known.get(key, {}).get("description", f"Add `{key}:`."))


def _protocols(document: Document, protocols: list[dict[str, Any]]) -> Iterator[Problem]:
    """What the schema cannot say: an id stands once, a phase has one length, an arm is made of phases, a row is as wide as its head."""
    taken: dict[str, int] = {}
    for i, protocol in enumerate(protocols):
        path: Path = ("protocols", i)
        name = protocol["id"]
        if name in taken:
            line = document.where(("protocols", taken[name], "id"))[0]
            yield document.problem(
                (*path, "id"), f"the id `{name}` stands twice, first on line {line}", "Give it another."
            )
        taken.setdefault(name, i)
        for j, phase in enumerate(protocol.get("phases", ())):
            units = [unit for unit in UNITS if unit in phase]
            if len(units) > 1:
                yield document.problem((*path, "phases", j), f"both {units[0]} and {units[1]} are given", "Give one.")
        for j, result in enumerate(protocol.get("results", ())):
            yield from _result(document, protocol, result, (*path, "results", j))


def _result(document: Document, protocol: dict[str, Any], result: dict[str, Any], path: Path) -> Iterator[Problem]:
    kinds = [phase["kind"] for phase in protocol.get("phases", ())]
    for kind in result.get("arm", ()):
        if kind not in kinds:
            mend = nearest(kind, kinds) + "Its phases: " + (", ".join(kinds) or "none")
            yield document.problem((*path, "arm"), f"no phase of this protocol is `{kind}`", mend)
    columns = result.get("columns", protocol.get("columns"))
    for j, row in enumerate(result.get("rows", ())):
        if columns is None:
            yield document.problem((*path, "rows"), "rows without a head", "Say in `columns` what they hold.")
            return
        if len(row) != len(columns):
            what = f"the row has {len(row)} cells and `columns` {len(columns)}"
            yield document.problem((*path, "rows", j), what, "Columns: " + ", ".join(columns))
        counts = dict(zip(columns, row, strict=False))
        sown = next((counts[key] for key in ("sown", "sound") if key in counts), result.get("sown"))
        if (
            isinstance(sown, int | float)
            and isinstance(counts.get("germinated"), int | float)
            and counts["germinated"] > sown
        ):
            what = f"{counts['germinated']} germinated of {sown} sown"
            yield document.problem((*path, "rows", j), what, "Look at the order of the columns.")
    if {"germinated", "sown"} <= set(result) and result["germinated"] > result["sown"]:
        yield document.problem(
            path, f"{result['germinated']} germinated of {result['sown']} sown", "Look at the counts again."
        )


class Context:
    """Checks that need to know the rest of the knowledge base."""

    def __init__(self, vocabulary: Vocabulary, sources: set[str], kinds: set[str], names: set[str]) -> None:
        self.vocabulary, self.source_ids, self.kinds, self.beneath = vocabulary, sources, kinds, names
        self._claimed: dict[str, tuple[Document, str]] = {}
        self.claims: list[Problem] = []

    def taxon(self, document: Document, path: str) -> Iterator[Problem]:
        record = document.data
        yield from self._place(document, path, record)
        yield from self._ranges(document, record, ())
        yield from self.sources_exist(document, record)
        yield from _protocols(document, record.get("protocols", ()))
        if "adds_to" in record:
            if record["adds_to"] not in self.beneath:
                yield document.problem(
                    ("adds_to",),
                    f"there is no entry `{record['adds_to']}` beneath this layer to add to",
                    "Check the name.",
                )
            for key in sorted(set(record) - {"name", "rank", "family", "adds_to", "protocols"}):
                mend = "Leave out `adds_to` to replace the whole entry, or state it in a protocol."
                yield document.key_problem(
                    (key,), f"an entry that adds to another gives only protocols, not {key}", mend
                )
        else:
            self._claim(document, record)

    def _place(self, document: Document, path: str, record: dict[str, Any]) -> Iterator[Problem]:
        folder, *middle, file = path.split("/")
        if "shared" in record and record.get("rank") != "genus":
            mend = "Write it under `practice`, or in the file of the genus."
            yield document.key_problem(("shared",), "only the entry of a genus shares words with its species", mend)
        if TAXON_FOLDERS[folder] != record.get("rank", TAXON_FOLDERS[folder]):
            yield document.problem(
                ("rank",),
                f"an entry of rank {record['rank']} does not belong in {folder}/",
                "Move the file or mend the rank.",
            )
        if "adds_to" in record:
            return
        wanted = f"{slug(record['name'])}.yaml"
        if record["rank"] == "species":
            wanted = f"{slug(record['name'].split()[0])}/{wanted}"
            if len(record["name"].split()) < 2:
                yield document.problem(("name",), "a species name has at least two words", "Write genus and epithet.")
        if "/".join([*middle, file]) != wanted:
            yield document.problem(
                ("name",),
                f"the file of {record['name']} must be {folder}/{wanted}",
                f"It is {path}: rename one of them.",
            )

    def _claim(self, document: Document, record: dict[str, Any]) -> None:
        """Two files of one layer must not claim one scientific name."""
        for where, name in [("name", record["name"]), *(("synonyms", s) for s in record.get("synonyms", ()))]:
            key = fold(name)
            if key in self._claimed and self._claimed[key][1] != record["name"]:
                other, accepted = self._claimed[key]
                self.claims.append(
                    document.problem(
                        (where,),
                        f"the name {name} is already claimed by {accepted} in {other.file}",
                        "Keep it in one of them.",
                    )
                )
            self._claimed[key] = (document, record["name"])

    def _ranges(self, document: Document, value: Any, path: Path) -> Iterator[Problem]:
        if isinstance(value, dict):
            low, high = value.get("low"), value.get("high")
            if isinstance(low, int | float) and isinstance(high, int | float) and low > high:
                yield document.problem(path, f"the range is reversed: low {low} is above high {high}", "Swap them.")
            for key, item in value.items():
                yield from self._ranges(document, item, (*path, key))
        elif isinstance(value, list):
            for i, item in enumerate(value):
                yield from self._ranges(document, item, (*path, i))

    def sources_exist(self, document: Document, value: Any, path: Path = ()) -> Iterator[Problem]:
        if isinstance(value, dict):
            for key, item in value.items():
                is_source = key in ("source", "also_in") or (
                    (key == "id" and "says" in value) or (key == "id" and path[-2:-1] == ("sources",))
                )
                if is_source and isinstance(item, str) and item not in self.source_ids:
                    yield document.problem(
                        (*path, key),
                        f"`{item}` is not in sources.yaml",
                        nearest(item, sorted(self.source_ids)) + "Add the work there first.",
                    )
                else:
                    yield from self.sources_exist(document, item, (*path, key))
        elif isinstance(value, list):
            for i, item in enumerate(value):
                if path[-1:] == ("also_in",):
                    yield from self.sources_exist(document, {"source": item}, path)
                yield from self.sources_exist(document, item, (*path, i))

    def treatment(self, document: Document, path: str) -> Iterator[Problem]:
        if path != f"treatments/{document.data['kind']}.yaml":
            yield document.problem(
                ("kind",),
                f"the treatment {document.data['kind']} must be in treatments/{document.data['kind']}.yaml",
                f"It is {path}.",
            )
        for place, what, mend in wrong_words(document.data, self.vocabulary):
            yield document.problem(place, what, mend)
        yield from self.sources_exist(document, document.data)

    def rule(self, document: Document, path: str) -> Iterator[Problem]:
        if path != f"rules/{document.data['id']}.yaml":
            yield document.problem(
                ("id",), f"the rule {document.data['id']} must be in rules/{document.data['id']}.yaml", f"It is {path}."
            )
        yield from self.sources_exist(document, document.data)
