"""How likely each class of dormancy is for a plant of a given genus and family, from what is known of its relatives.

Relatives are those that have an entry, and those that the table of classes lists (kb/tables/class_of_species.csv). The
counts of a genus are smoothed towards those of its subfamily or tribe, where that is on record (kb/names/clades.yaml),
these towards its family's, and these towards the shares of the classes at large: a genus of one species says little
against a family of forty, one of ten says nearly all (the mean of a Dirichlet distribution at each rank). What surveys
say of embryo and coat in a genus or family weighs on its classes too, as does what is known of the seed itself.

The numbers below were chosen round, among those that did best when every species was left out in turn
(`rousewort calibrate`); their neighbours do about as well. They are no published limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase

# How many species of the genus, or family, the next wider group is worth.
WIDER_COUNTS = {"section": 1.0, "genus": 1.0, "clade": 1.0, "family": 2.0}
STATEMENT_COUNTS = 2.0  # a statement about the whole genus or family, in species
# A species of the table of classes, beside one whose class a source of ours states: lots and judgement differ, the two agree
# in four of five. More foretells the table a little better, and our own sources worse.
TABLE_COUNTS = 0.3
INFERRED_COUNTS = 0.5  # a species whose class was inferred or doubtfully stated, beside one that a source states
SERVING_CHANCE = 0.4  # how likely a class must be to be treated for, where its treatment serves the likeliest one too
SPLIT_CHANCE = 0.25  # how likely another class must be for a part of the lot to be treated for it
SURVEY_ODDS = 10.0  # for a class that shows what surveys find typical of the genus or family, against one that does not


class Group(NamedTuple):
    """What one genus or family, or a group between or within them, tells. `rank`: genus or family, a section being as
    near as a genus, a subfamily or tribe as a family. `species`: class → its species; `stated`: the class that is stated
    of the whole, with its sources; `listed`: class → species that the table of classes counts; `weights`: class → all of
    these together, by their standing."""

    rank: str
    name: str
    species: Mapping[str, tuple[str, ...]]
    stated: Mapping[str, tuple[Mapping[str, Any], ...]]
    listed: Mapping[str, float]
    weights: Mapping[str, float]
    typical: Mapping[str, str]

    @property
    def tells(self) -> bool:
        return bool(self.weights)


@dataclass(frozen=True)
class Estimate:
    """`chances`: class → chance, summing to 1, every class of the vocabulary in it, likeliest first.
    `serving`: the class whose treatment serves most: the likeliest, or one nearly as likely that serves it too."""

    chances: Mapping[str, float]
    groups: tuple[Group, ...]
    serving: str

    @property
    def best(self) -> str:
        return next(iter(self.chances))

    @property
    def chance(self) -> float:
        return self.chances[self.best]

    @cached_property
    def nearest(self) -> Group | None:
        """The nearest group in which a class is known, or None: then the chances are those of seed at large."""
        return next((group for group in self.groups if group.tells), None)

    @property
    def rank(self) -> str:
        return self.nearest.rank if self.nearest else "none"

    def group_for(self, word: str) -> Group | None:
        """The nearest group that speaks for a class, else the nearest that speaks for any, or None."""
        return next((group for group in self.groups if word in group.weights), self.nearest)

    def others(self, taken: str | None) -> list[str]:
        """Classes likely enough, beside the one that is treated for, that a part of the lot should go to each."""
        likely = [word for word, chance in self.chances.items() if chance >= SPLIT_CHANCE and word != taken]
        return likely if self.nearest else []


def estimate(
    kb: KnowledgeBase,
    genus: str | None,
    family: str | None,
    seen: Mapping[str, str] | None = None,
    prior: Mapping[str, float] | None = None,
    species: str | None = None,
) -> Estimate:
    """Chances of the dormancy classes for a plant of which only `genus` and `family` are known, or the section of `species`.

    `seen`: key → word known of the seed itself (embryo, coat_water); a class that shows otherwise is out, unless all
    are. `prior`: class → share at large; by default that of kb/calibration.yaml, or all alike.
    """
    classes = kb.vocabulary.classes
    prior = prior or kb.calibration.get("prior") or dict.fromkeys(classes, 1.0)
    ranks = _ranks(kb, species, genus, family)
    groups = tuple(read_group(kb, rank, name) for rank, name in ranks)
    chances = _shares({word: prior.get(word, 0.0) for word in classes})
    for (rank, _), group in zip(reversed(ranks), reversed(groups), strict=True):  # family first, then genus
        chances = _shares({w: chance * _odds(classes[w], group.typical) for w, chance in chances.items()})
        wider = WIDER_COUNTS[rank]
        chances = _shares({w: group.weights.get(w, 0.0) + wider * chance for w, chance in chances.items()})
    seen = seen or {}
    fitting = {
        w: chance
        for w, chance in chances.items()
        if chance > 0 and _fits(classes[w], seen) and _of_family(classes[w], family, seen)
    }
    chances = _shares(fitting or chances)
    chances = {w: chances.get(w, 0.0) for w in sorted(classes, key=lambda w: -chances.get(w, 0.0))}
    best = next(iter(chances))
    wider_class = classes[best].get("served_by")
    serving = wider_class if wider_class and chances[wider_class] >= SERVING_CHANCE else best
    return Estimate(chances, groups, serving)


def _ranks(kb: KnowledgeBase, species: str | None, genus: str | None, family: str | None) -> list[tuple[str, str]]:
    """The groups that a plant stands in, the nearest first."""
    section = kb.store.clade_of(species) if species else None
    clade = kb.store.clade_of(genus) if genus else None
    ranks = (("section", section), ("genus", genus), ("clade", clade), ("family", family))
    return [(rank, name) for rank, name in ranks if name]


_POOLED = {"section": ("clade", "genus"), "clade": ("clade", "family")}  # as the store has it, as people are told


def read_group(kb: KnowledgeBase, rank: str, name: str) -> Group:
    """The classes known in a genus or family, or a section or clade: of its species, and stated of the whole."""
    stored, shown = _POOLED.get(rank, (rank, rank))
    pooled = kb.store.group(stored, name)
    traits, dormancy = (kb.store.summary(name) or {}).get("traits", {}), kb.vocabulary.class_key
    stated = {word: tuple(sources) for word, sources, _ in traits.get(dormancy, ())}
    firm = pooled["stated"].get(dormancy, {})
    listed = _listed(kb.store.classed(stored, name), stored)
    weights = {word: TABLE_COUNTS * count for word, count in listed.items()}
    for word in stated:
        weights[word] = weights.get(word, 0.0) + STATEMENT_COUNTS
    species = {word: tuple(names) for word, names in pooled["votes"].get(dormancy, {}).items()}
    for word, names in species.items():
        inferred = len(names) - firm.get(word, 0)
        weights[word] = weights.get(word, 0.0) + firm.get(word, 0) + INFERRED_COUNTS * inferred
    typical = {key: traits[key][0][0] for key in kb.vocabulary.typical if key in traits}
    return Group(shown, name, species, stated, listed, weights, typical)


def _listed(told: Mapping[str, Any], rank: str) -> dict[str, float]:
    """Class → species that the table counts; one of several classes counts in part to each."""
    if rank != "genus":
        return {word: count for word, count in told.items() if count > 0.001}
    counted: dict[str, float] = {}
    for words in told.values():
        for word in words:
            counted[word] = counted.get(word, 0.0) + 1 / len(words)
    return counted


def _odds(entry: Mapping[str, Any], typical: Mapping[str, str]) -> float:
    """A class that shows all that is typical counts SURVEY_ODDS times one that shows one thing otherwise."""
    against = sum(word not in entry["shows"][key] for key, word in typical.items() if key in entry["shows"])
    return SURVEY_ODDS**-against


def _fits(entry: Mapping[str, Any], seen: Mapping[str, str]) -> bool:
    return all(word in entry["shows"][key] for key, word in seen.items() if key in entry["shows"])


def _of_family(entry: Mapping[str, Any], family: str | None, seen: Mapping[str, str]) -> bool:
    """Whether seed of the class is published of the family, or the seed itself was seen to be so."""
    found = family in entry.get("families", (family,))
    return found or any(
        seen.get(key) in words for key, words in entry["shows"].items() if len(words) == 1 and key in seen
    )


def _shares(weights: Mapping[str, float]) -> dict[str, float]:
    total = sum(weights.values())
    return {word: weight / total for word, weight in weights.items()}
