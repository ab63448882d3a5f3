"""The reader refuses what YAML readers disagree about, and says where and what to write instead."""

from __future__ import annotations

import time

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import KnowledgeError, Problem
from rousewort.knowledge.strict_yaml import MAX_BYTES, MAX_DEPTH, read


def problems_in(text: str | bytes) -> list[Problem]:
    with pytest.raises(KnowledgeError) as caught:
        read(text, "entry.yaml")
    assert all(isinstance(problem, Problem) and problem.file == "entry.yaml" for problem in caught.value.problems)
    return caught.value.problems


def test_a_key_that_stands_twice_is_refused_with_both_lines() -> None:
    (problem,) = problems_in("name: a\nrank: species\nname: b\n")
    assert (problem.line, problem.column) == (3, 1)
    assert "`name`" in problem.what and "line 1" in problem.what


def test_a_key_that_stands_twice_deep_inside_is_refused() -> None:
    (problem,) = problems_in("traits:\n  light:\n    - {is: required,\n       is: promotes}\n")
    assert problem.line == 4 and "`is`" in problem.what


@pytest.mark.parametrize(
    "word",
    [
        "NO",
        "no",
        "Yes",
        "on",
        "OFF",
        "y",
        "N",
        "12:30",
        "12:30:45",
        "1:20.5",
        "0755",
        "07",
        "0o17",
        "0x1F",
        "0b11",
        "1_000",
        "2026-01-31",
        "2026-1-3",
        "2026-01-31T12:00:00Z",
        ".inf",
        "-.inf",
        ".NaN",
        "=",
        "<<",
        "1e3",
        "0E0",
        "1.5e3",
        "-.5",
    ],
)
def test_a_word_that_readers_take_for_something_else_is_refused(word: str) -> None:
    (problem,) = problems_in(f"held: fine\nis: {word}\n")
    assert (problem.line, problem.column) == (2, 5)
    assert f"`{word}`" in problem.what and '"' in problem.mend


@pytest.mark.parametrize("word", ["NO", "12:30", "0755", "2026-01-31", "~", "true", "7"])
def test_the_same_word_in_quotes_is_text(word: str) -> None:
    assert read(f'is: "{word}"\n', "f").data == {"is": word}
    assert read(f"is: '{word}'\n", "f").data == {"is": word}


def test_keys_stay_words_whatever_they_look_like() -> None:
    assert read("yes: {label: a}\nno: {label: b}\n12: {label: c}\n", "f").data == {
        "yes": {"label": "a"},
        "no": {"label": "b"},
        "12": {"label": "c"},
    }


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("7", 7),
        ("-3", -3),
        ("0", 0),
        ("2.5", 2.5),
        ("1.0e+3", 1000.0),
        (".5", 0.5),
        ("true", True),
        ("False", False),
        ("null", None),
        ("~", None),
        ("", None),
        ("needs cold", "needs cold"),
        ("1–5 °C", "1–5 °C"),
        ("a: b".replace(": ", ":"), "a:b"),
    ],
)
def test_core_scalars_are_read(text: str, value: object) -> None:
    assert read(f"x: {text}\n", "f").data == {"x": value}


@pytest.mark.parametrize("text", ["a: !!python/object/apply:os.system [id]", "a: !x b", "a: !!str 5", "!!map {a: b}"])
def test_tags_are_refused(text: str) -> None:
    (problem,) = problems_in(text + "\n")
    assert "tag" in problem.what and problem.line == 1


def test_every_anchor_and_alias_is_named_where_it_stands() -> None:
    found = problems_in("a: &one [x]\nb: *one\n")
    assert [(p.line, p.column) for p in found] == [(1, 4), (2, 4)]
    assert all("aliases" in p.what for p in found)


def test_an_alias_bomb_is_refused_before_it_can_grow() -> None:
    bomb = "l0: &l0 [x, x, x, x, x, x, x, x, x, x]\n"
    bomb += "".join(f"l{i}: &l{i} [{', '.join([f'*l{i - 1}'] * 10)}]\n" for i in range(1, 40))
    started = time.perf_counter()
    assert any("aliases" in p.what for p in problems_in(bomb))
    assert time.perf_counter() - started < 2


@pytest.mark.parametrize("text", ["a & b", "3 * 4", "hot! water", "90 %", '"&x"'])
def test_the_same_marks_within_text_are_only_text(text: str) -> None:
    assert read(f"note: {text}\n", "f").data == {"note": text.strip('"')}


