"""A backup never takes the place of anything, and going back to one loses nothing: neither what was, nor what is."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from rousewort.base.errors import UserError
from rousewort.cli import batching
from rousewort.cli.main import main
from rousewort.ledger.backups import keep_copy, restore
from rousewort.ledger.book import Ledger
from rousewort.ledger.exchange import backup, everything, export_to
from rousewort.ledger.opening import open_ledger
from rousewort.ledger.store import address

DAY = date(2025, 3, 10)


def opener(where: str) -> Callable[[], Ledger]:
    return lambda: open_ledger(where, today=lambda: DAY)


def fill(where: str, plan: dict[str, Any], batches: int) -> dict[str, Any]:
    with opener(where)() as ledger:
        for seeds in range(1, batches + 1):
            code = ledger.start(plan, seeds=seeds).code
            ledger.record(code, "note", note=f"of {seeds}")
        return everything(ledger)


def held(where: str) -> dict[str, Any]:
    with opener(where)() as ledger:
        return everything(ledger)


def test_backup_never_takes_the_place_of_another(
    fresh: Callable[[], str], tmp_path: Path, redbud: dict[str, Any]
) -> None:
    large, small, copy = fresh(), fresh(), tmp_path / "copy"
    fill(large, redbud, 3)
    fill(small, redbud, 1)
    with opener(large)() as ledger:
        backup(ledger, copy)
    before = copy.read_bytes()
    with opener(small)() as ledger, pytest.raises(UserError, match="never overwrites"):
        backup(ledger, copy)
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    with opener(small)() as ledger, pytest.raises(UserError):
        backup(ledger, tmp_path / "link")
    assert copy.read_bytes() == before and not (tmp_path / "nowhere").exists()


def test_dated_backups_are_kept_by_count(fresh: Callable[[], str], tmp_path: Path, redbud: dict[str, Any]) -> None:
    where, folder = fresh(), tmp_path / "keep"
    fill(where, redbud, 1)
    folder.mkdir()
    (folder / "notes.sqlite").write_text("mine")
    with opener(where)() as ledger:
        made = [keep_copy(ledger, folder, keep=3) for _ in range(5)]
        assert len({*made}) == 5  # within one second, too
        assert sorted(folder.iterdir()) == sorted([*made[2:], folder / "notes.sqlite"])


def test_older_backup_that_holds_more_than_the_newest_stays(tmp_path: Path, redbud: dict[str, Any]) -> None:
    where = str(tmp_path / "ledger.sqlite")
    fill(where, redbud, 3)
    with opener(where)() as ledger:
        more = keep_copy(ledger)
    os.unlink(where)
    fill(where, redbud, 1)
    with opener(where)() as ledger:
        last = [keep_copy(ledger, more.parent, keep=1) for _ in range(3)][-1]
    assert sorted(more.parent.iterdir()) == sorted([more, last])


def test_going_back_gives_the_ledger_of_then_and_keeps_the_one_of_now(
    fresh: Callable[[], str], tmp_path: Path, redbud: dict[str, Any]
) -> None:
    where, copy = fresh(), tmp_path / "then"
    then = fill(where, redbud, 2)
    with opener(where)() as ledger:
        backup(ledger, copy)
    now = fill(where, redbud, 2)
    done = restore(address(where), copy, opener(where))
    assert held(where) == then and done[:2] == (2, 4) and done.kept is not None
    undone = restore(address(where), done.kept, opener(where))
    assert held(where) == now and undone.kept != done.kept
    with opener(where)() as ledger:  # history is still never rewritten
        assert ledger.record("1", "note", note="on").turn == 3
        with pytest.raises(Exception, match="never rewritten"), ledger.store.engine.begin() as connection:
            connection.exec_driver_sql("DELETE FROM rousewort_event")


def test_backup_of_one_database_is_restored_into_the_other(
    place_of: Callable[[str], str], tmp_path: Path, redbud: dict[str, Any]
) -> None:
    lite, post = place_of("sqlite"), place_of("postgresql")
    then = fill(lite, redbud, 2)
    for source, target, name in ((lite, post, "a"), (post, lite, "b")):
        with opener(source)() as ledger:
            backup(ledger, tmp_path / name)
        restore(address(target), tmp_path / name, opener(target))
        assert held(target) == then


@pytest.mark.parametrize("how", ["text", "cut", "flipped", "another", "gone", "folder", "itself", "json"])
def test_backup_that_is_not_sound_changes_nothing(tmp_path: Path, redbud: dict[str, Any], how: str) -> None:
    where, copy = str(tmp_path / "l.sqlite"), tmp_path / "copy"
    before = fill(where, redbud, 2)
    with opener(where)() as ledger:
        backup(ledger, copy)
        if how == "json":
            export_to(ledger, tmp_path / "x.json")
            copy.write_bytes((tmp_path / "x.json").read_bytes().replace(b'"query": "', b'"query": "x', 1))
    whole = copy.read_bytes()
    match how:
        case "text":
            copy.write_text("my notes")
        case "cut":
            copy.write_bytes(whole[: len(whole) // 2])
        case "flipped":
            copy.write_bytes(whole[:100] + bytes(b ^ 255 for b in whole[100:5000]) + whole[5000:])
        case "another":
            copy.unlink()
            with sqlite3.connect(copy) as database:
                database.execute("CREATE TABLE recipes (name TEXT)")
        case "gone" | "folder":
            copy.unlink()
            if how == "folder":
                copy.mkdir()
        case "itself":
            copy = Path(where)
    with pytest.raises(UserError):
        restore(address(where), copy, opener(where))
    assert held(where) == before


def test_damaged_ledger_is_moved_aside_and_the_backup_takes_its_place(tmp_path: Path, redbud: dict[str, Any]) -> None:
    where = tmp_path / "l.sqlite"
    then = fill(str(where), redbud, 3)
    with opener(str(where))() as ledger:
        backup(ledger, tmp_path / "copy")
    broken = where.read_bytes()[:100] + b"\xff" * 12_000 + where.read_bytes()[12_100:]
    where.write_bytes(broken)
    done = restore(address(str(where)), tmp_path / "copy", opener(str(where)))
    assert held(str(where)) == then
    assert done.kept is not None and done.kept.read_bytes() == broken


WRITER = """
import sys, time
from rousewort.ledger.opening import open_ledger
with_open = open_ledger(sys.argv[1])
for n in range(40):
    with_open.record("1", "note", note=f"late {n}")
