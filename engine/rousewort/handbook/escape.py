"""The one gate between contributed text and a page: what passes it can be neither Markdown, HTML nor script.

Templates are written so that every value goes through `escaped` unless it is `Markup`, which only this package makes.
"""

from __future__ import annotations

import json
import re
import unicodedata
from functools import lru_cache
from typing import Any

from markupsafe import Markup

# Everything that Markdown, its extensions or HTML could read as more than a letter. As numbers they are plain text in both.
_SPECIAL = re.compile(r"[&<>\"'`*_\[\]{}#|~^=\\$]")
_LIST_NUMBER = re.compile(r"^(\d+)([.)])")


def escaped(value: Any) -> Markup:
    """Any value as text on one line that reads the same in Markdown, in HTML and in a quoted attribute."""
    if isinstance(value, Markup):
        return value
    return Markup("") if value is None else _escaped(str(value))


@lru_cache(maxsize=1 << 16)  # the same names, labels and bench lines stand on thousands of pages
def _escaped(text: str) -> Markup:
    line = " ".join(text.split())
    if not line.isascii() or not line.isprintable():
        line = "".join(c for c in line if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co"))
    line = _LIST_NUMBER.sub(lambda m: f"{m[1]}\0{m[2]}", line)  # `3. ` would begin a list
    if line[:1] and not line[0].isalnum():
        line = "\0" + line  # so would `- `, and `!!!` a box
    out = _SPECIAL.sub(lambda m: f"&#{ord(m[0])};", line)
    if "\0" in out:
        out = re.sub("\0(&#\\d+;|.)", lambda m: m[1] if len(m[1]) > 1 else f"&#{ord(m[1])};", out)
    before, after = (" " if edge.isspace() else "" for edge in (text[:1], text[-1:]))
    return Markup(before + out + after if out else before)


def as_data(value: Any, **options: Any) -> Markup:
    """JSON that can stand inside a script element: nothing in it can end the element."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, **options)
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return Markup(text)
