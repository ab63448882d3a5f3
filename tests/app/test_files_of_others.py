"""A command writes only over what it made itself, or what --force names; links, devices and pipes are left alone."""

from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from rousewort.cli import batching
from rousewort.cli.main import main
from rousewort.ledger.opening import open_ledger

DAY = date(2025, 3, 10)
WEATHER = "station,date,tmin,tmax\n1,2024-01-01,-3,4\n"
Run = Callable[..., int]


@pytest.fixture
def ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    monkeypatch.setattr(batching, "today", lambda: DAY)
    where = str(tmp_path / "l.sqlite")
    assert main(["batch", "start", "Cercis canadensis", "--seeds", "10", "--ledger", where]) == 0
    capsys.readouterr()
    return where


def commands(ledger: str) -> dict[str, Callable[[Path], list[str]]]:
    """Everything that writes where it is told, as it is typed."""
    saw = ["--saw", "cut_test.full=18", "--saw", "cut_test.empty=2"]
    return {
        "observe": lambda out: ["observe", "Vigna marina", *saw, "--save", str(out)],
        "export": lambda out: ["batch", "export", str(out), "--ledger", ledger],
        "backup": lambda out: ["batch", "backup", str(out), "--ledger", ledger],
        "calendar": lambda out: ["calendar", "Cercis canadensis", "--start", "2030-01-01", "--ics", str(out)],
        "calendar csv": lambda out: ["calendar", "Cercis canadensis", "--start", "2030-01-01", "--csv", str(out)],
        "labels": lambda out: ["labels", "Cercis canadensis", "--start", "2030-01-01", "--out", str(out)],
        "handbook": lambda out: ["handbook", "build", "--only", "Cercis canadensis", "--out", str(out)],
    }


KINDS = list(commands(""))