def test_directives_are_refused() -> None:
    assert any("directive" in p.what for p in problems_in("%YAML 1.1\n---\na: b\n"))


def test_a_second_document_is_refused() -> None:
    (problem,) = problems_in("a: b\n---\nc: d\n")
    assert "not readable as YAML" in problem.what and problem.line == 2


def test_depth_is_capped() -> None:
    fine = "[" * (MAX_DEPTH - 2) + "x" + "]" * (MAX_DEPTH - 2)
    assert read(f"a: {fine}\n", "f").data
    assert "deep" in problems_in("a: " + "[" * MAX_DEPTH + "x" + "]" * MAX_DEPTH)[0].what


@pytest.mark.parametrize("opening", ["[", "- ", "{a: ", "? "])
def test_a_file_of_nothing_but_depth_is_refused_and_does_not_crash(opening: str) -> None:
    assert problems_in(opening * (MAX_BYTES // len(opening) - 1))


def test_size_is_capped() -> None:
    (problem,) = problems_in("# " + "x" * MAX_BYTES + "\n")
    assert str(MAX_BYTES) in problem.what


def test_a_byte_order_mark_is_refused() -> None:
    (problem,) = problems_in(b"\xef\xbb\xbfname: a\n")
    assert "byte order mark" in problem.what and "UTF-8" in problem.mend


@pytest.mark.parametrize("encoding", ["utf-16", "utf-32"])
def test_other_unicode_encodings_are_refused(encoding: str) -> None:
    assert "UTF-8" in str(problems_in("name: ä\n".encode(encoding))[0])


def test_bytes_that_are_not_utf8_are_refused_with_their_line() -> None:
    (problem,) = problems_in("name: a\nnote: Blüte\n".encode("latin-1"))
    assert problem.line == 2 and "UTF-8" in problem.what


def test_control_characters_are_refused() -> None:
    assert "not readable" in problems_in(b"name: a\x00b\n")[0].what
    assert "not readable" in problems_in(b"name: a\x1b[31mb\n")[0].what


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n"])
def test_an_empty_file_is_named_as_empty(text: str) -> None:
    assert "empty" in problems_in(text)[0].what


def test_a_key_that_is_a_list_is_refused() -> None:
    assert "plain word" in problems_in("? [a, b]\n: c\n")[0].what


def test_all_problems_of_a_file_are_told_at_once() -> None:
    found = problems_in("a: NO\nb: 12:30\na: c\nd: [0755]\n")
    assert [p.line for p in found] == [1, 2, 3, 4]


def test_a_broken_line_is_told_with_its_place_and_a_way_on() -> None:
    (problem,) = problems_in("name: a\ntraits: [x, y\nrank: species\n")
    assert problem.line in (2, 3) and problem.mend


def test_marks_lead_to_every_node() -> None:
    document = read("name: a\nprotocols:\n  - source: x\n    phases:\n      - {kind: soak}\n", "f")
    assert document.where(("name",)) == (1, 7)
    assert document.where(("protocols", 0, "source")) == (3, 13)
    assert document.where(("protocols", 0, "phases", 0, "kind")) == (5, 16)
    assert document.where(("protocols", 0, "phases", 0, "not there")) == (5, 9), "the nearest ancestor"


# Without line breaks and control characters: YAML folds those even in quotes, and the writer does not escape them all.
TEXT = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=20)
SCALARS = st.one_of(st.none(), st.booleans(), st.integers(-(10**12), 10**12), TEXT)
DATA = st.dictionaries(
    st.text(st.characters(categories=["L", "Nd"]), min_size=1, max_size=8),
    st.recursive(
        SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4), max_leaves=12
    ),
    min_size=1,
    max_size=5,
)


@given(DATA)
def test_what_a_yaml_writer_writes_is_read_back_or_refused_never_changed(data: dict) -> None:
    """Silence is the danger: a value may be refused, but must not turn into another."""
    text = yaml.safe_dump(data, allow_unicode=True, sort_keys=False)
    try:
        got = read(text, "f").data
    except KnowledgeError:
        return
    assert got == _with_text_keys(data)


def _with_text_keys(value: object) -> object:
    if isinstance(value, dict):
        return {str(key): _with_text_keys(item) for key, item in value.items()}
    return [_with_text_keys(item) for item in value] if isinstance(value, list) else value


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_whatever_stands_in_a_file_the_answer_is_data_or_problems(raw: bytes) -> None:
    try:
        read(raw, "f")
    except KnowledgeError as trouble:
        assert trouble.problems
