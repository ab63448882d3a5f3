"""From a name to a justified plan: gathers facts, fires the rules, chooses, doses, and says why and why not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.knowledge.rules import FactKey
from rousewort.knowledge.vocabulary import DERIVED
from rousewort.planning.certainty import differ_text, relatives_of
from rousewort.planning.choose import Refused, Sequence
from rousewort.planning.claims import Claim, claims_of, with_confidence
from rousewort.planning.evidence import role_of
from rousewort.planning.facts import Facts, Known, gather
from rousewort.planning.follow import Chooser
from rousewort.planning.grower import Grower, make_grower
from rousewort.planning.reasons import Reasons
from rousewort.planning.rules.run import Engine, Findings, Firing, fire, make_engine
from rousewort.planning.steps import Step, Steps
from rousewort.planning.wording import fill

FORMAT = "rousewort-plan-2"
READABLE = ("rousewort-plan-1", FORMAT)  # stored plans of these forms can still be dated and worked
SPLIT = ("plan", "unknown")  # outcomes in which a part of the lot can be given what another class needs


class Alternative(NamedTuple):
    """A whole other sequence, and what would have to be different for it."""

    when: Mapping[str, tuple[str, ...]]
    text: str
    steps: tuple[Step, ...]
    unmet: tuple[str, ...] = ()


class Plan(NamedTuple):
    """What to do with one lot of one plant, in order, with reasons."""

    query: str
    outcome: str
    match: Match
    family: str | None
    basis: Mapping[str, Any]
    dormancy: Mapping[str, Any]
    steps: tuple[Step, ...]
    alternatives: tuple[Alternative, ...]
    ruled_out: tuple[Mapping[str, Any], ...]
    unmet: tuple[Mapping[str, str], ...]
    cautions: tuple[str, ...]
    advice: tuple[str, ...]
    splits: tuple[Mapping[str, Any], ...]
    unknowns: tuple[str, ...]
    sources: tuple[Mapping[str, Any], ...]
    facts: Facts
    findings: Findings
    sequence: Sequence
    line: str | None
    claims: tuple[Claim, ...]
    follows: Mapping[str, Any] | None = None
    others: tuple[Mapping[str, Any], ...] | None = None
    expect: Mapping[str, Any] | None = None


class Planner:
    """Makes plans from one knowledge base with one compiled set of rules. Holds no other state."""

    def __init__(self, kb: KnowledgeBase, engine: Engine | str | None = None) -> None:
        self.kb = kb
        self.engine = make_engine(kb.rules, engine) if isinstance(engine, str) or engine is None else engine

    @cached_property
    def usual_grower(self) -> Grower:
        return make_grower(self.kb.vocabulary)

    def plan(self, query: str, grower: Grower | None = None, measurements: Mapping[str, str] | None = None) -> Plan:
        """The plan for a name. Raises UserError for an empty name, a name of several species, or one unknown to us."""
        match = self.kb.lookup(query)
        if match.name is None:
            raise NoSingleMatch(match)
        return self.plan_for(match, grower, measurements)

    def plan_for(
        self, match: Match, grower: Grower | None = None, measurements: Mapping[str, str] | None = None
    ) -> Plan:
        grower = grower or self.usual_grower
        facts = gather(self.kb, match, measurements)
        findings = fire(self.engine, facts.keys(), self.kb.vocabulary)
        plan = _Composer(self.kb, match, grower, facts, findings).compose()
        if plan.outcome not in SPLIT:
            return plan
        others = self._for_other_classes(plan, measurements)
        return plan._replace(splits=tuple(_for_part_of_the_lot(plan.steps, facts, others, grower)))

    def unknown(self, match: Match, grower: Grower | None = None) -> Plan:
        """For a name of no plant, or of several: no steps, and what to ask."""
        plan = self.plan_for(match, grower)
        note = "No single plant is meant by this name." if match.candidates else "No plant is known by this name."
        basis = {"kind": "none", "confidence": 0.0, "note": note}
        empty: dict[str, Any] = {
            "steps": (),
            "alternatives": (),
            "ruled_out": (),
            "unmet": (),
            "cautions": (),
            "splits": (),
        }
        asks = NoSingleMatch(match).asks
        return plan._replace(outcome="unknown", basis=basis, advice=asks, line=None, expect=None, **empty)

    def variations(self, plan: Plan) -> Variations:
        """The same plant's plans for other growers and lots; the rules do not run again."""
        composer = _Composer(self.kb, plan.match, self.usual_grower, plan.facts, plan.findings)
        return Variations(composer, plan.basis, self._for_other_classes(plan, None))

    def _for_other_classes(self, plan: Plan, measurements: Mapping[str, str] | None) -> dict[str, _Composer]:
        """Where relatives differ: class → what composes the plan for it, of each other class that is likely enough."""
        relatives = plan.facts.relatives
        if relatives is None:
            return {}
        made = {}
        for word in relatives.others(plan.facts.dormancy):
            facts = gather(self.kb, plan.match, measurements, supposed=word)
            findings = fire(self.engine, facts.keys(), self.kb.vocabulary)
            made[word] = _Composer(self.kb, plan.match, self.usual_grower, facts, findings)
        return made


