"""For each obstacle the best-standing offer that the grower can carry out. The only reader of what the grower has."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.grower import Grower
from rousewort.planning.rules.run import Findings, Firing, Offer


@dataclass(eq=False)
class Chosen:
    """A treatment chosen for one or more neighbouring obstacles."""

    kind: str
    obstacles: list[str]
    offers: list[Offer]
    optional: bool
    medium: str | None = None


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

    def shape(self) -> tuple[Any, ...]:
        """What makes two sequences the same for a grower."""
        return tuple((c.kind, tuple(c.obstacles), c.medium) for c in self.chosen), tuple(self.unmet)


def choose(
    findings: Findings,
    grower: Grower,
    treatments: Mapping[str, Mapping[str, Any]],
    vocabulary: Vocabulary,
    prefer: frozenset[str] = frozenset(),
) -> Sequence:
    """Decide one treatment an obstacle, in the order of obstacles.yaml; neighbours with the same treatment are one.

    `prefer`: kinds that are taken before all others wherever they are offered, to see what they would change.
    """
    sequence = Sequence()
    offers: dict[str, list[Offer]] = {}
    for offer in findings.offers:
        offers.setdefault(offer.obstacle, []).append(offer)
    for obstacle in sorted(findings.obstacles, key=vocabulary.obstacle_rank.__getitem__):
        optional = obstacle in findings.optional or bool(vocabulary.obstacles[obstacle].get("minor"))
        if grower.cleaned and vocabulary.obstacles[obstacle].get("gone_when_cleaned"):
            sequence.already.append(obstacle)
            continue
        best = _best(offers.get(obstacle, []), findings, grower, treatments, vocabulary, sequence, prefer)
        if best is None:
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


def _best(
    offers: list[Offer],
    findings: Findings,
    grower: Grower,
    treatments: Mapping[str, Mapping[str, Any]],
    vocabulary: Vocabulary,
    sequence: Sequence,
    prefer: frozenset[str],
) -> Offer | None:
    kinds = vocabulary.kinds
    outside = any(c.kind in kinds.outdoors for c in sequence.chosen)  # seed once sown outside stays there

    def order(offer: Offer) -> tuple[Any, ...]:
        staying = outside and offer.kind in kinds.outdoors
        standing = vocabulary.standing_rank[offer.standing]
        return not staying, offer.kind not in prefer, standing, kinds.rank(offer.kind), offer.kind

    best: Offer | None = None
    too_big_or_small: Offer | None = None
    for offer in sorted(offers, key=order):
        if (offer.kind, None) in findings.ruled_out or (offer.kind, offer.obstacle) in findings.ruled_out:
            continue
        treatment = treatments[offer.kind]
        lacking = grower.can(treatment["needs"], vocabulary)
        lot = _lot(treatment, grower)
        if lacking:
            sequence.refused.append(Refused(offer.kind, offer.obstacle, need=lacking))
        elif lot:
            sequence.refused.append(Refused(offer.kind, offer.obstacle, lot=lot))
            too_big_or_small = too_big_or_small or offer
        elif best is None:
            best = offer
    return best or too_big_or_small


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
