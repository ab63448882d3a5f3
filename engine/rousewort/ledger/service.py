"""What the command line and the bench pages both do with a ledger and ask of it, decided once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase, Match
from rousewort.ledger.book import Ledger, Unreadable
from rousewort.ledger.due import Diary, said
from rousewort.ledger.events import Batch
from rousewort.ledger.results import keep_expected, result_of
from rousewort.planning.plan import Planner
from rousewort.planning.plan_json import plan_json

FAILURES = (UserError, ValueError, TypeError, KeyError, AttributeError, ArithmeticError, StopIteration, RecursionError)


def diary_of(kb: KnowledgeBase) -> Diary:
    return Diary(kb.vocabulary.calendar, kb.vocabulary.files["bench"])


def plan_to_keep(kb: KnowledgeBase, name: str | Match, grower: Any = None, engine: str | None = None) -> dict[str, Any]:
    """The plan of a plant as JSON, with what is published on its germination. Raises UserError where it has no steps."""
    planner = Planner(kb, engine)
    plan = planner.plan(name, grower) if isinstance(name, str) else planner.plan_for(name, grower)
    if not plan.steps:
        advice = "\n".join(plan.advice)
        raise UserError(
            f"There is no bench plan for {plan.match.name} to start a batch on (outcome: {plan.outcome}).\n{advice}"
        )
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