class Answer(NamedTuple):
    """What a plan says for one grower before its steps; the fields are those of `Plan`."""

    sequence: Sequence
    outcome: str
    advice: tuple[str, ...]
    unmet: tuple[Mapping[str, Any], ...]
    splits: tuple[Mapping[str, Any], ...]


class Variations:
    """One plant's plans for any grower, without running the rules again. What they share is made once."""

    def __init__(self, composer: _Composer, basis: Mapping[str, Any], others: Mapping[str, _Composer]) -> None:
        self._composer, self._basis, self._others = composer, basis, others

    def answer(self, grower: Grower) -> Answer:
        composer = self._composer
        sequence = composer.choose(grower)
        outcome, advice = composer.outcome(sequence, self._basis)
        splits: tuple[Mapping[str, Any], ...] = ()
        if self._others and outcome in SPLIT:
            steps = composer.steps(sequence, grower) if outcome == "plan" else ()
            splits = tuple(_for_part_of_the_lot(steps, composer.facts, self._others, grower))
        return Answer(sequence, outcome, advice, composer.unmet(sequence, outcome), splits)

    def done(self, answer: Answer, grower: Grower) -> Sequence | None:
        """What the steps are made of: the answer's sequence, or the nearest one where that is out of reach."""
        return self._composer.nearest(answer.sequence, answer.outcome, grower)

    def steps(self, sequence: Sequence, grower: Grower) -> tuple[Step, ...]:
        return self._composer.steps(sequence, grower)

    def ruled_out(self, sequence: Sequence) -> tuple[Mapping[str, Any], ...]:
        return tuple(self._composer.ruled_out(sequence))

    def cautions(self, grower: Grower) -> tuple[str, ...]:
        return self._composer.plan_cautions(grower)


def _for_part_of_the_lot(
    steps: tuple[Step, ...], facts: Facts, others: Mapping[str, _Composer], grower: Grower
) -> Iterable[dict[str, Any]]:
    """What to give a part of the lot, for each other class of which the plan differs. `observed`: what is supposed."""
    done = {_order(steps)}
    for word, composer in others.items():
        sequence = composer.choose(grower)
        if composer.outcome(sequence, composer.basis)[0] != "plan":
            continue
        other = composer.steps(sequence, grower)
        if _order(other) in done:
            continue
        done.add(_order(other))
        assert facts.relatives is not None
        label, first = composer.vocabulary.classes[word]["label"], composer.vocabulary.kinds.first
        text = (
            f"Split the lot if it is large enough: {round(facts.relatives.chances[word] * 100)} in 100 such plants are "
            f"likely {label}; for these {', then '.join(step.label for step in other if step.kind != first)}."
        )
        yield {"text": text, "observed": {composer.vocabulary.class_key: word}}


def _order(steps: Iterable[Step]) -> tuple[str, ...]:
    """What is done, in order, when optional steps are left out."""
    return tuple(step.kind for step in steps if not step.optional)