print("ready", flush=True)
time.sleep(60)
"""


def test_copied_back_backup_is_not_undone_by_what_a_killed_process_left(tmp_path: Path, redbud: dict[str, Any]) -> None:
    """By hand, with no command: the file is put in the ledger's place after kill -9."""
    where, copy = tmp_path / "l.sqlite", tmp_path / "copy"
    then = fill(str(where), redbud, 1)
    with opener(str(where))() as ledger:
        backup(ledger, copy)
    child = subprocess.Popen([sys.executable, "-c", WRITER, str(where)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None and child.stdout.readline() == "ready\n"
    child.kill()
    child.wait()
    shutil.copy(copy, where)
    assert held(str(where)) == then


def test_pages_asked_to_end_close_the_ledger(tmp_path: Path, redbud: dict[str, Any]) -> None:
    where = tmp_path / "l.sqlite"
    fill(str(where), redbud, 1)
    command = [sys.executable, "-c", "from rousewort.cli.main import run; run()"]
    child = subprocess.Popen(
        [*command, "bench", "serve", "--port", "18473", "--ledger", str(where)], stderr=subprocess.PIPE, text=True
    )
    assert child.stderr is not None and "Bench pages" in child.stderr.readline()
    other = sqlite3.connect(where)  # so that a write-ahead file is there
    other.execute("SELECT count(*) FROM rousewort_event").fetchall()
    other.close()
    child.send_signal(signal.SIGTERM)
    assert child.wait(30) == 0
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith("l.")] == ["l.sqlite"]


def test_backup_and_restore_by_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(batching, "today", lambda: DAY)
    where = str(tmp_path / "mine.sqlite")

    def batch(*words: object) -> int:
        return main(["batch", *map(str, words), "--ledger", where])

    assert batch("start", "Cercis canadensis", "--seeds", 10) == 0
    assert batch("backup") == 0
    (made,) = (tmp_path / "mine-backups").iterdir()
    assert made.name.startswith("mine-2") and str(made) in capsys.readouterr().err
    assert batch("backup", made) == 2 and "never overwrites" in capsys.readouterr().err
    assert batch("start", "Cercis canadensis", "--seeds", 20) == 0
    assert batch("restore", made) == 0
    said = capsys.readouterr().err
    assert "1 batches with 1 entries" in said and "before-restore" in said
    assert batch("show", "2E") == 2 and batch("show", "1C") == 0
    assert batch("restore", tmp_path / "nothing") == 2
