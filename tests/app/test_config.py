"""What a grower sets once: used by the commands, shown where it changes a plan, never half written, never lost to a slip."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from rousewort.cli.main import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))

    def go(*words: str) -> tuple[int, str, str]:
        code = main([*words])
        said = capsys.readouterr()
        return code, said.out, said.err

    return go


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "rousewort" / "config.toml"


def test_what_is_set_is_used_and_an_option_goes_before_it(run: Run) -> None:
    assert run("config", "units", "us")[0] == 0
    assert "°F" in run("plan", "Cercis canadensis")[1] and "°F" in run("how", "cold_moist")[1]
    assert "°C" in run("plan", "Cercis canadensis", "--units", "metric")[1]
    assert run("config", "--unset", "units")[0] == 0 and "°C" in run("plan", "Cercis canadensis")[1]


def test_what_changes_a_plan_unseen_is_said_on_its_sheet(run: Run) -> None:
    assert "config" not in run("plan", "Cercis canadensis")[1]
    assert run("config", "without", "fridge")[0] == 0
    out = run("plan", "Cercis canadensis")[1]
    assert "As `rousewort config` has it: without fridge." in out and "SOW OUTSIDE" in out
    assert "COLD AND MOIST" in run("plan", "Cercis canadensis", "--have", "fridge")[1]


def test_the_southern_half_is_set_once_for_all_dates(run: Run) -> None:
    dated = ("calendar", "Trillium grandiflorum", "--without", "fridge", "--start", "2027-03-01", "--past")
    north = run(*dated)[1]
    assert run("config", "hemisphere", "south")[0] == 0
    assert run(*dated)[1] == run(*dated, "--south")[1] != north
    assert run(*dated, "--no-south")[1] == north


def test_what_is_dangerous_is_never_set_beforehand(run: Run, file: Path) -> None:
    code, _, err = run("config", "have", "acid")
    assert code == 2 and "--allow acid" in err and not file.exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("units", "leagues"), "units is one of: metric, us"),
        (("have", "broom"), "no equipment"),
        (("hemisphere", "west"), "north, south"),
    ],
)
def test_a_word_that_is_none_is_refused_and_nothing_is_written(
    run: Run, file: Path, words: tuple[str, ...], said: str
) -> None:
    code, _, err = run("config", *words)
    assert code == 2 and said in err and not file.exists()


def test_what_is_both_had_and_lacked_is_refused(run: Run) -> None:
    assert run("config", "have", "smoke")[0] == 0
    code, _, err = run("config", "without", "smoke")
    assert code == 2 and "both had and lacked" in err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("units = us\n", "line 1"),
        ('colour = "red"\n', "there is no setting `colour`. Known: units"),
        ('units = "leagues"\n', "`units` is one of"),
        ('have = "smoke"\n', "`have` is a list"),
    ],
)
def test_a_file_that_says_it_wrongly_is_named_with_what_to_write(run: Run, file: Path, text: str, said: str) -> None:
    file.parent.mkdir()
    file.write_text(text)
    code, out, err = run("plan", "Cercis canadensis")
    assert code == 2 and str(file) in err and said in err and not out and "Traceback" not in err
    assert run("config", "paper", "letter")[0] == 2 and file.read_text() == text, (
        "what is wrong there is not written over"
    )


def test_it_shows_what_is_set_and_where_it_stands(run: Run, file: Path) -> None:
    assert run("config", "paper", "LETTER")[0] == 0 and file.read_text().splitlines()[1:] == ['paper = "letter"']
    out = run("config")[1]
    assert "paper      letter" in out and "units      metric" in out and str(file) in out
