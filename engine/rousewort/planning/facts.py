"""What is known of one plant's seed: its own traits, then its relatives', then what was measured at the bench.

Every fact is a word of the vocabulary with where it came from. A relative lends a trait only where the vocabulary
says that it is inherited and enough of the relatives agree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.rules import FactKey
from rousewort.knowledge.store import genus_of
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.class_estimate import Estimate, estimate

# How large a share of the relatives must agree, and how many there must be. A statement about the genus or family
# itself counts as this many species. Chosen by leaving species out (see DEVELOPERS.md), not published limits.
GENUS_SHARE, FAMILY_SHARE = 0.6, 0.7
FAMILY_LEAST = 3
STATEMENT_COUNTS = 2
# How likely a class must be among relatives to be lent (rousewort.planning.class_estimate says how likely it is).
CLASS_CHANCE = 0.4


class Known(NamedTuple):
    """One fact and its ground. `basis`: bench, species, genus or family; `share`: the part of relatives that agree."""

    key: str
    word: str
    basis: str
    sources: tuple[Mapping[str, Any], ...]
    share: float = 1.0
    relatives: tuple[str, ...] = ()
    against: tuple[Mapping[str, Any], ...] = ()

    @property
    def fact(self) -> FactKey:
        return self.key, self.word


@dataclass(eq=False, repr=False)
class Facts:
    """Everything known of the plant that was asked for. `name` is an accepted name, or the genus or family.
    `relatives`: how likely each dormancy class is among them, where neither the species nor the bench says."""

    name: str
    genus: str | None
    family: str | None
    vocabulary: Vocabulary
    known: dict[FactKey, Known] = field(default_factory=dict)
    numbers: dict[str, list[Mapping[str, Any]]] = field(default_factory=dict)
    relatives: Estimate | None = None

    def keys(self) -> frozenset[FactKey]:
        return frozenset(self.known)

    def of(self, key: str) -> list[Known]:
        return [known for (k, _), known in self.known.items() if k == key]

    def seen(self) -> dict[str, str]:
        """What is known of this seed itself, its species' or at the bench: key → word."""
        return {key: known.word for (key, _), known in self.known.items() if known.basis in ("species", "bench")}

    def word(self, key: str) -> str | None:
        return next((known.word for known in self.of(key)), None)

    @property
    def dormancy(self) -> str | None:
        """The class of dormancy."""
        return self.word(self.vocabulary.class_key)

    @property
    def level(self) -> str | None:
        """How deep it goes."""
        return next(filter(None, map(self.word, reversed(self.vocabulary.level_keys))), None)


def gather(
    kb: KnowledgeBase, match: Match, measurements: Mapping[str, str] | None = None, supposed: str | None = None
) -> Facts:
    """Facts for a matched name. `measurements`: key → word found at the bench; they outrank everything else.
    `supposed`: a dormancy class to take from relatives instead of the one that serves most of them.

    Raises UserError for a measurement that is no word of the vocabulary.
    """
    name = match.name or match.genus or match.family or match.query
    facts = Facts(name, match.genus, match.family, kb.vocabulary)
    for key, word in (measurements or {}).items():
        if word not in kb.vocabulary.given.get(key, {}):
            allowed = ", ".join(kb.vocabulary.given.get(key, {})) or "no such trait"
            raise UserError(f"'{key}: {word}' is no observation that Rousewort knows. Allowed for {key}: {allowed}.")
        facts.known[key, word] = Known(key, word, "bench", ())
    own = kb.store.summary(name) if (kb.taxon(name) or {}).get("rank") == "species" else None
    if own:
        _take_own(facts, own, kb)
    _take_listed(facts, kb, supposed)
    _inherit(facts, kb, own, supposed)
    for known in facts.of(kb.vocabulary.class_key):
        word = "own" if known.basis in ("species", "bench") else "relatives"
        facts.known["class_known_from", word] = known._replace(key="class_known_from", word=word)
    return facts


