"""The vocabulary is checked as entries are: a misspelt key or word is told with file, line and the nearest word."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from rousewort.base.errors import KnowledgeError, Problem
from rousewort.knowledge.build import read_vocabulary
from rousewort.knowledge.strict_yaml import read
from rousewort.knowledge.vocabulary import FILES
from rousewort.knowledge.vocabulary_schemas import vocabulary_schemas


@pytest.fixture
def own(layer: Path, tmp_path: Path) -> Path:
    """A copy of the words and treatments alone."""
    for part in ("vocabulary", "treatments"):
        shutil.copytree(layer / part, tmp_path / part)
    return tmp_path


def problems_of(folder: Path) -> list[Problem]:
    with pytest.raises(KnowledgeError) as caught:
        read_vocabulary(folder)
    return [problem for problem in caught.value.problems if isinstance(problem, Problem)]


def change(path: Path, old: str, new: str) -> int:
    """Put `new` for the first `old`; returns its line."""
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    return text[: text.index(old)].count("\n") + 1


def test_every_file_of_the_vocabulary_has_a_schema_and_no_file_is_left_unread(layer: Path) -> None:
    data = {stem: read((layer / "vocabulary" / f"{stem}.yaml").read_bytes(), stem).data for stem in FILES}
    stems = {path.stem for path in (layer / "vocabulary").glob("*.yaml")}
    assert stems == set(FILES) == set(vocabulary_schemas(data))


def _open_parts(schema: object, path: str) -> list[str]:
    """Parts of a schema that take any key, or say nothing of what a key means."""
    if isinstance(schema, list):
        return [part for item in schema for part in _open_parts(item, path)]
    if not isinstance(schema, dict):
        return []
    found = []
    if schema.get("type") == "object" and not {"additionalProperties", "else"} & set(schema):
        found.append(path)
    properties = schema.get("properties", {}) if isinstance(schema.get("properties"), dict) else {}
    found += [f"{path}/{key}: no description" for key, part in properties.items() if not part.get("description")]
    return found + [part for key, value in schema.items() for part in _open_parts(value, f"{path}/{key}")]


def test_no_schema_takes_any_key_and_every_key_is_explained(layer: Path) -> None:
    data = {stem: read((layer / "vocabulary" / f"{stem}.yaml").read_bytes(), stem).data for stem in FILES}
    assert _open_parts(vocabulary_schemas(data), "") == []


@pytest.mark.parametrize("stem", FILES)
def test_a_key_misspelt_in_any_file_is_told_with_its_line(stem: str, own: Path) -> None:
    path = own / "vocabulary" / f"{stem}.yaml"
    key = (
        "is:"
        if stem == "bands"
        else next(k for k in ("means:", "held:", "why:", "say:") if k in path.read_text("utf-8"))
    )
    text = "\n".join(line for line in path.read_text("utf-8").splitlines() if not line.lstrip().startswith("#"))
    path.write_text(text, "utf-8")
    line = change(path, key, key[:-1] + "x:")
    told = [p for p in problems_of(own) if f"`{key[:-1]}x` is not a key here" in p.what]
    assert [(p.file, p.line) for p in told] == [(str(path), line)]
    assert len(key) < 5 or f"Did you mean `{key[:-1]}`?" in told[0].mend


@pytest.mark.parametrize(
    ("stem", "old", "new", "what", "mend"),
    [
        ("traits", "inherits: family", "inherit: family", "`inherit` is not a key here", "Did you mean `inherits`?"),
        ("traits", "inherits: family", "inherits: banana", "`banana` is not a word for inherits", "genus"),
        ("traits", "role: class", "role: clas", "`clas` is not a word for role", "Did you mean `class`?"),
        ("traits", "  role: class\n", "", "no trait has the role `class`", "The class of dormancy."),
        ("traits", "role: climate", "role: size", "has the role `size` already", "Keep it on one"),
        ("traits", "served_by: physiological", "served_by: physiologic", "`physiologic` is no word", "`physiological`"),
        ("traits", "          - full_size", "          - ful_size", "`ful_size` is no word for embryo", "`full_size`"),
        ("traits", "        coat_water:", "        coat_watr:", "`coat_watr` is no trait or report", "`coat_water`"),
        ("responses", "    - cold_moist", "    - cold_mosit", "`cold_mosit` is no kind of treatment", "`cold_moist`"),
        ("responses", "      - tropical_wet", "      - tropic_wet", "`tropic_wet` is no word for home_climate", "`tropical_wet`"),
        ("calendar", "        - undergrown_embryo", "        - undergrown_embryos", "is no obstacle", "`undergrown_embryo`"),
        ("treatment_groups", "    - watertight_coat", "    - watertigt_coat", "is no obstacle", "`watertight_coat`"),
        ("lots", "when: {finding: never_dry}", "when: {finding: never_dri}", "is no finding", "`never_dry`"),
        ("protocol", "vote: needed", "vote: nedeed", "is no answer", "`needed`"),
        ("report_kinds", "group: coat", "group: coats", "is no group", "`coat`"),
        ("trials", "{kind: nick}", "{kind: nik}", "`nik` is no treatment", "`nick`"),
        ("trials", "    nicked: ", "    niked: ", "`niked` is not a key here", "`nicked`"),
        ("observations", "        - never_dry", "        - never_dri", "is no finding", "`never_dry`"),
        ("observations", "      - home_climate", "      - home_climat", "is no trait", "`home_climate`"),
        ("observations", "      - if:", "      - iff:", "`iff` is not a key here", "`if`"),
        ("bands", "held: practice", "held: practise", "is no way in which a fact is held", "`practice`"),
    ],
)  # fmt: skip
def test_a_wrong_word_is_told_with_its_line_and_the_nearest(
    stem: str, old: str, new: str, what: str, mend: str, own: Path
) -> None:
    path = own / "vocabulary" / f"{stem}.yaml"
    line = change(path, old, new)
    told = [p for p in problems_of(own) if what in p.what]
    assert told and mend in told[0].mend, problems_of(own)
    assert told[0].file == str(path)
    assert told[0].line == line or "role" in what, told  # of roles the other line can be told, or the whole file


def test_a_missing_file_is_told(own: Path) -> None:
    (own / "vocabulary" / "held.yaml").unlink()
    assert "missing" in problems_of(own)[0].what


def test_words_of_a_private_layer_are_refused_not_left_out_in_silence(built: Callable, layer: Path) -> None:
    own = (layer / "vocabulary" / "held.yaml").read_text(
        "utf-8"
    ) + "rumour: {label: a rumour, means: Somebody said so.}\n"
    with pytest.raises(KnowledgeError, match="are not read"):
        built({"vocabulary/held.yaml": own})


def test_a_second_treatment_with_which_every_plan_begins_is_refused(built: Callable, layer: Path) -> None:
    text = (layer / "treatments" / "soak.yaml").read_text("utf-8")
    with pytest.raises(KnowledgeError, match="place: first"):
        built({"treatments/soak.yaml": text.replace("kind: soak", "kind: soak\nplace: first")})
