"""What is due, and when: from the stored plan, moved by what was recorded."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.ledger.due import Diary, said
from rousewort.ledger.events import Batch, Event, add_up
from rousewort.ledger.opening import open_ledger

START = date(2025, 1, 1)
ACTS = ("next", "check", "wait", "lost", "undo", "sow", "count", "again")


def batch_of(plan: dict[str, Any], *events: tuple[int, str, dict[str, Any]]) -> Batch:
    """(days after the start, kind, data) …"""
    made = [Event(1, START, "start", "", {"seeds": 100})]
    made += [Event(n, START + timedelta(ago), kind, "", data) for n, (ago, kind, data) in enumerate(events, 2)]
    return add_up(Batch(1, "1C", plan, "digest"), made)


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
    planned = diary.dated(chilled(redbud)).seedlings
    window = diary.dated(early).seedlings
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
    from rousewort.ledger.service import plan_to_keep
    from rousewort.planning.grower import make_grower

    plan = plan_to_keep(kb, "Cercis canadensis", make_grower(kb.vocabulary, without=["fridge"]), "plain")
    assert plan["steps"][-1]["kind"] == "outdoor_winter"
    ready = batch_of(plan, (0, "move", {"step": "outdoor_winter-1"}))
    found = diary.next(ready)
    assert found.what == "sow" and (found.day.month, found.day.day) == (9, 15)
    window = diary.dated(batch_of(plan, (30, "sow", {}))).seedlings  # sown out of season all the same
    assert window and window.earliest - (START + timedelta(30)) == timedelta(plan["steps"][-1]["days"]["low"])


@pytest.fixture(scope="module")
def bedded(kb: Any) -> dict[str, Any]:
    """A plan that is warm first and then goes outside."""
    from rousewort.ledger.service import plan_to_keep
    from rousewort.planning.grower import make_grower

    plan = plan_to_keep(kb, "Taxus baccata", make_grower(kb.vocabulary, without=["fridge"]), "plain")
    assert [step["kind"] for step in plan["steps"]][-2:] == ["warm_moist", "outdoor_winter"]
    return plan


def warmed(plan: dict[str, Any], *events: tuple[int, str, dict[str, Any]]) -> Batch:
    return batch_of(plan, (0, "move", {"step": "warm_moist-1"}), *events)


def test_when_its_days_are_over_a_batch_is_looked_after_until_its_season_outside_comes(
    diary: Diary, bedded: dict
) -> None:
    days = next(step["days"]["use"] for step in bedded["steps"] if step["id"] == "warm_moist-1")
    opens = (date(2025, 9, 15) - START).days
    looks = [(days, "check", {"finds": ["fine"]})]
    assert days < opens - 14
    while (found := due(diary, warmed(bedded, *looks)))[1] == "hold":
        assert found[0] == looks[-1][0] + 7
        looks.append((found[0], "check", {"finds": ["fine"]}))
    assert found == (opens, "end")
    words = said(diary.next(warmed(bedded, *looks[:1])))
    assert words.startswith("keep it as it is") and "not before 2025-09-15 (autumn)" in words
    moved = warmed(bedded, *looks[:1], (days, "move", {"step": "outdoor_winter-1"}))  # all the same
    assert due(diary, moved) == (days + 7, "hold")


def test_step_outside_waits_for_its_season_in_either_half_of_the_earth(diary: Diary, bedded: dict) -> None:
    from dataclasses import replace

    north = warmed(bedded)
    south = replace(north, south=True)
    for batch, wrong, right in (
        (north, date(2025, 3, 20), date(2025, 9, 20)),
        (south, date(2025, 9, 20), date(2025, 3, 20)),
    ):
        assert diary.waits_for(batch, "outdoor_winter-1", right) is None
        assert diary.waits_for(batch, "warm_moist-1", wrong) is None
        waits = diary.waits_for(batch, "outdoor_winter-1", wrong)
        assert (
            waits is not None and waits.season == "autumn" and wrong < waits.until and waits.until.month == right.month
        )


def test_sown_outside_out_of_season_may_come_soon_or_only_after_the_next_season(diary: Diary, bedded: dict) -> None:
    span = bedded["steps"][-1]["days"]
    early, timely = (diary.dated(warmed(bedded, (d, "sow", {}))) for d in (30, 260))
    assert early.steps[-1].start == early.sown.planned == START + timedelta(30)
    assert early.seedlings.earliest == START + timedelta(30 + span["low"])
    assert early.seedlings.planned == date(2025, 9, 15) + timedelta(span["use"])
    assert timely.seedlings.planned == START + timedelta(260 + span["use"])


def test_expected_seedlings_do_not_move_while_a_sown_batch_is_waited_for(diary: Diary, redbud: dict) -> None:
    sown = chilled(redbud, (60, "sow", {}))
    assert diary.dated(sown, START + timedelta(80)).seedlings == diary.dated(sown).seedlings


@given(acts=st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 40), st.integers(0, 60)), max_size=12))
def test_laws_of_any_course(acts: list[tuple[str, int, int]], plan_and_diary: tuple[dict, Diary]) -> None:
    """Seeds never come from nothing; days never run back; something is always due, never before the last look; an undone
    entry leaves the batch as it was."""
    from rousewort.base.errors import UserError

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
        except UserError:
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
