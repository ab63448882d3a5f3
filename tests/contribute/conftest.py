"""A small private layer of the invented Sallow Bridge community nursery, laid over the shipped knowledge base."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from rousewort.cli.main import main

# An invented plant. No trait of it is true of any plant.
PLANT = """\
# yaml-language-server: $schema=../../schema/taxon.schema.yaml
name: Sallowia pontis
rank: species
family: Fabaceae
synonyms:
  - Sallowia vetus
traits:
  dormancy_class:
    - {is: physical, source: bridge-2001, held: read, where: p. 3}
  coat_hardness:
    - {is: hard, held: practice}
protocols:
  - id: nick
    source: bridge-2001
    held: read
    where: p. 4
    phases:
      - {kind: nick, found: needed}
"""
SOURCES = "bridge-2001: {citation: 'Reed A. (2001) An invented work on waking seed. Sallow Bridge Notes 1:1-9.'}\n"
PLACE = "species/sallowia/sallowia-pontis.yaml"


class Layer:
    """A folder of private entries. `write` puts a file in it, `run` a command over it."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self._capsys = folder, capsys
        if not (folder / "sources.yaml").exists() or (folder / "sources.yaml").read_text() != SOURCES:
            self.write("sources.yaml", SOURCES)

    def write(self, place: str, text: str) -> Path:
        path = self.folder / place
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
        return path

    def plant(self, *changes: tuple[str, str]) -> Path:
        """The invented plant, with pieces of its text replaced; each must stand in it once."""
        text = PLANT
        for old, new in changes:
            assert text.count(old) == 1, f"{old!r} must stand once in the plant"
            text = text.replace(old, new)
        return self.write(PLACE, text)

    def run(self, *words: object) -> tuple[int, str, str]:
        """(exit code, standard output, standard error) of a command, this layer on top."""
        self._capsys.readouterr()
        code = main([*map(str, words[:2]), *map(str, words[2:]), "--kb", str(self.folder)])
        out = self._capsys.readouterr()
        return code, out.out, out.err


@pytest.fixture(scope="session")
def bridge(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("bridge")


@pytest.fixture
def private(bridge: Path, capsys: pytest.CaptureFixture[str]) -> Layer:
    """The layer, empty but for its sources. One folder for all tests: then one index serves their checks."""
    for path in bridge.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        elif path.name != "sources.yaml":
            path.unlink()
    return Layer(bridge, capsys)


@pytest.fixture
def rousewort(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """A command without any private layer."""

    def run(*words: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main([str(word) for word in words])
        out = capsys.readouterr()
        return code, out.out, out.err

    return run