@pytest.mark.parametrize("kind", KINDS)
def test_file_of_somebody_else_stays_as_it_is(
    ledger: str, tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "mine.json"
    other.write_text(WEATHER)
    assert main(commands(ledger)[kind](other)) == 2
    assert other.read_text() == WEATHER and str(other) in capsys.readouterr().err


@pytest.mark.parametrize("kind", KINDS)
def test_links_devices_and_pipes_are_left_alone(
    ledger: str, tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    target, link, pipe = tmp_path / "target.json", tmp_path / "link.json", tmp_path / "pipe.json"
    link.symlink_to(target)
    os.mkfifo(pipe)
    for out in (link, pipe, Path(os.devnull)):
        began = time.monotonic()
        assert main(commands(ledger)[kind](out)) == 2, out
        assert time.monotonic() - began < 20
        assert str(out) in capsys.readouterr().err
    assert link.is_symlink() and not target.exists() and pipe.is_fifo()


@pytest.mark.parametrize("name", ["station.csv", "plan.json", "notes.txt", "compose.yaml"])
def test_fmt_puts_nothing_into_form_that_is_no_knowledge(
    tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    text = {"station.csv": WEATHER, "plan.json": '{"format": "rousewort-plan-1"}', "notes.txt": "a: 1\n"}
    path = tmp_path / name
    path.write_text(before := text.get(name, "services:   {web: {image:   x}}\n"))
    assert main(["entry", "fmt", str(path)]) == 2 and "left as it is" in capsys.readouterr().err
    assert path.read_text() == before
    if name.endswith("yaml"):
        assert main(["entry", "fmt", "--force", str(path)]) == 0 and path.read_text() != before


def test_sheets_go_into_no_file(ledger: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "station.csv"
    out.write_text(WEATHER)
    assert main(["batch", "export", str(out), "--ledger", ledger]) == 2
    assert "station.csv is a file" in capsys.readouterr().err and out.read_text() == WEATHER


def test_observations_are_saved_over_earlier_ones_and_with_force_over_anything(tmp_path: Path) -> None:
    out = tmp_path / "seen.yaml"
    words = commands("")["observe"](out)
    assert main(words) == 0 and main(words) == 0
    out.write_text("my notes")
    assert main(words) == 2 and main([*words, "--force"]) == 0


def test_export_replaces_an_earlier_one_of_the_same_ledger_and_no_larger_one(
    ledger: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for out in (tmp_path / "all.json", tmp_path / "sheets"):
        words = ["batch", "export", str(out), "--ledger", ledger]
        assert main(words) == 0
        with open_ledger(ledger, today=lambda: DAY) as opened:
            opened.record("1", "note", note="later")
        assert main(words) == 0
        smaller = str(tmp_path / f"other-{out.stem}.sqlite")
        assert main(["batch", "start", "Acer rubrum", "--ledger", smaller]) == 0
        before = [p.read_bytes() for p in ([out] if out.is_file() else sorted(out.iterdir()))]
        assert main([*words[:-1], smaller]) == 2
        assert [p.read_bytes() for p in ([out] if out.is_file() else sorted(out.iterdir()))] == before
        assert main([*words[:-1], smaller, "--force"]) == 0


READS = {
    "observations": lambda path: ["plan", "Vigna marina", "--observations", path],
    "stored plan": lambda path: ["calendar", "--plan", path, "--start", "2030-01-01"],
    "import": lambda path: ["batch", "import", path, "--ledger", "{ledger}"],
    "restore": lambda path: ["batch", "restore", path, "--ledger", "{ledger}"],
    "fmt": lambda path: ["entry", "fmt", path],
    "check": lambda path: ["entry", "check", path],
    "preview": lambda path: ["entry", "preview", path],
    "works": lambda path: ["source", "add", "--kb", "{layer}", path],
    "password": lambda path: ["bench", "serve", "--password-file", path, "--ledger", "{ledger}"],
    "layer": lambda path: ["plan", "Cercis canadensis", "--kb", path],
    "new in a layer": lambda path: ["entry", "new", "Sallowia ripensis", "--family", "Salicaceae", "--no-ask", "--kb", path],
    "work in a layer": lambda path: ["source", "add", "--citation", "A. Reed 2019", "--kb", path],
    "font": lambda path: ["labels", "Cercis canadensis", "--start", "2030-01-01", "--out", "{layer}/x.pdf", "--font", path],
    "order": lambda path: ["order", path],
    "winter": lambda path: ["winter", path, "--plant", "Cercis canadensis", "--sow", "2025-11-01"],
    "trial": lambda path: ["trial", "read", path],
    "table": lambda path: ["table", "import", path, "--kb", "{layer}"],
}  # fmt: skip
FOLDERS = (
    "layer",
    "fmt",
    "check",
    "new in a layer",
    "work in a layer",
    "table",
)  # for which a folder is what they read


@pytest.mark.parametrize(
    ("kind", "what"),
    [
        (kind, what)
        for kind in ("pipe", "zero", "null", "folder")
        for what in READS
        if kind != "folder" or what not in FOLDERS
    ],
)
def test_pipes_and_devices_are_not_read_and_nobody_waits(
    ledger: str, tmp_path: Path, what: str, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A pipe that nobody fills would wait for ever, and /dev/zero never ends."""
    path = tmp_path / "species" / "x.yaml"
    path.parent.mkdir()
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero" if kind == "zero" else os.devnull)
    (tmp_path / "layer").mkdir()
    words = [w.format(ledger=ledger, layer=tmp_path / "layer") for w in READS[what](str(path))]
    ended: list[int] = []
    thread = threading.Thread(target=lambda: ended.append(main(words)), daemon=True)
    thread.start()
    thread.join(60)
    said = capsys.readouterr().err
    assert ended and ended[0] in (1, 2), said
    assert "fault of ours" not in said and said


def test_pipe_among_the_files_of_a_layer_is_a_problem_of_that_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "species").mkdir()
    os.mkfifo(tmp_path / "species" / "pipe.yaml")
    assert main(["check", "--kb", str(tmp_path)]) == 1
    assert "device or pipe" in capsys.readouterr().out


def test_words_of_a_private_layer_are_not_passed_over_in_silence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "vocabulary").mkdir()
    (tmp_path / "vocabulary" / "traits.yaml").write_text("hue: {values: {blue: {means: blue}}}\n")
    assert main(["check", "--kb", str(tmp_path)]) == 1
    assert "words of a private layer are not read" in capsys.readouterr().out


def test_one_bad_file_prints_no_more_than_a_person_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "species"
    folder.mkdir()
    for name, text in {
        "twice.yaml": "a: 1\n" * 60_000,
        "long.yaml": f"{'k' * 400_000}: NO\n",
        "keys.yaml": "".join(f"key{n}: 1\n" for n in range(20_000)),
        "tags.yaml": "".join(f"k{n}: !x 1\n" for n in range(20_000)),
    }.items():
        for old in folder.iterdir():
            old.unlink()
        (folder / name).write_text(text)
        for words in (["check"], ["check", "--json"], ["plan", "Cercis canadensis"]):
            assert main([*words, "--kb", str(tmp_path)]) == 1
            said = capsys.readouterr()
            assert 50 < len(said.out + said.err) < 150_000, (name, words)
            if words[-1] == "--json":
                json.loads(said.out)
