"""What the command line and the bench pages both do with a ledger and ask of it, decided once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import date
from typing import Any, NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.ledger.book import Ledger, Unreadable
from rousewort.ledger.courses import Against, Contradicted, against_plan, seen_over, skipped_by
from rousewort.ledger.due import Diary, said
from rousewort.ledger.events import Batch
from rousewort.ledger.results import keep_expected, own_record, result_of, with_own_lengths
from rousewort.ledger.sound import refuse_unfit
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.plan_json import plan_json

OUT_OF_SEASON = "out of season"
FAILURES = (UserError, ValueError, TypeError, KeyError, AttributeError, ArithmeticError, StopIteration, RecursionError)


def diary_of(kb: KnowledgeBase) -> Diary:
    return Diary(kb.vocabulary.calendar, kb.vocabulary.files["bench"])


def plan_to_keep(kb: KnowledgeBase, name: str | Match, grower: Any = None, engine: str | None = None) -> dict[str, Any]:
    """The plan of a plant as JSON, with what is published on its germination. Raises UserError where it has no steps."""
    planner = Planner(kb, engine)
    return kept_plan(kb, planner.plan(name, grower) if isinstance(name, str) else planner.plan_for(name, grower))


def kept_plan(kb: KnowledgeBase, plan: Plan) -> dict[str, Any]:
    """A plan as a ledger stores it: as JSON, with what is published on its germination. Raises UserError without steps."""
    refuse_unfit(plan)
    return keep_expected(plan_json(plan), kb.taxon(plan.match.name) if plan.match.name else None)


def tried(diary: Diary, today: date) -> Callable[[Batch], None]:
    """Does with a batch what is done with it every day: dates it, says what is due, reckons its results."""

    def trial(batch: Batch) -> None:
        if batch.ended is None:
            diary.dated(batch, today)
            said(diary.next(batch))
        if batch.sown_on:
            result_of(batch)

    return trial


def readable(
    ledger: Ledger, diary: Diary, today: date, *, ended: bool | None = False
) -> tuple[list[Batch], list[Unreadable]]:
    """The batches that can be worked with, and those that cannot, with why: one bad batch stops no other."""
    bad: list[Unreadable] = []
    good = []
    trial = tried(diary, today)
    for batch in ledger.batches(ended=ended, unreadable=bad):
        if (fault := _fault(batch, trial)) is None:
            good.append(batch)
        else:
            bad.append(fault)
    return good, bad


def examine(ledger: Ledger, diary: Diary, today: date) -> tuple[int, list[Unreadable]]:
    """The whole ledger looked over: how many batches there are, and those that cannot be read or were set aside."""
    ledger.store.check_file()
    trial = tried(diary, today)
    everything = ledger.everything()
    faults = [one if isinstance(one, Unreadable) else _fault(one, trial) for one in everything]
    return len(everything), [fault for fault in faults if fault is not None]


def _fault(batch: Batch, trial: Callable[[Batch], None]) -> Unreadable | None:
    try:
        trial(batch)
    except FAILURES as error:
        return Unreadable(batch.number, batch.code, str(error) or type(error).__name__)
    return None


class Answer(NamedTuple):
    """What a grower says to a question of the ledger: that it was so all the same (`yes`; `season`: only that it was out
    of season), and why."""

    yes: bool = False
    why: str = ""
    season: bool = False

    def covers(self, one: Against) -> bool:
        return self.yes or bool(self.why.strip()) or (self.season and one.what == OUT_OF_SEASON)


NONE = Answer()


class BatchService:
    """What a grower does with batches: each deed is decided here, whoever sends it, and recorded by the ledger.

    `when`: the day, the last entry seen (`turn`), the token of the form (`form`) and a note, as Ledger.record takes them.
    Raises Contradicted, before anything is recorded, for what the plan says otherwise and no answer covers.
    """

    def __init__(self, ledger: Ledger, kb: KnowledgeBase) -> None:
        self.ledger, self.kb, self.diary = ledger, kb, diary_of(kb)
        self.finds: dict[str, Any] = kb.vocabulary.files["bench"]["finds"]

    def start(self, plan: dict[str, Any], *, own_lengths: bool = False, **data: Any) -> Batch:
        """A batch on a plan (plan_to_keep). `own_lengths`: moved by this ledger's own record. `data`: as Ledger.start."""
        if own_lengths:
            closed = self.ledger.batches(ended=True, unreadable=[])
            habits = self.kb.vocabulary.files["bench"]["own_record"]
            plan = with_own_lengths(
                plan, own_record(closed, plan["taxon"]["name"], habits, data.get("provenance") or "")
            )
        return self.ledger.start(plan, **data)

    def move(self, code: str, step: str | None = None, *, answer: Answer = NONE, **when: Any) -> Batch:
        """On to the next step, or to the one named: early, late, or back to begin it again."""
        batch = self.ledger.batch(code)
        to = step or (batch.following or {}).get("id")
        if to is None:
            raise UserError(f"{batch.code} is in the last step of its plan: sow it, or say which step to begin again.")
        return self._onward(batch, "move", to, answer, when, step=to)

    def sow(self, code: str, seeds: int | None = None, *, answer: Answer = NONE, **when: Any) -> Batch:
        """Sow it, or put it outside where the plan ends so."""
        batch = self.ledger.batch(code)
        return self._onward(batch, "sow", batch.steps[-1], answer, when, seeds=seeds)

    def _onward(self, batch: Batch, kind: str, to: str, answer: Answer, when: dict[str, Any], **data: Any) -> Batch:
        day = when.get("day") or self.ledger.today()
        seen = when.pop("turn", None)
        stale = seen is not None and seen != batch.turn  # the ledger refuses it, and says why
        if not stale and (against := [one for one in self._against(batch, to, day) if not answer.covers(one)]):
            raise Contradicted(batch.code, against)
        why = answer.why.strip() or (seen_over(batch, self.finds) if to in _later(batch) else "")
        return self.ledger.record(
            batch.code, kind, turn=batch.turn if seen is None else seen,
            **when, **data, skipped=skipped_by(batch, to) or None, why=why,
        )  # fmt: skip

    def _against(self, batch: Batch, step: str, day: date) -> Iterator[Against]:
        yield from against_plan(batch, step, day, self.diary.calendar, self.finds)
        wait = None if batch.ended or batch.sown_on else self.diary.waits_for(batch, step, day)
        if wait:
            label = next(one["label"] for one in batch.plan["steps"] if one["id"] == step)
            yield Against(
                step,
                OUT_OF_SEASON,
                f"“{label}” has its season, {wait.season}; the next one begins on {wait.until}. Keep the batch as it is "
                "until then.",
            )

    def count(self, code: str, new: int | None = None, *, total: int | None = None, **when: Any) -> Batch:
        """Seedlings that are new since the last count, or all that have come so far."""
        if (new is None) == (total is None):
            raise UserError("Say either how many seedlings are new, or the total of all that have come so far.")
        batch = self.ledger.batch(code)
        if total is not None:
            new = total - batch.germinated
            if new < 0:
                raise UserError(f"{batch.code}: {batch.germinated} were counted already; the total cannot be {total}.")
        turn = when.pop("turn", None)
        return self.ledger.record(code, "count", turn=batch.turn if turn is None else turn, new=new, **when)

    def check(self, code: str, finds: Iterable[str] = (), *, lost: int | None = None, **when: Any) -> Batch:
        """A look: all fine, if nothing is said."""
        found = list(finds) or ["fine"]
        if unknown := [word for word in found if word not in self.finds]:
            known = ", ".join(self.finds)
            raise UserError(
                *(f"'{word}' is nothing that can be found. Known: {known}. Or say it with --note." for word in unknown)
            )
        if "fine" in found and len(found) > 1:
            raise UserError("'fine' says that nothing was amiss: leave it out.")
        return self.ledger.record(code, "check", finds=found, lost=lost or None, **when)

    def advice(self, finds: Iterable[str]) -> list[str]:
        """What to do about what was found."""
        return [
            f"{self.finds[word]['label'].capitalize()}: {self.finds[word]['do']}"
            for word in finds
            if self.finds.get(word, {}).get("do")
        ]

    def record(self, code: str, kind: str, **data: Any) -> Batch:
        """Whatever a batch's deed is called: move, sow, count and check as above; the others as the ledger takes them."""
        decided: dict[str, Callable[..., Batch]] = {
            "move": self.move, "sow": self.sow, "count": self.count, "check": self.check,
        }  # fmt: skip
        if kind in decided:
            return decided[kind](code, **data)
        data.pop("answer", None)
        return self.ledger.record(code, kind, **data)


def _later(batch: Batch) -> list[str]:
    return batch.steps[batch.steps.index(batch.step) + 1 :]
