"""Nothing is fetched and nothing is sent: only `serve` opens a socket."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ENGINE = str(Path(__file__).parents[1] / "engine")
# Loaded by every Python that is started, children of ours too; writes down each use of the net before it happens.
WATCH = """
import os, sys
def _watch(event, arguments):
    if event in ("socket.connect", "socket.bind", "socket.getaddrinfo", "socket.sendto", "socket.gethostbyname", "urllib.Request"):
        with open(os.environ["ROUSEWORT_WATCH"], "a") as log:
            log.write(f"{event} {arguments!r}\\n")
sys.addaudithook(_watch)
"""
COMMANDS = [
    "--version",
    "plan 'Cercis canadensis' --json",
    "why 'Cercis canadensis' cold_moist",
    "find --family Fabaceae",
    "show 'Cercis canadensis'",
    "check",
    "calendar 'Cercis canadensis' --start 2030-01-01 --ics {tmp}/x.ics",
    "labels 'Cercis canadensis' --start 2030-01-01 --out {tmp}/x.pdf",
    "observe 'Vigna marina' --saw cut_test.full=18 --saw cut_test.empty=2",
    "trial design 'Tapiscia sinensis' --seeds 400",
    "batch start 'Cercis canadensis' --seeds 20 --ledger {tmp}/l.sqlite",
    "batch due --ledger {tmp}/l.sqlite",
    "batch backup --ledger {tmp}/l.sqlite",
    "batch export {tmp}/all.json --ledger {tmp}/l.sqlite",
    "batch doctor --ledger {tmp}/l.sqlite",
    "source add --kb {tmp}/layer --author 'Reed, Ana' --year 2019 --title 'Waking Sallowia seed' --journal 'Sallow Bridge Notes'",
    "entry new 'Sallowia ripensis' --family Salicaceae --no-ask --kb {tmp}/layer",
    "table export {tmp}/table 'Cercis canadensis'",
    "completion bash",
]


def watched(tmp_path: Path, line: str) -> subprocess.Popen[str]:
    (tmp_path / "sitecustomize.py").write_text(WATCH)
    env = {
        **os.environ,
        "PYTHONPATH": f"{tmp_path}{os.pathsep}{ENGINE}",
        "ROUSEWORT_WATCH": str(tmp_path / "watch.log"),
    }
    command = f"exec {sys.executable} -m rousewort.cli.main {line.format(tmp=tmp_path)}"
    return subprocess.Popen(["bash", "-c", command], env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def seen(tmp_path: Path) -> str:
    log = tmp_path / "watch.log"
    return log.read_text() if log.exists() else ""


def test_no_command_opens_a_socket(tmp_path: Path) -> None:
    for line in COMMANDS:
        child = watched(tmp_path, line)
        _, err = child.communicate(timeout=120)
        assert child.returncode == 0, (line, err)
        assert seen(tmp_path) == "", line


@pytest.mark.slow
def test_building_the_handbook_opens_no_socket(tmp_path: Path) -> None:
    child = watched(tmp_path, "handbook build --only 'Cercis canadensis' --out {tmp}/handbook")
    _, err = child.communicate(timeout=600)
    assert child.returncode == 0 and seen(tmp_path) == "", err


def test_serve_does_and_the_watch_sees_it(tmp_path: Path) -> None:
    assert watched(tmp_path, "batch start 'Cercis canadensis' --seeds 20 --ledger {tmp}/l.sqlite").wait(120) == 0
    child = watched(tmp_path, "bench serve --port 18476 --ledger {tmp}/l.sqlite")
    assert child.stderr is not None and "Bench pages" in child.stderr.readline()
    child.send_signal(signal.SIGTERM)  # SIGINT is ignored by what a shell started in the background
    child.wait(30)
    uses = seen(tmp_path).splitlines()
    assert any(use.startswith("socket.bind") and "18476" in use for use in uses)
    assert not [use for use in uses if "127.0.0.1" not in use]
