"""Numbered works: a sentence carries `[1]`, and the list at the end says shortly which work that is."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

_INITIALS = re.compile(r"(?:\s+(?:[A-ZÀ-Þ]\.?-?){1,4}|\s*\(eds?\.?\))+$")


class Work(NamedTuple):
    """A cited work. `short`: authors and year; `title`: what follows them, to the end of its sentence; `held`: as in the
    plan's sources (a word of vocabulary/held.yaml)."""

    number: int
    id: str
    short: str
    title: str
    held: str


class Works:
    """Numbers works in the order in which they are first named."""

    def __init__(self, sources: Mapping[str, Mapping[str, Any]], held: Mapping[str, str]) -> None:
        self._sources, self._held = sources, held
        self._numbers: dict[str, int] = {}

    def numbers(self, ids: Iterable[str], most: int) -> tuple[int, ...]:
        """The numbers of these works, at most so many; works named before come first, so that the list stays short."""
        known = dict.fromkeys(id for id in ids if id in self._sources)
        chosen = sorted(known, key=lambda id: self._numbers.get(id, len(self._numbers) + 1))[:most]
        return tuple(sorted(self._numbers.setdefault(id, len(self._numbers) + 1) for id in chosen))

    def listed(self) -> tuple[Work, ...]:
        return tuple(
            Work(number, id, short(self._sources[id]), title(self._sources[id]), self._held.get(id, "read"))
            for id, number in self._numbers.items()
        )


def short(work: Mapping[str, Any]) -> str:
    """`Pipinis et al. 2011`; a work whose citation begins with no author by its first sentence."""
    author = _author(work)
    if not author:
        return _first_sentence(work["citation"])
    others = re.search(r"\bet al\b", author)
    parts = re.split(r",|;| and | & ", author[: others.start()] if others else author)
    names = [name for part in parts if (name := _surname(part))] or [author]
    if others or len(names) > 2:
        names = [f"{names[0]} et al."]
    who = " and ".join(names)
    return f"{who} {work['year']}" if work.get("year") else who


def _author(work: Mapping[str, Any]) -> str | None:
    author: str | None = work.get("author")
    return author if author and work["citation"].startswith(author) else None


def _surname(part: str) -> str:
    """Without initials before or after; empty where nothing else is there."""
    return re.sub(r"^(?:[A-Z]\.-?\s*)+|^(?:[A-Z]\.?\s?){1,3}$|\beds?\.?$", "", _INITIALS.sub("", part.strip())).strip(
        " ."
    )


def short_of(who: str) -> str:
    """The same of authors and year as they stand in a text: `Offord C, McKensy M 2003`."""
    author, year = re.fullmatch(r"(.*?)(?: (\d{4}))?", who).groups()  # type: ignore[union-attr]
    return short({"citation": who, "author": author, "year": year})


def title(work: Mapping[str, Any]) -> str:
    """What the citation says after authors and year, to the end of the sentence; empty where nothing does."""
    author = _author(work)
    if not author:
        return ""
    rest = work["citation"].partition(author)[2]
    rest = rest.replace(str(work.get("year", "")), "", 1) if work.get("year") else rest
    return _first_sentence(re.sub(r"^(?:\s*\(eds?\.?\)|[\s.,:;()–-]|\d{4})+", "", rest))


def _first_sentence(text: str) -> str:
    return re.split(r"(?<=[a-z0-9)\]])\. ", text, maxsplit=1)[0].strip(" .")
