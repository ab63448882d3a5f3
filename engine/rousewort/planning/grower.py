"""What the grower has, lacks, allows, and what the lot has had already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.vocabulary import Vocabulary


class Grower(NamedTuple):
    """`has` and `allows` are words of equipment.yaml. `seeds`: lot size. `had`: days of each treatment already given."""

    has: frozenset[str] = frozenset()
    allows: frozenset[str] = frozenset()
    seeds: int | None = None
    had: Mapping[str, int] = MappingProxyType({})
    stored: str | None = None
    provenance: str | None = None
    dried_since: bool = False
    cleaned: bool = False

    def can(self, needs: Iterable[str], vocabulary: Vocabulary) -> str | None:
        """The first thing needed that is not there or not allowed, or None."""
        for need in needs:
            if vocabulary.files["equipment"][need].get("permission"):
                if need not in self.allows:
                    return need
            elif need not in self.has:
                return need
        return None

    def changed(self, *, without: str | None = None, have: str | None = None, allow: str | None = None) -> Grower:
        has = (self.has | ({have} if have else set())) - ({without} if without else set())
        return self._replace(has=frozenset(has), allows=self.allows | ({allow} if allow else set()))


def make_grower(
    vocabulary: Vocabulary,
    *,
    have: Iterable[str] = (),
    without: Iterable[str] = (),
    allow: Iterable[str] = (),
    seeds: int | None = None,
    had: Mapping[str, int] | None = None,
    stored: str | None = None,
    provenance: str | None = None,
    dried_since: bool = False,
    cleaned: bool = False,
) -> Grower:
    """A grower with the usual equipment, changed as said. Raises UserError naming every word that is wrong."""
    equipment = vocabulary.files["equipment"]
    have, without, allow = set(have), set(without), set(allow)
    problems = [
        f"'{word}' is no equipment that Rousewort knows. Known: {', '.join(equipment)}."
        for word in sorted((have | without | allow) - set(equipment))
    ]
    problems += [f"'{word}' is both had and lacked: say one of them." for word in sorted((have | allow) & without)]
    restricted = {word for word, item in equipment.items() if item.get("permission")}
    problems += [
        f"'{word}' is dangerous and is only used when you say --allow {word}." for word in sorted(have & restricted)
    ]
    problems += [f"'{w}' needs no permission: use --have {w}." for w in sorted((allow & set(equipment)) - restricted)]
    lots = vocabulary.files["lots"]
    for part, word in (("stored", stored), ("provenance", provenance)):
        if word and word not in lots[part]:
            problems.append(f"'{word}' is no word for {part}. Known: {', '.join(lots[part])}.")
    if seeds is not None and seeds < 1:
        problems.append(f"A lot of {seeds} seeds cannot be treated: give a number from 1 up.")
    problems += [f"{kind} of {days} days cannot have been given." for kind, days in (had or {}).items() if days < 0]
    if problems:
        raise UserError(*problems)
    assumed = {word for word, item in equipment.items() if item["assumed"]}
    return Grower(
        frozenset((assumed | have) - without),
        frozenset(allow),
        seeds,
        dict(had or {}),
        stored,
        provenance,
        dried_since,
        cleaned,
    )