class NoSingleMatch(UserError):
    """A name that means several plants, or none that is known. `asks`: what would lead on, in sentences."""

    def __init__(self, match: Match) -> None:
        self.match = match
        listed = "\n".join(
            f"  {number}. {name}{'' if ' ' in name else ' (the whole genus)'}"
            for number, name in enumerate(match.candidates, 1)
        )
        if match.matched_by == "several":
            self.asks: tuple[str, ...] = ("Name one plant at a time.",)
            super().__init__(f"'{match.query}' names {len(match.candidates)} plants:\n{listed}\n{self.asks[0]}")
        elif match.matched_by != "none":
            self.asks = ("Name the one that you have.",)
            plants = f"{len(match.candidates)} plants" if len(match.candidates) > 1 else "this plant, perhaps of others"
            super().__init__(f"'{match.query}' is a name of {plants}. {self.asks[0]}\n{listed}")
        else:
            self.asks = asks(match.query)
            like = f"\nNames spelt nearly so, which may be other plants:\n{listed}" if listed else ""
            super().__init__(f"No plant called '{match.query}' is known here.{like}\n" + "\n".join(self.asks))


def asks(query: str) -> tuple[str, ...]:
    """What to say of a plant that is not known here, and the commands for it."""
    name = "'" + " ".join(query.replace("'", "").split()) + "'"
    return (
        "Is it spelt as on the packet? The scientific name finds most.",
        f"If it is, its family or a near relative gives a plan: rousewort plan {name} --family FAMILY (or --genus RELATIVE)",
        f"If you know neither, look at the seed: rousewort observe {name}",
    )


