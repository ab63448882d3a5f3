"""The command as a user meets it: exit codes, words for every mistake, JSON that fits its schema, plain piped text."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import jsonschema
import pytest
from rousewort.cli import main as app
from rousewort.cli.main import main
from rousewort.cli.parser import COMMANDS, build_parser
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.strict_yaml import read

ESCAPE = "\x1b"


class Ran(NamedTuple):
    code: int
    out: str
    err: str


@pytest.fixture
def run(capsys: pytest.CaptureFixture, kb: KnowledgeBase) -> Callable[..., Ran]:
    """Runs `rousewort …` within this process, its output caught as by a pipe."""

    def go(*argv: str) -> Ran:
        code = main(list(argv))
        return Ran(code, *capsys.readouterr())

    return go


def process(*argv: str, **changes: Any) -> subprocess.CompletedProcess:
    env = {**os.environ, **changes.pop("env", {})}
    return subprocess.run(
        [sys.executable, "-m", "rousewort.cli.main", *argv],
        capture_output=True,
        text=True,
        env=env,
        timeout=60,
        **changes,
    )


@pytest.fixture(scope="module")
def plan_schema(layer: Path) -> dict:
    path = layer / "schema" / "plan.schema.yaml"
    return read(path.read_bytes(), str(path)).data


# --- exit codes and messages


@pytest.mark.parametrize(
    ("argv", "code", "words"),
    [
        (["plan", "Cercis canadensis"], 0, []),
        (["plan", "cercis", "canadensis"], 0, []),
        (["plan"], 2, ["usage", "name"]),
        (["plan", ""], 2, ["The name is empty", "black haw"]),
        (["plan", "Qqqq wwww"], 2, ["No plant called 'Qqqq wwww'"]),
        (["plan", "haw"], 2, ["haw"]),
        (["plan", "Cercis canadensis", "--have", "wand"], 2, ["'wand' is no equipment", "fridge"]),
        (["plan", "Cercis canadensis", "--have", "smoke", "--without", "smoke"], 2, ["both had and lacked"]),
        (["plan", "Cercis canadensis", "--have", "acid"], 2, ["--allow acid"]),
        (["plan", "Cercis canadensis", "--allow", "blade"], 2, ["needs no permission"]),
        (["plan", "Cercis canadensis", "--seeds", "0"], 2, ["0 seeds"]),
        (["plan", "Cercis canadensis", "--seeds", "many"], 2, ["--seeds", "many"]),
        (["plan", "Cercis canadensis", "--had", "cold_moist"], 2, ["cold_moist=30"]),
        (["plan", "Cercis canadensis", "--had", "cold_moist=some"], 2, ["number"]),
        (["plan", "Cercis canadensis", "--had", "prayer=3"], 2, ["'prayer' is no treatment", "cold_moist"]),
        (["plan", "Cercis canadensis", "--stored", "pickled"], 2, ["'pickled' is no word for stored", "moist"]),
        (["plan", "Cercis canadensis", "--observed", "coat_water"], 2, ["TRAIT=WORD"]),
        (["plan", "Cercis canadensis", "--observed", "coat_water=leaks"], 2, ["coat_water", "passes, stops"]),
        (["plan", "Cercis canadensis", "--observed", "mood=good"], 2, ["mood", "no such trait"]),
        (["plan", "Cercis canadensis", "--kb", "no-such-folder"], 2, ["no-such-folder", "--kb"]),
        (["plan", "Cercis canadensis", "--frige"], 2, ["--frige"]),
        (["why", "Cercis canadensis", "nick"], 0, []),
        (["why", "Cercis canadensis", "cold_moist-1"], 0, []),
        (["why", "Cercis canadensis", "cold-moist"], 0, []),
        (["why", "Cercis canadensis", "smoke"], 2, ["has no step 'smoke'", "nick-1", "why --not"]),
        (["why", "--not", "Cercis canadensis", "smoke"], 0, []),
        (["why", "--not", "Cercis canadensis", "prayer"], 2, ["'prayer' is no treatment"]),
        (["find", "--family", "Fabaceae"], 0, []),
        (["find", "zzzz"], 1, ["Nothing found"]),
        (["find", "--class", "sleepy"], 2, ["sleepy", "physical"]),
        (["find", "--cue", "moonlight"], 2, ["moonlight", "winter_cold"]),
        (["find", "--treatment", "prayer"], 2, ["prayer", "cold_moist"]),
        (["show", "Cercis canadensis"], 0, []),
        (["show", "Acer nowhereanum"], 2, ["no entry", "rousewort show Acer"]),
        (["show", "Qqqq wwww"], 2, ["No plant called"]),
        (["check"], 0, []),
        (["frobnicate"], 2, ["frobnicate"]),
        ([], 2, []),
        (["--help"], 0, []),
        (["--version"], 0, []),
    ],
)
def test_exit_codes_and_words(run: Callable[..., Ran], argv: list[str], code: int, words: list[str]) -> None:
    ran = run(*argv)
    assert ran.code == code, ran
    assert all(word in ran.err for word in words), ran.err
    assert "Traceback" not in ran.err
    if code == 2 and argv:
        assert not ran.out, "nothing but results on stdout"


def test_all_mistakes_of_one_command_line_are_told_at_once(run: Callable[..., Ran]) -> None:
    ran = run(
        "plan", "Cercis canadensis", "--have", "wand,acid", "--allow", "blade", "--seeds", "-3", "--stored", "pickled"
    )
    for word in ("wand", "--allow acid", "needs no permission", "-3", "pickled"):
        assert word in ran.err


def test_a_misspelt_name_is_read_and_said_so(run: Callable[..., Ran]) -> None:
    ran = run("plan", "Virburnum prunifolium")
    assert ran.code == 0 and "Read for 'Virburnum prunifolium'" in ran.out


def test_several_matches_are_listed_and_none_taken(run: Callable[..., Ran], kb: KnowledgeBase) -> None:
    shared = next(
        common for name in kb.names("species") for common in kb.taxon(name).get("common_names", ())
        if (match := kb.lookup(common)).name is None and len(match.candidates) > 1
    )  # fmt: skip
    ran = run("plan", shared)
    assert ran.code == 2 and not ran.out
    assert all(f". {name}" in ran.err for name in kb.lookup(shared).candidates)


def test_an_unknown_species_of_a_known_genus_gets_a_plan_that_says_so(run: Callable[..., Ran]) -> None:
    ran = run("plan", "Acer nowhereanum")
    assert ran.code == 0 and "no entry" in ran.out and "genus" in ran.out


def test_a_broken_private_file_is_told_with_its_place_and_exit_code_1(run: Callable[..., Ran], tmp_path: Path) -> None:
    path = tmp_path / "species" / "sallowia" / "sallowia-pontis.yaml"
    path.parent.mkdir(parents=True)
    path.write_text(
        "name: Sallowia pontis\nrank: species\nfamily: Fabaceae\ntraits:\n  light:\n    - {is: NO, held: demo}\n"
    )
    for argv in (["plan", "Cercis canadensis"], ["check"]):
        ran = run(*argv, "--kb", str(tmp_path))
        assert ran.code == 1
        assert f"{path}:6:12" in ran.err + ran.out and "`NO` unquoted" in ran.err + ran.out


def test_check_prints_its_problems_as_json(run: Callable[..., Ran], tmp_path: Path) -> None:
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "bad.yaml").write_text("id: bad\n")
    ran = run("check", "--json", "--kb", str(tmp_path))
    problems = json.loads(ran.out)
    assert ran.code == 1 and {"file", "line", "column", "what", "mend"} <= set(problems[0])


def test_a_private_layer_can_come_from_the_environment(
    run: Callable[..., Ran], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "species" / "sallowia" / "sallowia-pontis.yaml"
    path.parent.mkdir(parents=True)
    path.write_text(
        "name: Sallowia pontis\nrank: species\nfamily: Fabaceae\n"
        "traits:\n  dormancy_class:\n    - {is: physical, held: demo}\n"
    )
    monkeypatch.setenv("ROUSEWORT_KB", str(tmp_path))
    assert "Sallowia pontis" in run("plan", "Sallowia pontis").out


def test_a_fault_of_ours_is_short_to_the_user_and_whole_in_a_file(
    run: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr("rousewort.cli.commands.plan.load", lambda *_: 1 / 0)
    ran = run("plan", "Cercis canadensis")
    assert ran.code == 3 and "a fault of ours" in ran.err and "Traceback" not in ran.err
    (log,) = tmp_path.glob("rousewort-fault-*")
    assert str(log) in ran.err
    assert "ZeroDivisionError" in log.read_text() and "Cercis canadensis" in log.read_text()


def test_an_interrupt_is_130_and_no_traceback(run: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("rousewort.cli.commands.plan.load", interrupted)
    assert run("plan", "Cercis canadensis")[::2] == (130, "rousewort: interrupted\n")


def test_a_reader_that_stops_reading_is_no_error() -> None:
    script = f"{sys.executable} -m rousewort.cli.main find --family Fabaceae | head -1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0 and "Traceback" not in done.stderr and "Broken" not in done.stderr
    assert len(done.stdout.splitlines()) == 1


def test_the_exit_code_reaches_the_shell() -> None:
    assert process("plan", "Qqqq wwww").returncode == 2
    assert process("find", "zzzz").returncode == 1
    assert process("plan", "black haw").returncode == 0


# --- JSON


def schema_errors(document: dict, schema: dict) -> list[str]:
    validator = jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker())
    return [f"{'/'.join(map(str, error.path))}: {error.message[:200]}" for error in validator.iter_errors(document)]


@pytest.mark.parametrize(
    "argv",
    [
        ["Cercis canadensis"],
        ["black haw"],
        ["Trillium grandiflorum", "--without", "fridge"],
        ["Gleditsia triacanthos", "--allow", "acid", "--without", "blade,sandpaper,kettle"],
        ["Epipactis palustris"],
        ["Moringa oleifera"],
        ["Quercus rubra", "--without", "fridge,outdoor_bed"],
        ["Acer nowhereanum"],
        ["Rosaceae"],
        ["Malus sieversii", "--had", "cold_moist=30", "--seeds", "12", "--provenance", "mild-winter"],
    ],
)
def test_json_fits_its_schema(run: Callable[..., Ran], plan_schema: dict, argv: list[str]) -> None:
    ran = run("plan", *argv, "--json")
    assert ran.code == 0 and not ran.err
    document = json.loads(ran.out)
    assert schema_errors(document, plan_schema) == []
    assert document["format"] == "rousewort-plan-2" and document["query"] == argv[0]


def test_json_of_many_species_fits_its_schema(plan_schema: dict, plans: dict, some_species: list[str]) -> None:
    from rousewort.planning.plan_json import plan_json

    validator = jsonschema.Draft202012Validator(plan_schema)
    for name in some_species[::3]:
        assert not [error.message for error in validator.iter_errors(plan_json(plans[name]))], name


def test_the_schema_would_refuse_a_wrong_plan(run: Callable[..., Ran], plan_schema: dict) -> None:
    document = json.loads(run("plan", "Cercis canadensis", "--json").out)
    for breaking in (
        {"format": "rousewort-plan-0"},
        {"outcome": "perhaps"},
        {"steps": {}},
        {"steps": [{**document["steps"][0], "kind": "prayer"}]},
    ):
        assert schema_errors({**document, **breaking}, plan_schema), breaking
    for key in ("taxon", "basis", "unknowns", "sources"):
        assert schema_errors({k: v for k, v in document.items() if k != key}, plan_schema), key


def test_json_keeps_the_promised_form(run: Callable[..., Ran]) -> None:
    """Days are whole numbers, low ≤ use ≤ high, every reason names its rule, every source how it is held."""
    document = json.loads(run("plan", "Viburnum prunifolium", "--json").out)
    assert document["taxon"] == {"name": "Viburnum prunifolium", "family": "Viburnaceae", "matched_by": "accepted"} or (
        document["taxon"]["family"] == "Adoxaceae"
    )
    assert document["dormancy"]["class"] == "MPD"
    held = {"read", "memory", "practice", "demo"}
    for step in document["steps"]:
        if "days" in step:
            days = step["days"]
            assert all(isinstance(days[part], int) for part in ("low", "use", "high"))
            assert days["low"] <= days["use"] <= days["high"] and days["from"] in (
                "species",
                "genus",
                "family",
                "class",
                "treatment",
            )
        assert all(reason["rule"] and reason["text"] for reason in step["because"])
    assert {source["held"] for source in document["sources"]} <= held


@pytest.mark.parametrize(
    "argv", [["why", "Cercis canadensis", "nick"], ["find", "viburnum"], ["show", "Cercis canadensis"], ["check"]]
)
def test_every_command_that_offers_json_prints_nothing_else(run: Callable[..., Ran], argv: list[str]) -> None:
    json.loads(run(*argv, "--json").out)


# --- text


SHOWN = [
    ["plan", "Cercis canadensis"],
    ["plan", "Trillium grandiflorum", "--without", "fridge"],
    ["plan", "Epipactis palustris"],
    ["plan", "Anigozanthos manglesii subsp. manglesii"],
    ["plan", "Cercis canadensis", "--full"],
    ["why", "Viburnum prunifolium", "cold_moist"],
    ["why", "--not", "Prunus avium", "acid"],
    ["show", "Cercis canadensis"],
    ["show", "Fabaceae"],
    ["find", "--family", "Haemodoraceae"],
]


@pytest.mark.parametrize("argv", SHOWN, ids=" ".join)
def test_piped_text_is_plain_and_80_columns_wide(run: Callable[..., Ran], argv: list[str]) -> None:
    ran = run(*argv)
    assert ran.code == 0 and ran.out.endswith("\n")
    assert ESCAPE not in ran.out + ran.err
    wide = [line for line in ran.out.splitlines() if len(line) > 80 and " " in line.strip()]
    assert not wide, "\n".join(wide)
    assert not [line for line in ran.out.splitlines() if line != line.rstrip()], "no blanks at line ends"
    assert not re.search(r"\{\w+\}|\bNone\b", ran.out), "an unfilled place"


def test_every_species_prints_within_80_columns(plans: dict, some_species: list[str]) -> None:
    from rousewort.render.plan_text import render
    from rousewort.render.terminal import Page

    for name in some_species:
        text = render(plans[name], Page())
        assert all(len(line) <= 80 for line in text.splitlines()), name


def terminal(*argv: str, **env: str) -> str:
    from terminals import in_a_terminal  # type: ignore[import-not-found]  # needs a pseudo-terminal

    given = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "TERM")} | {"TERM": "xterm"} | env
    return in_a_terminal(*argv, env=given)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal: colour was not tried here")
def test_colour_shows_in_a_terminal_and_only_where_it_is_wanted() -> None:
    assert ESCAPE in terminal("plan", "Cercis canadensis")
    assert ESCAPE not in terminal("plan", "Cercis canadensis", NO_COLOR="1")
    assert ESCAPE not in terminal("plan", "Cercis canadensis", TERM="dumb")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal: colour was not tried here")
def test_colour_changes_no_word() -> None:
    coloured = terminal("plan", "Cercis canadensis").replace("\r\n", "\n")
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == process("plan", "Cercis canadensis").stdout


def test_text_prints_where_the_locale_is_plain_ascii() -> None:
    done = process("plan", "Cercis canadensis", env={"LC_ALL": "C", "LANG": "C"})
    assert done.returncode == 0 and "°C" in done.stdout


def test_cautions_stand_beside_their_step_in_the_text(run: Callable[..., Ran], kb: KnowledgeBase) -> None:
    text = " ".join(
        run("plan", "Gleditsia triacanthos", "--allow", "acid", "--without", "blade,sandpaper,kettle").out.split()
    )
    for caution in kb.treatments["acid"]["cautions"]:
        assert caution["text"] in text


# --- help, completion, version


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_help_with_examples(run: Callable[..., Ran], name: str) -> None:
    ran = run(name, "--help")
    assert ran.code == 0 and "examples:" in ran.out and f"rousewort {name}" in ran.out
    assert not [line for line in ran.out.splitlines() if len(line) > 80 and not line.startswith("  rousewort")]


def examples() -> list[str]:
    import importlib

    found = []
    for name in ("plan", "why", "find", "show", "check"):
        found += [
            line.strip()
            for line in importlib.import_module(f"rousewort.cli.commands.{name}").EPILOG.splitlines()
            if line.startswith("  ")
        ]
    return [line for line in found if "~" not in line and ".yaml" not in line]  # those name files of the reader's own


@pytest.mark.parametrize("line", examples())
def test_every_example_in_the_help_works(run: Callable[..., Ran], line: str) -> None:
    import shlex

    program, *argv = shlex.split(line)
    assert program == "rousewort"
    ran = run(*argv)
    assert ran.code == 0 and ran.out, ran.err


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_completion_is_a_script_that_knows_the_commands(run: Callable[..., Ran], shell: str) -> None:
    ran = run("completion", shell)
    assert ran.code == 0 and all(name in ran.out for name in COMMANDS)
    if shell == "bash":
        assert subprocess.run(["bash", "-n"], input=ran.out, text=True, check=False).returncode == 0
        assert "--without" in ran.out and "--allow" in ran.out


def test_completion_without_its_library_says_what_to_install(
    run: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "shtab", None)
    ran = run("completion", "bash")
    assert ran.code == 2 and "pip install" in ran.err


def test_version_says_which_engine_runs(run: Callable[..., Ran], durable_here: None) -> None:
    assert re.fullmatch(r"rousewort \d+\.\d+\.\d+, rules engine: durable_rules\n", run("--version").out)


def test_version_says_so_when_only_the_plain_engine_runs(
    run: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rousewort.planning.rules.run.durable_works", lambda: False)
    out = run("--version").out
    assert "plain" in out and "durable_rules is not installed or cannot be imported" in out


def test_without_durable_rules_plans_are_the_same(run: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch) -> None:
    usual = run("plan", "Viburnum prunifolium", "--json").out
    monkeypatch.setitem(sys.modules, "durable", None)
    monkeypatch.setitem(sys.modules, "durable.engine", None)
    assert run("plan", "Viburnum prunifolium", "--json").out == usual


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_only_the_command_that_is_asked_for_is_built(name: str) -> None:
    """Its neighbours cost nothing; without a command all are named, and none is built."""
    parser = build_parser(only=name)
    (commands,) = (action for action in parser._actions if getattr(action, "choices", None))
    built = [child for child, sub in commands.choices.items() if sub.get_default("run")]
    assert built == [name] == list(commands.choices)
    (named,) = (action for action in build_parser(only="")._actions if getattr(action, "choices", None))
    assert set(named.choices) == set(COMMANDS)
    assert not [child for child, sub in named.choices.items() if sub.get_default("run")]


def test_every_command_module_is_a_command() -> None:
    found = {path.stem for path in (Path(app.__file__).parent / "commands").glob("*.py")} - {"__init__"}
    assert found == set(COMMANDS)
