"""`rousewort calendar` and `rousewort quantities` as a user runs them; its iCalendar read back by other libraries."""

from __future__ import annotations

import csv
import io
import json
from datetime import date, timedelta
from pathlib import Path

import ics
import pytest
import vobject
from hypothesis import given, settings
from hypothesis import strategies as st
from rousewort.cli.main import main
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import Planner
from rousewort.render.calendar_ics import to_ics, uid
from rousewort.schedule.dating import schedule
from rousewort.schedule.model import BenchCalendar

START = date.today() + timedelta(30)
NAMES = ("Cercis canadensis", "Taxus baccata", "Viburnum prunifolium")


@pytest.fixture(autouse=True)
def fixed_stamp(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1800000000")


@pytest.fixture(scope="module")
def bench(planner: Planner, kb: KnowledgeBase) -> BenchCalendar:
    habits = kb.vocabulary.calendar
    return BenchCalendar(
        tuple(schedule(planner.plan(n), habits, start=START, lot=f"L{i}") for i, n in enumerate(NAMES))
    )


def run(capsys: pytest.CaptureFixture, *argv: str) -> tuple[int, str, str]:
    code = main(["calendar", *argv])
    out, err = capsys.readouterr()
    return code, out, err


def events(data: bytes | str) -> list:
    return vobject.readOne(data if isinstance(data, str) else data.decode()).vevent_list


def stamp():
    from datetime import UTC, datetime

    return datetime(2027, 1, 15, 8, tzinfo=UTC)


# iCalendar


def test_another_library_finds_every_day_of_the_bench(bench: BenchCalendar) -> None:
    """vobject expands the recurring looks; the days must be those of the bench, no more and no fewer."""
    found = []
    for event in events(to_ics(bench, stamp())):
        days = event.getrruleset(addRDate=True) if hasattr(event, "rrule") else [event.dtstart.value]
        what = event.categories.value[0]
        found += [(d.date() if hasattr(d, "date") else d, what, event.summary.value.split(":")[0]) for d in days]
    wanted = [(d.day, d.what, f"{d.schedule.name} [{d.schedule.lot}]") for d in bench.days()]
    assert sorted(found) == sorted(wanted)


def test_a_third_library_reads_the_same_events_all_of_them_whole_days(bench: BenchCalendar) -> None:
    read = ics.Calendar(to_ics(bench, stamp()).decode())
    assert len(read.events) == len(events(to_ics(bench, stamp())))
    for event in read.events:
        assert event.all_day and event.alarms and event.description


def test_a_long_step_spans_its_days_and_the_next_begins_where_it_ends(bench: BenchCalendar) -> None:
    made = bench.schedules[0]
    cold = made.step("cold_moist-1")
    wanted = uid(made, "cold_moist-1", "begin")
    event = next(e for e in events(to_ics(bench, stamp())) if e.uid.value == wanted)
    assert (event.dtstart.value, event.dtend.value) == (cold.start, cold.planned)
    assert event.dtend.value == made.step("sow-1").start


def test_cautions_travel_into_every_event_of_a_step(bench: BenchCalendar) -> None:
    poisonous = [e for e in events(to_ics(bench, stamp())) if e.summary.value.startswith("Taxus")]
    assert poisonous and all("Poisonous" in e.description.value for e in poisonous)


def test_lines_end_and_fold_as_the_standard_says(bench: BenchCalendar) -> None:
    data = to_ics(bench, stamp())
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines) and not any(b"\n" in line for line in lines)


def test_no_two_events_share_an_identity(bench: BenchCalendar) -> None:
    ids = [e.uid.value for e in events(to_ics(bench, stamp()))]
    assert len(ids) == len(set(ids))


@given(st.dates(date(2027, 1, 1), date(2060, 1, 1)), st.text(max_size=12))
def test_identities_do_not_depend_on_the_time(planner: Planner, kb: KnowledgeBase, start: date, lot: str) -> None:
    habits, plan = kb.vocabulary.calendar, planner.plan("Cercis canadensis")

    def ids(day: date) -> list[str]:
        return [
            e.uid.value for e in events(to_ics(BenchCalendar((schedule(plan, habits, start=day, lot=lot),)), stamp()))
        ]

    assert ids(start) == ids(START)


# Made again, when dates have changed


