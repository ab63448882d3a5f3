"""Which of a species' own protocols a plan follows, and what its own works say against the steps that the rules chose.

The rules say what stands in the way and what may remove it; `choose` takes what the grower can do. Here the best supported protocol
that does just this lends its kinds and its name, what the species' own works found needless is no longer asked for, and where
nothing at hand serves, the nearest plan is carried with what it lacks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cached_property
from itertools import pairwise
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import genus_of
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.choose import Chosen, Sequence, choose
from rousewort.planning.facts import Facts
from rousewort.planning.grower import Grower
from rousewort.planning.need import Need, need
from rousewort.planning.own_evidence import line, own
from rousewort.planning.phases import Part
from rousewort.planning.protocols import CAME_UP_PCT, FAILED_PCT, HELPS, Course, Phase
from rousewort.planning.rules.run import Findings, Offer

LEAST_KIN = 2  # studies of cold in a genus, without which a plant whose home is not known is chilled in part only
AS_LIKELY = 0.5  # a need for cold lent by relatives that is less likely than this splits the lot
# A step stays asked for where the experiment that is followed saw fewer than this share of its treated seed come up without it, and so
# many per cent of the seed fewer.
WITHOUT_SHARE, WITHOUT_PCT = 0.5, 20
MANY_OTHERS = 12  # protocols shown beside the one followed
WARM, COLD = "warm", "cold"  # groups of treatments that are seasons


class Following(NamedTuple):
    """Whose protocol a plan follows. `course`: None where several were put together, each for what it removes (`pieces`);
    `waking`: its phases that wake seed."""

    course: Course | None
    pieces: tuple[Course, ...] = ()
    waking: tuple[Phase, ...] = ()


class Chooser:
    """Chooses for one plant, whatever the grower: the rules' findings and the species' own protocols stay the same."""

    def __init__(self, kb: KnowledgeBase, facts: Facts, findings: Findings) -> None:
        self.kb, self.facts, self.findings, self.vocabulary = kb, facts, findings, kb.vocabulary
        self.own = own(kb, facts.name)

    @cached_property
    def ranked(self) -> tuple[tuple[Course, tuple[Phase, ...], frozenset[str]], ...]:
        """The species' protocols that can be followed, best supported first, each with its waking phases and the kinds it leads to."""
        able = [
            c
            for c in self.own.courses
            if c.ordered and (c.given() or not c.phases) and (c.phases or c.untreated is not None)
        ]
        waking = {id(c): tuple(phase for phase in c.given() if counts(self.kb, phase.kind)) for c in able}
        return tuple(
            (c, waking[id(c)], frozenset(phase.kind for phase in waking[id(c)] if self._leads(c, phase.kind)))
            for c in able
        )

    def choose(self, grower: Grower, prefer: frozenset[str] = frozenset()) -> Sequence:
        tried: dict[frozenset[str], Sequence] = {}
        for course, waking, lead in self.ranked:
            if lead not in tried:
                tried[lead] = self._choose(grower, prefer, lead)
            following = self._fit(tried[lead], course, waking)
            if following:
                tried[lead].follows = following
                self._take_phases(tried[lead], course, waking)
                return tried[lead]
        sequence = tried.get(frozenset()) or self._choose(grower, prefer, frozenset())
        sequence.follows = self._assembled(sequence)
        return sequence

    def nearest(self, grower: Grower) -> Sequence:
        """What would be done if the grower had all that is not dangerous; each step says what it lacks."""
        equipment = self.vocabulary.files["equipment"]
        everything = frozenset(word for word, item in equipment.items() if not item.get("permission"))
        sequence = self.choose(grower._replace(has=everything))
        for chosen in sequence.chosen:
            needs = self.kb.treatments[chosen.kind]["needs"]
            chosen.lacks = tuple(n for n in needs if n not in grower.has and not equipment[n].get("permission"))
        return sequence

    def hedged(self, grower: Grower, sequence: Sequence, only_if: str, because: str) -> Sequence:
        """A lot of which nothing is known, split: what is chosen anyway, and cold for half of it, if the grower can give it."""
        colds = sorted(k for k in self.kb.treatments if self.vocabulary.kinds.group(k) == COLD)
        able = [kind for kind in colds if grower.can(self.kb.treatments[kind]["needs"], self.vocabulary) is None]
        indoors = [kind for kind in able if kind not in self.vocabulary.kinds.outdoors and kind not in self._struck_out]
        if any(chosen.kind in colds for chosen in sequence.chosen):  # lent already, for a part: it is told for which
            told = [replace(c, only_if=only_if) if c.kind in colds else c for c in sequence.chosen]
            return replace(sequence, chosen=told)
        if not indoors:
            return sequence
        half = Chosen(indoors[0], [], [], True, against=(because,), only_if=only_if)
        sowing = [chosen for chosen in sequence.chosen if chosen.kind == self.vocabulary.kinds.last]
        before = [chosen for chosen in sequence.chosen if chosen not in sowing]
        return replace(sequence, chosen=[*before, half, *sowing])

    @cached_property
    def _struck_out(self) -> frozenset[str]:
        return frozenset(kind for kind, of in self.findings.ruled_out if of is None)

    def _choose(self, grower: Grower, prefer: frozenset[str], lead: frozenset[str]) -> Sequence:
        offered = self._with_own_offers
        sequence = choose(offered, grower, self.kb.treatments, self.vocabulary, prefer, lead, self._last)
        sorted_ = any(self.vocabulary.obstacles[o].get("sorts") for c in sequence.chosen for o in c.obstacles)
        for chosen in sequence.chosen:
            chosen.only_if = self._only_if(chosen, sorted_)
            self._heed(chosen)
        for before, chosen in pairwise(sequence.chosen):  # what only goes between two steps goes with the first
            group = self.vocabulary.kinds.group(chosen.kind)
            if self.vocabulary.files["treatment_groups"].get(group, {}).get("fills"):
                chosen.optional = chosen.optional or before.optional
        return sequence

    def _only_if(self, chosen: Chosen, sorted_: bool) -> str | None:
        """In which case a step is done: where all that it removes is only there in some lots, or in part of a sorted one."""
        told = [self.vocabulary.obstacles[obstacle] for obstacle in chosen.obstacles]
        words: set[str | None] = {
            (one.get("only_if_sorted") if sorted_ else None) or one.get("only_if") for one in told
        }
        return None if None in words else "; ".join(sorted(filter(None, words))) or None

    @cached_property
    def _vetoed(self) -> frozenset[str]:
        return frozenset(o.kind for o in self.findings.offers if self.own.verdict(o.kind).vetoed)

    @cached_property
    def _last(self) -> frozenset[tuple[str, str]]:
        heated = frozenset(
            (offer.kind, offer.obstacle)
            for offer in self.findings.offers
            if offer.kind in self._unreported and not in_some_lots(self.vocabulary, [offer.obstacle])
        )
        return heated | {(o.kind, o.obstacle) for o in self.findings.offers if o.kind in self._vetoed}

    @cached_property
    def _unreported(self) -> frozenset[str]:
        """Heat and acid that nobody reports of the species or its genus: taken where there is no other way, and tried first."""
        kinds = {offer.kind for offer in self.findings.offers if heats(self.kb.treatments[offer.kind])}
        return frozenset(kind for kind in kinds if not self.own.reported(kind, self.facts))

    @cached_property
    def _with_own_offers(self) -> Findings:
        """Where the species' own works strike the best of what is offered, only what they found to work is left beside it, offered by
        rules or not: a stand-in is none for what was no use. What is struck is taken where nothing else is, and may be left out."""
        if not self._vetoed:
            return self.findings
        worked, rank = self.own.found_to_work(), self.vocabulary.standing_rank
        struck = set()
        for obstacle in {offer.obstacle for offer in self.findings.offers if offer.kind in self._vetoed}:
            offers = [offer for offer in self.findings.offers if offer.obstacle == obstacle]
            best = min(rank[offer.standing] for offer in offers)
            if all(offer.kind in self._vetoed for offer in offers if rank[offer.standing] == best):
                struck.add(obstacle)
        kept = self._vetoed | worked
        offers = [offer for offer in self.findings.offers if offer.obstacle not in struck or offer.kind in kept]
        offered = {(offer.kind, offer.obstacle) for offer in offers}
        best_standing = min(rank, key=rank.__getitem__)
        offers += [
            Offer(kind, obstacle, best_standing, None, ())
            for obstacle in sorted(struck)
            for kind in sorted(worked & set(self.kb.treatments))
            if (kind, obstacle) not in offered and self._replaces(kind)
        ]
        return replace(self.findings, offers=offers)

    def _leads(self, course: Course, kind: str) -> bool:
        """Whether a plan is led to a kind by a protocol that has it. To heat or acid, while another way stands as well, only by one that
        advises it: that some lot bore it in a trial is no advice. To what takes a permission by none."""
        treatment = self.kb.treatments.get(kind, {})
        equipment = self.vocabulary.files["equipment"]
        if any(equipment[need].get("permission") for need in treatment.get("needs", ())):
            return False
        return not (course.tried and heats(treatment))

    def _replaces(self, kind: str) -> bool:
        group = self.vocabulary.kinds.group(kind)
        return bool(self.vocabulary.files["treatment_groups"].get(group, {}).get("may_replace_season"))

    # --- what the species' own works say against a step

    def _heed(self, chosen: Chosen) -> None:
        """What stands against a step stands at it, and it is no longer asked for where its own works say so."""
        if not counts(self.kb, chosen.kind):
            return
        if chosen.kind in self._unreported and not in_some_lots(self.vocabulary, chosen.obstacles):
            chosen.optional, chosen.against = True, ("nobody reports it of this species or its genus",)
            return
        verdict = self.own.verdict(chosen.kind)
        if verdict.against:
            chosen.optional = chosen.optional or verdict.optional
            chosen.against, chosen.needless, chosen.grounds = verdict.against, verdict.needless, verdict.sources
        elif not chosen.optional and self._lent_cold(chosen.kind) and self._home_and_kin_silent:
            chosen.optional = True
            chosen.against = ("its home is not known, and hardly a study of its genus tells of cold",)
        elif not chosen.optional and self._lent(chosen):
            if advice := self.own.silent_on(chosen.kind):
                chosen.optional = True
                chosen.against = tuple(f"{self.own.who(course)}: tells of no such step" for course in advice)
                chosen.grounds = tuple(_ground(course) for course in advice)
            elif self._lent_cold(chosen.kind) and (needed := self._need.chance) < AS_LIKELY:
                chosen.optional = True
                chosen.against = (f"of plants like it about {round(100 * needed)} in 100 are likely to need it",)
        if not chosen.optional and self._lent_cold(chosen.kind) and self._home_undecided:
            where = self.vocabulary.files["observations"]["unknown"]["hedge"]["where_home_is_mixed"]
            chosen.only_if = "; ".join(filter(None, (chosen.only_if, where)))

    def _lent_cold(self, kind: str) -> bool:
        """Whether it is cold, of which the species' own protocols say nothing."""
        cold = self.vocabulary.kinds.group(kind) == COLD
        return cold and not any(self.own.speaks(p, kind) for course in self.own.courses for p in course.phases)

    @cached_property
    def _need(self) -> Need:
        """How likely a lot of this plant needs cold, by what is known of it, its relatives and its class."""
        return need(self.kb, self.facts)

    @cached_property
    def _home_and_kin_silent(self) -> bool:
        """Whether nothing near tells of a winter: neither the plant's home nor more than one study of its genus."""
        told = self.facts.of(self.vocabulary.climate_key)
        # A family of which one genus is held tells of that genus alone.
        home = any(known.basis != "family" or len({*map(genus_of, known.relatives)}) > 1 for known in told)
        return not home and len(self._need.kin) < LEAST_KIN

    @cached_property
    def _home_undecided(self) -> bool:
        """Whether nothing says if its home has winters: no home is known, or relatives lend homes with winters and without."""
        told = self.facts.of(self.vocabulary.climate_key)
        if any(known.basis in ("species", "bench") for known in told):
            return False
        without = self.vocabulary.homes_without_winter
        telling = [known for known in told if known.word not in self.vocabulary.homes_silent_on_winter]
        return not telling or len({known.word in without for known in telling}) > 1

    def _lent(self, chosen: Chosen) -> bool:
        """Whether only relatives say that this stands in the way."""
        deciding = {self.vocabulary.class_key, *self.vocabulary.level_keys, *self.vocabulary.responses}
        bases = {
            known.basis
            for obstacle in chosen.obstacles
            for fact in self._back(("obstacle", obstacle), set())
            if fact[0] in deciding and (known := self.facts.known.get(fact))
        }
        return bool(bases) and not bases & {"species", "bench"}

    def _back(self, fact: tuple[str, str], seen: set[tuple[str, str]]) -> Iterable[tuple[str, str]]:
        if fact in seen:
            return
        seen.add(fact)
        yield fact
        for firing in self.findings.support.get(fact, ()):
            for on in firing.on:
                yield from self._back(on, seen)

    @cached_property
    def nothing_woke(self) -> tuple[Course, ...]:
        """The species' own trials, where none of them woke its seed in any way and none was without treatments."""
        tried = tuple(c for c in self.own.courses if c.tried and any(counts(self.kb, p.kind) for p in c.phases))
        shares = [share for c in tried for share in (c.treated, c.untreated) if share is not None]
        helped = any(phase.vote in HELPS for course in self.own.courses for phase in course.phases)
        return tried if shares and max(shares) < FAILED_PCT and not helped else ()

    def told(self, course: Course) -> str:
        """Who tried what: `Verhoeven 2024: cold and moist, gibberellic acid`."""
        kinds = [phase.kind for phase in course.phases if counts(self.kb, phase.kind)]
        labels = [self.kb.treatments.get(kind, {}).get("label", kind.replace("_", " ")) for kind in kinds]
        return f"{self.own.who(course)}: {', '.join(labels)}"

    def may_need_nothing(self, sequence: Sequence) -> bool:
        """Whether nothing that wakes is asked for, and something that may be left out was found needless."""
        waking = [chosen for chosen in sequence.chosen if counts(self.kb, chosen.kind)]
        return any(chosen.needless for chosen in waking) and all(chosen.optional for chosen in waking)

    # --- whose protocol it is

    def _fit(self, sequence: Sequence, course: Course, waking: tuple[Phase, ...]) -> Following | None:
        """How the sequence follows a course, or None where it does not."""
        if sequence.unmet:
            return None
        steps = [chosen for chosen in sequence.chosen if counts(self.kb, chosen.kind)]
        for phase in waking:
            spoken = any(self.own.speaks(phase, chosen.kind) for chosen in steps)
            if not spoken and not self._other_way(phase, waking, steps):
                return None
        for chosen in steps:
            if not chosen.optional and not any(self.own.speaks(phase, chosen.kind) for phase in waking):
                return None
        seasons = self._seasons(chosen.kind for chosen in steps)
        told = self._seasons(phase.kind for phase in waking)
        if told not in (seasons, [*seasons, WARM] if seasons[-1:] == [COLD] else seasons):
            return None  # warmth after the last cold is that in which it comes up
        return Following(course, (), waking)

    def _other_way(self, phase: Phase, waking: Iterable[Phase], steps: Iterable[Chosen]) -> bool:
        """Whether a phase is one of several ways to the same end, another of which is taken."""
        ways = [other for other in waking if other is not phase and other.group == phase.group]
        return any(self.own.speaks(way, chosen.kind) for way in ways for chosen in steps)

    def _seasons(self, kinds: Iterable[str]) -> list[str]:
        groups = self.vocabulary.files["treatment_groups"]
        told: list[str] = []
        for kind in kinds:
            group = self.vocabulary.kinds.group(kind)
            if group and groups[group].get("season") and told[-1:] != [group]:
                told.append(group)
        return told

    def _changed(self, sequence: Sequence, course: Course, waking: tuple[Phase, ...]) -> Iterable[str]:
        told = [phase.kind for phase in course.given()]
        for chosen in sequence.chosen:
            if chosen.kind == self.vocabulary.kinds.last:
                continue
            label = self.kb.treatments[chosen.kind]["label"]
            if chosen.kind not in told and not any(self.own.speaks(phase, chosen.kind) for phase in waking):
                yield f"added: {label}{', which may be left out' if chosen.optional else ''}"
            elif chosen.optional:
                yield f"may be left out: {label}"

    def _assembled(self, sequence: Sequence) -> Following | None:
        """The species' own protocols, each for one of the steps, where together they tell of all of them."""
        steps = [c for c in sequence.chosen if counts(self.kb, c.kind) and not c.optional]
        if not steps or sequence.unmet:
            return None
        pieces: dict[int, Course] = {}
        for chosen in steps:
            telling = [
                course
                for course in self.own.courses
                if any(phase.given and self.own.speaks(phase, chosen.kind) for phase in course.phases)
            ]
            if not telling:
                return None
            pieces[id(telling[0])] = telling[0]
        return Following(None, tuple(pieces.values()))

    def _take_phases(self, sequence: Sequence, course: Course, waking: tuple[Phase, ...]) -> None:
        """Each step takes the phase that it follows; a season given in several parts in turn becomes as many steps."""
        runs: list[list[Phase]] = []
        for phase in waking:
            if runs and runs[-1][-1].kind == phase.kind:
                runs[-1].append(phase)
            else:
                runs.append([phase])
        made: list[Chosen] = []
        for chosen in sequence.chosen:
            run = (
                next((run for run in runs if run[0].kind == chosen.kind), None)
                if counts(self.kb, chosen.kind)
                else None
            )
            if run is None:
                made.append(chosen)
                continue
            runs.remove(run)
            parts = [Part(phase.told, _ground(course), len(run)) for phase in run]
            season = tuple(chosen.obstacles)
            if self._shown_needed(course) and not chosen.lacks:
                chosen = replace(chosen, optional=False, needless=False)
            made += [replace(chosen, obstacles=[], season=season, part=part) for part in parts[:-1]]
            made.append(replace(chosen, part=parts[-1]))
        sequence.chosen = made

    def _shown_needed(self, course: Course) -> bool:
        """Whether the very experiment that is followed shows its treatment needed, and no other lot of the species came up without."""
        if course.treated is None or course.untreated is None:
            return False
        if any(other.untreated is not None and other.untreated >= CAME_UP_PCT for other in self.own.courses):
            return False
        return course.untreated < min(WITHOUT_SHARE * course.treated, course.treated - WITHOUT_PCT)

    # --- as data

    def follows_json(self, sequence: Sequence) -> dict[str, Any] | None:
        """{"source", "kind", "germinated_pct", "untreated_pct", "lot", "changed", "assembled", "sources"}; no share where several
        protocols were put together: nobody did that."""
        following = sequence.follows
        if following is None:
            return None
        course = following.course
        told = (course,) if course else following.pieces
        return {
            "source": course.source if course else None,
            "kind": course.ground if course else None,
            "germinated_pct": _pct(course.treated) if course else None,
            "untreated_pct": _pct(course.untreated) if course else None,
            "lot": _lot(course) if course else None,
            "changed": list(dict.fromkeys(self._changed(sequence, course, following.waking))) if course else [],
            "assembled": course is None,
            "sources": sorted({one.source for one in told if one.source}),
        }

    def others_json(self, following: Following | None) -> tuple[dict[str, Any], ...] | None:
        """The species' other protocols, best supported first; null where there is none."""
        followed = following.course if following else None
        rest = [course for course in self.own.courses if course is not followed and course.phases]
        told = tuple(
            {
                "source": course.source,
                "kind": course.ground,
                "line": line(course, self.kb),
                "germinated_pct": _pct(course.treated),
                "untreated_pct": _pct(course.untreated),
            }
            for course in rest[:MANY_OTHERS]
        )
        return told or None

    def expect_json(self, following: Following | None) -> dict[str, Any] | None:
        """What came up with and without, of the protocol followed; null where it does not say."""
        course = following.course if following else None
        if course is None or (course.treated is None and course.untreated is None and course.days is None):
            return None
        share = _pct(course.treated)
        return {
            "germinated_pct": {"low": share, "high": share} if share is not None else None,
            "untreated_pct": _pct(course.untreated),
            "days": dict(course.days) if course.days else None,
            "from": "species",
        }


