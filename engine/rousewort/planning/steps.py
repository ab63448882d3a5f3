"""A chosen treatment becomes a step: its numbers, its instructions for this lot, its reasons and cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.protocols import UNITS
from rousewort.planning.amounts import Amount, StepAmounts, sowing_temperature, step_amounts
from rousewort.planning.choose import Chosen, Sequence
from rousewort.planning.facts import Facts
from rousewort.planning.grower import Grower
from rousewort.planning.reasons import Reason, Reasons
from rousewort.planning.rules.run import Findings, Firing
from rousewort.planning.wording import amount_text, fill, temperature_text


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


class _Said(NamedTuple):
    """What is said of a treatment whatever its numbers are: its texts with places for them, reasons and cautions."""

    parts: Mapping[str, Any]
    because: tuple[Reason, ...]
    cautions: tuple[str, ...]


class Steps:
    """Makes the steps of one plan; each is made once for a treatment and its obstacles, and shared by alternatives."""

    def __init__(self, kb: KnowledgeBase, facts: Facts, findings: Findings, grounds: Reasons) -> None:
        self.kb, self.facts, self.findings, self.grounds = kb, facts, findings, grounds
        self.vocabulary = kb.vocabulary
        self._made: dict[tuple[Any, ...], Step] = {}
        self._doses: dict[tuple[Any, ...], StepAmounts] = {}
        self._said: dict[tuple[Any, ...], _Said] = {}
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
        for chosen in before:
            turns[chosen.kind] = turns.get(chosen.kind, 0) + 1
            step = self._step(chosen, turns[chosen.kind], grower, credit.get(chosen.kind, 0))
            steps.append(step)
            if step.credited:
                credit[chosen.kind] -= step.credited
        if sow_after:
            steps.append(self._step(sow or Chosen(kinds.last, [], [], False), 1, grower))
        return tuple(steps)

    def _step(self, chosen: Chosen, turn: int, grower: Grower, had: int = 0) -> Step:
        dried = grower.dried_since if had else False
        lean = self._lean(chosen.kind, grower)
        seeds = self._told_seeds(self.kb.treatments[chosen.kind], grower)
        key = (chosen.kind, tuple(chosen.obstacles), turn, chosen.medium, seeds, had, dried, lean)
        if key not in self._made:
            self._made[key] = self._make_step(chosen, turn, grower, had)
        return self._made[key]

    def _make_step(self, chosen: Chosen, turn: int, grower: Grower, had: int) -> Step:
        treatment = self.kb.treatments[chosen.kind]
        sows = chosen.kind == self.vocabulary.kinds.last
        if sows:
            chills = self.vocabulary.kinds.indoors("cold")
            chilled = any(offer.kind in chills for offer in self.findings.offers)
            amounts: Mapping[str, Amount] = {}
            temperature: Amount | None = sowing_temperature(self.kb, self.facts, chilled)
            way = "chilled" if chilled else None
        else:
            made = self._dose(chosen, self._lean(chosen.kind, grower))
            amounts, temperature, way = made.amounts, made.temperature, made.way
        amounts, given, credited = self._credit(chosen.kind, amounts, grower, had)
        seeds = self._told_seeds(treatment, grower)
        parts, because, cautions = self._say(chosen, way, seeds)
        sowing = self._sowing(temperature) if sows and temperature else None
        first_look = self._first_look(treatment, amounts)
        values = self._values(amounts, temperature, sowing, first_look)
        values["seeds"] = str(seeds)
        for amount in (*amounts.values(), temperature):
            self.grounds.cite(amount.sources if amount else ())
        medium = treatment.get("media", {}).get(chosen.medium) if chosen.medium else treatment.get("medium")
        return Step(
            id=f"{chosen.kind}-{turn}",
            kind=chosen.kind,
            label=parts["label"],
            removes=tuple(chosen.obstacles),
            optional=chosen.optional and not sows,
            amounts=amounts,
            temperature=temperature,
            medium=medium,
            do=(*given, *(fill(line, values) for line in parts["do"])),
            watch=tuple(fill(line, values) for line in parts["watch"]),
            until=fill(parts["until"], values),
            success=fill(parts["success"], values),
            because=because,
            cautions=cautions,
            sowing=sowing,
            credited=credited,
            first_look=first_look,
        )

    def _say(self, chosen: Chosen, way: str | None, seeds: int | None) -> _Said:
        key = (chosen.kind, tuple(chosen.obstacles), way, seeds)
        if key not in self._said:
            treatment = self.kb.treatments[chosen.kind]
            self.grounds.cite([{"source": s["id"], "held": s["held"]} for s in treatment["sources"]])
            firings = [f for o in chosen.obstacles for f in self.findings.support.get(("obstacle", o), ())]
            firings += [f for offer in chosen.offers for f in offer.firings]
            parts = self._parts(treatment, chosen.obstacles, way, seeds)
            because = tuple(dict.fromkeys(map(self.grounds.reason, firings)))
            self._said[key] = _Said(parts, because, tuple(self._step_cautions(chosen.kind, parts["cautions"])))
        return self._said[key]

    def _dose(self, chosen: Chosen, lean: str | None) -> StepAmounts:
        key = (chosen.kind, tuple(chosen.obstacles), lean)
        if key not in self._doses:
            self._doses[key] = step_amounts(self.kb, self.facts, chosen.kind, chosen.obstacles, lean)
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

    def _parts(
        self, treatment: Mapping[str, Any], obstacles: list[str], way: str | None, seeds: int | None
    ) -> dict[str, Any]:
        """The treatment's texts and cautions, with what differs by obstacle, way, lot and size of seed laid over them in
        this order; the last decides, and what each has to say `also` stands after all. `seeds`: see `_told_seeds`."""
        layers = [treatment.get("by_obstacle", {}).get(obstacle, {}) for obstacle in obstacles]
        layers.append(treatment.get("by_way", {}).get(way, {}))
        if seeds is not None:
            layers.append(treatment.get("by_lot", {}).get("small", {}))
        size = self._word(self.vocabulary.size_key)
        layers += [case for case in treatment.get("by_size", ()) if size in case["sizes"]][:1]
        also = [line for layer in layers for line in layer.get("also", ())]
        if seeds is not None and treatment.get("irreversible"):
            also.append(self.vocabulary.files["bands"]["small_lot"]["irreversible"])
        parts = {key: treatment[key] for key in ("label", "do", "watch", "until", "success", "cautions")}
        for layer in layers:
            parts |= {key: layer[key] for key in parts.keys() & layer.keys()}
        return {**parts, "do": [*parts["do"], *also]}

    def _first_look(self, treatment: Mapping[str, Any], amounts: Mapping[str, Amount]) -> int | None:
        """Seed can sprout long before its days are over: it is looked at soon, whatever the least reported length is."""
        days = amounts.get("days")
        if days is None or not treatment.get("wet") or treatment["container"] != "bag":
            return None
        latest = self.vocabulary.calendar["first_look"]["at_latest"]
        look: int = min(latest, days.low if days.low is not None else days.use)
        return look

    def _values(
        self,
        amounts: Mapping[str, Any],
        temperature: Amount | None,
        sowing: Mapping[str, Any] | None,
        first_look: int | None,
    ) -> dict[str, str]:
        values = {
            unit: amount_text(amounts[unit], unit) if unit in amounts else "as long as it takes" for unit in UNITS
        }
        values["temperature"] = (
            temperature_text(temperature) if temperature else "the temperature that its source gives"
        )
        values["look"] = f"first look after {first_look} days, then weekly" if first_look else "look weekly"
        values["name"] = self.grounds.display
        return values | {k: str(v) for k, v in (sowing or {}).items() if k.endswith("_text")}

    def _credit(
        self, kind: str, amounts: Mapping[str, Amount], grower: Grower, had: int
    ) -> tuple[Mapping[str, Amount], list[str], int]:
        """Take off what the lot has had already, unless it dried since. Also says how many days were taken off."""
        days = amounts.get("days")
        if not had or days is None:
            return amounts, [], 0
        if grower.dried_since and self.kb.treatments[kind].get("wet"):
            return amounts, [f"The {had} days already given do not count: the seed dried since, so begin again."], 0
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

    def _told_seeds(self, treatment: Mapping[str, Any], grower: Grower) -> int | None:
        """The size of a small lot, where the treatment's texts differ for one; else None."""
        small = grower.seeds is not None and grower.seeds <= self.vocabulary.files["bands"]["small_lot"]["most"]
        differs = "small" in treatment.get("by_lot", {}) or treatment.get("irreversible")
        return grower.seeds if small and differs else None

    def _sowing(self, temperature: Amount) -> dict[str, Any]:
        """Light, depth and waiting time of the last step, from what stands in the way and the tables of the treatment."""
        sow = self.kb.treatments[self.vocabulary.kinds.last]
        size = self._word(self.vocabulary.size_key)
        case = next(case for case in sow["sowing"] if self._holds(case["when"], size))
        depth = self.vocabulary.files["bands"]["sowing_depth_mm"]["words"].get(size)
        if case.get("surface"):
            depth = {"low": 0, "use": 0, "high": 0}
        expect = sow["expect"].get(self._word(self.vocabulary.class_key)) or sow["expect"]["unknown"]
        days = expect["days"]
        values = {
            "depth": f"{depth['use']} mm" if depth else "one to two seed thicknesses",
            "temperature": temperature_text(temperature),
        }
        return {
            "light": case["light"],
            "depth_mm": depth,
            "expect_days": days,
            "give_up": expect["give_up"],
            "sow_text": fill(sow["media"][case["medium"]], values),
            "expect_text": f"seedlings show, usually {days['low']}–{days['high']} days after sowing; {expect['give_up']}",
        }

    def _word(self, key: str) -> str | None:
        return next((word for known, word in self.findings.facts if known == key), None)

    def _holds(self, when: Mapping[str, Any], size: str | None) -> bool:
        """Whether a case of sowing holds: its obstacle stands (as more than a help, if it says so), its sizes fit."""
        obstacle = when.get("obstacle")
        stands = obstacle is None or obstacle in self.findings.obstacles
        if "optional" in when and (obstacle in self.findings.optional) != when["optional"]:
            return False
        return stands and size in when.get("sizes", (size,))

    def _step_cautions(self, kind: str, own: Iterable[Mapping[str, Any]]) -> Iterable[str]:
        for caution in own:
            self.grounds.cite([caution])
            yield caution["text"]
        for text, firing in self.cautions.get(kind, ()):
            yield self.caution(text, firing)

    def caution(self, text: str, firing: Firing) -> str:
        self.grounds.reason(firing)
        note = next(
            (s["note"] for k in self.facts.of(self.vocabulary.hazard_key) for s in k.sources if s.get("note")), ""
        )
        note = note[:1].upper() + note[1:].rstrip(".") + "." if note else ""
        return " ".join(fill(text, {"name": self.grounds.display, "toxic_note": note}).split())
