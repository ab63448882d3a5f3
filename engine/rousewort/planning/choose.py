"""For each obstacle the best-standing offer that the grower can carry out. The only reader of what the grower has."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.grower import Grower
from rousewort.planning.rules.run import Findings, Firing, Offer

if TYPE_CHECKING:
    from rousewort.planning.follow import Following
    from rousewort.planning.phases import Part


@dataclass(eq=False)
class Chosen:
    """A treatment chosen for one or more neighbouring obstacles.

    `against`: what the species' own works say against it, in words, and their `grounds`; `needless`: untreated seed came up.
    `lacks`: what the grower would have to get for it; `part`: the phase of a protocol that it follows;
    `season`: where it is one part of a season, all that the season removes; `only_if`: in which case it is done, in words.
    """

    kind: str
    obstacles: list[str]
    offers: list[Offer]
    optional: bool
    medium: str | None = None
    against: tuple[str, ...] = ()
    grounds: tuple[Mapping[str, Any], ...] = ()
    needless: bool = False
    lacks: tuple[str, ...] = ()
    part: Part | None = None
    season: tuple[str, ...] = ()
    only_if: str | None = None


class Refused(NamedTuple):
    """An offer or kind that is not used, and why. `need`: what the grower lacks; `rule`: what rules it out."""

    kind: str
    obstacle: str | None
    need: str | None = None
    firings: tuple[Firing, ...] = ()
    lot: str | None = None


@dataclass(eq=False)
class Sequence:
    """What `choose` decided: treatments in order, obstacles that nothing at hand removes, and what was refused."""

    chosen: list[Chosen] = field(default_factory=list)
    unmet: list[str] = field(default_factory=list)
    unmet_optional: list[str] = field(default_factory=list)
    already: list[str] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    follows: Following | None = None

    def shape(self) -> tuple[Any, ...]:
        """What makes two sequences the same for a grower."""
        return tuple((c.kind, tuple(c.obstacles), c.medium) for c in self.chosen), tuple(self.unmet)


def choose(
    findings: Findings,
    grower: Grower,
    treatments: Mapping[str, Mapping[str, Any]],
    vocabulary: Vocabulary,
    prefer: frozenset[str] = frozenset(),
    lead: frozenset[str] = frozenset(),
    last: frozenset[tuple[str, str]] = frozenset(),
) -> Sequence:
    """Decide one treatment an obstacle, in the order of obstacles.yaml; neighbours with the same treatment are one.

    `prefer`: kinds that are taken before all others wherever they are offered, to see what they would change. `lead`: those of a
    protocol of the species, taken before what only stands as well. `last`: kinds that are taken last for an obstacle, and not while
    something else could be got: its own works found them of no use.
    """
    ranks = _Ranks(vocabulary, prefer, lead, last)
    sequence = Sequence()
    offers: dict[str, list[Offer]] = {}
    for offer in findings.offers:
        offers.setdefault(offer.obstacle, []).append(offer)
    for obstacle in sorted(findings.obstacles, key=vocabulary.obstacle_rank.__getitem__):
        optional = obstacle in findings.optional or bool(vocabulary.obstacles[obstacle].get("minor"))
        if grower.cleaned and vocabulary.obstacles[obstacle].get("gone_when_cleaned"):
            sequence.already.append(obstacle)
            continue
        offered = offers.get(obstacle, [])
        best = _best(offered, findings, grower, treatments, ranks, sequence)
        if best is None and optional and (bought := _to_buy(offered, findings, grower, treatments, ranks)):
            _append(sequence, bought, obstacle, optional, vocabulary.kinds.last)
            lacking = [need for need in treatments[bought.kind]["needs"] if need not in grower.has]
            sequence.chosen[-1].lacks = tuple(lacking)
        elif best is None:
            (sequence.unmet_optional if optional else sequence.unmet).append(obstacle)
        else:
            _append(sequence, best, obstacle, optional, vocabulary.kinds.last)
    for (kind, of), firings in findings.ruled_out.items():
        sequence.refused.append(Refused(kind, of, firings=tuple(firings)))
    return sequence


def _append(sequence: Sequence, offer: Offer, obstacle: str, optional: bool, sowing: str) -> None:
    last = sequence.chosen[-1] if sequence.chosen else None
    if offer.kind == sowing:  # it comes once, last; all that it removes is gathered there
        last = next((c for c in sequence.chosen if c.kind == sowing), None)
    if last and last.kind == offer.kind and last.medium == offer.medium:
        last.obstacles.append(obstacle)
        last.offers.append(offer)
        last.optional = last.optional and optional
    else:
        sequence.chosen.append(Chosen(offer.kind, [obstacle], [offer], optional, offer.medium))


class _Ranks(NamedTuple):
    """In which order offers are taken."""

    vocabulary: Vocabulary
    prefer: frozenset[str]
    lead: frozenset[str]
    last: frozenset[tuple[str, str]]

    def of(self, offer: Offer, outside: bool) -> tuple[Any, ...]:
        kinds = self.vocabulary.kinds
        staying = outside and offer.kind in kinds.outdoors
        standing = self.vocabulary.standing_rank[offer.standing]
        mine = offer.kind not in self.prefer, offer.kind not in self.lead
        return (
            not staying,
            (offer.kind, offer.obstacle) in self.last,
            *mine,
            standing,
            kinds.rank(offer.kind),
            offer.kind,
        )


def _best(
    offers: list[Offer],
    findings: Findings,
    grower: Grower,
    treatments: Mapping[str, Mapping[str, Any]],
    ranks: _Ranks,
    sequence: Sequence,
) -> Offer | None:
    vocabulary = ranks.vocabulary
    outside = any(c.kind in vocabulary.kinds.outdoors for c in sequence.chosen)  # seed once sown outside stays there
    best: Offer | None = None
    too_big_or_small: Offer | None = None
    to_get = False  # something that its own works do not speak against, and that can be had
    for offer in sorted(offers, key=lambda offer: ranks.of(offer, outside)):
        if (offer.kind, None) in findings.ruled_out or (offer.kind, offer.obstacle) in findings.ruled_out:
            continue
        treatment = treatments[offer.kind]
        lacking = grower.can(treatment["needs"], vocabulary)
        lot = _lot(treatment, grower)
        is_last = (offer.kind, offer.obstacle) in ranks.last
        if lacking:
            sequence.refused.append(Refused(offer.kind, offer.obstacle, need=lacking))
            to_get = to_get or not (is_last or vocabulary.files["equipment"][lacking].get("permission"))
        elif lot:
            sequence.refused.append(Refused(offer.kind, offer.obstacle, lot=lot))
            too_big_or_small = too_big_or_small or offer
        elif best is None and not (is_last and (to_get or too_big_or_small)):
            best = offer
    return best or too_big_or_small


def _to_buy(
    offers: list[Offer],
    findings: Findings,
    grower: Grower,
    treatments: Mapping[str, Mapping[str, Any]],
    ranks: _Ranks,
) -> Offer | None:
    """What would only help, and takes nothing but what is sold for it: the plan shows it, and that it has to be got."""
    equipment = ranks.vocabulary.files["equipment"]
    for offer in sorted(offers, key=lambda offer: ranks.of(offer, outside=False)):
        if (offer.kind, None) in findings.ruled_out or (offer.kind, offer.obstacle) in findings.ruled_out:
            continue
        if all(need in grower.has or equipment[need].get("sold") for need in treatments[offer.kind]["needs"]):
            return offer
    return None


def _lot(treatment: Mapping[str, Any], grower: Grower) -> str | None:
    """Why a treatment does not suit the lot's size."""
    lots = treatment.get("lots")
    if not lots or grower.seeds is None:
        return None
    if grower.seeds > lots.get("most", grower.seeds):
        return f"practical up to {lots['most']} seeds; the lot has {grower.seeds}"
    if grower.seeds < lots.get("least", 0):
        return f"not tried on fewer than {lots['least']} seeds; the lot has {grower.seeds}"
    return None
