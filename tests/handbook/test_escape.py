"""Whatever a contributor writes comes out of Markdown as the same words, and as nothing else."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup
from must_be_here import needed
from rousewort.handbook.escape import as_data, escaped

markdown = needed("markdown")

HOSTILE = [
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "[click](javascript:alert(1))",
    "![x](javascript:alert(1))",
    "<javascript:alert(1)>",
    "text {: onclick=alert(1) }",
    "{: #id .class onmouseover='alert(1)'}",
    "</details></div><iframe src='https://example.org'></iframe>",
    '" onfocus=alert(1) x="',
    "# heading",
    "- list\n- list",
    "3. list",
    "    code",
    "```\ncode\n```",
    "!!! note\n    box",
    "[ref]: javascript:alert(1)",
    "&lt;b&gt; &amp; &#60;i&#62;",
    "a  \nb",
    "*bold* _em_ `code` ~~x~~ ^^y^^ ==z==",
    "| a | b |\n|---|---|",
    "{{ config }} {% raw %}",
    "\u202eevil\u202c \x02\x03 \x00",
    "==",
    "---",
    "> quote",
    "+ plus",
]
# Text that Markdown could take for something, and any text at all.
MARKS = st.text(alphabet="<>&\"'`*_[](){}#|~^=\\!:-+.0123456789ab \n\t/", max_size=40)


class Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.text, self.tags, self.attributes = "", [], []

    def handle_starttag(self, tag: str, attrs: list) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


def rendered(source: str) -> Text:
    html = markdown.markdown(
        source, extensions=["toc", "attr_list", "def_list", "tables", "fenced_code", "admonition", "md_in_html"]
    )
    reader = Text()
    reader.feed(html)
    reader.close()
    return reader


def words(text: str) -> list[str]:
    import unicodedata

    return "".join(c for c in " ".join(text.split()) if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co")).split()


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_alone_in_a_paragraph_is_only_words(text: str) -> None:
    seen = rendered(str(escaped(text)))
    assert set(seen.tags) <= {"p"} and not seen.attributes
    assert words(seen.text) == words(text)


@given(st.one_of(MARKS, st.text(max_size=40)))
def test_any_text_in_markdown_and_in_html_is_only_words(text: str) -> None:
    for before, after, tags in (
        ("", "", {"p"}),
        ("See ", " there.", {"p"}),
        ("<p>", "</p>", {"p"}),
        ("- ", "", {"ul", "li"}),
    ):
        seen = rendered(f"{before}{escaped(text)}{after}")
        assert set(seen.tags) <= tags and not seen.attributes
        if before != "- ":
            bare = before.replace("<p>", "") + " ".join(text.split()) + after.replace("</p>", "")
            assert "".join(words(seen.text)) == "".join(words(bare))


@given(st.text(max_size=40))
def test_a_quoted_attribute_cannot_be_left(text: str) -> None:
    reader = Text()
    reader.feed(f'<span title="{escaped(text)}">')
    assert [key for key, _ in reader.attributes] == ["title"]


def test_what_is_markup_already_stays() -> None:
    assert escaped(Markup("<b>x</b>")) == "<b>x</b>"


@given(
    st.recursive(st.text(), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3))
)
def test_data_in_a_script_element_cannot_end_it_and_reads_back_the_same(value: object) -> None:
    import json

    text = as_data(value)
    assert not {"<", ">", "&", "\u2028", "\u2029"} & set(text)
    assert json.loads(text) == value