def _take_own(facts: Facts, own: Mapping[str, Any], kb: KnowledgeBase) -> None:
    measured = {key for key, _ in facts.known}
    facts.numbers = own["numbers"]
    for key, words in own["traits"].items():
        if key in measured and not kb.vocabulary.many(key):
            continue
        for word, sources, against in words:
            facts.known[key, word] = Known(key, word, "species", tuple(sources), against=tuple(against))
    for key, (word, sources) in own["answers"].items():
        facts.known.setdefault((key, word), Known(key, word, "species", tuple(sources)))
    size = kb.vocabulary.size_key
    counts = own["numbers"].get(kb.vocabulary.count_key)
    if counts and size not in measured:
        mean = sum((c["low"] + c["high"]) / 2 for c in counts) / len(counts)
        for fact in [f for f in facts.known if f[0] == size]:
            del facts.known[fact]
        word = kb.vocabulary.band(size, mean)
        facts.known[size, word] = Known(size, word, "species", tuple(counts))


def _take_listed(facts: Facts, kb: KnowledgeBase, supposed: str | None) -> None:
    """The class that the table of classes gives the species itself, where nothing better is known. Where it gives several,
    lots differ: kin and their spread decide, with all of these (`estimate`)."""
    dormancy = kb.vocabulary.class_key
    if facts.genus is None or supposed or facts.of(dormancy):
        return
    words = kb.store.classed("genus", facts.genus).get(facts.name, ())
    if len(words) == 1:
        facts.known[dormancy, words[0]] = Known(dormancy, words[0], "species", listed_in(kb))


def listed_in(kb: KnowledgeBase) -> tuple[Mapping[str, Any], ...]:
    """The work that the table of classes is from, as a ground."""
    return tuple({"source": source, "held": "table"} for source in kb.store.shared("classed_from")[:1])


def _inherit(facts: Facts, kb: KnowledgeBase, own: Mapping[str, Any] | None, supposed: str | None = None) -> None:
    """Fill what is not known from genus, then family. Classes come first: levels and reports depend on them."""
    have, dormancy = {key for key, _ in facts.known}, kb.vocabulary.class_key
    if dormancy not in have:
        _lend_drying(facts, kb, have)
        have.add(dormancy)  # lent here or not at all
        lent_class = _class_of_relatives(facts, kb, supposed)
        if lent_class:
            facts.known[lent_class.fact] = lent_class
    if facts.genus is None and facts.family is None:
        return
    for key, definition in _lendable(kb):
        if key in have or not _fits(definition, facts):
            continue
        stranger = own is None and dormancy in definition.get("only_with", {})
        of_class = facts.dormancy if stranger and key in kb.vocabulary.responses else None
        lent = _lent(kb, facts, "genus", key, definition, of_class)
        if not lent and _family_lends(definition, facts, own):
            lent = _lent(kb, facts, "family", key, definition, of_class)
        for known in lent:
            if _fits(definition.get("values", {}).get(known.word, {}), facts):
                facts.known[known.fact] = known


def _lend_drying(facts: Facts, kb: KnowledgeBase, have: set[str]) -> None:
    """Whether its kin's seed survives drying, before their class is lent: a coat that keeps water out stands drying."""
    key = kb.vocabulary.drying_key
    if key not in have:
        for known in _lent(kb, facts, "genus", key, kb.vocabulary.traits[key], None):
            facts.known[known.fact] = known


def _lendable(kb: KnowledgeBase) -> list[tuple[str, Mapping[str, Any]]]:
    """What relatives can lend, with its definition; what is bound to other traits comes after these."""
    if ("lendable",) not in kb.memo:
        spread = {**kb.vocabulary.traits, **kb.vocabulary.responses, "season_order": {"inherits": "genus"}}
        can = [(key, d) for key, d in spread.items() if d["inherits"] != "no" and not d.get("number")]
        kb.memo["lendable",] = sorted(can, key=lambda item: _bound(item[1]))
    lendable: list[tuple[str, Mapping[str, Any]]] = kb.memo["lendable",]
    return lendable


