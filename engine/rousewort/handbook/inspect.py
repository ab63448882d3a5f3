"""A last look at built pages: every link leads somewhere, nothing is fetched from elsewhere, no contributed text became markup."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import unquote, urlsplit

from rousewort.base.parallel import map_on_cores
from rousewort.handbook.to_html import files_below

FETCHED = {
    "img": "src",
    "script": "src",
    "link": "href",
    "iframe": "src",
    "source": "src",
    "audio": "src",
    "video": "src",
}
LEADING = ("href", "src", "action", "formaction")
# Elements that a page of ours never has.
FOREIGN = {"iframe", "object", "embed", "base", "video", "audio", "applet", "frame", "portal"}


# A start tag with attributes as browsers find it, its attributes, one of the elements above, and what is only text to them.
_TAG = re.compile(r"""<([a-zA-Z][^\s/>]*)([\s/][^>"']*(?:(?:"[^"]*"|'[^']*')[^>"']*)*)>""")
_FOREIGN = re.compile(rf"<({'|'.join(sorted(FOREIGN))})(?=[\s/>])", re.IGNORECASE)
_ATTRIBUTE = re.compile(r"""([^\s"'>/=]+)(?:\s*=\s*(?:"([^"]*)"|'([^']*)'|([^\s"'>]+)))?""")
_WORTH = re.compile(r"""[\s"'/](?:id|on\w*|href|src|action|formaction)\s*=""", re.IGNORECASE)
_TEXT_ONLY = re.compile(r"<(?:!--.*?-->|((script|style)\b[^>]*>).*?(?=</\2))", re.DOTALL | re.IGNORECASE)


class _Reader:
    """The ids and links of a page, and whatever looks like injected script."""

    def __init__(self, text: str) -> None:
        self.ids: set[str] = set()
        self.links: dict[str, None] = {}  # each once, in order
        self.fetched: dict[str, None] = {}
        self.odd: list[str] = []
        marked = _TEXT_ONLY.sub(lambda m: f"<{m[1]}" if m[1] else "", text)
        self.odd += [f"holds a <{tag.lower()}>" for tag in _FOREIGN.findall(marked)]
        for tag, attributes in _TAG.findall(marked):
            if _WORTH.search(attributes):
                self._see(tag.lower(), attributes)

    def _see(self, tag: str, attributes: str) -> None:
        given = {m[0].lower(): unescape(m[1] or m[2] or m[3]) for m in _ATTRIBUTE.findall(attributes)}
        if "id" in given:
            if given["id"] in self.ids:
                self.odd.append(f"two elements have the id '{given['id']}'")
            self.ids.add(given["id"])
        self.odd += [f"<{tag}> has {key}" for key in given if key.startswith("on")]
        for value in (given[key] for key in LEADING if key in given):
            value = re.sub(r"[\s\x00-\x1f]", "", value).lower()
            if value.startswith(("javascript:", "data:", "vbscript:")):
                self.odd.append(f"<{tag}> leads to {value[:30]}")
        if tag == "a" and "href" in given:
            self.links[given["href"]] = None
        if tag in FETCHED and FETCHED[tag] in given and given.get("rel") != "canonical":
            self.fetched[given[FETCHED[tag]]] = None


def inspect(folder: Path) -> Iterator[str]:
    """Problems of a built handbook, each with its page."""
    files = set(files_below(folder))
    pages = sorted(name for name in files if name.endswith(".html"))
    read = dict(zip(pages, map_on_cores(Path, (folder,), _read, pages), strict=True))
    for name in sorted(files):
        if name.endswith(".css"):
            for url in re.findall(r"url\(([^)]+)\)", (folder / name).read_text(encoding="utf-8")):
                if "//" in url:
                    yield f"{name}: fetches {url}"
    sound: set[tuple[str, str]] = set()  # (folder, link): most links stand on many pages of a folder
    for name, page in read.items():
        yield from (f"{name}: {what}" for what in page.odd)
        yield from (f"{name}: fetches {url} from elsewhere" for url in page.fetched if urlsplit(url).netloc)
        if name == "404.html":  # served from any folder, so its links are absolute
            continue
        place = name.rpartition("/")[0]
        for url in (*page.links, *page.fetched):
            if (place, url) not in sound:
                problems = list(_broken(name, url, files, read))
                yield from problems
                if not problems and not url.startswith("#"):
                    sound.add((place, url))


def _read(folder: Path, name: str) -> _Reader:
    return _Reader((folder / name).read_text(encoding="utf-8"))


def _broken(name: str, url: str, files: set[str], read: dict[str, _Reader]) -> Iterator[str]:
    parts = urlsplit(url)
    if parts.scheme or parts.netloc:
        return
    target = _resolve(name, unquote(parts.path)) if parts.path else name
    if target not in files:
        yield f"{name}: the link {url} leads nowhere"
    elif parts.fragment and target in read and unquote(parts.fragment) not in read[target].ids:
        yield f"{name}: the link {url} has no such place on its page"


def _resolve(name: str, path: str) -> str:
    steps = name.split("/")[:-1]
    for part in path.split("/"):
        if part == "..":
            steps = steps[:-1] if steps else ["(outside)"]
        elif part not in ("", "."):
            steps.append(part)
    return "/".join(steps)
