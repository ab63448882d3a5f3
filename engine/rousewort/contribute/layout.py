"""Where a file stands: which folder is its knowledge base, and which knowledge bases lie beneath."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from rousewort.base.errors import UserError
from rousewort.knowledge.files import TAXON_FOLDERS, shipped_layer
from rousewort.knowledge.knowledge_base import PACKAGED_INDEX
from rousewort.knowledge.names import slug

_FOLDERS = {*TAXON_FOLDERS, "rules", "treatments", "vocabulary", "names", "tables"}
_FILES = {"sources.yaml", "calibration.yaml"}


class Layers(NamedTuple):
    """Folders from the bottom up; `base_index` stands beneath them in an installed wheel."""

    folders: tuple[Path, ...]
    base_index: Path | None


def all_layers(extra: Sequence[Path | str] = ()) -> Layers:
    """The shipped knowledge base and private layers over it. Raises UserError for a layer that is not there."""
    clone = shipped_layer()
    private = [Path(layer) for layer in extra]
    missing = [
        f"There is no knowledge base folder at {p}. Check --kb or ROUSEWORT_KB." for p in private if not p.is_dir()
    ]
    if missing:
        raise UserError(*missing)
    if clone is None and not PACKAGED_INDEX.exists():
        raise UserError("This installation has no knowledge base. Install rousewort again.")
    every = ([clone] if clone else []) + [p for p in private if clone is None or p.resolve() != clone]
    return Layers(tuple(every), None if clone else PACKAGED_INDEX)


def root_of(path: Path) -> Path | None:
    """The knowledge base that a file is part of, told by the folders it stands in; None where it is in none."""
    whole = path.resolve()
    for folder in whole.parents:
        if folder.name in _FOLDERS:
            return folder.parent
    return whole.parent if whole.name in _FILES else None


def place_of(record_name: str, rank: str) -> str:
    """Where the entry of an accepted name stands in its layer."""
    file = f"{slug(record_name)}.yaml"
    if rank == "species":
        return f"species/{slug(record_name.split()[0])}/{file}"
    return f"{'genera' if rank == 'genus' else 'families'}/{file}"


def with_root(layers: Layers, root: Path) -> Layers:
    """The layers with `root` on top, unless it is one of them; alone, where it is a whole knowledge base itself."""
    if (root / "vocabulary").is_dir():
        return Layers((root,), None) if root not in [f.resolve() for f in layers.folders] else layers
    if any(root == folder.resolve() for folder in layers.folders):
        return layers
    return Layers((*layers.folders, root), layers.base_index)
