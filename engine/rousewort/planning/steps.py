"""A chosen treatment becomes a step: its numbers, its instructions for this lot, its reasons and cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Any, NamedTuple

from rousewort.knowledge.cases import BULK, LOT, SMALL, holds, reads
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import UNITS
from rousewort.planning.amounts import Amount, StepAmounts, step_amounts
from rousewort.planning.choose import Chosen, Sequence
from rousewort.planning.evidence import role_of
from rousewort.planning.facts import Facts
from rousewort.planning.grower import Grower
from rousewort.planning.phases import of_part, only_if, until
from rousewort.planning.reasons import Reason, Reasons
from rousewort.planning.rules.run import Findings, Firing
from rousewort.planning.sowing import Sowing, sowing
from rousewort.planning.wording import fill, length_text, temperature_text


class Step(NamedTuple):
    """A chosen treatment with its numbers. Units: days, hours, minutes, °C."""

    id: str
    kind: str
    label: str
    removes: tuple[str, ...]
    optional: bool
    amounts: Mapping[str, Amount]
    temperature: Amount | None
    medium: str | None
    do: tuple[str, ...]
    watch: tuple[str, ...]
    until: str
    success: str
    because: tuple[Reason, ...]
    cautions: tuple[str, ...]
    sowing: Mapping[str, Any] | None = None
    credited: int = 0  # days taken off because the lot had them already
    first_look: int | None = None  # days after which the bag is first opened, for steps in a moist bag
    only_if: str | None = None  # when it is done at all, in words
    against: tuple[str, ...] = ()  # what the species' own works say against it
    lacks: tuple[str, ...] = ()  # what the grower would have to get for it
    short: tuple[str, ...] = ()  # for the sheet: what differs for this plant and lot
    at_seed: str | None = None  # where on the seed it is done, for a drawing; `none` where nowhere after all
    takes: str | None = None  # what it takes beyond equipment, for the sheet; None: its medium
    if_nothing: str | None = None  # what to look for where it was given and nothing came, for the sheet


class _Said(NamedTuple):
    """What is said of a treatment whatever its numbers are: its texts with places for them, reasons and cautions."""

    parts: Mapping[str, Any]
    because: tuple[Reason, ...]
    cautions: tuple[str, ...]


class _Lot(NamedTuple):
    """A lot whose size matters: `small`, told by its number, or `bulk`."""

    word: str
    seeds: int | None


class Steps:
    """Makes the steps of one plan; each is made once for a treatment and its obstacles, and shared by alternatives."""

    def __init__(self, kb: KnowledgeBase, facts: Facts, findings: Findings, grounds: Reasons) -> None:
        self.kb, self.facts, self.findings, self.grounds = kb, facts, findings, grounds
        self.vocabulary = kb.vocabulary
        self._made: dict[tuple[Any, ...], Step] = {}
        self._doses: dict[tuple[Any, ...], StepAmounts] = {}
        self._said: dict[tuple[Any, ...], _Said] = {}
        self._sown: dict[str | None, Sowing] = {}
        self.cautions: dict[str, list[tuple[str, Firing]]] = {}
        for then, firing in findings.cautions:
            for kind in then["shows_on"]:
                self.cautions.setdefault(kind, []).append((then["caution"], firing))

    def of_sequence(self, sequence: Sequence, grower: Grower) -> tuple[Step, ...]:
        kinds = self.vocabulary.kinds
        steps = [self._step(Chosen(kinds.first, [], [], False), 1, grower)]
        turns: dict[str, int] = {kinds.first: 1}
        credit = dict(grower.had)  # days already given, spent on the first steps of their kind
        sow = next((c for c in sequence.chosen if c.kind == kinds.last), None)
        before = [c for c in sequence.chosen if c is not sow]
        if (
            before and before[-1].kind in kinds.outdoors
        ):  # the seed is sown already: what sowing removes is removed there
            last = before[-1]
            if sow:
                before[-1] = Chosen(
                    last.kind, last.obstacles + sow.obstacles, last.offers + sow.offers, last.optional, last.medium
                )
            sow_after = False
        else:
            sow_after = True
        lost = ""  # the first step that the lot has not had whole: what it had of later ones came too early to count
        for chosen in before:
            turns[chosen.kind] = turns.get(chosen.kind, 0) + 1
            had = credit.get(chosen.kind, 0)
            step = self._step(chosen, turns[chosen.kind], grower, had, lost if had else "")
            steps.append(step)
            if step.credited:
                credit[chosen.kind] -= step.credited
            if not lost and self._owed(step):
                lost = step.label
        if sow_after:
            steps.append(self._step(sow or Chosen(kinds.last, [], [], False), 1, grower))
        return tuple(steps)

    def _owed(self, step: Step) -> bool:
        """Whether a step is still to be done, without which what comes after it does not count."""
        days = step.amounts.get("days")
        whole = bool(step.credited and days and not days.use)
        return self.vocabulary.kinds.wakes(step.kind) and not step.optional and not whole

    def _step(self, chosen: Chosen, turn: int, grower: Grower, had: int = 0, lost: str = "") -> Step:
        dried = grower.dried_since if had else False
        lean = self._lean(chosen.kind, grower)
        lot = self._told_lot(chosen.kind, grower)
        marks = (
            chosen.optional,
            chosen.against,
            chosen.lacks,
            chosen.only_if,
            lost,
            id(chosen.part.told) if chosen.part else None,
        )
        key = (chosen.kind, tuple(chosen.obstacles), turn, chosen.medium, lot, had, dried, lean, marks)
        if key not in self._made:
            self._made[key] = self._make_step(chosen, turn, grower, had, lost, lot)
        return self._made[key]

    def _make_step(self, chosen: Chosen, turn: int, grower: Grower, had: int, lost: str, lot: _Lot | None) -> Step:
        treatment = self.kb.treatments[chosen.kind]
        if chosen.kind == self.vocabulary.kinds.last:
            return self._make_sowing(chosen, turn, lot)
        made = self._dose(chosen, self._lean(chosen.kind, grower))
        if chosen.part:
            made = of_part(self.kb, chosen.kind, made, chosen.part)
        amounts, temperature, way = made.amounts, made.temperature, made.way
        amounts, given, credited = self._credit(chosen.kind, amounts, grower, had, lost)
        parts, because, cautions = self._say(chosen, way, lot)
        first_look = self._first_look(treatment, amounts)
        values = self._values(amounts, temperature, first_look, lot)
        values["until"] = (until(self.kb, chosen.part) if chosen.part else None) or fill(parts["until"], values)
        for amount in (*amounts.values(), temperature):
            if amount:
                self.grounds.cite(amount.sources, role_of(amount.basis))
        medium = treatment.get("media", {}).get(chosen.medium) if chosen.medium else treatment.get("medium")
        kept: tuple[str, ...] = ()
        kept_short: tuple[str, ...] = ()
        if chosen.kind == self.vocabulary.kinds.first and (sown := self._sowing(None)).kept:
            kept_short = (sown.kept_short,) if sown.kept_short else ()
            kept, because = (sown.kept,), (*because, *map(self.grounds.reason, sown.kept_because))
        return Step(
            id=f"{chosen.kind}-{turn}",
            kind=chosen.kind,
            label=parts["label"],
            removes=tuple(chosen.obstacles),
            optional=chosen.optional,
            amounts=amounts,
            temperature=temperature,
            medium=medium,
            do=(
                *self._to_get(chosen),
                *given,
                *self._as_told(chosen),
                *(fill(line, values) for line in parts["do"]),
                *kept,
            ),
            watch=tuple(fill(line, values) for line in parts["watch"]),
            until=values["until"],
            success=fill(parts["success"], values),
            because=because,
            cautions=(*self._dissent(chosen), *cautions),
            credited=credited,
            first_look=first_look,
            only_if=chosen.only_if or (only_if(self.kb, chosen.part) if chosen.part else None),
            against=chosen.against,
            lacks=chosen.lacks,
            short=self._short(chosen, parts, values, (*given, *kept_short)),
            at_seed=parts["at_seed"],
            takes=parts["takes"],
            if_nothing=parts["if_nothing"],
        )

    def _short(
        self, chosen: Chosen, parts: Mapping[str, Any], values: Mapping[str, str], also: Iterable[str]
    ) -> tuple[str, ...]:
        """What of the instructions stands on the sheet: the short form, and what only this lot or source has."""
        lines = parts["short"] or parts["do"]
        return (*(fill(line, values) for line in lines), *self._as_told(chosen), *also)

    def _to_get(self, chosen: Chosen) -> Iterable[str]:
        for need in chosen.lacks:
            thing = self.vocabulary.files["equipment"][need]
            yield f"You would have to get: {thing['label']}. {thing['means']}"

    def _as_told(self, chosen: Chosen) -> Iterable[str]:
        """What the entry notes of a part of a season: how the parts differ is not all in numbers."""
        if chosen.part and chosen.part.of > 1 and "note" in chosen.part.told:
            yield f"As its source did it: {chosen.part.told['note'].rstrip('.')}."

    def _dissent(self, chosen: Chosen) -> Iterable[str]:
        """What its own works say against a step, at the step, and what to do about it."""
        if chosen.against:
            self.grounds.cite(chosen.grounds)
            yield f"Against this step: {'; '.join(chosen.against)}. Sow half of the lot without it."

    def _make_sowing(self, chosen: Chosen, turn: int, lot: _Lot | None) -> Step:
        """The last step: how it is sown, and when seedlings come, stands in the table of sowing."""
        sown = self._sowing(lot)
        expect = sown.expect
        days = expect["days"]
        said = f"seedlings show, usually {days['low']}–{days['high']} days after sowing; {expect['give_up']}"
        parts, because, cautions = self._say(chosen, None, lot)
        values = {**self._values({}, sown.temperature, None, lot), "expect_text": said}
        self.grounds.cite(sown.sources)
        self.grounds.cite(sown.temperature.sources, role_of(sown.temperature.basis))
        return Step(
            id=f"{chosen.kind}-{turn}",
            kind=chosen.kind,
            label=parts["label"],
            removes=tuple(chosen.obstacles),
            optional=False,
            amounts={},
            temperature=sown.temperature,
            medium=sown.told["medium"],
            do=(*sown.lines, *(fill(line, values) for line in parts["do"])),
            watch=tuple(fill(line, values) for line in parts["watch"]),
            until=fill(parts["until"], values),
            success=fill(parts["success"], values),
            because=tuple(dict.fromkeys((*because, *map(self.grounds.reason, sown.firings)))),
            cautions=cautions,
            sowing={**sown.told, "expect_days": days, "give_up": expect["give_up"]},
            short=(*sown.short, *(fill(line, values) for line in parts["short"])),
            if_nothing=parts["if_nothing"],
        )

    def _sowing(self, lot: _Lot | None) -> Sowing:
        size = lot.word if lot else None
        if size not in self._sown:
            self._sown[size] = sowing(self.kb, self.facts, self.findings, size)
        return self._sown[size]

    def _say(self, chosen: Chosen, way: str | None, lot: _Lot | None) -> _Said:
        key = (chosen.kind, tuple(chosen.obstacles), way, chosen.medium, lot)
        if key not in self._said:
            treatment = self.kb.treatments[chosen.kind]
            self.grounds.cite([{"source": s["id"], "held": s["held"]} for s in treatment["sources"]])
            firings = [f for o in chosen.obstacles for f in self.findings.support.get(("obstacle", o), ())]
            firings += [f for offer in chosen.offers for f in offer.firings]
            parts = self._parts(chosen, way, lot)
            because = tuple(dict.fromkeys(map(self.grounds.reason, firings)))
            self._said[key] = _Said(parts, because, tuple(self._step_cautions(chosen.kind, parts["cautions"])))
        return self._said[key]

    def _dose(self, chosen: Chosen, lean: str | None) -> StepAmounts:
        removed = chosen.season or tuple(chosen.obstacles)
        key = (chosen.kind, removed, lean)
        if key not in self._doses:
            self._doses[key] = step_amounts(self.kb, self.facts, chosen.kind, removed, lean)
        return self._doses[key]

    def _lean(self, kind: str, grower: Grower) -> str | None:
        """Which end of the range of cold to use: by provenance, and short for winter annuals."""
        if not self.kb.treatments[kind].get("leans"):
            return None
        by_provenance = self.vocabulary.files["lots"]["provenance"].get(grower.provenance, {})
        return self._found_lean or by_provenance.get("lean")

    @cached_property
    def _found_lean(self) -> str | None:
        findings = self.vocabulary.files["findings"]
        leans = (findings[word].get("lean") for key, word in self.findings.facts if key == "finding")
        return next(filter(None, leans), None)

    def _parts(self, chosen: Chosen, way: str | None, lot: _Lot | None) -> dict[str, Any]:
        """The treatment's texts and cautions, with what differs by obstacle, way, medium, lot and case laid over them in
        this order; the last decides, and what each has to say `also` stands after all."""
        treatment = self.kb.treatments[chosen.kind]
        layers = [treatment.get("by_obstacle", {}).get(obstacle, {}) for obstacle in chosen.obstacles]
        layers.append(treatment.get("by_way", {}).get(way, {}))
        layers.append(treatment.get("by_medium", {}).get(chosen.medium, {}))
        if lot:
            layers.append(treatment.get("by_lot", {}).get(lot.word, {}))
        known = self.findings.facts | ({(LOT, lot.word)} if lot else set())
        layers += [case for case in treatment.get("by_case", ()) if holds(case, known, self.findings.optional)]
        also = [line for layer in layers for line in layer.get("also", ())]
        if lot and lot.word == SMALL and treatment.get("irreversible"):
            also.append(self.vocabulary.files["bands"]["small_lot"]["irreversible"])
        parts = {key: treatment[key] for key in ("label", "do", "watch", "until", "success", "cautions")}
        parts |= {
            "short": treatment.get("short", []),
            **{key: treatment.get(key) for key in ("at_seed", "takes", "if_nothing")},
        }
        for layer in layers:
            parts |= {key: layer[key] for key in parts.keys() & layer.keys()}
        return {**parts, **{key: [*parts[key], *also] for key in ("do", "short") if parts[key]}}

    def _first_look(self, treatment: Mapping[str, Any], amounts: Mapping[str, Amount]) -> int | None:
        """Seed can sprout long before its days are over: it is looked at soon, whatever the least reported length is."""
        days = amounts.get("days")
        if days is None or not treatment.get("wet") or treatment["container"] != "bag":
            return None
        latest = self.vocabulary.calendar["first_look"]["at_latest"]
        look: int = min(latest, days.low if days.low is not None else days.use)
        return look

    def _values(
        self, amounts: Mapping[str, Any], temperature: Amount | None, first_look: int | None, lot: _Lot | None
    ) -> dict[str, str]:
        values = {
            unit: length_text(amounts[unit], unit) if unit in amounts else "as long as it takes" for unit in UNITS
        }
        values["temperature"] = (
            temperature_text(temperature) if temperature else "the temperature that its source gives"
        )
        values["look"] = f"first look after {first_look} days, then weekly" if first_look else "look weekly"
        return {**values, "name": self.grounds.display, "seeds": str(lot.seeds if lot else None)}

    def _credit(
        self, kind: str, amounts: Mapping[str, Amount], grower: Grower, had: int, lost: str
    ) -> tuple[Mapping[str, Amount], list[str], int]:
        """Take off what the lot has had already, unless it dried since or came before a step that it has not had (`lost`).
        Also says how many days were taken off."""
        days = amounts.get("days")
        if not had or days is None:
            return amounts, [], 0
        if grower.dried_since and self.kb.treatments[kind].get("wet"):
            return amounts, [f"The {had} days already given do not count: the seed dried since, so begin again."], 0
        if lost:
            return amounts, [f"The {had} days already given do not count: they came before this: {lost}."], 0
        off = min(had, days.use)
        less: dict[str, Any] = {
            part: max(0, value - off) if (value := getattr(days, part)) is not None else None
            for part in ("low", "use", "high")
        }
        return (
            {**amounts, "days": days._replace(**less)},
            [f"{off} days were already given; the rest is counted here."],
            off,
        )

    def _told_lot(self, kind: str, grower: Grower) -> _Lot | None:
        """The size of a small or very large lot, where the treatment's texts differ for it; else None."""
        if grower.seeds is None:
            return None
        bands, treatment = self.vocabulary.files["bands"], self.kb.treatments[kind]
        small, bulk = grower.seeds <= bands["small_lot"]["most"], grower.seeds >= bands["bulk_lot"]["least"]
        word = SMALL if small else BULK if bulk else None
        differs = word in treatment.get("by_lot", {}) or (LOT, word) in self._reads(kind)
        if word and (differs or (small and treatment.get("irreversible"))):
            return _Lot(word, grower.seeds if small else None)
        return None

    def _reads(self, kind: str) -> set[tuple[str, str]]:
        """What the cases of a treatment ask about; the same in every plan."""
        if ("asked", kind) not in self.kb.memo:
            self.kb.memo["asked", kind] = reads(self.kb.treatments[kind])
        asked: set[tuple[str, str]] = self.kb.memo["asked", kind]
        return asked

    def _step_cautions(self, kind: str, own: Iterable[Mapping[str, Any]]) -> Iterable[str]:
        for caution in own:
            self.grounds.cite([caution])
            yield caution["text"]
        for text, firing in self.cautions.get(kind, ()):
            yield self.caution(text, firing)

    def caution(self, text: str, firing: Firing) -> str:
        self.grounds.reason(firing)
        return caution_text(text, self.grounds.display, hazard_note(self.facts))


def hazard_note(facts: Facts) -> str:
    """What is poisonous in this plant, as a sentence; empty where no source says."""
    hazards = facts.of(facts.vocabulary.hazard_key)
    note: str = next((s["note"] for known in hazards for s in known.sources if s.get("note")), "")
    return note[:1].upper() + note[1:].rstrip(".") + "." if note else ""


def caution_text(text: str, name: str, note: str) -> str:
    """A rule's caution for this plant. `note`: as `hazard_note` gives it."""
    return " ".join(fill(text, {"name": name, "toxic_note": note}).split())
