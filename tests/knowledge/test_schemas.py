"""The schemas are written from the vocabulary, say what every property means, and let no unknown key pass."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.files import yaml_files
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.schemas import HEAD, all_schemas
from rousewort.knowledge.strict_yaml import read

FOR_PEOPLE = (
    "taxon",
    "rule",
    "treatment",
    "sources",
)  # written by hand; the plan's form is open, so that keys can be added


@pytest.fixture(scope="module")
def schemas(kb: KnowledgeBase) -> dict[str, dict]:
    return all_schemas(kb.vocabulary, kb.treatments)


def parts(schema: Any, path: str = "") -> Iterator[tuple[str, dict]]:
    """Every subschema with its path."""
    if isinstance(schema, dict):
        yield path, schema
        for key, item in schema.items():
            if key in ("properties", "$defs"):
                for name, inner in item.items():
                    yield from parts(inner, f"{path}/{name}")
            elif key in ("items", "additionalProperties", "if", "then", "else"):
                yield from parts(item, f"{path}/{key}")
            elif key in ("oneOf", "anyOf", "allOf"):
                for i, inner in enumerate(item):
                    yield from parts(inner, f"{path}/{key}{i}")


def test_the_schema_files_are_what_the_vocabulary_says(schemas: dict[str, dict], layer: Path) -> None:
    stale = [
        stem for stem, schema in schemas.items()
        if (layer / "schema" / f"{stem}.schema.yaml").read_text("utf-8") != HEAD + dump(schema)
    ]  # fmt: skip
    assert not stale, "stale: run python -m rousewort.knowledge.write_schemas"


def test_no_schema_file_is_left_over(schemas: dict[str, dict], layer: Path) -> None:
    named = {path.name.removesuffix(".schema.yaml") for path in (layer / "schema").glob("*.schema.yaml")}
    assert set(schemas) <= named


def test_every_schema_is_valid_json_schema(schemas: dict[str, dict]) -> None:
    for schema in schemas.values():
        assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
        jsonschema.Draft202012Validator.check_schema(schema)


def test_every_property_says_what_it_is(schemas: dict[str, dict]) -> None:
    bare = [
        f"{stem}{path}/{name}"
        for stem, schema in schemas.items()
        for path, part in parts(schema)
        for name, inner in part.get("properties", {}).items()
        if isinstance(inner, dict) and not inner.get("description") and not path.endswith("/if")
    ]
    assert not bare


def test_every_object_is_closed_to_unknown_keys(schemas: dict[str, dict]) -> None:
    open_ones = [
        f"{stem}{path}"
        for stem in FOR_PEOPLE
        for path, part in parts(schemas[stem])
        if part.get("type") == "object" and part.get("additionalProperties", True) is True
    ]
    assert not open_ones


def test_every_word_of_the_vocabulary_says_what_it_means(kb: KnowledgeBase) -> None:
    bare = [
        f"{key}: {word}"
        for key, words in kb.vocabulary.given.items()
        for word, entry in words.items()
        if not entry.get("means")
    ]
    assert not bare


def test_editors_are_pointed_at_the_right_schema(layer: Path) -> None:
    """The first line of every entry, rule and treatment names its schema, by a path that exists."""
    wrong = []
    for path in yaml_files(layer):
        top = path.relative_to(layer).parts[0]
        stem = {
            "species": "taxon",
            "genera": "taxon",
            "families": "taxon",
            "rules": "rule",
            "treatments": "treatment",
        }.get(top)
        if stem is None:
            continue
        first = path.read_text("utf-8").split("\n", 1)[0]
        target = first.removeprefix("# yaml-language-server: $schema=")
        if target == first or (path.parent / target).resolve() != (layer / "schema" / f"{stem}.schema.yaml").resolve():
            wrong.append(path.relative_to(layer).as_posix())
    assert not wrong, f"{len(wrong)} files, first {wrong[:5]}"


def test_a_second_validator_agrees_that_every_file_fits(
    schemas: dict[str, dict], kb: KnowledgeBase, layer: Path
) -> None:
    """jsonschema beside jsonschema-rs, on a tenth of the entries and every rule and treatment."""
    validators = {stem: jsonschema.Draft202012Validator(schemas[stem]) for stem in schemas}
    paths = [
        *sorted((layer / "species").rglob("*.yaml"))[::10],
        *(layer / "rules").glob("*.yaml"),
        *(layer / "treatments").glob("*.yaml"),
    ]
    for path in paths:
        stem = {"rules": "rule", "treatments": "treatment"}.get(path.parent.name, "taxon")
        errors = list(validators[stem].iter_errors(read(path.read_bytes(), str(path)).data))
        assert not errors, f"{path.name}: {errors[0].message}"


def test_the_strict_reader_and_a_common_one_read_the_shipped_files_alike(layer: Path) -> None:
    """So an editor or script that reads our files with another library sees the same facts."""
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    for path in list(yaml_files(layer))[::7]:
        text = path.read_text("utf-8")
        assert _keys_as_text(yaml.load(text, Loader=loader)) == read(text, str(path)).data, path.name


def _keys_as_text(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _keys_as_text(item) for key, item in value.items()}
    return [_keys_as_text(item) for item in value] if isinstance(value, list) else value
