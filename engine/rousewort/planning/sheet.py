"""What stands on the sheet of a plan: what a tired hand needs at the bench, in the order in which it is needed.

`make_sheet(kb, plan)` turns a `Plan` into a `Sheet`, which terminal, PDF and handbook only lay out. How a thing is done in
general stands in kb/treatments and at `rousewort how KIND`; the sheet keeps what differs for this plant and lot. The record
knows no lines and no width: its texts are whole sentences, ready to print, and none of them stands in it twice. Where a
plan says nothing of a thing yet, its field is empty or None, and a renderer leaves its place out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.citing import Work, Works, short_of
from rousewort.planning.claims import WEAKEST
from rousewort.planning.evidence import RELATIVE, THIS_PLANT
from rousewort.planning.hazards import Hazard as Hazard
from rousewort.planning.hazards import Hazards
from rousewort.planning.plan import Plan
from rousewort.planning.plan_json import plan_json
from rousewort.planning.steps import Step
from rousewort.planning.sureness import Sure as Sure
from rousewort.planning.sureness import sure_of
from rousewort.planning.units import METRIC, converted
from rousewort.planning.wording import begun, fill


class Told(NamedTuple):
    """A text and the numbers of the works that carry it."""

    text: str
    works: tuple[int, ...] = ()


class Act(NamedTuple):
    """One step: `title` what, `told` how much, how warm, until when and first look; `marks` its hazards' letters.

    `optional`: it may be left out, by no condition that `told` names. `at_seed`: where on the seed it is done, for a drawing:
    across, broad_side, all_over, seam; None where nothing is cut.
    """

    number: int
    id: str
    kind: str
    title: str
    optional: bool
    marks: tuple[str, ...]
    told: tuple[Told, ...]
    at_seed: str | None = None


class Span(NamedTuple):
    """One step along the year, in days from the beginning. `drawn`: a word of vocabulary/colours.yaml, `label` and `sign`
    what it calls and draws it; `days` 0: a mark and no bar."""

    act: int
    drawn: str
    label: str
    sign: str
    start: int
    days: int


class Sheet(NamedTuple):
    """A plan on one screen. In the order of a sheet:

    - `name`, `family`, `dormancy` (words), `read_as`: how the name was taken, in sentences;
    - `line`: the whole plan in a line, None where there is none; `outcome` as in the JSON;
    - `sure`: the deciding claims, strongest ground first; `ground`: what the whole rests on, in sentences;
    - `follows`: whose protocol, or that it is no single one's;
    - `lead`: what must be known before anything is done, and what to do where no plan can be made;
    - `needs`, `hazards`, `acts` (the steps), `strip` (the same along the year);
    - `expect`, `if_nothing` (what to do when no seedling comes), `also` (part of the lot, what is left undone);
    - `instead`: with what a different plan would be, in few words; `works`: those that texts name by number.
    """

    name: str
    family: str | None
    dormancy: str
    read_as: tuple[str, ...]
    outcome: str
    line: str | None
    sure: tuple[Sure, ...]
    ground: tuple[str, ...]
    follows: Told | None
    lead: tuple[str, ...]
    needs: tuple[str, ...]
    hazards: tuple[Hazard, ...]
    acts: tuple[Act, ...]
    strip: tuple[Span, ...]
    expect: tuple[Told, ...]
    if_nothing: tuple[str, ...]
    also: tuple[str, ...]
    instead: tuple[str, ...]
    works: tuple[Work, ...]


FOLLOWED = {
    "experiment": "an experiment on the species",
    "advice": "published advice on the species",
    "practice": "the common practice of growers",
    "standard": "a testing standard",
}
LONG = 40  # letters in brackets that a line of the sheet can bear
MOST_WORKS = 3  # at one sentence
SENTENCE = re.compile(r"(?<=[.?!])\s+(?=[A-Z0-9{])")


def make_sheet(kb: KnowledgeBase, plan: Plan, units: str = METRIC, given: Iterable[str] = ()) -> Sheet:
    """The sheet of a plan, with degrees and lengths in these units (planning/units.py).

    `given`: what was set beforehand and changes the plan, in sentences; it stands under the name.
    """
    sheet = _Maker(kb, plan).make()
    made: Sheet = _in_units(sheet._replace(read_as=(*sheet.read_as, *given)), units)
    return made


def _in_units(value: Any, units: str) -> Any:
    """The same record with each text converted."""
    if isinstance(value, str):
        return converted(value, units)
    if isinstance(value, tuple):
        parts = [_in_units(part, units) for part in value]
        return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
    return value


class _Maker:
    """Makes one sheet. What is said is kept, so that no sentence comes twice."""

    def __init__(self, kb: KnowledgeBase, plan: Plan) -> None:
        self.kb, self.plan, self.words = kb, plan, kb.vocabulary
        self.told = plan_json(plan)
        self.works = Works(kb.sources, {source["id"]: source["held"] for source in plan.sources})
        self.said: dict[str, int] = {}  # sentence → the step that said it, 0 for none
        self.hazards_of = Hazards(kb, plan)

    def make(self) -> Sheet:
        plan = self.plan
        lead = (*self._once(plan.advice), *self._once(c for c in plan.cautions if c not in self.hazards_of.texts))
        follows = self._follows()
        acts = tuple(self._acts())
        return Sheet(
            name=plan.match.name or plan.query,
            family=plan.family,
            dormancy=plan.dormancy["words"],
            read_as=tuple(read_as(plan)),
            outcome=plan.outcome,
            line=begun(plan.line) if plan.line else None,
            sure=tuple(sure_of(plan)),
            ground=tuple(self._once(self._ground())),
            follows=follows,
            lead=lead,
            needs=tuple(self._needs()),
            hazards=self.hazards_of.listed,
            acts=acts,
            strip=tuple(self._strip()),
            expect=tuple(self._expect()),
            if_nothing=tuple(self._once(self._if_nothing())),
            also=tuple(self._once(self._also())),
            instead=tuple(self._instead()),
            works=self.works.listed(),
        )

    # --- how sure, and whose

    def _ground(self) -> Iterator[str]:
        """What the whole rests on. The weakest claim has its figure above."""
        for sentence in _sentences([str(self.plan.basis["note"])]):
            if not sentence.startswith(WEAKEST):
                yield _without_lists(sentence)

    def _follows(self) -> Told | None:
        """Whose protocol the plan is, what came of it there, and what was changed; None where no plan is made."""
        follows = self.told["follows"]
        if not follows:
            alone = "Follows no single protocol: none of the species is known whole."
            return Told(alone) if self.plan.outcome == "plan" else None
        works = self.works.numbers(follows["sources"], MOST_WORKS)
        if follows["assembled"]:
            return Told("Put together from several works: nobody did just this.", works)
        parts = [f"Follows {FOLLOWED.get(follows['kind'], follows['kind'])}"]
        if follows["germinated_pct"] is not None:
            parts.append(f"{follows['germinated_pct']} % came up")
        if follows["untreated_pct"] is not None:
            parts.append(f"{follows['untreated_pct']} % without treatment")
        parts += [f"lot: {follows['lot']}"] if follows["lot"] else []
        return Told("; ".join((*parts, *follows["changed"])) + ".", works)

    # --- what it takes

    def _needs(self) -> Iterator[str]:
        """Equipment, then what else the steps take; each once, in the order of the steps."""
        things = [need for step in self.plan.steps for need in self.kb.treatments[step.kind]["needs"]]
        yield from (self.words.files["equipment"][need]["label"] for need in dict.fromkeys(things))
        yield from dict.fromkeys(filter(None, map(self._takes, self.plan.steps)))

    def _takes(self, step: Step) -> str:
        takes = step.takes or step.medium or ""
        return "" if self._in_other_medium(step) else takes.rstrip(".")

    def _in_other_medium(self, step: Step) -> bool:
        """Whether it is done in something else than such steps usually are; the step says in what."""
        usual = self.kb.treatments[step.kind].get("medium")
        return bool(step.medium and usual and step.medium != usual)

    # --- the steps

    def _acts(self) -> Iterator[Act]:
        for number, step in enumerate(self.plan.steps, 1):
            yield Act(
                number=number,
                id=step.id,
                kind=step.kind,
                title=begun(step.label),
                optional=step.optional and not step.only_if,
                marks=self.hazards_of.marks(step),
                told=tuple(self._told(step, number)),
                at_seed=step.at_seed if step.at_seed != "none" else None,
            )

    def _told(self, step: Step, number: int) -> Iterator[Told]:
        before = [f"Only if {step.only_if}."] if step.only_if else []
        before += [f"To get: {self.words.files['equipment'][need]['label']}." for need in step.lacks]
        texts = [*before, *(step.short or step.do)]
        texts += [_against(step.against)] if step.against else []
        texts += [begun(f"{step.medium}.")] if self._in_other_medium(step) else []
        notes = [*self.hazards_of.notes(step)]
        if step.against and not any("without it" in note for note in notes):  # a rule may say so of such lots
            texts.append("Half of the lot without it.")
        texts += notes
        works, again = self.works.numbers(self._works_of(step), MOST_WORKS), 0
        for sentence in _sentences(texts):
            if sentence in self.said:
                again = again or self.said[sentence]
                continue
            self.said[sentence] = number
            if sentence in before:  # a condition rests on no report
                yield Told(sentence)
                continue
            yield Told(sentence, works)
            works = ()
        if again:
            yield Told(f"{'The rest' if not works else 'All'} as in step {again}.", works)

    def _works_of(self, step: Step) -> Iterator[str]:
        """Works that carry a step's figures or tell of such a treatment: of this plant, then of its relatives. What says only
        why such seed waits stands at `--full`: the sentence is about what to do."""
        evidence = [e for reason in step.because for e in reason.evidence if e.treatment == step.kind and e.source]
        for role, basis in ((THIS_PLANT, "species"), (RELATIVE, "genus")):
            amounts = [a for a in (*step.amounts.values(), step.temperature) if a and a.basis == basis]
            yield from (s["source"] for a in amounts for s in a.sources if "source" in s)
            yield from (str(e.source) for e in evidence if e.role == role)

    def _strip(self) -> Iterator[Span]:
        """The steps end to end, in days; a plan without a season has none."""
        spans, start = [], 0
        for number, step in enumerate(self.plan.steps, 1):
            amount = step.amounts.get("days")
            emerging = step.sowing and step.sowing.get("expect_days")
            days = int(amount.use) if amount else int(emerging["high"]) if emerging else 0
            drawn = self.words.kinds.drawn(step.kind)
            look = self.words.files["colours"][drawn]
            spans.append(Span(number, drawn, look["label"], look["sign"], start, days))
            start += days
        if sum(span.days > 0 for span in spans) > 1 or any(span.days for span in spans[:-1]):
            yield from spans

    # --- afterwards

    def _expect(self) -> Iterator[Told]:
        expect = self.told["expect"] or {}
        days, share = expect.get("days"), expect.get("germinated_pct")
        if share:
            text = f"Expect {_span(share)} % to come up" + (f", {_span(days)} days after sowing." if days else ".")
        elif days:
            text = f"Seedlings {_span(days)} days after sowing."
        else:
            return
        follows = self.told["follows"]
        yield Told(text, self.works.numbers([follows["source"]], 1) if share and follows else ())

    def _if_nothing(self) -> Iterator[str]:
        """What to do when no seedling comes: how long to wait, what to look at, which step to give again."""
        for step in self.plan.steps:
            if step.sowing and step.sowing.get("give_up"):
                yield begun(str(step.sowing["give_up"])) + "."
        for step in reversed(self.plan.steps):
            text = step.if_nothing
            if text and (step.optional is False or step.kind == self.words.kinds.last):
                days = step.amounts.get("days")
                yield fill(text, {"days": f"{days.use} days"} if days else {})

    def _also(self) -> Iterator[str]:
        yield from (split["text"] for split in self.plan.splits)
        if self.plan.outcome == "plan":
            yield from (f"Left undone: {item['label']}." for item in self.plan.unmet)

        if self._dangerous():
            yield from (alternative.text for alternative in self.plan.alternatives)

    def _instead(self) -> Iterator[str]:
        """With what else, or without what, the plan would be another. Beside a dangerous way `also` has them whole."""
        for alternative in self.plan.alternatives if not self._dangerous() else ():
            for how, needs in alternative.when.items():
                for need in needs:
                    label = self.words.files["equipment"][need]["label"]
                    yield {"without": f"no {label}", "allow": f"{label}, if allowed"}.get(how, label)

    def _dangerous(self) -> bool:
        """Whether a step takes what must be allowed by name."""
        equipment = self.words.files["equipment"]
        needs = (need for step in self.plan.steps for need in self.kb.treatments[step.kind]["needs"])
        return any(equipment[need].get("permission") for need in needs)

    def _once(self, texts: Iterable[str]) -> Iterator[str]:
        """These texts without sentences that the sheet has already."""
        for text in texts:
            kept = [sentence for sentence in _sentences([text]) if sentence not in self.said]
            self.said |= dict.fromkeys(kept, 0)
            if kept:
                yield " ".join(kept)


def read_as(plan: Plan) -> Iterator[str]:
    """How the name that was asked for was taken, in sentences; nothing where it is the plant's accepted name."""
    match, name = plan.match, plan.match.name or plan.query
    how = {
        "synonym": f"'{plan.query}' is an older name of it.",
        "common_name": f"'{plan.query}' is a common name of it.",
        "spelling": f"Read for '{plan.query}'.",
        "part_of_name": f"Read in '{plan.query}'.",
        "genus": "This species has no entry: the plan comes from its genus and family."
        if " " in name
        else "A whole genus: species in it may differ.",
        "family": "A whole family: species in it may differ."
        if name == plan.family
        else "Neither this species nor its genus has an entry: the plan comes from its family.",
    }.get(match.matched_by)
    if how:
        yield how
    yield from match.aside
    if match.matched_by == "genus" and match.candidates:
        yield "Did you mean: " + ", ".join(match.candidates) + "?"


def _against(told: tuple[str, ...]) -> str:
    """What own works say against a step: the first whole, the rest counted; `--full` has them all."""
    more = len(told) - 1
    who, _, what = told[0].rpartition(": ")
    return f"Against it: {f'{short_of(who)}: ' if who else ''}{what}" + (f", and {more} more works." if more else ".")


def _without_lists(sentence: str) -> str:
    """Without what stands in brackets where that is long: the names of relatives, which `--full` has."""
    brackets = re.findall(r" \([^()]*\)", sentence)
    return re.sub(r" \([^()]*\)", "", sentence) if len("".join(brackets)) > LONG else sentence


def _sentences(texts: Iterable[str]) -> Iterator[str]:
    for text in texts:
        yield from SENTENCE.split(text.strip())


def _named(works: tuple[int, ...]) -> str:
    return "".join(f"[{number}]" for number in works)


def _span(span: Mapping[str, Any]) -> str:
    low, high = span["low"], span["high"]
    return f"{low}" if low == high else f"{low}–{high}"
