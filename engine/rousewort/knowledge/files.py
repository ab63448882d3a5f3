"""Which files make up a knowledge base, and how layers lie over one another.

A layer is a folder shaped like `kb/`. A later layer replaces whole files of an earlier one, by accepted name or
rule id; an entry headed `adds_to:` only adds its protocols. Nothing merges deeper.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rousewort.base.atomic_write import read_whole
from rousewort.base.errors import KnowledgeError, Problem, UserError

if TYPE_CHECKING:
    from rousewort.knowledge.strict_yaml import Document

TAXON_FOLDERS = {"species": "species", "genera": "genus", "families": "family"}


def shipped_layer() -> Path | None:
    """The `kb/` folder of a clone, or None in an installed wheel (which carries a compiled index instead).

    ROUSEWORT_SHIPPED names another folder in its place: quick tests run commands on a small one.
    """
    named = os.environ.get("ROUSEWORT_SHIPPED")
    folder = Path(named) if named else Path(__file__).resolve().parents[3] / "kb"
    return folder if (folder / "vocabulary").is_dir() else None


def yaml_files(layer: Path) -> Iterator[Path]:
    """Every YAML file of a layer, sorted, so that nothing depends on the order of a directory."""
    for folder, folders, names in os.walk(layer):
        folders.sort()
        for name in sorted(names):
            if name.endswith((".yaml", ".yml")):
                yield Path(folder, name)


def stamp(layers: Sequence[Path]) -> str:
    """A digest of paths, sizes and times: changes whenever any file of the layers does, or any module here that reads and
    summarises them."""
    import hashlib

    digest = hashlib.blake2b(digest_size=16)
    digest.update("\n".join(sorted(_states(str(Path(__file__).parent), (".py",), []))).encode())
    for layer in layers:
        digest.update(str(layer.resolve()).encode())
        stack = [str(layer)]
        while stack:
            digest.update("\n".join(sorted(_states(stack.pop(), (".yaml", ".yml", ".csv"), stack))).encode())
            stack.sort()
    return digest.hexdigest()


def _states(folder: str, endings: tuple[str, ...], folders: list[str]) -> Iterator[str]:
    """Path, size and time of each file with one of these endings; the folders in it are added to `folders`."""
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                folders.append(entry.path)
            elif entry.name.endswith(endings):
                status = entry.stat()
                yield f"{entry.path}|{status.st_size}|{status.st_mtime_ns}"


def read_layer(layer: Path, progress: Callable[[int], None] | None = None) -> tuple[dict[str, Document], list[Problem]]:
    """Parse every file of a layer. Returns documents by path relative to the layer, and the problems found.

    `progress` is told how many files of the layer have been read so far.
    """
    from rousewort.knowledge.strict_yaml import read

    if not layer.is_dir():
        raise UserError(f"There is no knowledge base folder at {layer}. Check the path given to --kb.")
    documents: dict[str, Document] = {}
    problems: list[Problem] = []
    for count, path in enumerate(yaml_files(layer), 1):
        if progress:
            progress(count)
        try:
            documents[path.relative_to(layer).as_posix()] = read(read_whole(path), str(path))
        except KnowledgeError as trouble:
            problems += [p for p in trouble.problems if isinstance(p, Problem)]
        except OSError as error:
            problems.append(Problem(str(path), 0, 0, f"cannot be read: {error.strerror}", "Check its permissions."))
    return documents, problems
