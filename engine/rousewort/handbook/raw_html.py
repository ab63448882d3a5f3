"""For the Markdown parser: a paragraph that begins with a tag is ready HTML, as in CommonMark, and is passed on as it stands.

Without this extension the parser reads every element of it twice, to find where it ends and which anchors it has: over half
of the time that a handbook takes. Our templates end every such paragraph themselves, and `inspect` looks over links,
anchors and elements of the finished pages.
"""

from __future__ import annotations

from itertools import groupby

from markdown import Markdown
from markdown.extensions import Extension
from markdown.preprocessors import Preprocessor

# Before the parser's own reading of HTML (20) and that of mkdocs (21), after line ends are made alike (30) and fenced code is put aside (25).
PRIORITY = 24


class ReadyHtml(Preprocessor):
    """Puts ready HTML aside; the parser puts it back when all else is done."""

    def run(self, lines: list[str]) -> list[str]:
        paragraphs = [list(part) for filled, part in groupby(lines, key=lambda line: bool(line.strip())) if filled]
        out: list[str] = []
        for ready, several in groupby(paragraphs, key=lambda paragraph: paragraph[0].startswith("<")):
            if ready:
                out += ["", self.md.htmlStash.store("\n".join(line for paragraph in several for line in paragraph))]
            else:
                out += [line for paragraph in several for line in ("", *paragraph)]
        return out


class ReadyHtmlExtension(Extension):
    def extendMarkdown(self, md: Markdown) -> None:
        md.preprocessors.register(ReadyHtml(md), "ready_html", PRIORITY)


def makeExtension(**settings: object) -> ReadyHtmlExtension:
    """What the parser calls for `markdown_extensions: [rousewort.handbook.raw_html]`."""
    return ReadyHtmlExtension(**settings)
