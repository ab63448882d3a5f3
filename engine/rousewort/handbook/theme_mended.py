"""For mkdocs, as a hook: the theme gives its two hidden checkboxes an attribute that HTML does not allow them."""

from __future__ import annotations

import re

_CHECKBOX = re.compile(r'(<input class="md-toggle"[^>]*) autocomplete="off"')


def on_post_page(output: str, **_: object) -> str:
    return _CHECKBOX.sub(r"\1", output, count=2)


def on_post_template(output_content: str, **_: object) -> str:
    return _CHECKBOX.sub(r"\1", output_content, count=2)