def _family_lends(definition: Mapping[str, Any], facts: Facts, own: Mapping[str, Any] | None) -> bool:
    """A family may lend under conditions of its own (`from_family`), and then only to a plant that has no entry: what is
    on record of the plant itself says more than such distant reports."""
    terms = definition.get("from_family")
    return definition["inherits"] == "family" and (terms is None or (own is None and _fits(terms, facts)))


def _lent(
    kb: KnowledgeBase, facts: Facts, rank: str, key: str, definition: Mapping[str, Any], of_class: str | None
) -> list[Known]:
    """What a genus or family lends of one key; the same for every species of a section or clade, so worked out once.

    Where the plant's section of the genus, or its genus's subfamily or tribe, is on record, kin that are known to stand in
    another lend nothing. Nor does kin whose seed dies when dry lend to seed that does not, or the other way.

    `of_class`: count only relatives of this dormancy class, or of none that is known: what treatment did for seed that
    is held back by something else says nothing. Nothing is lent of what is known to differ within the genus.
    """
    name, own = (facts.genus, facts.name) if rank == "genus" else (facts.family, facts.genus)
    if name is None or (facts.genus and kb.store.of_genus(facts.genus).get(key) == []):
        return []
    clade = kb.store.clade_of(own) if own else None
    drying = facts.word(kb.vocabulary.drying_key) if key in kb.vocabulary.responses else None
    dies = drying in kb.vocabulary.never_dried if drying else None
    asked = rank, name, key, of_class, clade, dies
    if asked not in kb.memo:
        share, least = (GENUS_SHARE, 1) if rank == "genus" else (FAMILY_SHARE, FAMILY_LEAST)
        never = {word for word, entry in definition.get("values", {}).items() if entry.get("lent") is False}
        group, stated = kb.store.group(rank, name), _stated(kb, rank, name, key)
        votes = {} if definition.get("as_stated") else group["votes"].get(key, {})
        votes = _within(kb, rank, votes, group, clade, dies)
        if of_class:
            others = {
                n
                for word, names in group["votes"].get(kb.vocabulary.class_key, {}).items()
                if word != of_class
                for n in names
            }
            votes = {word: [n for n in names if n not in others] for word, names in votes.items()}
            votes = {word: names for word, names in votes.items() if names}
        lent = _lend(key, rank, votes, group["count"], stated, share, least, kb.vocabulary.many(key), never)
        kb.memo[asked] = lent or (_divided(key, rank, votes, least) if of_class else [])
    known: list[Known] = kb.memo[asked]
    return known


def _stated(kb: KnowledgeBase, rank: str, name: str, key: str) -> dict[str, Sequence[Any]]:
    """What is said of a genus or family itself: word → its grounds. Where the file of a genus says nothing, or there is none,
    the table of genera speaks."""
    summary = kb.store.summary(name) or {}
    stated: dict[str, Sequence[Any]] = {word: sources for word, sources, _ in summary.get("traits", {}).get(key, ())}
    if key in summary.get("answers", {}):
        word, sources = summary["answers"][key]
        stated[word] = sources
    if not stated and rank == "genus":
        ground = [{"source": source, "held": "memory"} for source in kb.store.shared("of_genera_from")[:1]]
        stated = dict.fromkeys(kb.store.of_genus(name).get(key, ()), ground)
    return stated


def _within(
    kb: KnowledgeBase,
    rank: str,
    votes: Mapping[str, Any],
    group: Mapping[str, Any],
    clade: str | None,
    dies: bool | None,
) -> Mapping[str, Any]:
    """The votes of kin on this side of the borders. `dies`: whether the plant's seed dies when dry, None not to ask."""
    told = group["votes"].get(kb.vocabulary.drying_key, {}) if dies is not None else {}
    far = {n for word, names in told.items() if (word in kb.vocabulary.never_dried) != dies for n in names}
    if clade is None and not far:
        return votes

    def near(name: str) -> bool:
        its = kb.store.clade_of(name if rank == "genus" else genus_of(name)) if clade else None
        return name not in far and its in (None, clade)

    kept = {word: [name for name in names if near(name)] for word, names in votes.items()}
    return {word: names for word, names in kept.items() if names}


