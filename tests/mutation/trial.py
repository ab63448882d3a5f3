"""Does a mutant change anything that a test holds? The knowledge base is loaded once; each mutant has a process of its own.

What stands should pass its tests: it is what mutants are compared with. First the golden lines, until one differs: plans and
alternatives of every species, some under all settings, what sources are taken to say, a dozen plans whole. Then rules are
run on their examples, then the tests of TESTS.
"""

from __future__ import annotations

import ast
import contextlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import pickle
import signal
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any, NamedTuple

from mutants import ENGINE, Mutant, changed_source  # type: ignore[import-not-found]
from rousewort.knowledge import knowledge_base, rules
from rousewort.knowledge.store import MemoryStore, genus_of
from rousewort.knowledge.vocabulary import Vocabulary

TESTS_FOLDER = Path(__file__).resolve().parents[1]
# Run on what the golden lines let through, by area and by module; each takes seconds, since nothing is loaded again.
TESTS: Mapping[str, Sequence[str]] = {
    "rules": ("rules/test_near_misses.py",),
    "treatments": ("knowledge/test_thresholds.py", "golden/test_golden_how.py"),
    "vocabulary": ("knowledge/test_thresholds.py",),
    "reports": (),
    "code": ("planning/test_small_decisions.py",),
}
LAST = ("test_plan.py",)  # and then these; but of some modules and kinds, those:
TESTS_OF: Mapping[str, Sequence[str]] = {
    "sow": ("test_sowing.py",),
    "planning/amounts.py": ("test_plan.py", "test_lengths.py"),
    "planning/choose.py": ("test_plan.py", "test_laws.py"),
    "planning/claims.py": ("test_claims.py",),
    "planning/class_estimate.py": ("test_lending.py", "test_plan.py"),
    "planning/facts.py": ("test_lending.py", "test_plan.py"),
    "planning/follow.py": ("planning", "test_plan.py"),
    "planning/hazards.py": ("test_sheet.py",),
    "planning/lengths.py": ("test_lengths.py",),
    "planning/need.py": ("test_lengths.py",),
    "planning/own_evidence.py": ("planning", "test_sheet.py"),
    "planning/phases.py": ("planning", "test_sheet.py"),
    "planning/protocols.py": ("planning",),
    "planning/reasons.py": ("planning", "test_explain.py"),
    "planning/evidence.py": ("planning",),
    "planning/sowing.py": ("test_sowing.py",),
    "planning/sureness.py": ("test_sheet.py",),
    "planning/units.py": ("test_sheet.py",),
    "planning/rules/run.py": ("rules/test_near_misses.py", "test_plan.py"),
}


NOT_DONE = "not done in"
NOT_MADE = "this mutant could not be made: "


class Result(NamedTuple):
    """`by`: what caught it; empty where nothing did."""

    mutant: Mutant
    by: str
    seconds: float


class Held(MemoryStore):
    """A store in memory that says of itself what the tests ask an index."""

    def to_memory(self, vocabulary: Vocabulary) -> MemoryStore:
        return self


class Ground:
    """What stands, in memory, and all that the golden lines hold of it."""

    def __init__(self, every: int = 1) -> None:
        """`every`: of the plants only each so-many-th, for a quick look: some more mutants then survive."""
        kb = knowledge_base.load()
        self.store: MemoryStore = kb.store.to_memory(kb.vocabulary)  # type: ignore[attr-defined]
        self.names = [name for name, record in self.store.records.items() if record["rank"] == "species"][::every]
        self.every = every
        self._sum_up()
        told = in_a_process(
            lambda: (dict(golden(self.store, self.names, every=every)), known_facts(self.store, self.names)), 600
        )
        if isinstance(told, str):
            raise SystemExit(f"The golden lines could not be made of what stands here: {told}")
        self.lines: dict[str, list[str]] = told[0]
        self.facts: dict[str, dict[str, frozenset[rules.FactKey]]] = told[1]

    def _sum_up(self) -> None:
        """Work out here, once, what every process would work out for itself."""
        for name in self.names:
            self.store.summary(name)
            for rank, group in (("genus", genus_of(name)), *self.store.wider(name)):
                self.store.group(rank, group)

    def tried(self, mutant: Mutant, seconds: float, tests: bool = True) -> Result:
        begun = time.monotonic()
        by = in_a_process(lambda: _caught(self, mutant, tests), seconds)
        if by.startswith(NOT_MADE):  # a fault of this program must not pass for a catch
            raise SystemExit(f"{mutant.id}: {by}")
        if by.startswith(NOT_DONE):  # slow tests on a busy machine, as likely as a loop: nothing was caught
            by = ""
        return Result(mutant, by, time.monotonic() - begun)