class _Composer:
    """Composes one plan."""

    def __init__(self, kb: KnowledgeBase, match: Match, grower: Grower, facts: Facts, findings: Findings) -> None:
        self.kb, self.match, self.grower, self.facts, self.findings = kb, match, grower, facts, findings
        self.vocabulary = kb.vocabulary
        self.display = match.name or match.query
        self.grounds = Reasons(kb, facts, findings, self.display)
        self._steps = Steps(kb, facts, findings, self.grounds)
        self.chooser = Chooser(kb, facts, findings)

    def compose(self) -> Plan:
        sequence = self.choose(self.grower)
        basis = self.basis
        outcome, advice = self.outcome(sequence, basis)
        done = self.nearest(sequence, outcome, self.grower)
        steps = self.steps(done, self.grower) if done else ()
        claims = claims_of(self.kb, self.facts, steps, outcome)
        alternatives = tuple(self._alternatives(sequence, done)) if done and outcome != "unknown" else ()
        dormancy = self._dormancy()
        return Plan(
            query=self.match.query,
            outcome=outcome,
            match=self.match,
            family=self.facts.family,
            basis=with_confidence(self.kb, basis, claims),
            dormancy=dormancy,
            steps=steps,
            alternatives=alternatives,
            ruled_out=tuple(self.ruled_out(done or sequence)),
            unmet=self.unmet(sequence, outcome),
            cautions=self.plan_cautions(self.grower),
            advice=advice,
            splits=(),
            unknowns=tuple(self._unknowns()),
            sources=self.grounds.sources(),
            facts=self.facts,
            findings=self.findings,
            sequence=sequence,
            line=self.line(steps, done),
            claims=claims,
            follows=self.chooser.follows_json(done) if done else None,
            others=self.chooser.others_json(done.follows if done else None),
            expect=self.chooser.expect_json(done.follows) if done else None,
        )

    def choose(self, grower: Grower, prefer: frozenset[str] = frozenset()) -> Sequence:
        return self.chooser.choose(grower, prefer)

    def nearest(self, sequence: Sequence, outcome: str, grower: Grower) -> Sequence | None:
        """What the steps are made of: the sequence, or where it is out of reach, the nearest one; None where there is none."""
        if outcome == "unreachable":
            return self.chooser.nearest(grower)
        if outcome == "unknown" and (case := self._how_to_sow()).get("hedge"):
            hedge = self.vocabulary.files["observations"]["unknown"]["hedge"]
            return self.chooser.hedged(grower, sequence, case.get("only_if", hedge["only_if"]), hedge["because"])
        return None if outcome == "laboratory" else sequence

    # --- what the plan rests on

    @cached_property
    def basis(self) -> dict[str, Any]:
        """The nearest kind of evidence that decides the obstacles; how sure it is, its claims say."""
        grounds = [self.facts.known[f] for firing in self._deciding() for f in firing.on if f in self.facts.known]
        kinds = {known.basis for known in grounds}
        kinds = kinds or {known.basis for known in self.facts.of(self.vocabulary.class_key)}
        kind = next((k for k in ("bench", "species", "genus", "family") if k in kinds), "none")
        if self.match.matched_by in ("genus", "family") and kind == "species":
            kind = self.match.matched_by
        shown = "observations" if kind == "bench" else kind
        basis: dict[str, Any] = {
            "kind": shown,
            "confidence": 0.0,
            "note": self._basis_note(kind, grounds),
        }
        relatives = relatives_of(self.kb, self.facts)
        if relatives:
            basis["relatives"] = relatives
            differ = differ_text(relatives)
            basis["note"] += f" {differ}." if differ else ""
        return basis

    def _deciding(self) -> Iterable[Firing]:
        """Firings behind every obstacle that counts, back to traits."""
        for obstacle in self.findings.obstacles:
            yield from self._back(("obstacle", obstacle), set())
        if not self.findings.obstacles:
            yield from (f for f in self.findings.firings if f.rule.phase == "treatments")

    def _back(self, fact: FactKey, seen: set[FactKey]) -> Iterable[Firing]:
        if fact in seen:
            return
        seen.add(fact)
        for firing in self.findings.support.get(fact, ()):
            yield firing
            for on in firing.on:
                yield from self._back(on, seen)

    @cached_property
    def _class_listed(self) -> bool:
        """Whether the table of classes lists the species itself."""
        found = self.facts.of(self.vocabulary.class_key)
        return any(k.basis == "species" and any(s.get("held") == "table" for s in k.sources) for k in found)

    def _basis_note(self, kind: str, grounds: list[Known]) -> str:
        if kind == "none":
            return "Nothing is known of this plant's dormancy, nor enough of its genus or family."
        lent = sorted({name for k in grounds if k.basis in ("genus", "family") for name in k.relatives})
        text = {
            "bench": "Rests on what was observed at the bench.",
            "species": "Rests on facts about this species",
            "genus": "No deciding fact about the species itself; taken from its genus",
            "family": "Nothing known of species or genus decides; taken from its family",
        }[kind]
        reported = [course.protocol for course in self.chooser.own.courses]
        if reported and kind in ("genus", "family"):
            text = f"Rests on reports on this species; what they do not tell is taken from its {kind}"
        elif kind in ("genus", "family") and self._class_listed:
            text = f"A published table lists its kind of dormancy; all else is taken from its {kind}"
        if lent and kind != "bench":
            some = ", ".join(lent[:4]) + (f" and {len(lent) - 4} more" if len(lent) > 4 else "")
            text += f" ({'helped out by relatives: ' if kind == 'species' else ''}{some})"
        held = {source.get("held") for known in grounds if known.basis == "species" for source in known.sources}
        if kind == "species" and "read" not in held:
            if any(protocol.get("held") == "read" for protocol in reported):
                text += ". Reports on it were read; its kind of dormancy is common practice or memory of a work"
            else:
                text += (
                    ". What decides is common practice or memory of a work: none of it was read in a published source"
                )
        return text.rstrip(".") + "."

    def _dormancy(self) -> dict[str, Any]:
        settled = {key: word for key, word in sorted(self.findings.facts) if word != "unknown"}
        word = settled.get(self.vocabulary.class_key)
        if not word:
            return {"class": None, "level": None, "words": "not known", "basis": None, "sources": []}
        entry, key = self.vocabulary.classes[word], self.vocabulary.level_key(word)
        level = settled.get(key) if key else None
        level_words = self.vocabulary.label(key, level) if key and level else None
        known = self.facts.known.get((self.vocabulary.class_key, word))
        return {
            "class": entry["short"],
            "level": level_words,
            "words": entry["label"] + (f", {level_words}" if level_words else ""),
            "basis": known.basis if known else "rule",
            "sources": self.grounds.cite(known.sources, role_of(known.basis)) if known else [],
        }

    def outcome(self, sequence: Sequence, basis: Mapping[str, Any]) -> tuple[str, tuple[str, ...]]:
        if self.findings.outcome:
            then, firing = self.findings.outcome[0]
            self.grounds.reason(firing)
            return "laboratory", tuple(then["do"])
        if sequence.unmet:
            lines = [
                f"Out of reach with what you have: {self.vocabulary.obstacles[o]['label']}. "
                + self._what_would_help(sequence, o)
                for o in sequence.unmet
            ]
            return "unreachable", tuple(lines)
        if self._open(sequence, basis):
            return "unknown", tuple(self._observe_next())
        return "plan", ()

    def _open(self, sequence: Sequence, basis: Mapping[str, Any]) -> bool:
        """Whether what holds the seed back is not known, or, for a name placed among relatives, how that ends is not:
        only to clean and sow it would be no answer."""
        classless = (self.vocabulary.class_key, "unknown") in self.findings.facts
        if self.match.matched_by not in ("genus", "family"):
            return classless and basis["kind"] == "none" and not sequence.chosen
        findings = self.vocabulary.files["findings"]
        waiting = any(key == "finding" and findings[word].get("waits") for key, word in self.findings.facts)
        idle = all(c.optional or not self.vocabulary.kinds.wakes(c.kind) for c in sequence.chosen)
        return (classless or waiting) and idle

    def _observe_next(self) -> Iterable[str]:
        said = self.vocabulary.files["observations"]["unknown"]
        word, case = self.facts.dormancy, self._how_to_sow()
        values = {
            "label": self.vocabulary.label(self.vocabulary.class_key, word) if word else "",
            "name": self.match.query.replace("'", ""),
        }
        lines = [
            *(said["class_known"] if word else ()),
            *(said["home_unknown"] if word and not self.facts.of(self.vocabulary.climate_key) else ()),
            *case["say"],
            *(() if word or case.get("keep_whole") else said["may_be_nicked"]),
            *(() if word else said["class_unknown"]),
            *said["then"],
        ]
        yield from (fill(line, values) for line in lines)

    def _how_to_sow(self) -> Mapping[str, Any]:
        """What to do meanwhile with seed of which nothing decides: the first case whose findings all hold."""
        found = {key for kind, key in self.findings.facts if kind == "finding"}
        cases: list[Mapping[str, Any]] = self.vocabulary.files["observations"]["unknown"]["how_to_sow"]
        return next(case for case in cases if found >= set(case["when"]))

    def _what_would_help(self, sequence: Sequence, obstacle: str) -> str:
        needs = sorted({r.need for r in sequence.refused if r.obstacle == obstacle and r.need})
        if not needs:
            return "Nothing that is known here removes it."
        things = [self.vocabulary.files["equipment"][need] for need in needs]
        labels = ", ".join(thing["label"] for thing in things)
        means = " ".join(thing["means"] for thing in things)
        return f"It would take {'one of these: ' if len(things) > 1 else ''}{labels}. {means}"

    def steps(self, sequence: Sequence, grower: Grower) -> tuple[Step, ...]:
        return self._steps.of_sequence(sequence, grower)

    def line(self, steps: Iterable[Step], sequence: Sequence | None) -> str | None:
        """The plan in one line: `nick the coat, cold and moist 60 days, sow`; what may be left out in brackets, and whether the
        seed may need none of it."""
        parts = []
        for step in steps:
            if step.kind != self.vocabulary.kinds.first:
                days = step.amounts.get("days")
                text = f"{step.label} {days.use} days" if days else step.label
                parts.append(f"({text})" if step.optional else text)
        may_need_nothing = sequence is not None and self.chooser.may_need_nothing(sequence)
        said = ", ".join(parts)
        if said and self.chooser.nothing_woke:
            return f"nothing tried woke it: {said}"
        return (f"may need nothing: {said}" if may_need_nothing else said) or None

    def plan_cautions(self, grower: Grower) -> tuple[str, ...]:
        return tuple(self._plan_cautions(grower))

    def _plan_cautions(self, grower: Grower) -> Iterable[str]:
        firings = self._steps.cautions.get("plan", ())
        seen = dict.fromkeys(self._steps.caution(text, firing) for text, firing in firings)
        yield from seen
        if tried := self.chooser.nothing_woke:
            self.grounds.cite([course.protocol for course in tried])
            told = "; ".join(dict.fromkeys(self.chooser.told(course) for course in tried))
            yield f"Nothing that was tried woke this seed ({told}): sow it as it comes, and do not count on it."
        lots = self.vocabulary.files["lots"]
        for part, word in (("stored", grower.stored), ("provenance", grower.provenance)):
            for advice in lots[part].get(word, {}).get("advice", ()):
                if set(advice["when"].items()) <= self.findings.facts:
                    yield advice["say"]
        if " x " in self.display or "×" in self.display:
            yield "A hybrid or cultivar: seedlings may differ from their parent."

    # --- why not, what else, what is missing

    def ruled_out(self, sequence: Sequence) -> Iterable[dict[str, Any]]:
        """What is not used, and why. What one obstacle rules out and another asks for is used."""
        used = {chosen.kind for chosen in sequence.chosen}
        seen: dict[tuple[str, str], dict[str, Any]] = {}
        for refused in sequence.refused:
            if refused.kind in used:
                continue
            because = self.refusal(refused)
            seen[refused.kind, because] = {"kind": refused.kind, "because": because, **self._would_change(refused)}
        yield from seen.values()

    def _would_change(self, refused: Refused) -> dict[str, Any]:
        """What the grower could have or allow to have it after all, in the words of `Alternative.when`."""
        if refused.firings or not refused.need:
            return {}
        permission = self.vocabulary.files["equipment"][refused.need].get("permission")
        return {"when": {"allow" if permission else "have": [refused.need]}}

    def refusal(self, refused: Refused) -> str:
        if refused.firings:
            return self.grounds.reason(refused.firings[0]).text
        if refused.lot:
            return f"The way is {refused.lot}."
        equipment = self.vocabulary.files["equipment"][refused.need]
        if equipment.get("permission"):
            return f"It would take {equipment['label']}, which you have not allowed."
        return f"It would take {equipment['label']}, which you have not said you have."

    def unmet(self, sequence: Sequence, outcome: str) -> tuple[dict[str, Any], ...]:
        return tuple(self._unmet(sequence)) if outcome != "laboratory" else ()

    def _unmet(self, sequence: Sequence) -> Iterable[dict[str, Any]]:
        for obstacle in (*sequence.unmet, *sequence.unmet_optional):
            if self.vocabulary.obstacles[obstacle].get("minor"):
                continue
            yield {
                "obstacle": obstacle,
                "label": self.vocabulary.obstacles[obstacle]["label"],
                "because": self._what_would_help(sequence, obstacle),
                "optional": obstacle in sequence.unmet_optional,
            }

    def _alternatives(self, sequence: Sequence, done: Sequence) -> Iterable[Alternative]:
        """`choose` with one thing changed, kept if the steps differ from those of what is `done`. The rules are not run again."""
        seen = {sequence.shape(), done.shape()}
        equipment = self.vocabulary.files["equipment"]
        used = {need for c in sequence.chosen for need in self.kb.treatments[c.kind]["needs"]}
        offered = {need for offer in self.findings.offers for need in self.kb.treatments[offer.kind]["needs"]}
        changes = [("without", need) for need in sorted(used & self.grower.has)]
        changes += [
            ("allow", n) for n in sorted(offered) if equipment[n].get("permission") and n not in self.grower.allows
        ]
        changes += [("have", n) for n in sorted(offered - self.grower.has) if not equipment[n].get("permission")]
        for how, need in changes:
            other_grower = self.grower.changed(**{how: need})
            # What is newly allowed or had is put first: otherwise it would stand behind what serves already.
            prefer = (
                frozenset(k for k, t in self.kb.treatments.items() if need in t["needs"])
                if how != "without"
                else frozenset()
            )
            other = self.choose(other_grower, prefer)
            if other.shape() in seen or other.unmet:
                continue
            seen.add(other.shape())
            steps = self.steps(other, other_grower)
            label = equipment[need]["label"]
            lead = {
                "without": f"No {label}",
                "allow": f"If {label} is allowed",
                "have": f"With {label}",
            }[how]
            text = f"{lead}: " + ", then ".join(s.label for s in steps if s.kind != self.vocabulary.kinds.first) + "."
            when = {"without": (), "allow": (), "have": (), how: (need,)}
            yield Alternative(when, text, steps, tuple(other.unmet_optional))

    def _unknowns(self) -> Iterable[str]:
        """Keys that some rule reads and that nothing is known of."""
        spread = {
            key: item["means"] for key, item in {**self.vocabulary.traits, **self.vocabulary.responses}.items()
        } | DERIVED
        usual = {key for key, trait in self.vocabulary.traits.items() if trait.get("as_stated")}  # unsaid is as usual
        for key, word in sorted(self.findings.facts):
            if word == "unknown" and key not in usual:
                yield f"{key}: {spread[key]}"


def make_plan(
    kb: KnowledgeBase,
    query: str,
    grower: Grower | None = None,
    measurements: Mapping[str, str] | None = None,
    engine: str | None = None,
) -> Plan:
    """One plan from scratch; for many, keep a Planner (it compiles the rules once)."""
    return Planner(kb, engine).plan(query, grower, measurements)
