"""The mutation command itself: each mutant changes just what it says, a bad one is caught, and no change is none."""

from __future__ import annotations

import copy
from collections import Counter
from itertools import islice

import pytest
from mutants import AREAS, ENGINE, Mutant, changed_source, every, modules, never_both, sample  # type: ignore[import-not-found]
from rousewort.knowledge.rules import compile_rule
from rousewort.knowledge.store import MemoryStore
from trial import LAST, TESTS, TESTS_FOLDER, TESTS_OF, Held, _mutated, in_a_process  # type: ignore[import-not-found]


@pytest.fixture(scope="module")
def made(memory: MemoryStore) -> dict[str, list[Mutant]]:
    return {area: list(islice(every(area, memory._shared, memory.records), 6000)) for area in AREAS}


def test_there_are_mutants_of_every_rule_treatment_and_module_and_no_two_of_one_name(
    made: dict[str, list[Mutant]], memory: MemoryStore
) -> None:
    assert {m.where for m in made["rules"]} == {rule["id"] for rule in memory._shared["rules"]}
    assert {m.where for m in made["treatments"]} == set(memory._shared["treatments"])
    assert {m.where for m in made["code"]} == {str(path.relative_to(ENGINE)) for path in modules()}
    twice = {name: times for name, times in Counter(m.id for ms in made.values() for m in ms).items() if times > 1}
    assert not twice


def test_each_condition_of_a_rule_is_left_out_once(made: dict[str, list[Mutant]], memory: MemoryStore) -> None:
    for rule in memory._shared["rules"]:
        told = [m.what for m in made["rules"] if m.where == rule["id"]]
        for part in ("when", "unless"):
            assert [f"{part} {i} is left out" for i in range(len(rule.get(part, ())))] == [
                what for what in told if what.startswith(part) and what.endswith("left out")
            ]


def test_two_conditions_of_which_one_is_enough_fire_a_rule_on_either(memory: MemoryStore) -> None:
    rule = next(rule for rule in memory._shared["rules"] if len(rule["when"]) > 1)
    either = next(m for m in every("rules", memory._shared, {}) if m.where == rule["id"] and "not both" in m.what)
    compiled = compile_rule({**rule, "unless": []})
    first = {next(iter(compiled.when[0]))} | {next(iter(line)) for line in compiled.when[2:]}
    assert compiled.matches(first) is None and either.change(compiled).matches(first)


def test_mutant_of_code_is_code_and_differs_in_one_place() -> None:
    import ast

    for mutant in sample(list(every("code", {}, {})), 25, "test"):
        source = (ENGINE / mutant.where).read_text("utf-8")
        before, after = (ast.dump(ast.parse(text)) for text in (source, changed_source(source, mutant.change)))
        assert before != after, mutant.id
        assert abs(len(before) - len(after)) < 120, mutant.id


def test_mutant_of_data_changes_one_place_of_a_copy(made: dict[str, list[Mutant]], memory: MemoryStore) -> None:
    stands = {
        "treatments": memory._shared["treatments"], "vocabulary": memory._shared["vocabulary"], "reports": memory.records,
    }  # fmt: skip
    before = copy.deepcopy({area: {m.where: stands[area][m.where] for m in made[area]} for area in stands})
    for area, there in stands.items():
        for mutant in made[area]:
            as_lists = [[*d.items()] if isinstance(d, dict) else d for d in (mutant.change, there[mutant.where])]
            assert as_lists[0] != as_lists[1], mutant.id
    assert before == {area: {m.where: stands[area][m.where] for m in made[area]} for area in stands}


def test_same_seed_draws_the_same_and_another_day_draws_others(made: dict[str, list[Mutant]]) -> None:
    one, same, other = (sample(made["rules"], 20, seed) for seed in ("2026-12-01", "2026-12-01", "2026-12-02"))
    assert [m.id for m in one] == [m.id for m in same] != [m.id for m in other]


def test_tests_that_mutants_meet_are_there() -> None:
    assert set(TESTS) == set(AREAS)
    for file in {file for files in (LAST, *TESTS.values(), *TESTS_OF.values()) for file in files}:
        assert (TESTS_FOLDER / file).exists(), file
    there = {str(path.relative_to(ENGINE)) for path in modules()} | {"sow"}
    assert set(TESTS_OF) <= there


def test_cases_that_exclude_each_other_are_not_swapped() -> None:
    dust, large = {"when": {"seed_size": ["dust", "fine"]}}, {"when": {"seed_size": "large"}}
    wet, dry = {"when": {"finding": "wet"}}, {"when": {"finding": "dry"}, "unless": {"finding": ["wet", "cold"]}}
    for one, other, never in ((dust, large, True), (wet, dry, True), (wet, large, False), (wet, wet, False)):
        assert never_both(one, other, {"finding"}) is never is never_both(other, one, {"finding"})
    assert never_both("Fabaceae", "Malvaceae", set()) and not never_both("Rinse it.", "Dry it.", set())
    assert not never_both(wet, {"when": {"finding": "dry"}}, {"finding"})  # a seed may be found both


def test_what_hangs_or_dies_is_told_and_nobody_waits() -> None:
    import os
    import time

    assert in_a_process(lambda: "fine", 20) == "fine"
    assert "ZeroDivisionError" in in_a_process(lambda: 1 / 0, 20)
    assert in_a_process(lambda: time.sleep(30), 1) == "not done in 1 s"
    assert in_a_process(lambda: os.kill(os.getpid(), 9), 20) == "ended by signal 9"


def test_mutant_stands_in_the_store_of_its_process_alone(made: dict[str, list[Mutant]], memory: MemoryStore) -> None:
    mutant = next(m for m in made["treatments"] if m.where == "acid")
    store = _mutated(memory, mutant)
    assert isinstance(store, Held) and store.shared("treatments")["acid"] == mutant.change
    assert memory.shared("treatments")["acid"] != mutant.change


@pytest.mark.slow
def test_swapped_obstacles_are_caught_and_a_change_that_is_none_is_not() -> None:
    """In a process of its own, as the command runs: here the planning code is loaded already."""
    import subprocess
    import sys
    from pathlib import Path

    code = """
from trial import *
from mutants import *
ground = Ground()
words = ground.store._shared["vocabulary"]["obstacles"]
same = Mutant("vocabulary", "obstacles", "nothing", words)
swapped = next(m for m in every("vocabulary", ground.store._shared, {}) if m.where == "obstacles" and "5 and 6" in m.what)
line = next(m for m in every("code", {}, {}) if m.where == "planning/choose.py" and "any is all" in m.what)
print([ground.tried(m, 200, tests=False).by for m in (same, swapped, line)])
"""
    here = Path(__file__).parent
    env = {"PYTHONPATH": f"{here}:{ENGINE.parent}", "PATH": "/usr/bin:/bin"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, timeout=600)
    same, swapped, line = eval(done.stdout.splitlines()[-1])
    assert same == "" and swapped.startswith("golden lines: ") and line, done.stdout + done.stderr
