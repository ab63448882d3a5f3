"""A plant is named once; where it has no entry its place is asked for; two names are never one plant in the ledger."""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rousewort.base.errors import UserError
from rousewort.cli import naming
from rousewort.cli.main import main
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import NoSingleMatch

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def go(*words: str) -> tuple[int, str, str]:
        code = main(list(words))
        out, err = capsys.readouterr()
        return code, out, err

    return go


def test_a_name_without_quotes_is_one_name(run: Run) -> None:
    assert run("plan", "Acer", "rubrum")[1] == run("plan", "Acer rubrum")[1]


def test_a_cultivar_in_quotes_of_its_own_belongs_to_its_plant(run: Run) -> None:
    code, out, _ = run("plan", "Cercis", "canadensis", "Forest Pansy")
    assert code == 0 and out.startswith("Cercis canadensis")


@pytest.mark.parametrize(
    "words",
    [("Acer rubrum", "Quercus alba"), ("A b", "C d"), ("Acer", "rubrum", "Quercus", "alba"), ("Acer", "Quercus"), ("Acer rubrum, Quercus alba",)],
)  # fmt: skip
def test_two_plants_are_never_glued_into_one(run: Run, tmp_path: Path, words: tuple[str, ...]) -> None:
    code, out, err = run("plan", *words)
    assert code == 2 and not out and "plants" in err
    ledger = tmp_path / "ledger.sqlite"
    code, out, err = run("batch", "start", *words, "--ledger", str(ledger))
    assert code == 2 and not out and not ledger.exists()


def test_several_plants_are_numbered_and_none_is_taken(run: Run) -> None:
    code, out, err = run("plan", "maple")
    assert code == 2 and not out
    assert "  1. Acer (the whole genus)\n" in err and "Acer rubrum" in err and "Malus" not in err


def test_json_of_several_holds_the_list(run: Run) -> None:
    code, out, _ = run("plan", "maple", "--json")
    plan = json.loads(out)
    assert code == 2 and plan["outcome"] == "unknown" and plan["taxon"]["candidates"][0] == "Acer"


def test_an_unknown_plant_gets_ways_on_and_no_look_alikes(run: Run) -> None:
    code, out, err = run("plan", "Zzyzx foo")
    assert code == 2 and not out
    assert "--family" in err and "--genus" in err and "rousewort observe 'Zzyzx foo'" in err


def test_json_of_an_unknown_plant_is_a_plan_that_says_what_to_ask(run: Run) -> None:
    code, out, _ = run("plan", "Zzyzx foo", "--json")
    plan = json.loads(out)
    assert code == 2
    assert (plan["outcome"], plan["basis"]["kind"], plan["steps"]) == ("unknown", "none", [])
    assert plan["taxon"] == {"name": None, "family": None, "matched_by": "none"}
    assert any("--family" in line for line in plan["advice"])


def test_json_says_how_a_name_was_read(run: Run) -> None:
    taxon = json.loads(run("plan", "Cercis canadensis 'Forest Pansy'", "--json")[1])["taxon"]
    assert (taxon["name"], taxon["matched_by"]) == ("Cercis canadensis", "part_of_name")
    assert "cultivar" in taxon["aside"][0]


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "{}"),
        ("why", "{}", "sow"),
        ("quantities", "{}", "--plants", "5", "--germination", "0.5"),
        ("calendar", "{}", "--start", "today"),
    ],
)
def test_family_and_genus_place_a_plant_wherever_one_is_named(run: Run, words: tuple[str, ...]) -> None:
    for place in (("--family", "Fabaceae"), ("--genus", "Cercis")):
        code, out, err = run(*(word.format("Zzyzx foo") for word in words), *place)
        assert code == 0 and out, (place, err)


def test_a_batch_of_a_plant_in_no_book_starts_from_its_family(run: Run, tmp_path: Path) -> None:
    ledger = str(tmp_path / "ledger.sqlite")
    code, out, _ = run("batch", "start", "Zzyzx foo", "--family", "Fabaceae", "--ledger", ledger)
    assert code == 0 and "Zzyzx foo" in out


def test_a_batch_says_how_the_packet_was_read(run: Run, tmp_path: Path) -> None:
    ledger = str(tmp_path / "ledger.sqlite")
    code, _, err = run("batch", "start", "Cercis canadensis 'Forest Pansy'", "--ledger", ledger)
    assert code == 0 and "is read as Cercis canadensis" in err and "cultivar" in err


@pytest.mark.parametrize(
    ("place", "says"),
    [
        (("--family", "Fooaceae"), "no family"),
        (("--genus", "Foo"), "no genus"),
        (("--family", "Rosaceae", "--genus", "Acer"), "stands in Sapindaceae"),
    ],
)
def test_a_place_that_cannot_be_is_told(run: Run, place: tuple[str, ...], says: str) -> None:
    code, _, err = run("plan", "Zzyzx foo", *place)
    assert code == 2 and says in err


def test_a_plant_with_an_entry_is_not_moved_to_another_family(run: Run) -> None:
    code, _, err = run("plan", "Acer rubrum", "--family", "Fabaceae")
    assert code == 2 and "Sapindaceae" in err
    assert run("plan", "Acer rubrum", "--family", "Sapindaceae")[0] == 0


def test_a_nearer_relative_gives_the_plan(run: Run) -> None:
    plan = json.loads(run("plan", "Zzyzx foo", "--genus", "Acer rubrum", "--json")[1])
    assert plan["taxon"]["family"] == "Sapindaceae" and "Acer" in plan["taxon"]["aside"][0]


class Answers:
    """A terminal with a grower at it."""

    def __init__(self, patch: pytest.MonkeyPatch, *answers: str) -> None:
        self.left = list(answers)
        patch.setattr(naming, "can_ask", lambda _: True)
        patch.setattr("builtins.input", lambda: self.left.pop(0))


def asked(kb: KnowledgeBase, name: str) -> Any:
    return naming.match_named(kb, [name], argparse.Namespace())


def test_on_a_terminal_one_of_several_is_chosen_by_number(kb: KnowledgeBase, monkeypatch: pytest.MonkeyPatch) -> None:
    Answers(monkeypatch, "99", "x", "1")
    assert asked(kb, "maple").name == "Acer"


def test_on_a_terminal_enter_chooses_none(kb: KnowledgeBase, monkeypatch: pytest.MonkeyPatch) -> None:
    Answers(monkeypatch, "")
    with pytest.raises(NoSingleMatch):
        asked(kb, "maple")


@pytest.mark.parametrize(
    ("answer", "family"), [("Fabaceae", "Fabaceae"), ("Acer", "Sapindaceae"), ("red maple", "Sapindaceae")]
)
def test_on_a_terminal_an_unknown_plant_is_placed(
    kb: KnowledgeBase, monkeypatch: pytest.MonkeyPatch, answer: str, family: str
) -> None:
    Answers(monkeypatch, answer)
    match = asked(kb, "Zzyzx foo")
    assert (match.name, match.family) == ("Zzyzx foo", family)


def test_on_a_terminal_not_knowing_leads_to_observing(kb: KnowledgeBase, monkeypatch: pytest.MonkeyPatch) -> None:
    Answers(monkeypatch, "")
    with pytest.raises(UserError, match="rousewort observe"):
        asked(kb, "Zzyzx foo")


def test_a_plan_by_its_plain_name_loads_no_reader_of_packets() -> None:
    code = (
        "import sys; from rousewort.cli.main import main; main(['plan', 'Cercis canadensis']);"
        "sys.exit('rousewort.knowledge.packets' in sys.modules or 'rapidfuzz' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0
