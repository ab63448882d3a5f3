"""Pictures drawn from data: what a seed is like. Every picture says in words what it shows."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from markupsafe import Markup

from rousewort.handbook.escape import escaped
from rousewort.knowledge.strict_yaml import read
from rousewort.knowledge.vocabulary import Vocabulary
from rousewort.planning.wording import fill


class SeedDrawing:
    """Draws a seed cut lengthwise by `site/seed.yaml`, with a bar of sizes below."""

    def __init__(self, site: Path, vocabulary: Vocabulary) -> None:
        path = site / "seed.yaml"
        self.form: Mapping[str, Any] = read(path.read_bytes(), str(path)).data
        self.size_key = vocabulary.size_key
        self.sizes = tuple(vocabulary.traits[self.size_key]["values"])

    def __call__(self, known: Mapping[str, str], words: Mapping[str, str]) -> Markup:
        """`known`: trait → word of the vocabulary, missing where nothing is known. `words`: the same in plain words."""
        parts = "".join(_part(part, known) for part in self.form["parts"] if _drawn(part, known))
        said = [words[key] for key in self.form["says"] if key in words]
        label = "A seed cut lengthwise: " + ("; ".join(said) if said else "nothing of this is known")
        return Markup(
            f'<svg class="rw-seed" viewBox="0 0 196 172" role="img" aria-label="{escaped(label)}">'
            f"{parts}{self._size_bar(known)}</svg>"
        )

    def _size_bar(self, known: Mapping[str, str]) -> str:
        dots = []
        for i, size in enumerate(self.sizes):
            here = " here" if known.get(self.size_key) == size else ""
            dots.append(f'<circle class="size{here}" cx="{24 + i * 29}" cy="156" r="{1.5 + i * 1.9:.1f}"/>')
        return "".join(dots)


def _drawn(part: Mapping[str, Any], known: Mapping[str, str]) -> bool:
    return "any" not in part or any(known.get(key) == word for case in part["any"] for key, word in case.items())


def _part(part: Mapping[str, Any], known: Mapping[str, str]) -> str:
    places = part.get("places", {})
    return fill(
        part["svg"], {name: told.get(known.get(told["trait"]), told["unknown"]) for name, told in places.items()}
    )
