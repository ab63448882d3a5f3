"""Ready HTML goes through the Markdown parser as it stands; what is Markdown is still parsed."""

from __future__ import annotations

import re
from pathlib import Path

from must_be_here import needed
from rousewort.handbook.writing import write_pages
from rousewort.knowledge.knowledge_base import KnowledgeBase

markdown = needed("markdown")


def parsed(text: str) -> str:
    return markdown.Markdown(extensions=["toc", "fenced_code", "rousewort.handbook.raw_html"]).convert(text)


def test_a_paragraph_that_begins_with_a_tag_is_passed_on_as_it_stands() -> None:
    html = '<ul class="a">\n<li>1 &amp; *2* <b>x</li>\n</ul>'
    assert parsed(f"{html}\n\n<p>next</p>") == f"{html}\n<p>next</p>"


def test_headings_and_text_between_ready_html_are_markdown() -> None:
    made = parsed("<p>a</p>\n\n## Heading\n\nSome *text*.\n\n<p>b</p>\n\n```\n<!-- code -->\n\n<p>code</p>\n```\n")
    assert made.startswith('<p>a</p>\n<h2 id="heading">Heading</h2>\n<p>Some <em>text</em>.</p>\n<p>b</p>')
    assert "<pre><code>&lt;!-- code --&gt;\n\n&lt;p&gt;code&lt;/p&gt;" in made and "<p><p" not in made


def test_no_page_has_markdown_inside_a_paragraph_of_ready_html(kb: KnowledgeBase, tmp_path: Path) -> None:
    """A heading right below a tag, without an empty line, would be shown with its `##`."""
    write_pages(kb, tmp_path, ["Cercis canadensis", "Trillium grandiflorum", "Carex pendula"])
    swallowed = []
    for path in tmp_path.rglob("*.md"):
        body = re.sub(r"```.*?```", "", path.read_text("utf-8").split("---\n", 2)[2], flags=re.DOTALL)
        for paragraph in re.split(r"\n\s*\n", body):
            lines = paragraph.strip().split("\n")
            if lines[0].startswith("<") and any(re.match(r"#|[-*] |\d+\. |```", line) for line in lines):
                swallowed.append((path.name, paragraph[:200]))
    assert swallowed == []
