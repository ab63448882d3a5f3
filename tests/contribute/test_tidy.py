"""The canonical form: one form for each entry, comments kept, nothing changed in what it says."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import KnowledgeError
from rousewort.contribute.tidy import tidy
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.files import TAXON_FOLDERS, yaml_files
from rousewort.knowledge.strict_yaml import read

LOOSE = """\
# yaml-language-server: $schema=../../schema/taxon.schema.yaml
# An invented plant.
name:   "Sallowia pontis"
rank: species   # of the bridge
family: Fabaceae
traits: {dormancy_class: [{is: physical, held: practice}]}   # by the catalogue
protocols:
- id: nick
  held: practice
  # nicked by hand
  phases: [
    # with a file
    {kind: nick}]
  note: "a # inside is text"
# the end
"""


def test_comments_stay_above_what_they_stood_above_and_trailing_ones_move_above_their_line() -> None:
    assert (
        tidy(LOOSE, "x")
        == """\
# yaml-language-server: $schema=../../schema/taxon.schema.yaml
# An invented plant.
name: Sallowia pontis
# of the bridge
rank: species
family: Fabaceae
# by the catalogue
traits:
  dormancy_class:
    - {is: physical, held: practice}
protocols:
  - id: nick
    held: practice
    # nicked by hand
    phases:
      # with a file
      - {kind: nick}
    note: 'a # inside is text'
# the end
"""
    )


def test_the_form_is_a_fixed_point() -> None:
    once = tidy(LOOSE, "x")
    assert tidy(once, "x") == once


text = st.text(
    st.characters(codec="utf-8", exclude_categories=["C", "Z"]) | st.sampled_from(" #:'\"|>"), min_size=1, max_size=12
)
notes = st.dictionaries(
    st.from_regex(r"[a-z]{1,6}", fullmatch=True),
    text | st.integers() | st.lists(text, max_size=3),
    min_size=1,
    max_size=5,
)


@given(notes, st.lists(st.from_regex(r"# [a-z#:'\"]{0,12}[a-z]", fullmatch=True), max_size=4), st.data())
def test_no_comment_and_no_word_is_ever_lost(data: dict, comments: list[str], draw: st.DataObject) -> None:
    """Either everything is there afterwards, or the file is refused."""
    import yaml

    lines = yaml.safe_dump(data, allow_unicode=True, width=60).splitlines()
    for comment in comments:
        lines.insert(draw.draw(st.integers(0, len(lines))), comment)
    loose = "\n".join(lines) + "\n"
    try:
        before = read(loose, "x").data
    except KnowledgeError:
        return
    try:
        made = tidy(loose, "x")
    except KnowledgeError as refused:
        assert "comment" in str(refused)
        return
    assert read(made, "x").data == before
    assert tidy(made, "x") == made


def test_every_comment_of_a_block_text_and_around_it_is_told_apart() -> None:
    made = tidy("name: a\nnote: |\n  # text\n  more\n# comment\nrank: b\n", "x")
    assert read(made, "x").data["note"] == "# text\nmore\n"
    assert made.splitlines()[-2:] == ["# comment", "rank: b"]


def test_windows_line_ends_become_plain_ones() -> None:
    assert tidy(b"name: a\r\nrank:   b\r\n", "x") == "name: a\nrank: b\n"


def test_fmt_writes_and_check_only_tells(private) -> None:
    path = private.write("species/sallowia/sallowia-pontis.yaml", LOOSE)
    code, out, _ = private.run("entry", "fmt", "--check", path)
    assert (code, path.read_text()) == (1, LOOSE) and "not in canonical form" in out
    assert private.run("entry", "fmt", path)[0] == 0
    assert path.read_text() == tidy(LOOSE, "x")
    assert private.run("entry", "fmt", "--check", path.parent)[:2] == (0, "")


def test_a_file_that_cannot_be_read_is_left_alone_and_the_others_are_put_into_form(private) -> None:
    broken = private.write("species/sallowia/sallowia-rivi.yaml", "name: a\nname: b\n")
    path = private.write("species/sallowia/sallowia-pontis.yaml", LOOSE)
    code, _, err = private.run("entry", "fmt", path.parent)
    assert code == 1 and "stands twice" in err
    assert broken.read_text() == "name: a\nname: b\n" and path.read_text() != LOOSE


@pytest.mark.parametrize(
    "folder", ["", *TAXON_FOLDERS, "rules", "names", "tables", "treatments", "vocabulary", "schema"]
)
def test_every_shipped_file_is_in_canonical_form(layer: Path, folder: str) -> None:
    from rousewort.contribute.tidy import schema_for

    files = list(yaml_files(layer / folder)) if folder else sorted(layer.glob("*.yaml"))
    loose = [
        str(p.relative_to(layer))
        for p in files
        if tidy(p.read_bytes(), str(p), schema_for(p, layer)) != p.read_text("utf-8")
    ]
    assert files and not loose, "rousewort entry fmt " + " ".join(f"kb/{path}" for path in loose)


def test_no_folder_of_the_knowledge_base_is_forgotten_here(layer: Path) -> None:
    checked = {*TAXON_FOLDERS, "rules", "names", "tables", "treatments", "vocabulary", "schema"}
    assert {p.name for p in layer.iterdir() if p.is_dir()} == checked


def test_a_comment_inside_a_short_mapping_stays_with_its_key() -> None:
    made = tidy("record:\n  seeds: 20   # a sowing\n  # days\n  every: 7\nother: {a: 1, b: 2}\n", "x")
    assert made == "record:\n  # a sowing\n  seeds: 20\n  # days\n  every: 7\nother: {a: 1, b: 2}\n"


@pytest.mark.parametrize("text", ["1e3", "0E0", "-.5", "12:30", "no", "007", "7", "2026-01-31", "~", "1.5e3"])
def test_text_that_looks_like_something_else_is_written_in_quotes(text: str) -> None:
    assert read(dump({"note": text}), "f").data == {"note": text}