def counts(kb: KnowledgeBase, kind: str) -> bool:
    """Whether a treatment wakes seed, and does not only go between two that do."""
    if ("counts", kind) not in kb.memo:
        group = kb.vocabulary.files["treatment_groups"].get(kb.vocabulary.kinds.group(kind), {})
        kb.memo["counts", kind] = kb.vocabulary.kinds.wakes(kind) and not group.get("fills")
    told: bool = kb.memo["counts", kind]
    return told


def in_some_lots(vocabulary: Vocabulary, obstacles: Iterable[str]) -> bool:
    """Whether all of these are there in some lots only, so that what removes them is done to no seed that has them not."""
    return all(vocabulary.obstacles[obstacle].get("only_if") for obstacle in obstacles)


def heats(treatment: Mapping[str, Any]) -> bool:
    """Whether it is heat or acid, by the minute or degree, that cannot be undone."""
    return bool(treatment.get("irreversible") and (treatment.get("measures") or treatment.get("ways")))


def _ground(course: Course) -> Mapping[str, Any]:
    return {key: course.protocol[key] for key in ("source", "held") if key in course.protocol}


def _pct(share: float | None) -> int | None:
    return None if share is None else round(share)


def _lot(course: Course) -> str | None:
    """The lot in a few words: where from, how ripe, how stored."""
    lot = course.protocol.get("lot", {})
    stored = lot.get("stored")
    words = [lot.get("maturity"), *([stored] if isinstance(stored, str) else [s["how"] for s in stored or ()])]
    return ", ".join([*(word for word in words if word), *([lot["provenance"]] if "provenance" in lot else [])]) or None
