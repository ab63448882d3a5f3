"""Writes kb/schema/*.schema.yaml from the vocabulary: `python -m rousewort.knowledge.write_schemas`.

A test fails while they are stale.
"""

from __future__ import annotations

from pathlib import Path

from rousewort.knowledge.build import read_vocabulary
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.schemas import HEAD, all_schemas
from rousewort.knowledge.strict_yaml import read


def write(layer: Path) -> list[Path]:
    """Rewrite the schema files of a layer; returns those that changed."""
    vocabulary = read_vocabulary(layer)
    kinds = {
        path.stem: read(path.read_bytes(), str(path)).data for path in sorted((layer / "treatments").glob("*.yaml"))
    }
    changed = []
    for stem, schema in all_schemas(vocabulary, kinds).items():
        path, content = layer / "schema" / f"{stem}.schema.yaml", HEAD + dump(schema)
        if not path.exists() or path.read_text("utf-8") != content:
            path.parent.mkdir(exist_ok=True)
            path.write_text(content, "utf-8")
            changed.append(path)
    return changed


if __name__ == "__main__":
    for written in write(shipped_layer() or Path("kb")):
        print(written)
