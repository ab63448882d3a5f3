"""Each dependency states a lowest version, stands in the lock file of developers, and has its licence listed."""

from __future__ import annotations

import importlib.util
import re
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import ModuleType

import pytest
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def dependencies() -> ModuleType:
    loader = SourceFileLoader("dependencies", str(ROOT / ".ci" / "dependencies"))
    spec = importlib.util.spec_from_loader("dependencies", loader)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def locked() -> dict[str, str]:
    lines = (ROOT / "requirements-dev.txt").read_text("utf-8").splitlines()
    return dict(line.split("==") for line in lines if not line.startswith("#"))


def test_every_dependency_is_locked_at_no_less_than_its_lowest_version(
    dependencies: ModuleType, locked: dict[str, str]
) -> None:
    for name, lowest in dependencies.stated().items():
        if name != "durable_rules":
            assert Version(locked[canonicalize_name(name)]) >= Version(lowest), name


def test_lowest_versions_of_tests_are_those_of_the_project(dependencies: ModuleType) -> None:
    lowest = dependencies.stated()
    for requirement in dependencies.project()["dependency-groups"]["test"]:
        name, _, version = re.match(r"([\w.-]+)(\[\w+\])?>=([\d.]+)", requirement).groups()  # type: ignore[union-attr]
        assert lowest.get(name, version) == version, requirement


def test_versions_that_were_found_not_to_work_are_not_allowed(dependencies: ModuleType) -> None:
    """citeproc-py before 0.10.4 cites BibTeX wrongly or not at all; PyYAML before 6.0.4 crashes on a file of nothing but
    depth; jsonschema-rs before 0.41 does not name the kind of an error; psycopg-binary before 3.2.2 has no wheel for
    Python 3.13; Flask needs Jinja2 3.1.2; of three font packages the version that was asked for never was."""
    lowest = {name: Version(version) for name, version in dependencies.stated().items()}
    assert lowest["citeproc-py"] >= Version("0.10.4") and lowest["psycopg"] >= Version("3.2.2")
    assert lowest["PyYAML"] >= Version("6.0.4") and lowest["jsonschema-rs"] >= Version("0.41")
    assert lowest["Jinja2"] >= Version("3.1.2") and lowest["fontpkg-heebo"] >= Version("3.100")


def test_licence_of_every_locked_package_is_listed(locked: dict[str, str]) -> None:
    lines = (ROOT / "docs" / "licences.txt").read_text("utf-8").splitlines()[1:]
    listed = {line.split(" ")[0]: line for line in lines}
    assert set(listed) == set(locked)
    assert all(line.split(" ")[1] == f"{locked[name]}:" for name, line in listed.items())


def test_what_the_lowest_versions_are_tried_with_is_there(dependencies: ModuleType) -> None:
    assert all((ROOT / path).exists() for path in dependencies.TRIED)