def shown(data: bytes) -> dict[str, list[date]]:
    """What a calendar shows after importing: by identity, the days of events that are not cancelled."""
    found = {}
    for event in events(data):
        cancelled = hasattr(event, "status") and event.status.value == "CANCELLED"
        days = event.getrruleset(addRDate=True) if hasattr(event, "rrule") else [event.dtstart.value]
        found[event.uid.value] = [] if cancelled else [d.date() if hasattr(d, "date") else d for d in days]
    return found


def imported(*files: bytes) -> dict[str, list[date]]:
    """A calendar that imported the files one after another: of each identity, the highest version counts."""
    kept: dict[str, tuple[int, list[date]]] = {}
    for data in files:
        for event in events(data):
            version = int(event.sequence.value)
            if version >= kept.get(event.uid.value, (0, []))[0]:
                kept[event.uid.value] = (version, shown(data)[event.uid.value])
    return {uid: days for uid, (_, days) in kept.items() if days}


@settings(max_examples=12)
@given(
    st.dates(date(2027, 1, 1), date(2030, 1, 1)),
    st.dates(date(2027, 1, 1), date(2030, 1, 1)),
    st.sampled_from(NAMES),
    st.sampled_from([(), ("fridge",), ("warm_place",)]),
)
def test_calendar_that_imports_again_shows_what_the_new_file_shows_and_no_more(
    planner: Planner, kb: KnowledgeBase, first: date, second: date, name: str, without: tuple[str, ...]
) -> None:
    """Other dates, and another plan of the same plant: looks and steps that are gone leave the calendar."""
    from rousewort.planning.grower import make_grower

    habits = kb.vocabulary.calendar
    other = planner.plan(name, make_grower(kb.vocabulary, without=list(without)))
    old = to_ics(BenchCalendar((schedule(planner.plan(name), habits, start=first, lot="A"),)), stamp())
    bench = BenchCalendar((schedule(other, habits, start=second, lot="A"),))
    new = to_ics(bench, stamp() + timedelta(seconds=1), old)
    assert imported(old, new) == imported(to_ics(bench, stamp()))
    again = to_ics(bench, stamp() + timedelta(seconds=2), new)
    assert shown(again) == shown(new)


def test_step_ended_early_leaves_no_looks_behind_even_without_the_earlier_file(
    planner: Planner, kb: KnowledgeBase
) -> None:
    habits, plan, day = kb.vocabulary.calendar, planner.plan("Cercis canadensis"), date(2027, 1, 10)
    old = to_ics(BenchCalendar((schedule(plan, habits, start=day),)), stamp())
    ended = {"cold_moist-1": date(2027, 1, 20)}
    bench = BenchCalendar((schedule(plan, habits, start=day, ended=ended),))
    left = imported(old, to_ics(bench, stamp() + timedelta(days=3)))
    made = bench.schedules[0]
    assert uid(made, "cold_moist-1", "look") in imported(old)
    assert uid(made, "cold_moist-1", "look") not in left
    assert sorted(d for days in left.values() for d in days) == sorted(d.day for d in bench.days())


def test_other_plants_in_the_file_that_is_replaced_are_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "bench.ics"
    run(capsys, "Taxus baccata", "--start", START.isoformat(), "--ics", str(path))
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1800000060")
    run(capsys, "Cercis canadensis", "--start", START.isoformat(), "--ics", str(path))
    assert all(e.summary.value.startswith("Cercis") for e in events(path.read_bytes()))
    before = shown(path.read_bytes())
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1800000120")
    later = (START + timedelta(90)).isoformat()
    run(capsys, "Cercis canadensis", "--without", "fridge", "--start", later, "--ics", str(path))
    cancelled = [u for u, days in shown(path.read_bytes()).items() if not days]
    assert set(cancelled) < set(before) and cancelled
    read = ics.Calendar(path.read_text(encoding="utf-8")).events  # another library reads them as well
    assert {e.uid for e in read if e.status == "CANCELLED"} == set(cancelled)


