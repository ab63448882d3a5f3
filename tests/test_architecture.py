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
# Imports inside functions, for a cold start or an optional extra; a new one takes the place of another.
MOST_LATE_IMPORTS = 40


def stated_order() -> dict[str, int]:
    """Package → its line in the block of DEVELOPERS.md that says who stands above whom."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    block = re.search(r"each imports only from lines above.*?```\n(.*?)```", text, re.DOTALL)
    assert block, "DEVELOPERS.md no longer states the order of packages"
    names = re.findall(r"^(\w+)/", block[1], re.MULTILINE)
    return {name: number for number, name in enumerate(names)}


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
                inner = node.module.removeprefix("rousewort.")
                for alias in node.names:
                    part = PACKAGE / inner.replace(".", "/") / f"{alias.name}.py"
                    yield node.lineno, f"{inner}.{alias.name}" if part.exists() else inner
        elif isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.startswith("rousewort."):
                    yield node.lineno, alias.name.removeprefix("rousewort.")


def top(module: str) -> str:
    return module.split(".")[0]


def test_every_package_has_its_line_in_developers_md_and_no_module_lies_flat() -> None:
    assert {top(name) for name, _ in modules()} == set(stated_order()) | {"__init__", "__main__"}


def test_each_package_imports_only_from_lines_above_it() -> None:
    order = stated_order()
    wrong = [
        f"{path.relative_to(ROOT)}:{line} imports {other}, which stands below it"
        for name, path in modules()
        for line, other in imports(path)
        if name not in ("__init__", "__main__") and order[top(other)] > order[top(name)]
    ]
    assert not wrong, "\n".join(wrong)


def test_no_module_imports_itself_by_way_of_others() -> None:
    """Imports inside functions count too: a circle that is only hidden is a circle."""
    here = dict(modules())
    reach = {name: {module_of(other, here) for _, other in imports(path)} for name, path in here.items()}
    assert not list(circles(reach))


def module_of(imported: str, here: dict[str, Path]) -> str:
    """`from rousewort.base import errors` and `from rousewort.base.errors import Problem` both mean base.errors."""
    return imported if imported in here else f"{imported}.__init__"


def circles(reach: dict[str, set[str]]) -> Iterator[list[str]]:
    """Each circle once: a module is taken away when all that it reaches is gone; what is left goes round."""
    left = {name: set(others) & set(reach) for name, others in reach.items()}
    while free := [name for name, others in left.items() if not others & set(left)]:
        for name in free:
            del left[name]
    while inner := [name for name in left if not any(name in others for others in left.values())]:
        for name in inner:  # it leads into a circle, and is in none
            del left[name]
    if left:
        yield sorted(left)


def test_imports_inside_functions_are_few() -> None:
    late = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for _, path in modules()
        for function in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    assert len(set(late)) < MOST_LATE_IMPORTS, "\n".join(sorted(set(late)))


def test_only_its_wrapper_touches_durable_rules() -> None:
    touching = [
        name for name, path in modules()
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if (isinstance(node, ast.ImportFrom) and (node.module or "").startswith("durable"))
        or (isinstance(node, ast.Import) and any(alias.name.startswith("durable") for alias in node.names))
    ]  # fmt: skip
    assert set(touching) <= {"planning.rules.durable_engine", "planning.rules.run"}


def test_no_module_of_the_core_names_a_trait_or_treatment_in_order_to_decide() -> None:
    """Renderers decide nothing: they ask neither the rules nor the choice."""
    wrong = [
        f"{path.name}:{line} {other}"
        for name, path in modules()
        if name.startswith("render.")
        for line, other in imports(path)
        if other.startswith(("planning.rules", "planning.choose", "planning.amounts", "planning.facts"))
    ]
    assert not wrong


LEAN = """
import sys
import rousewort.planning.plan
from rousewort.knowledge.knowledge_base import load
plan = rousewort.planning.plan.Planner(load(), "plain").plan("Cercis canadensis")
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
