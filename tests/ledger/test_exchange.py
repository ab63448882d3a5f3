"""Out and in again: the same ledger, to the letter; and backups."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.ledger import exchange
from rousewort.ledger.book import Ledger, open_ledger
from rousewort.ledger.exchange import (
    backup,
    everything,
    export_to,
    from_csv,
    from_json,
    import_from,
    take,
    to_csv,
    to_json,
)

DAY = date(2025, 3, 10)
NASTY = [
    "=1+1",
    "'quoted",
    "-5",
    "@x",
    'a "b", c',
    "two\nlines",
    "\ttab",
    "été 種 🌱",
    "0012",
    "  spaces  ",
    "null",
    "\r\nx",
    "'=x",
    "\\N",
]


def fill(ledger: Ledger, plan: dict[str, Any]) -> None:
    """One of everything."""
    one = ledger.start(
        plan,
        seeds=100,
        grams=2.5,
        lot="=A1",
        provenance="Sallow Bridge",
        viability=0.9,
        south=True,
        day=DAY - timedelta(30),
    ).code
    for text in NASTY:
        ledger.record(one, "note", note=text, day=DAY - timedelta(29))
    ledger.record(one, "move", step="cold_moist-1", day=DAY - timedelta(29))
    ledger.record(one, "check", finds=["mould", "wet"], lost=3, day=DAY - timedelta(20))
    _, part = ledger.split(one, seeds=20, day=DAY - timedelta(19))
    ledger.record(one, "wait", until=DAY + timedelta(5), day=DAY - timedelta(10))
    ledger.undo(one)
    other = ledger.start({**plan, "query": "redbud"}, seeds=10, day=DAY - timedelta(9)).code
    ledger.record(other, "move", step="cold_moist-1", day=DAY - timedelta(9))
    ledger.merge(other, part.code)
    ledger.record(one, "sow")
    ledger.record(one, "count", new=0)
    ledger.record(one, "close", plants=0)
    ledger.record(part.code, "discard", reason="demonstration")


@pytest.mark.parametrize("name", ["all.json", "sheets"])
def test_export_and_import_give_the_same_ledger_to_the_letter(
    fresh: Callable[[], str], tmp_path: Path, redbud: dict[str, Any], name: str
) -> None:
    with open_ledger(fresh(), today=lambda: DAY) as one, open_ledger(fresh(), today=lambda: DAY) as two:
        fill(one, redbud)
        export_to(one, tmp_path / name)
        new, added = import_from(two, tmp_path / name)
        assert (new, added) == (3, sum(len(b["events"]) for b in everything(one)["batches"]))
        assert to_json(everything(two)) == to_json(everything(one))
        assert to_csv(everything(two)) == to_csv(everything(one))
        assert two.batches(ended=None) == one.batches(ended=None)
        assert import_from(two, tmp_path / name) == (0, 0)


def test_ledger_goes_from_sqlite_to_postgresql_and_back_unchanged(
    place_of: Callable[[str], str], redbud: dict[str, Any]
) -> None:
    places = [place_of(kind) for kind in ("sqlite", "postgresql", "sqlite")]
    with open_ledger(places[0], today=lambda: DAY) as ledger:
        fill(ledger, redbud)
        first = to_json(everything(ledger))
    text = first
    for place in places[1:]:
        with open_ledger(place) as ledger:
            take(ledger, from_json(text))
            text = to_json(everything(ledger))
    assert text == first


@given(note=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), min_size=1).filter(str.strip))
def test_any_text_survives_the_sheets(note: str) -> None:
    event = {"turn": 1, "day": "2025-01-01", "kind": "note", "recorded": "x", "data": {"note": note}}
    data = {
        "format": exchange.FORMAT,
        "plans": {},
        "batches": [{"number": 1, "code": "A-1", "plan": "p", "events": [event]}],
    }
    assert from_csv(to_csv(data)) == data


def test_no_cell_of_free_text_runs_as_a_formula(tmp_path: Path, redbud: dict[str, Any]) -> None:
    import csv

    with open_ledger(str(tmp_path / "l.sqlite"), today=lambda: DAY) as ledger:
        fill(ledger, redbud)
        export_to(ledger, tmp_path / "sheets")
    with open(tmp_path / "sheets" / "events.csv", encoding="utf-8", newline="") as file:
        cells = [
            cell
            for row in csv.DictReader(file)
            for key, cell in row.items()
            if key in ("note", "lot", "reason", "provenance")
        ]
    assert "'=A1" in cells
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


def test_import_adds_only_what_is_new(fresh: Callable[[], str], redbud: dict[str, Any]) -> None:
    with open_ledger(fresh(), today=lambda: DAY) as one, open_ledger(fresh(), today=lambda: DAY) as two:
        code = one.start(redbud, seeds=10).code
        take(two, everything(one))
        one.record(code, "note", note="later")
        one.start(redbud, seeds=20)
        assert take(two, everything(one)) == (1, 2)
        assert everything(two) == everything(one)
        shorter = {**everything(one), "batches": everything(one)["batches"][:1]}
        assert take(two, shorter) == (0, 0)


def test_import_with_another_history_changes_nothing(fresh: Callable[[], str], redbud: dict[str, Any]) -> None:
    with open_ledger(fresh(), today=lambda: DAY) as one, open_ledger(fresh(), today=lambda: DAY) as two:
        one.start(redbud, seeds=10)
        one.start(redbud, seeds=11)
        two.start(redbud, seeds=99)
        before = everything(two)
        with pytest.raises(UserError, match="another history"):
            take(two, everything(one))
        assert everything(two) == before


def _spoil(data: dict[str, Any], how: str) -> Any:
    first = data["batches"][0]
    match how:
        case "format":
            data["format"] = "rousewort-ledger-99"
        case "gap":
            del first["events"][1]
        case "plan":
            next(iter(data["plans"].values()))["query"] = "another"
        case "lost plan":
            data["plans"] = {}
        case "impossible":
            first["events"][0]["data"]["seeds"] = -1
        case "twice":
            data["batches"].append(first)
        case "day":
            first["events"][0]["day"] = "2025-13-45"
        case "list":
            return [data]
    return data


@pytest.mark.parametrize("how", ["format", "gap", "plan", "lost plan", "impossible", "twice", "day", "list"])
def test_damaged_export_is_refused_whole(fresh: Callable[[], str], redbud: dict[str, Any], how: str) -> None:
    with open_ledger(fresh(), today=lambda: DAY) as one, open_ledger(fresh(), today=lambda: DAY) as two:
        fill(one, redbud)
        data = _spoil(json.loads(to_json(everything(one))), how)
        with pytest.raises(UserError):
            take(two, data)
        assert everything(two)["batches"] == []


@pytest.mark.parametrize("text", [b"", b"{", b"\xff\xfe", b"[1]", b"null"])
def test_file_that_is_no_export_is_refused(tmp_path: Path, text: bytes) -> None:
    (tmp_path / "x.json").write_bytes(text)
    with open_ledger(str(tmp_path / "l.sqlite")) as ledger, pytest.raises(UserError):
        import_from(ledger, tmp_path / "x.json")


def test_backup_made_while_another_writes_is_whole(
    ledger: Ledger, where: str, tmp_path: Path, redbud: dict[str, Any]
) -> None:
    code = ledger.start(redbud, seeds=10).code
    stop = threading.Event()

    def write() -> None:
        with open_ledger(where, today=lambda: DAY) as other:
            while not stop.is_set():
                other.record(code, "note", note="meanwhile")

    busy = threading.Thread(target=write)
    busy.start()
    try:
        path = tmp_path / "backup"
        backup(ledger, path)
        backup(ledger, path)  # over the one before
    finally:
        stop.set()
        busy.join()
    if ledger.store.sqlite:
        with open_ledger(str(path)) as copy:
            found = everything(copy)
        with sqlite3.connect(path) as database:
            assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    else:
        found = from_json(path.read_bytes())
    now = everything(ledger)
    assert found["plans"] == now["plans"]
    events = found["batches"][0]["events"]
    assert events == now["batches"][0]["events"][: len(events)]
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_backup_over_the_ledger_itself_is_refused(tmp_path: Path, redbud: dict[str, Any]) -> None:
    where = tmp_path / "l.sqlite"
    with open_ledger(where) as ledger:
        ledger.start(redbud, seeds=1)
        with pytest.raises(UserError, match="ledger itself"):
            backup(ledger, where)
        assert len(ledger.batches()) == 1


def test_file_that_cannot_be_written_leaves_the_old_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "out.json"
    path.write_text("before")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(UserError, match="No space left"):
        exchange.write_atomically(path, b"after")
    assert path.read_text() == "before" and [p.name for p in tmp_path.iterdir()] == ["out.json"]