def in_a_process(work: Any, seconds: float) -> Any:
    """What `work` returns in a process forked from this one; in words, if it ended otherwise or not at all."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.close(reading)
        os.setpgid(0, 0)
        signal.alarm(int(seconds))
        try:
            answer = work()
        except BaseException as trouble:  # whatever a mutant breaks
            answer = f"error: {type(trouble).__name__}: {trouble}"[:200]
        with os.fdopen(writing, "wb") as pipe:
            pickle.dump(answer, pipe)
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        told = pipe.read()
    _, status = os.waitpid(child, 0)
    if told:
        return pickle.loads(told)
    return (
        f"not done in {seconds:g} s"
        if os.WTERMSIG(status) == signal.SIGALRM
        else f"ended by signal {os.WTERMSIG(status)}"
    )


# --- in the mutant's process


def _caught(ground: Ground, mutant: Mutant, tests: bool) -> str:
    try:
        names = _whom(ground, mutant)  # before rules are compiled otherwise
        assert set(names) <= set(ground.lines), "of a plant nothing is known to compare with"
        store = _mutated(ground.store, mutant)
    except Exception as trouble:
        return NOT_MADE + repr(trouble)
    knowledge_base.load = lambda layers=(): knowledge_base.KnowledgeBase(store)  # what tests and commands ask for
    kin = set(names) if mutant.area in ("reports", "rules") else None
    for key, lines in golden(store, names, kin, ground.every):
        if ground.lines[key] != lines:
            return f"golden lines: {key}"
    if mutant.area == "rules" and (broken := _examples(store, mutant)):
        return broken
    return (
        _tests((*TESTS[mutant.area], *TESTS_OF.get(mutant.where, LAST if TESTS[mutant.area] else ()))) if tests else ""
    )


def _whom(ground: Ground, mutant: Mutant) -> list[str]:
    """Of whom the plans are made: of a report, its species and the family, to whom alone it is lent; of a rule, those on
    whom it fires otherwise, since all that rules do to a plan they do by firing. Of a treatment first those who get it."""
    names = spread(ground.names)
    if mutant.area == "rules":
        before = rules.compile_rule(next(r for r in ground.store._shared["rules"] if r["id"] == mutant.where))
        now = mutant.change(before) if callable(mutant.change) else rules.compile_rule(mutant.change)
        seen = ground.facts[before.phase]
        same_effects = before.data["then"] == now.data["then"]
        fired = {name: (before.matches(seen[name]), now.matches(seen[name])) for name in names}
        return [name for name, (a, b) in fired.items() if a != b or (a is not None and not same_effects)]
    if mutant.area == "treatments":
        names.sort(key=lambda name: not any(f"{mutant.where}/" in line for line in ground.lines[name]))
    if mutant.area == "reports":
        family = ground.store.records[mutant.where]["family"]
        names = list(dict.fromkeys((mutant.where, *(n for n in names if ground.store.records[n]["family"] == family))))
    return names


def _mutated(store: MemoryStore, mutant: Mutant) -> MemoryStore:
    """The store with the mutant in it; of code, the module is changed when it is first imported."""
    shared, records, base = dict(store._shared), store.records, store
    if mutant.area == "code":
        assert "rousewort.planning" not in sys.modules
        sys.meta_path.insert(0, _Changed(mutant))
    elif mutant.area == "reports":
        records = {**records, mutant.where: mutant.change}
    elif mutant.area == "rules":
        if callable(mutant.change):
            _compile_otherwise(mutant)
        else:
            shared["rules"] = [mutant.change if r["id"] == mutant.where else r for r in shared["rules"]]
    else:
        shared[mutant.area] = {**shared[mutant.area], mutant.where: mutant.change}
    if mutant.area in ("treatments", "vocabulary"):  # what was summed up with the words as they stood serves no more
        return Held(records, shared, Vocabulary(shared["vocabulary"], shared["treatments"]))
    return Held(records, shared, store.vocabulary, base)


def _compile_otherwise(mutant: Mutant) -> None:
    compiled = rules.compile_rule
    rules.compile_rule = lambda data: mutant.change(compiled(data)) if data["id"] == mutant.where else compiled(data)


class _Changed(importlib.abc.MetaPathFinder, importlib.machinery.SourceFileLoader):
    """Finds one module, with a change in it."""

    def __init__(self, mutant: Mutant) -> None:
        name = "rousewort." + mutant.where.removesuffix(".py").replace("/", ".")
        super().__init__(name, str(ENGINE / mutant.where))
        self.number = mutant.change

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> Any:
        return importlib.util.spec_from_loader(name, self) if name == self.name else None

    def get_code(self, name: str) -> CodeType:
        source = changed_source(Path(self.path).read_text("utf-8"), self.number)
        return compile(ast.parse(source), self.path, "exec")


def _golden_tests() -> tuple[ModuleType, ModuleType]:
    for folder in (TESTS_FOLDER, TESTS_FOLDER / "golden"):
        if str(folder) not in sys.path:
            sys.path.insert(0, str(folder))
    import golden_lines  # type: ignore[import-not-found]
    import test_golden_plans  # type: ignore[import-not-found]

    return golden_lines, test_golden_plans


class _Written:
    """In place of a legend's codes the texts themselves: a line then holds all that legend and line hold together."""

    def mark(self, group: str, text: str) -> str:
        return f"<{text}>"


