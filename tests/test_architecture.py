"""Who may import whom, as DEVELOPERS.md states it, and what a plan must not load."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "engine" / "rousewort"
# Upward imports that are meant, each with its reason. One that is no longer there fails the test below.
MEANT = {
    ("knowledge", "rules"): "a rule that can never match is a mistake in its file, and only the compiler knows it",
}


def stated_order() -> dict[str, int]:
    """Module or package → its line in the block of DEVELOPERS.md that says who stands above whom."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    block = re.search(r"imports only from lines above it.*?```\n(.*?)```", text, re.DOTALL)
    assert block, "DEVELOPERS.md no longer states the order of modules"
    order = {}
    for number, line in enumerate(block[1].splitlines()):
        if line[:1].strip():
            names = re.match(r"[\w/, ]+?(?=\s{2,}|$)", line)
            for name in re.findall(r"\w+", names[0] if names else ""):
                order[name] = number
    return order


def modules() -> Iterator[tuple[str, Path]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        yield path.relative_to(PACKAGE).with_suffix("").as_posix().replace("/", "."), path


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """Every import of our own package, those inside functions too; not those for type checkers only."""
    tree = ast.parse(path.read_text("utf-8"))
    for_types = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in for_types:
            continue
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "rousewort" and node.level == 0:
            if node.module == "rousewort":
                yield from ((node.lineno, alias.name) for alias in node.names)
            else:
                yield node.lineno, node.module.removeprefix("rousewort.")
        elif isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.startswith("rousewort."):
                    yield node.lineno, alias.name.removeprefix("rousewort.")


def top(module: str) -> str:
    return module.split(".")[0]


def test_every_module_has_its_line_in_developers_md() -> None:
    order = stated_order()
    missing = sorted({top(name) for name, _ in modules()} - set(order) - {"__init__"})
    assert not missing, f"DEVELOPERS.md does not say where these stand: {', '.join(missing)}"


def test_developers_md_names_no_module_that_is_not_there() -> None:
    here = {top(name) for name, _ in modules()}
    assert set(stated_order()) <= here


def test_each_module_imports_only_from_lines_above_it() -> None:
    order = stated_order()
    wrong = []
    for name, path in modules():
        for line, other in imports(path):
            mine, theirs = order.get(top(name)), order.get(top(other))
            if None in (mine, theirs) or top(name) == top(other):
                continue
            if theirs > mine and (top(name), top(other)) not in MEANT:
                wrong.append(f"{path.relative_to(ROOT)}:{line} imports {other}, which stands below it")
    assert not wrong, "\n".join(wrong)


def test_modules_on_one_line_do_not_import_each_other_in_a_circle() -> None:
    order = stated_order()
    pairs = {
        (top(name), top(other)) for name, path in modules() for _, other in imports(path) if top(name) != top(other)
    }
    circles = sorted(f"{a} ↔ {b}" for a, b in pairs if a < b and (b, a) in pairs and order.get(a) == order.get(b))
    assert not circles


def test_the_upward_imports_that_are_meant_are_still_there() -> None:
    pairs = {(top(name), top(other)) for name, path in modules() for _, other in imports(path)}
    assert set(MEANT) <= pairs


def test_only_its_wrapper_touches_durable_rules() -> None:
    touching = [
        name for name, path in modules()
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if (isinstance(node, ast.ImportFrom) and (node.module or "").startswith("durable"))
        or (isinstance(node, ast.Import) and any(alias.name.startswith("durable") for alias in node.names))
    ]  # fmt: skip
    assert set(touching) <= {"rules.durable_engine", "rules.run"}


def test_no_module_of_the_core_names_a_trait_or_treatment_in_order_to_decide() -> None:
    """Renderers decide nothing: they ask neither the rules nor the choice."""
    wrong = [
        f"{path.name}:{line} {other}"
        for name, path in modules()
        if name.startswith("render.")
        for line, other in imports(path)
        if top(other) in ("rules", "choose", "dose", "facts")
    ]
    assert not wrong


LEAN = """
import sys
import rousewort.plan
from rousewort.knowledge.base import load
plan = rousewort.plan.Planner(load(), "plain").plan("Cercis canadensis")
assert plan.steps
heavy = {"yaml", "jsonschema", "jsonschema_rs", "durable", "rich", "click", "numpy", "scipy", "pandas", "rapidfuzz",
         "mkdocs", "sqlalchemy", "segno", "reportlab", "icalendar", "asyncio", "hypothesis"}
print(" ".join(sorted(heavy & set(sys.modules))))
"""


def test_a_plan_on_a_fresh_index_loads_no_library_that_it_does_not_use(tmp_path: Path) -> None:
    """The first run compiles the index; the second is what a user feels every day."""
    env = {**os.environ, "XDG_CACHE_HOME": str(tmp_path)}
    for _ in ("compiles the index", "reads it"):
        done = subprocess.run([sys.executable, "-c", LEAN], capture_output=True, text=True, env=env, check=True)
    assert done.stdout.split() == []


@pytest.mark.parametrize("module", [name for name, _ in modules() if not name.endswith("__init__")])
def test_importing_a_module_does_nothing_else(module: str, tmp_path: Path) -> None:
    """No output, no files, no work: read as a syntax tree, quick for every module."""
    tree = ast.parse((PACKAGE / (module.replace(".", "/") + ".py")).read_text("utf-8"))
    quiet = (ast.Import, ast.ImportFrom, ast.FunctionDef, ast.ClassDef, ast.Assign, ast.AnnAssign, ast.If, ast.Try)
    loud = [
        f"line {node.lineno}: {ast.unparse(node)[:60]}"
        for node in tree.body
        if not isinstance(node, quiet) and not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))
        and not (isinstance(node, ast.Expr) and ast.unparse(node).startswith("_Dumper.add_representer"))
    ]  # fmt: skip
    assert not loud
    for node in ast.walk(tree):
        if isinstance(node, ast.Global):
            pytest.fail(f"line {node.lineno}: hidden global state")


def test_no_path_of_a_machine_stands_in_the_package_or_the_tests() -> None:
    mark = re.compile(r"(?<![\w.])/(?:work|root|home/\w+)/")
    texts = [*PACKAGE.rglob("*.py"), *(ROOT / "tests").rglob("*.py"), *(ROOT / "benchmarks").rglob("*.py")]
    here = Path(__file__)
    assert not [str(path.relative_to(ROOT)) for path in texts if path != here and mark.search(path.read_text("utf-8"))]