def _divided(key: str, rank: str, votes: Mapping[str, Any], least: int) -> list[Known]:
    """Relatives that disagree about a treatment: lots or species differ, which the rules have a word for."""
    names = tuple(name for word in votes for name in votes[word])
    return [Known(key, "mixed", rank, (), 1.0, names)] if len(votes) > 1 and len(names) >= 2 * least else []


def _class_of_relatives(facts: Facts, kb: KnowledgeBase, supposed: str | None = None) -> Known | None:
    """The class whose treatment serves most relatives, where any of them has one and it is likely enough."""
    found = facts.relatives = estimate(kb, facts.genus, facts.family, _seen(facts), species=facts.name)
    if found.nearest is None or (found.chance < CLASS_CHANCE and not supposed):
        return None
    word = supposed or found.serving
    group = found.group_for(word) or found.nearest
    share = round(found.chances[word], 2)
    # A class that follows from what surveys find typical, and that no relative has yet, rests on all of them.
    relatives = group.species.get(word) or tuple(name for names in group.species.values() for name in names)
    # Where no relative has it, nor any other that would bear it, the shares at large stand: those of the table.
    of_table = group.listed.get(word) or not (relatives or group.stated.get(word))
    sources = (*group.stated.get(word, ()), *(listed_in(kb) if of_table else ()))
    return Known(kb.vocabulary.class_key, word, group.rank, sources, share, relatives)


def _seen(facts: Facts) -> dict[str, str]:
    """What is known of the seed itself, and whether its kin's stands drying."""
    lent = [known for known in facts.of(facts.vocabulary.drying_key) if known.basis == "genus"]
    return {**{known.key: known.word for known in lent}, **facts.seen()}


def _bound(definition: Mapping[str, Any]) -> bool:
    return any(
        {"only_with", "never_with"} & entry.keys() for entry in (definition, *definition.get("values", {}).values())
    )


def _fits(definition: Mapping[str, Any], facts: Facts) -> bool:
    """An inherited trait, or one word of it, may be bound to words of other traits: to any of `only_with`, `unknown` among them, and to
    words beside those of `never_with` (a plant of the wet tropics inherits no need for cold)."""
    only, never = definition.get("only_with", {}), definition.get("never_with", {})
    said = {key: {known.word for known in facts.of(key)} or {"unknown"} for key in (*only, *never)}
    return all(said[key] & set(words) for key, words in only.items()) and not any(
        said[key] <= set(words) for key, words in never.items()
    )


def _taken_together(counts: Mapping[str, int]) -> dict[str, int]:
    """Votes that say the same to a grower count together, under the commoner word: needed and helps, unneeded and useless."""
    out = {}
    for word in counts:
        side = next((s for s in ({"needed", "helps"}, {"unneeded", "useless"}) if word in s), {word})
        if word == min(side & set(counts), key=lambda w: (-counts[w], w)):
            out[word] = sum(counts.get(w, 0) for w in side)
    return out


def _lend(
    key: str,
    rank: str,
    votes: Mapping[str, Any],
    members: int,
    stated: Mapping[str, Sequence[Any]],
    share: float,
    least: int,
    many: bool,
    never: set[str],
) -> list[Known]:
    words_known = {*votes, *stated} - never
    counts = {w: len(votes.get(w, ())) + STATEMENT_COUNTS * (w in stated) for w in words_known}
    if many:
        total = max(members, 1)
        agreed = {w for w, names in votes.items() if len(names) >= least and len(names) / total >= share}
        # What is said of the genus or family itself covers the members that nobody entered; a vote is of those entered.
        words = sorted((set(stated) or agreed) - never)
    else:
        total = sum(counts.values()) + sum(len(votes.get(w, ())) for w in never)
        counts = _taken_together(counts)
        best = min(counts, key=lambda w: (-counts[w], w), default=None)
        enough = best is not None and counts[best] / total >= share and (best in stated or counts[best] >= least)
        words = [best] if enough and best is not None else []
    return [
        Known(
            key,
            word,
            rank,
            tuple(stated.get(word, ())),
            round(min(1.0, counts[word] / total), 2),
            tuple(votes.get(word, ())),
        )
        for word in words
    ]
