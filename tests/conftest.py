"""What every test may ask for: the shipped knowledge base and planners on it, each made once a session."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from must_be_here import ON_CI  # type: ignore[import-not-found]
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.knowledge_base import KnowledgeBase, load
from rousewort.knowledge.store import MemoryStore
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.rules.run import durable_works

ALL = os.environ.get("ROUSEWORT_ALL") == "1"

# Cores are slow, so no example fails for being slow; a failure prints how to repeat it. CI tries more of them.
_PROFILE = {"deadline": None, "print_blob": True, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("here", max_examples=50, **_PROFILE)
settings.register_profile("all", max_examples=300, **_PROFILE)
settings.load_profile("all" if ALL else "here")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--update-lines", action="store_true", help="rewrite the files of tests/golden from the plans as they are"
    )


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """No test reads or writes the user's cache, nor sees their private layers or colour wishes."""
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(folder))
        patch.delenv("ROUSEWORT_KB", raising=False)
        patch.delenv("NO_COLOR", raising=False)
        yield folder


@pytest.fixture(scope="session")
def layer() -> Path:
    """The kb/ folder of this clone."""
    folder = shipped_layer()
    assert folder is not None, "these tests run from a clone"
    return folder


@pytest.fixture(scope="session")
def kb(own_cache: Path) -> KnowledgeBase:
    """The shipped knowledge base, as a user gets it."""
    return load()


@pytest.fixture(scope="session")
def memory(kb: KnowledgeBase) -> MemoryStore:
    """All its records, in memory. Not to be changed."""
    return kb.store.to_memory(kb.vocabulary)  # type: ignore[attr-defined]


@pytest.fixture(scope="session")
def planner(kb: KnowledgeBase) -> Planner:
    """On the plain engine: the oracle."""
    return Planner(kb, "plain")


@pytest.fixture(scope="session")
def durable_here() -> None:
    """Asked for by tests of durable_rules: skips where it cannot be imported, fails where CI says that it must be."""
    if durable_works():
        return
    if (ON_CI or ALL) and sys.version_info < (3, 13):
        pytest.fail("durable_rules must work here and cannot be imported")
    pytest.skip("durable_rules cannot be imported here: nothing was compared with it")


@pytest.fixture(scope="session")
def durable_planner(kb: KnowledgeBase, durable_here: None) -> Planner:
    return Planner(kb, "durable_rules")


@pytest.fixture(scope="session")
def species(kb: KnowledgeBase) -> list[str]:
    return sorted(kb.names("species"))


@pytest.fixture(scope="session")
def some_species(species: list[str]) -> list[str]:
    """150 species spread evenly over the alphabet, or all of them with ROUSEWORT_ALL=1."""
    return species if ALL or len(species) <= 150 else [species[i * len(species) // 150] for i in range(150)]


@pytest.fixture(scope="session")
def plans(planner: Planner, species: list[str]) -> dict[str, Plan]:
    """The plan of every species for a grower with the usual things."""
    return {name: planner.plan(name) for name in species}