def test_earlier_file_that_was_cut_short_does_no_harm(bench: BenchCalendar) -> None:
    whole = to_ics(bench, stamp())
    for cut in (whole[: len(whole) // 2], b"PRODID" + whole[:40], whole.replace(b"DTSTART", b"DTSTAR\xff")):
        assert shown(to_ics(bench, stamp(), cut))


def test_identities_differ_by_lot_plant_step_and_kind_of_event(bench: BenchCalendar) -> None:
    a, b, _ = bench.schedules
    made = {uid(a, "sow-1", "begin"), uid(b, "sow-1", "begin"), uid(a, "nick-1", "begin"), uid(a, "sow-1", "look")}
    from dataclasses import replace

    assert len(made | {uid(replace(a, lot="other"), "sow-1", "begin")}) == 5


def test_a_later_export_counts_as_a_later_version(bench: BenchCalendar) -> None:
    first, second = (events(to_ics(bench, stamp() + timedelta(days)))[0] for days in (0, 1))
    assert int(second.sequence.value) > int(first.sequence.value)


def test_the_same_stamp_gives_the_same_bytes(bench: BenchCalendar) -> None:
    assert to_ics(bench, stamp()) == to_ics(bench, stamp())


# The command


def test_text_shows_steps_days_and_cautions_in_80_columns(capsys: pytest.CaptureFixture) -> None:
    code, out, _ = run(capsys, *NAMES, "--start", START.isoformat())
    assert code == 0
    assert all(len(line) <= 80 for line in out.splitlines()) and "\x1b" not in out
    assert all(name in out for name in NAMES) and "Day by day" in out and "Poisonous" in out


def test_a_wanted_day_is_met(capsys: pytest.CaptureFixture) -> None:
    wanted = date.today() + timedelta(500)
    code, out, _ = run(capsys, "Cercis canadensis", "--wanted", wanted.isoformat())
    assert code == 0 and f"Seedlings counted on {wanted}" in out


def test_a_day_out_of_reach_is_said_with_the_nearest(capsys: pytest.CaptureFixture) -> None:
    soon = date.today() + timedelta(10)
    code, out, _ = run(capsys, "Cercis canadensis", "--wanted", soon.isoformat())
    assert code == 0 and f"{soon} can no longer be reached" in out and "A season later: the same plan" in out


def test_csv_has_a_line_for_each_thing_to_do(capsys: pytest.CaptureFixture, bench: BenchCalendar) -> None:
    lots = [word for made in bench.schedules for word in ("--lot", made.lot)]
    code, out, _ = run(capsys, *NAMES, *lots, "--start", START.isoformat(), "--csv", "-")
    rows = list(csv.DictReader(io.StringIO(out, newline="")))
    assert code == 0 and [r["day"] for r in rows] == [d.day.isoformat() for d in bench.days()]
    assert {(r["plant"], r["lot"]) for r in rows} == {(s.name, s.lot) for s in bench.schedules}
    assert all("Poisonous" in r["cautions"] for r in rows if r["plant"] == "Taxus baccata")


def test_an_export_can_be_repeated_but_never_over_another_file(capsys: pytest.CaptureFixture, tmp_path: Path) -> None:
    mine, other = tmp_path / "bench.ics", tmp_path / "notes.txt"
    other.write_text("ten years of notes")
    for _ in range(2):
        assert run(capsys, "Cercis canadensis", "--start", START.isoformat(), "--ics", str(mine))[0] == 0
    code, _, err = run(capsys, "Cercis canadensis", "--start", START.isoformat(), "--ics", str(other))
    assert code == 2 and "--force" in err and other.read_text() == "ten years of notes"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bench.ics", "notes.txt"]
    assert run(capsys, "Cercis canadensis", "--start", START.isoformat(), "--ics", str(other), "--force")[0] == 0


def test_a_folder_that_is_not_there_is_said(capsys: pytest.CaptureFixture, tmp_path: Path) -> None:
    code, _, err = run(capsys, "Cercis canadensis", "--start", "today", "--ics", str(tmp_path / "no" / "x.ics"))
    assert code == 2 and "cannot be written" in err and "Traceback" not in err


def test_a_stored_plan_is_dated(capsys: pytest.CaptureFixture, tmp_path: Path) -> None:
    main(["plan", "Cercis canadensis", "--json"])
    stored = tmp_path / "plan.json"
    stored.write_text(capsys.readouterr().out, encoding="utf-8")
    by_file = run(capsys, "--plan", str(stored), "--start", START.isoformat())
    assert by_file == run(capsys, "Cercis canadensis", "--start", START.isoformat()) and by_file[0] == 0


def test_a_step_that_ended_early_moves_the_rest(capsys: pytest.CaptureFixture) -> None:
    began, ended = date.today() - timedelta(40), date.today() - timedelta(2)
    code, out, _ = run(
        capsys, "Cercis canadensis", "--start", str(began), "--ended", f"cold_moist-1={ended}", "--csv", "-"
    )
    rows = {r["step"]: r for r in csv.DictReader(io.StringIO(out, newline="")) if r["what"] == "begin"}
    assert code == 0 and rows["cold_moist-1"]["planned"] == str(ended) == rows["sow-1"]["start"]


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        ([], "Name a plant"),
        (["Cercis canadensis"], "Give one date"),
        (["Cercis canadensis", "--start", "31.12.2030"], "YYYY-MM-DD"),
        (["Cercis canadensis", "--start", "2030-02-30"], "YYYY-MM-DD"),
        (["Cercis canadensis", "--start", "2001-01-01"], "--past"),
        (["Cercis canadensis", "--start", "today", "--wanted", "2090-01-01"], "not start and wanted"),
        (["Cercis", "canadensis", "--start", "today"], "in quotes"),
        (["Cercis canadensis", "redbud", "--start", "today"], "there twice"),
        (["Cercis canadensis", "--start", "today", "--lot", "a", "--lot", "b"], "2 lots are given for 1"),
        (["Cercis canadensis", "--start", "today", "--ended", "sow-1"], "STEP=DATE"),
        (["Cercis canadensis", "Taxus baccata", "--start", "today", "--ended", "sow-1=2027-01-01"], "one batch"),
        (["--plan", "no/such/file.json", "--start", "today"], "cannot be read"),
        (["Orchis mascula", "--start", "today"], "no steps to date"),
        (["Cercis canadensis", "--start", "today", "--ics", "-", "--csv", "-"], "Only one"),
    ],
)
def test_bad_input_is_answered_in_words(capsys: pytest.CaptureFixture, argv: list[str], says: str) -> None:
    code, out, err = run(capsys, *argv)
    assert code == 2 and says in err and not out and "Traceback" not in err


