"""A small private layer, written file by file and checked over the shipped knowledge base."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from rousewort.base.errors import KnowledgeError, Problem
from rousewort.knowledge.build import build
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import MemoryStore, write_index


@pytest.fixture(scope="session")
def index(memory: MemoryStore, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped knowledge base as one compiled file, as a wheel carries it."""
    path = tmp_path_factory.mktemp("index") / "kb.sqlite"
    write_index(memory, path, "test")
    return path


@pytest.fixture
def put(tmp_path: Path) -> Callable[[dict[str, str | bytes]], Path]:
    """Writes files of a layer; returns its folder."""

    def write(files: dict[str, str | bytes]) -> Path:
        folder = tmp_path / "layer"
        for name, content in files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return folder

    return write


@pytest.fixture
def built(put: Callable, index: Path) -> Callable[..., KnowledgeBase]:
    """A knowledge base with the given files laid over the shipped one. Raises KnowledgeError."""
    return lambda files: KnowledgeBase(build([put(files)], index))


@pytest.fixture
def problems(built: Callable) -> Callable[[dict], list[Problem]]:
    """What is wrong with the given files, each problem with the layer's folder taken off its file."""

    def find(files: dict[str, str | bytes]) -> list[Problem]:
        with pytest.raises(KnowledgeError) as caught:
            built(files)
        assert caught.value.exit_code == 1
        found = []
        for problem in caught.value.problems:
            assert isinstance(problem, Problem), f"a problem without a place: {problem}"
            found.append(
                Problem(problem.file.split("/layer/")[-1], problem.line, problem.column, problem.what, problem.mend)
            )
        return found

    return find
