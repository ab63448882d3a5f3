"""What became of each step: a step that was not done never stands as done, whoever recorded what, in whatever order."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from copy import deepcopy
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger
from rousewort.ledger.courses import CUT_SHORT, DONE, LENGTHENED, NOT_RECORDED, SKIPPED, Contradicted
from rousewort.ledger.events import Batch
from rousewort.ledger.exchange import everything, from_csv, from_json, take, to_csv, to_json
from rousewort.ledger.opening import open_ledger
from rousewort.ledger.results import result_of
from rousewort.ledger.service import Answer, BatchService
from rousewort.render.batch_text import as_data, one_line, whole
from rousewort.render.terminal import Page

DAY = date(2025, 3, 10)
WHY = Answer(why="seed came treated")


@pytest.fixture
def service(kb: KnowledgeBase, ledger: Ledger) -> BatchService:
    return BatchService(ledger, kb)


def states(service: BatchService, batch: Batch) -> dict[str, str]:
    return {one.id: one.state for one in service.diary.courses(batch)}


def to_the_cold(service: BatchService, redbud: dict[str, Any], days: int) -> Batch:
    """A batch that has been in the cold for so many days, after all that comes before it."""
    begun = DAY - timedelta(days)
    code = service.start(redbud, seeds=100, day=begun - timedelta(1)).code
    for step, day in (("soak-1", begun - timedelta(1)), ("nick-1", begun), ("cold_moist-1", begun)):
        service.move(code, step, day=day)
    return service.ledger.batch(code)


def test_sowing_right_after_the_start_is_asked_first_and_then_kept_as_skipped(
    service: BatchService, redbud: dict[str, Any]
) -> None:
    before = service.start(redbud, seeds=100)
    with pytest.raises(Contradicted, match=r"cold and moist”, 60 \(42–60\) days, was never begun: it would be skipped"):
        service.sow(before.code)
    assert service.ledger.batch(before.code) == before
    sown = service.sow(before.code, answer=Answer(why="trial without cold"))
    found = states(service, sown)
    assert {found[step] for step in ("soak-1", "nick-1", "cold_moist-1")} == {SKIPPED}
    assert sown.events[-1].data["skipped"] == ["soak-1", "nick-1", "cold_moist-1"]
    page = Page(colour=False)
    text = whole(sown, service.diary, DAY, page)
    assert "cold and moist (trial without cold)" in text and "Not given as planned" in text
    assert "cold and moist skipped" in one_line(sown, service.diary)
    told = {one["id"]: one for one in as_data(sown, service.diary, DAY)["steps"]}
    assert told["cold_moist-1"]["state"] == SKIPPED and told["cold_moist-1"]["why"] == "trial without cold"
    assert result_of(sown).given == ()


@pytest.mark.parametrize(("days", "state"), [(41, CUT_SHORT), (42, DONE), (60, DONE), (61, LENGTHENED)])
def test_cold_stands_as_done_only_within_its_range(
    service: BatchService, redbud: dict[str, Any], days: int, state: str
) -> None:
    """42 to 60 days, as the plan has it; what is cut short is asked first, what lasted longer is a fact by then."""
    batch = to_the_cold(service, redbud, days)
    if state == CUT_SHORT:
        with pytest.raises(Contradicted, match=r"had 41 of 60 \(42–60\) days: it would be cut short"):
            service.sow(batch.code)
    sown = service.sow(batch.code, answer=WHY)
    assert states(service, sown)["cold_moist-1"] == state
    assert [given.days for given in result_of(sown).given] == [days]


def test_roots_at_the_last_look_are_reason_enough(service: BatchService, redbud: dict[str, Any]) -> None:
    batch = to_the_cold(service, redbud, 20)
    service.check(batch.code, ["roots"])
    sown = service.sow(batch.code)
    cold = service.diary.courses(sown)[3]
    assert (cold.state, cold.days, cold.why) == (CUT_SHORT, 20, "roots out")


def test_cold_begun_again_counts_from_there(service: BatchService, redbud: dict[str, Any]) -> None:
    batch = to_the_cold(service, redbud, 50)
    service.move(batch.code, "cold_moist-1", day=DAY - timedelta(5))
    with pytest.raises(Contradicted, match="had 5 of 60"):
        service.sow(batch.code)


def test_merged_batch_has_what_both_had(service: BatchService, redbud: dict[str, Any]) -> None:
    chilled = to_the_cold(service, redbud, 50)
    service.move(chilled.code, "sow-1")
    other = service.start(redbud, seeds=10, day=DAY - timedelta(60)).code
    service.move(other, "sow-1", answer=WHY)
    kept = service.ledger.merge(other, chilled.code)
    assert states(service, kept)["cold_moist-1"] == SKIPPED


def test_part_split_off_keeps_what_became_of_its_steps(service: BatchService, redbud: dict[str, Any]) -> None:
    code = service.start(redbud, seeds=100).code
    service.move(code, "cold_moist-1", answer=WHY)
    left, new = service.ledger.split(code, seeds=10)
    assert states(service, left) == states(service, new) and new.past == left.past


def test_entry_of_an_earlier_version_that_passed_steps_over_leaves_them_unknown(
    service: BatchService, redbud: dict[str, Any]
) -> None:
    """Then nobody was asked: the steps may have been done or not."""
    code = service.ledger.start(redbud, seeds=10).code
    found = states(service, service.ledger.record(code, "move", step="cold_moist-1"))
    assert found["soak-1"] == found["nick-1"] == NOT_RECORDED


def test_reasons_go_out_and_come_in_again(service: BatchService, redbud: dict[str, Any]) -> None:
    code = service.start(redbud, seeds=100).code
    service.move(code, "cold_moist-1", answer=WHY)
    service.ledger.split(code, seeds=10)
    data = everything(service.ledger)
    for again in (from_json(to_json(data)), from_csv(to_csv(data))):
        with open_ledger("sqlite://", today=lambda: DAY) as other:
            take(other, again)
            assert everything(other) == data
    assert b"Cercis canadensis" in to_csv(data)["batches.csv"]


# --- whatever is recorded


class AnyCourse(RuleBasedStateMachine):
    """Everything that commands and pages can do with batches of one species, on a clock that jumps."""

    service: BatchService
    plan: dict[str, Any]
    plan_steps: list[str]

    @initialize()
    def begin(self) -> None:
        self.now = DAY
        self.ledger = open_ledger("sqlite://", today=lambda: self.now)
        self.here = BatchService(self.ledger, self.service.kb)
        self.codes = [self.here.start(self.plan, seeds=200).code for _ in range(3)]
        for code in self.codes[1:]:  # one stands in the cold, one is ready to be sown
            for step in self.plan_steps[1:4]:
                self.here.move(code, step)
        self.now += timedelta(50)
        self.here.move(self.codes[2])
        self.here.move(self.codes[1], self.plan_steps[3])

    def teardown(self) -> None:
        if hasattr(self, "ledger"):
            self.ledger.close()

    def attempt(self, deed: Any) -> None:
        with suppress(UserError):
            deed()

    @rule(days=st.sampled_from((0, 1, 3, 20, 41, 42, 61)))
    def time_goes_by(self, days: int) -> None:
        self.now += timedelta(days)

    @rule(
        which=st.integers(0, 9),
        ahead=st.sampled_from((1, 1, 1, 2, 3, 0, -1, -2)),
        sure=st.booleans(),
        yes=st.booleans(),
    )
    def move(self, which: int, ahead: int, sure: bool, yes: bool) -> None:
        batch = self.batch(which)
        place = min(max(batch.steps.index(batch.step) + ahead, 0), len(batch.steps) - 1)
        answer = (Answer(yes=True) if yes else WHY) if sure else Answer()
        self.attempt(lambda: self.here.move(batch.code, batch.steps[place], answer=answer))

    @rule(which=st.integers(0, 9), sure=st.booleans())
    def sow(self, which: int, sure: bool) -> None:
        self.attempt(lambda: self.here.sow(self.batch(which).code, answer=WHY if sure else Answer()))

    @rule(which=st.integers(0, 9), found=st.sampled_from(("fine", "roots", "mould")))
    def look(self, which: int, found: str) -> None:
        self.attempt(lambda: self.here.check(self.batch(which).code, [found]))

    @rule(which=st.integers(0, 9))
    def undo(self, which: int) -> None:
        self.attempt(lambda: self.ledger.undo(self.batch(which).code))

    @rule(which=st.integers(0, 9), back=st.integers(0, 50), entry=st.integers(2, 6), rest=st.booleans())
    def redate(self, which: int, back: int, entry: int, rest: bool) -> None:
        day = self.now - timedelta(back)
        self.attempt(lambda: self.ledger.redate(self.batch(which).code, day, entry=entry, rest=rest))

    @precondition(lambda self: len(self.codes) < 6)
    @rule(which=st.integers(0, 9))
    def split(self, which: int) -> None:
        self.attempt(lambda: self.codes.append(self.ledger.split(self.batch(which).code, seeds=5)[1].code))

    @rule(which=st.integers(0, 9), into=st.integers(0, 9))
    def merge(self, which: int, into: int) -> None:
        one, other = self.batch(which), self.batch(into)
        self.attempt(lambda: self.here.move(one.code, other.step, answer=WHY))  # only within one step
        self.attempt(lambda: self.ledger.merge(one.code, other.code))

    def batch(self, which: int) -> Batch:
        return self.ledger.batch(self.codes[which % len(self.codes)])

    @invariant()
    def nothing_stands_as_done_that_was_not(self) -> None:
        if not hasattr(self, "codes"):
            return
        for code in self.codes:
            batch = self.ledger.batch(code)
            for step, state in states(self.here, batch).items():
                if state == DONE:
                    assert given(self.ledger, batch, step), (
                        step,
                        [(e.day, e.kind, dict(e.data)) for e in batch.events],
                    )
                assert state != NOT_RECORDED  # commands and pages say what they pass over


SHORTEST = {"cold_moist-1": 42}  # days; all others of this plan are over on the day they begin


def given(ledger: Ledger, batch: Batch, step: str) -> bool:
    """Whether the seed, and all seed that was put to it, had that step: read from the log alone."""
    return all(_had(seed, step) for seed in _all_seed(ledger, batch))


def _all_seed(ledger: Ledger, batch: Batch) -> Iterator[list[tuple[str, date]]]:
    """For each lot that is in the batch: the steps that it entered, and when."""
    entered: list[list[tuple[str, date]]] = [[]]
    for event in batch.standing:
        if event.kind == "start" and event.data.get("begun"):
            parent = ledger.batch(event.data["other"])
            turn = next(e.turn for e in parent.events if e.kind == "split" and e.data["other"] == batch.code)
            entered = list(_all_seed(ledger, _until(parent, turn)))
        elif event.kind == "start":
            entered = [[(batch.steps[0], event.day)]]
        elif event.kind in ("move", "sow"):
            to = event.data.get("step", batch.steps[-1])
            entered = [[*lot, (to, event.day)] for lot in entered]
        elif event.kind == "take_in":
            other = ledger.batch(event.data["other"])
            turn = next(e.turn for e in other.events if e.kind == "merged")
            entered += list(_all_seed(ledger, _until(other, turn)))
    yield from entered


def _until(batch: Batch, turn: int) -> Batch:
    from rousewort.ledger.events import add_up

    return add_up(batch, [event for event in batch.events if event.turn <= turn])


def _had(entered: list[tuple[str, date]], step: str) -> bool:
    order = {name: n for n, name in enumerate(AnyCourse.plan_steps)}
    last = max((n for n, (name, _) in enumerate(entered) if order[name] <= order[step]), default=None)
    if last is None or entered[last][0] != step:
        return False
    if step == AnyCourse.plan_steps[-1]:
        return True
    left = entered[last + 1] if last + 1 < len(entered) else None
    return left is not None and (left[1] - entered[last][1]).days >= SHORTEST.get(step, 0)


def test_no_course_of_a_batch_makes_a_step_done_that_was_not(kb: KnowledgeBase, redbud: dict[str, Any]) -> None:
    from hypothesis.stateful import run_state_machine_as_test

    with open_ledger("sqlite://") as unused:
        AnyCourse.service = BatchService(unused, kb)
        AnyCourse.plan = deepcopy(redbud)
        AnyCourse.plan_steps = [step["id"] for step in redbud["steps"]]
        run_state_machine_as_test(AnyCourse, settings=settings(stateful_step_count=25))


def test_what_the_plan_leaves_free_is_left_out_without_a_question(
    service: BatchService, redbud: dict[str, Any]
) -> None:
    """A soak that is optional, a nick only if the seed is still hard."""
    steps = [{**step, "optional": step["id"] == "soak-1", "only_if": None} for step in deepcopy(redbud["steps"])]
    steps[2]["only_if"] = "the seed is still hard after the soak"
    code = service.start({**redbud, "steps": steps}, seeds=10).code
    moved = service.move(code, "cold_moist-1")
    assert states(service, moved)["soak-1"] == states(service, moved)["nick-1"] == SKIPPED
    assert "skipped" not in one_line(moved, service.diary)
    assert service.diary.dated(moved).notes == ()