def test_a_plant_that_cannot_be_dated_is_named_and_the_others_are_dated(capsys: pytest.CaptureFixture) -> None:
    code, out, err = run(capsys, "Cercis canadensis", "Orchis mascula", "--start", "today")
    assert code == 1 and "Cercis canadensis" in out and "left out: Orchis mascula" in err


def test_a_file_that_is_no_plan_is_refused(capsys: pytest.CaptureFixture, tmp_path: Path) -> None:
    for text in ("{", "[]", '{"format": "x"}'):
        (tmp_path / "p.json").write_text(text)
        code, _, err = run(capsys, "--plan", str(tmp_path / "p.json"), "--start", "today")
        assert code == 2 and "no plan" in err


# Quantities


def quantities(capsys: pytest.CaptureFixture, *argv: str) -> tuple[int, str, str]:
    code = main(["quantities", *argv])
    out, err = capsys.readouterr()
    return code, out, err


def test_quantities_as_text_and_as_json_say_the_same(capsys: pytest.CaptureFixture) -> None:
    argv = (
        "Taxus baccata",
        "--plants",
        "50",
        "--germination",
        "60%",
        "--survival",
        "0.9",
        "--seeds-per-gram",
        "14",
        "--per-cell",
        "2",
    )
    code, text, _ = quantities(capsys, *argv)
    made = json.loads(quantities(capsys, *argv, "--json")[1])
    assert code == 0 and f"Sow {made['seed']['seeds']} seeds" in text and f"Fill {made['cells']['cells']} cells" in text
    assert made["seed"]["chance"] == pytest.approx(0.54) and made["room"]["bags"] >= 1
    assert made["grams"] == pytest.approx(made["cells"]["seeds"] / 14)
    assert "Poisonous" in text and "Poisonous" in made["cautions"][0]


def test_what_is_not_known_is_left_blank(capsys: pytest.CaptureFixture) -> None:
    code, text, _ = quantities(capsys, "Asarum canadense", "--plants", "50", "--germination", "0.7")
    assert code == 0 and "not known here" in text and " g of the lot" not in text


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["--plants", "-5", "--germination", "0.7"], "plants wanted must be"),
        (["--plants", "0", "--germination", "0.7"], "plants wanted must be"),
        (["--plants", "many", "--germination", "0.7"], "a whole number"),
        (["--plants", "5", "--germination", "70"], "70 % is 0.7"),
        (["--plants", "5", "--germination", "0.7", "--seeds-per-gram", "0"], "seeds per gram must be"),
        (["--plants", "5", "--germination", "0.7", "--per-cell", "0"], "seeds per cell must be"),
        (["--plants", "5", "--germination", "0.7", "--probability", "1"], "below 1"),
    ],
)
def test_numbers_that_cannot_be_are_refused(capsys: pytest.CaptureFixture, argv: list[str], says: str) -> None:
    code, out, err = quantities(capsys, "Cercis canadensis", *argv)
    assert code == 2 and says in err and not out
