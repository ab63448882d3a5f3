"""Kills, backups and restores at random moments, with pages and writers running: every act that was acknowledged is found
again, in the ledger or in what was kept of it, and none twice. With ROUSEWORT_ALL=1 fifty rounds, else a few."""

from __future__ import annotations

import os
import queue
import random
import subprocess
import sys
import threading
import time
import urllib.request
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from rousewort.ledger.backups import Restored, keep_copy, restore
from rousewort.ledger.exchange import everything, from_json
from rousewort.ledger.opening import open_ledger
from rousewort.ledger.store import address

ROUNDS = 50 if os.environ.get("ROUSEWORT_ALL") == "1" else 6
WRITER = """
import sys
from rousewort.base.errors import UserError
from rousewort.ledger.opening import open_ledger
ledger, n = open_ledger(sys.argv[1]), 0
while True:
    n += 1
    try:
        ledger.record("1", "note", note=f"{sys.argv[2]} {n}")
        print(f"{sys.argv[2]} {n}", flush=True)
    except UserError as trouble:
        print("refused", flush=True)
"""


class Writer:
    """A process that writes and says what it wrote, until it is killed."""

    def __init__(self, where: str, name: str) -> None:
        self.said: queue.Queue[str] = queue.Queue()
        self.process = subprocess.Popen([sys.executable, "-c", WRITER, where, name], stdout=subprocess.PIPE, text=True)
        self.thread = threading.Thread(target=self._listen, daemon=True)
        self.thread.start()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.endswith("\n") and line != "refused\n":
                self.said.put(line.strip())

    def wrote(self) -> bool:
        """Waits until it has written once: a slow machine takes its time to begin."""
        deadline = time.monotonic() + 60
        while self.said.empty() and time.monotonic() < deadline:
            time.sleep(0.02)
        return not self.said.empty()

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()
        self.thread.join(20)

    def acknowledged(self) -> list[str]:
        return list(self.said.queue)


def notes(data: dict[str, Any]) -> Counter[str]:
    return Counter(e["data"]["note"] for b in data["batches"] for e in b["events"] if e["kind"] == "note")


def held(path: Path) -> Counter[str]:
    if path.suffix == ".json":
        return notes(from_json(path.read_bytes()))
    with open_ledger(path, make=False) as ledger:
        return notes(everything(ledger))


@pytest.mark.parametrize("running", [False, True], ids=["no pages", "pages running"])
def test_nothing_acknowledged_is_lost_or_doubled(
    where: str, tmp_path: Path, redbud: dict[str, Any], running: bool
) -> None:
    chance = random.Random(19)
    with open_ledger(where) as ledger:
        ledger.start(redbud, seeds=10)
    pages, port = None, 18480 + ("://" in where)
    if running:
        command = [
            sys.executable,
            "-c",
            "from rousewort.cli.main import run; run()",
            "bench",
            "serve",
            "--port",
            str(port),
        ]
        pages = subprocess.Popen([*command, "--ledger", where], stderr=subprocess.PIPE, text=True)
        assert pages.stderr is not None and "Bench pages" in pages.stderr.readline()
    writers: list[Writer] = []
    backups: list[Path] = []
    kept: list[Path] = []
    try:
        for turn in range(ROUNDS):
            pair = [Writer(where, f"{turn}-{n}") for n in range(2)]
            writers += pair
            assert all(writer.wrote() for writer in pair)
            time.sleep(chance.uniform(0.05, 0.6))
            act = chance.choice(["kill", "backup", "restore"]) if backups else "backup"
            if act == "backup":
                with open_ledger(where) as ledger:
                    backups.append(keep_copy(ledger))
            elif act == "restore":
                done: Restored = restore(address(where), chance.choice(backups), lambda: open_ledger(where))
                assert done.kept is not None
                kept.append(done.kept)
                time.sleep(chance.uniform(0, 0.3))
            for writer in pair:
                writer.kill()
            if pages is not None:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/batch/1", timeout=30) as answer:
                    assert answer.status == 200
    finally:
        for writer in writers:
            writer.kill()
        if pages is not None:
            pages.terminate()
            pages.wait(30)
    with open_ledger(where) as ledger:
        places = [notes(everything(ledger)), *map(held, [*kept, *backups])]
        assert ledger.batch("1").seeds == 10
    found = {note for place in places for note in place}
    told = {note for writer in writers for note in writer.acknowledged()}
    assert told and not told - found
    assert not [note for place in places for note, times in place.items() if times > 1]
