"""Where each thing has its page, and how one page links to another; and where templates and look lie."""

from __future__ import annotations

import re
from hashlib import blake2b
from pathlib import Path
from typing import Any

from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from rousewort.base.errors import UserError
from rousewort.handbook.escape import escaped
from rousewort.knowledge.names import slug

FOLDERS = {
    "species": "species",
    "genus": "genera",
    "family": "families",
    "treatment": "treatments",
    "class": "dormancy",
    "obstacle": "obstacles",
    "source": "sources",
    "rule": "rules",
}


def site_folder() -> Path:
    """`site/` of a clone, or its copy in an installed wheel."""
    here = Path(__file__).resolve()
    for folder in (here.parents[3] / "site", here.parents[1] / "site"):
        if (folder / "mkdocs.yml").is_file():
            return folder
    raise UserError("This installation lacks the handbook's templates. Install rousewort again.")


class Places:
    """Page paths without their ending, relative to the top of the handbook; no two things share one."""

    def __init__(self) -> None:
        self._paths: dict[tuple[str, str], str] = {}
        self._taken: set[str] = set()

    def add(self, kind: str, key: str) -> str:
        """Give a thing its path; asked again, the same one."""
        if (kind, key) not in self._paths:
            stem = key if re.fullmatch(r"[a-z0-9][a-z0-9_-]*", key) else slug(key)
            path = f"{FOLDERS[kind]}/{stem or 'named'}"
            if path in self._taken or not stem:  # names that differ only by letters that no path can have
                path += "-" + blake2b(key.encode(), digest_size=4).hexdigest()
            self._taken.add(path)
            self._paths[kind, key] = path
        return self._paths[kind, key]

    def path(self, kind: str, key: str) -> str | None:
        return self._paths.get((kind, key))

    def all(self, kind: str) -> list[str]:
        return [key for k, key in self._paths if k == kind]

    def link(self, root: str, kind: str, key: str, label: Any = None, italic: bool = False) -> Markup:
        """A link to a thing's page, or only its label where it has none. `root`: from the page to the top, `../`."""
        said = escaped(key if label is None else label)
        if italic:
            said = Markup(f"<em>{said}</em>")
        path = self.path(kind, key)
        return Markup(f'<a href="{root}{path}.html">{said}</a>') if path else said

    def linker(self) -> Any:
        """`link(kind, key, label)` for templates; the page that is being written says where it lies."""

        @pass_context
        def link(context: Context, kind: str, key: str, label: Any = None) -> Markup:
            return self.link(context["root"], kind, key, label, italic=kind in ("species", "genus") and label is None)

        return link