def golden(
    store: MemoryStore, names: Sequence[str], kin: set[str] | None = None, every: int = 1
) -> Iterator[tuple[str, list[str]]]:
    """All that tests/golden holds of these plants, then of those with all settings (of `kin` only), plant by plant."""
    from rousewort.evaluation.agreement import claims
    from rousewort.planning.plan import Planner
    from rousewort.planning.plan_json import plan_json

    lines, tests = _golden_tests()
    planner, legend = Planner(knowledge_base.KnowledgeBase(store), "plain"), _Written()
    whole = {json.loads(path.read_text("utf-8"))["taxon"]["name"] for path in (tests.HERE / "json").glob("*.json")}
    for name in dict.fromkeys(names):
        plan = plan_json(planner.plan(name))
        made = [*lines.plan_lines(plan, name, legend), *lines.alternative_lines(plan, name, legend)]
        made += lines.claim_lines(claims(planner.kb, name))
        yield name, [*made, json.dumps(plan, sort_keys=True)] if name in whole else made
    watched = sorted(lines.blocks((tests.HERE / "settings.txt").read_text("utf-8")))[::every]
    for name in spread([name for name in watched if kin is None or name in kin]):
        usual = tests.plan_for(planner, name, {})
        others = {words: tests.plan_for(planner, name, setting) for words, setting in tests.SETTINGS.items()}
        made = [*lines.plan_lines(usual, name, legend), *lines.setting_lines(usual, others, name, legend)]
        yield f"{name}, other settings", made


def known_facts(store: MemoryStore, names: Sequence[str]) -> dict[str, dict[str, frozenset[rules.FactKey]]]:
    """Phase → species → the facts that rules of that phase find there."""
    from rousewort.planning.facts import gather
    from rousewort.planning.rules.run import fire, make_engine

    kb = knowledge_base.KnowledgeBase(store)
    engine = make_engine(kb.rules, "plain")
    known: dict[str, dict[str, frozenset[rules.FactKey]]] = {phase: {} for phase in rules.PHASES}
    for name in names:
        given = gather(kb, kb.lookup(name)).keys()
        settled = fire(engine, given, kb.vocabulary).facts
        without = frozenset(fact for fact in settled if fact[0] != "obstacle")
        for phase, facts in zip(rules.PHASES, (given, without, settled, settled), strict=True):
            known[phase][name] = facts
    return known


def spread(names: Sequence[str], step: int = 37) -> list[str]:
    """Neighbours far apart, so that something that few plants show is met soon."""
    return [name for start in range(step) for name in names[start::step]]


def _examples(store: MemoryStore, mutant: Mutant) -> str:
    """What `rousewort check` says of the examples of the rules, of the mutant's first."""
    from rousewort.contribute.rule_examples import example_problems
    from rousewort.knowledge.build import Laid
    from rousewort.knowledge.strict_yaml import Document

    files = {f"rules/{rule['id']}.yaml": Document(rule["id"], rule) for rule in store._shared["rules"]}
    own = f"rules/{mutant.where}.yaml"
    for chosen in ({own: files[own]}, files):
        if problems := example_problems(Laid([store], [], [chosen])):
            return f"rule examples: {problems[0].what}"[:200]
    return ""


class _First:
    """Remembers the first test that failed."""

    def __init__(self) -> None:
        self.failed = ""

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid


def _tests(files: Sequence[str]) -> str:
    import pytest

    first = _First()
    words = ["-x", "-q", "-n0", "-p", "no:cacheprovider", "--hypothesis-seed=0", "--rootdir", str(TESTS_FOLDER.parent)]
    with open(os.devnull, "w") as nowhere, contextlib.redirect_stdout(nowhere), contextlib.redirect_stderr(nowhere):
        code = pytest.main([*words, *(str(TESTS_FOLDER / file) for file in files)], plugins=[first]) if files else 0
    return (
        f"test: {first.failed.removeprefix('tests/')}"
        if first.failed
        else ""
        if code == 0
        else f"tests ended with {code}"
    )
