"""How well a class of dormancy is foretold of a species from its kin: over all species asked, whatever is known of them.

Three trials: each species of the table of classes hidden by itself; each with its whole genus; and each species of an entry
that states its class. Beside each the plain baselines that count the same rows: commonest in the genus, else family, and
commonest in the family. Of a species of several classes the table is right with any of them, and each has its part in the
Brier score (0 is best, 2 worst).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from rousewort.base.parallel import map_on_cores
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import genus_of
from rousewort.knowledge.summary import decide, firm
from rousewort.planning.class_estimate import estimate

ASKED = ("table", "genus_hidden", "entries")


class Foretold(NamedTuple):
    """One species: its classes with their parts, and the chances that each way of foretelling gives them."""

    species: str
    family: str | None
    truth: Mapping[str, float]
    chances: Mapping[str, Mapping[str, float]]


def foretell(kb: KnowledgeBase, asked: str) -> list[Foretold]:
    """Every species of one trial (`ASKED`), hidden in turn; a whole genus at once where it is hidden whole."""
    listed: dict[str, list[str]] = kb.store.shared("classed")
    names = _stated(kb) if asked == "entries" else {name: _parts(words) for name, words in listed.items()}
    things = sorted(names.items())
    hide = {"table": _one, "genus_hidden": _with_genus, "entries": _one}[asked]
    if asked == "genus_hidden":
        genera: dict[str, list[Any]] = {}
        for name, truth in things:
            genera.setdefault(genus_of(name), []).append((name, truth))
        return [made for group in map_on_cores(_whole, (kb,), hide, list(genera.values())) for made in group]
    return list(map_on_cores(_whole, (kb,), hide, things))


def _whole(kb: KnowledgeBase) -> KnowledgeBase:
    """The counts of the table are summed once, before anything is hidden."""
    kb.without(species="").store.classed("genus", "")
    return kb


def _stated(kb: KnowledgeBase) -> dict[str, dict[str, float]]:
    """Species whose class a source states."""
    made = {}
    for name in kb.names():
        statements = (kb.taxon(name) or {}).get("traits", {}).get(kb.vocabulary.class_key, ())
        if stated := [s for s in statements if firm(s)]:
            made[name] = {decide(stated)[0]: 1.0}
    return made


def _parts(words: Sequence[str]) -> dict[str, float]:
    return {word: 1 / len(words) for word in words}


def _family(kb: KnowledgeBase, species: str) -> str | None:
    record = kb.taxon(species)
    return record["family"] if record else kb.genus_family(genus_of(species))


def _one(kb: KnowledgeBase, thing: tuple[str, Mapping[str, float]]) -> Foretold:
    name, truth = thing
    return _told(kb.without(species=name), name, _family(kb, name), truth)


def _with_genus(kb: KnowledgeBase, things: Sequence[tuple[str, Mapping[str, float]]]) -> list[Foretold]:
    rest = kb.without(genus=genus_of(things[0][0]))
    return [_told(rest, name, _family(kb, name), truth) for name, truth in things]


def _told(rest: KnowledgeBase, name: str, family: str | None, truth: Mapping[str, float]) -> Foretold:
    found = estimate(rest, genus_of(name), family, species=name)
    groups = {"genus": ("genus", genus_of(name)), "family": ("family", family)}
    counted = {key: _commonest(rest, rank, group) for key, (rank, group) in groups.items()}
    overall = rest.calibration.get("prior") or dict.fromkeys(rest.vocabulary.classes, 1.0)
    by_family = counted["family"] or overall
    chances = {"rousewort": found.chances, "genus": counted["genus"] or by_family, "family": by_family}
    return Foretold(name, family, truth, {key: _shares(told) for key, told in chances.items()})


def _commonest(rest: KnowledgeBase, rank: str, name: str | None) -> dict[str, float]:
    """Class → species of the group, those of the table and of entries."""
    if name is None:
        return {}
    told = rest.store.classed(rank, name)
    parts = (_parts(words) for words in told.values()) if rank == "genus" else (told,)
    counted: dict[str, float] = defaultdict(float)
    for part in parts:
        for word, count in part.items():
            counted[word] += count
    for word, names in rest.store.group(rank, name)["votes"].get(rest.vocabulary.class_key, {}).items():
        counted[word] += len(names)
    return {word: count for word, count in counted.items() if count > 0.001}


def _shares(told: Mapping[str, float]) -> dict[str, float]:
    total = sum(told.values())
    return {word: n / total for word, n in sorted(told.items(), key=lambda item: (-item[1], item[0]))}


def class_scores(told: Sequence[Foretold]) -> dict[str, dict[str, Any]]:
    """Way of foretelling → {"tried", "right", "brier", "recalled": class → [right, tried]}."""
    made: dict[str, dict[str, Any]] = {}
    for way in ("rousewort", "genus", "family"):
        best = [next(iter(t.chances[way])) for t in told]
        recalled: dict[str, list[int]] = {}
        for word, t in zip(best, told, strict=True):
            for true in t.truth:
                row = recalled.setdefault(true, [0, 0])
                row[0] += word == true
                row[1] += 1
        made[way] = {
            "tried": len(told),
            "right": sum(word in t.truth for word, t in zip(best, told, strict=True)),
            "brier": round(sum(_brier(t.chances[way], t.truth) for t in told) / max(len(told), 1), 4),
            "recalled": dict(sorted(recalled.items())),
        }
    return made


def _brier(chances: Mapping[str, float], truth: Mapping[str, float]) -> float:
    words: Iterable[str] = {*chances, *truth}
    return sum((chances.get(word, 0.0) - truth.get(word, 0.0)) ** 2 for word in words)


def all_scores(kb: KnowledgeBase, progress: Callable[[str], None] | None = None) -> dict[str, Any]:
    """The scores of every trial."""
    made = {}
    for asked in ASKED:
        if progress:
            progress(asked)
        made[asked] = class_scores(foretell(kb, asked))
    return made
