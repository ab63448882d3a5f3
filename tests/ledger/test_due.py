"""What is due, and when: from the stored plan, moved by what was recorded."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.ledger import open_ledger
from rousewort.ledger.due import Diary, said
from rousewort.ledger.events import Batch, Event, add_up

START = date(2025, 1, 1)
ACTS = ("next", "check", "wait", "lost", "undo", "sow", "count", "again")


def batch_of(plan: dict[str, Any], *events: tuple[int, str, dict[str, Any]]) -> Batch:
    """(days after the start, kind, data) …"""
    made = [Event(1, START, "start", "", {"seeds": 100})]
    made += [Event(n, START + timedelta(ago), kind, "", data) for n, (ago, kind, data) in enumerate(events, 2)]
    return add_up(Batch(1, "CECA-1", plan, "digest"), made)


def chilled(plan: dict[str, Any], *events: tuple[int, str, dict[str, Any]]) -> Batch:
    return batch_of(plan, (0, "move", {"step": "cold_moist-1"}), *events)


def due(diary: Diary, batch: Batch) -> tuple[int, str]:
    found = diary.next(batch)
    return (found.day - START).days, found.what


def test_cold_is_checked_weekly_looked_at_from_its_shortest_and_over_when_its_days_are(
    diary: Diary, redbud: dict
) -> None:
    """42 to 60 days, as the plan has it."""
    span = redbud["steps"][3]["days"]
    assert (span["low"], span["use"]) == (42, 60)
    seen, looks = [], []
    for _ in range(10):
        day, what = due(diary, chilled(redbud, *looks))
        seen.append((day, what))
        if what == "end":
            break
        looks.append((day, "check", {"finds": ["fine"]}))
    assert seen == [*((d, "check") for d in (7, 14, 21, 28, 35)), (42, "look"), (49, "look"), (56, "look"), (60, "end")]


def test_missed_check_stays_due(diary: Diary, redbud: dict) -> None:
    found = diary.due([chilled(redbud)], START + timedelta(30))
    assert [(d.day, d.late(START + timedelta(30))) for d in found] == [(START + timedelta(7), 23)]


def test_late_end_is_looked_at_weekly_until_it_is_moved(diary: Diary, redbud: dict) -> None:
    assert due(diary, chilled(redbud, (61, "check", {"finds": ["fine"]}))) == (68, "look")


def test_early_move_brings_what_follows_forward(diary: Diary, redbud: dict) -> None:
    early = chilled(redbud, (30, "check", {"finds": ["roots"]}), (30, "sow", {}))
    planned = diary.seedlings(chilled(redbud))
    window = diary.seedlings(early)
    assert planned and window
    assert planned.earliest - window.earliest == timedelta(30)
    assert due(diary, early) == (37, "count")  # 7 to 45 days after sowing


def test_wait_puts_off_what_is_due(diary: Diary, redbud: dict) -> None:
    assert due(diary, chilled(redbud, (42, "wait", {"until": str(START + timedelta(52))}))) == (52, "look")


def test_step_begun_again_counts_from_its_new_beginning(diary: Diary, redbud: dict) -> None:
    again = chilled(redbud, (20, "check", {"finds": ["dried"]}), (20, "move", {"step": "cold_moist-1"}))
    assert due(diary, again) == (27, "check")
    back = chilled(redbud, (20, "move", {"step": "soak-1"}))
    assert back.begun == {"inspect-1": START, "soak-1": START + timedelta(20)}
    assert due(diary, back) == (21, "end")


def test_counts_go_on_weekly_until_no_more_are_usual(diary: Diary, redbud: dict) -> None:
    sown = [(60, "sow", {})]
    assert due(diary, chilled(redbud, *sown)) == (67, "count")
    assert due(diary, chilled(redbud, *sown, (67, "count", {"new": 3}))) == (74, "count")
    assert due(diary, chilled(redbud, *sown, (105, "count", {"new": 3}))) == (105, "decide")


def test_every_batch_in_treatment_has_one_thing_due_in_words_and_an_ended_one_none(diary: Diary, redbud: dict) -> None:
    open_one, ended = chilled(redbud), chilled(redbud, (1, "discard", {"reason": "rotten"}))
    found = diary.due([open_one, ended], START + timedelta(9999))
    assert [d.batch for d in found] == [open_one]
    assert said(found[0])


def test_step_outside_waits_for_its_season(diary: Diary, kb: Any) -> None:
    from rousewort.app.batching import plan_to_keep
    from rousewort.grower import make_grower

    plan = plan_to_keep(kb, "Cercis canadensis", make_grower(kb.vocabulary, without=["fridge"]), "plain")
    assert plan["steps"][-1]["kind"] == "outdoor_winter"
    ready = batch_of(plan, (0, "move", {"step": "outdoor_winter-1"}))
    found = diary.next(ready)
    assert found.what == "sow" and (found.day.month, found.day.day) == (9, 15)
    window = diary.seedlings(batch_of(plan, (30, "sow", {})))  # sown out of season all the same
    assert window and window.earliest - (START + timedelta(30)) == timedelta(plan["steps"][-1]["days"]["low"])


@given(acts=st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 40), st.integers(0, 60)), max_size=12))
def test_laws_of_any_course(acts: list[tuple[str, int, int]], plan_and_diary: tuple[dict, Diary]) -> None:
    """Seeds never come from nothing; days never run back; something is always due, never before the last look; an undone
    entry leaves the batch as it was."""
    from rousewort.errors import Trouble

    plan, diary = plan_and_diary
    now, age = batch_of(plan), 0
    earlier = [now]
    for act, days, number in acts:
        age += days
        kind, data = {
            "next": ("move", {"step": (now.following or {"id": now.step})["id"]}),
            "check": ("check", {"finds": ["fine"]}),
            "wait": ("wait", {"until": str(START + timedelta(age + number))}),
            "lost": ("check", {"finds": ["mould"], "lost": number}),
            "undo": ("undo", {"undoes": now.standing[-1].turn}),
            "sow": ("sow", {}),
            "count": ("count", {"new": number}),
            "again": ("move", {"step": plan["steps"][number % len(plan["steps"])]["id"]}),
        }[act]
        try:
            after = add_up(now, [*now.events, Event(now.turn + 1, START + timedelta(age), kind, "", data)])
        except Trouble:
            continue
        if kind == "undo":
            earlier.pop()
            assert {**vars(after), "events": ()} == {**vars(earlier[-1]), "events": ()}
        else:
            assert (after.seeds or 0) <= (now.seeds or 0)
            earlier.append(after)
        now = after
        assert 0 <= now.germinated <= (now.sown or 0)
        ends = list(now.step_ends().values())
        begun = [now.begun[s] for s in now.steps if s in now.begun]
        assert begun == sorted(begun) and all(a >= START for a in ends)
        found = diary.next(now)
        assert said(found)
        if found.what not in ("decide", "sow", "do"):
            assert found.day > (now.looked or date.min) or found.day >= now.begun[now.step]


@pytest.fixture(scope="module")
def plan_and_diary(redbud: dict, diary: Diary) -> tuple[dict, Diary]:
    return redbud, diary


def test_reading_many_batches_takes_no_more_queries_than_few(tmp_path: Path, redbud: dict, diary: Diary) -> None:
    """Not a stopwatch test: it counts queries, which must not grow with the batches."""
    import sqlalchemy as sa

    with open_ledger(str(tmp_path / "l.sqlite"), today=lambda: START) as ledger:
        counted = []
        sa.event.listen(ledger.store.engine, "before_cursor_execute", lambda *a: counted.append(a[2]))
        for many in (3, 40):
            while len(ledger.batches()) < many:
                ledger.start(redbud, seeds=5)
            counted.clear()
            ledger.batches()
            assert len([c for c in counted if c.startswith("SELECT")]) <= 3
