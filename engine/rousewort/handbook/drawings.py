"""Pictures drawn from data: what a seed is like, and where to nick or cut it. Every picture says in words what it shows."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from markupsafe import Markup

from rousewort.handbook.escape import escaped
from rousewort.knowledge.strict_yaml import read
from rousewort.knowledge.vocabulary import Vocabulary


class Drawn(NamedTuple):
    """`svg`: the picture; `kind`: what kind of seed it shows; `nick`: where a watertight coat is opened, None where it is not;
    `cut`: what to see in a cut test."""

    svg: Markup
    kind: str
    nick: str | None
    cut: str


class SeedDrawing:
    """Draws a seed cut lengthwise by `site/seed.yaml`, with a bar of sizes below."""

    def __init__(self, site: Path, vocabulary: Vocabulary) -> None:
        path = site / "seed.yaml"
        self.form: Mapping[str, Any] = read(path.read_bytes(), str(path)).data
        self.size_key = vocabulary.size_key
        self.sizes = tuple(vocabulary.traits[self.size_key]["values"])

    def __call__(self, known: Mapping[str, str], words: Mapping[str, str], family: str = "") -> Drawn:
        """`known`: trait → word of the vocabulary, missing where nothing is known. `words`: the same in plain words."""
        told = {**known, "family": family}
        kind = next(kind for kind in self.form["kinds"] if any(_holds(case, told) for case in kind["when"]))
        nicked = self.form["shut"]
        nick = kind.get("opened") if known.get(nicked["trait"]) == nicked["word"] else None
        said = [words[key] for key in self.form["says"] if key in words] or ["nothing of this is known"]
        said += [f"nick {nick['says'][:1].lower()}{nick['says'][1:]}"] if nick else []
        label = f"A {kind['name']} cut lengthwise: " + "; ".join(said)
        parts = (
            kind.get("behind", ""),
            f'<path class="coat{self._by("water", known)}" stroke-width="{self._by("thick", known)}" d="{kind["coat"]}"/>',
            kind.get("before", ""),
            self._embryo(kind["inside"], known),
            f'<path class="cut" d="{kind["cut"]["d"]}"/>',
            _nick(nick) if nick else "",
            self._size_bar(known),
        )
        svg = Markup(
            f'<svg class="rw-seed" viewBox="0 0 196 172" role="img" aria-label="{escaped(label)}">{"".join(parts)}</svg>'
        )
        return Drawn(svg, kind["name"], nick["says"] if nick else None, kind["cut"]["says"])

    def _by(self, what: str, known: Mapping[str, str]) -> str:
        told: Mapping[str, str] = self.form[what]
        return told.get(known.get(told["trait"], "unknown"), told["unknown"])

    def _embryo(self, place: Mapping[str, float], known: Mapping[str, str]) -> str:
        move = f"translate({place['x']} {place['y']}) scale({place['size']}) translate(-95 -70)"
        return f'<g transform="{move}">{self._by("inner", known)}</g>'

    def _size_bar(self, known: Mapping[str, str]) -> str:
        dots = []
        for i, size in enumerate(self.sizes):
            here = " here" if known.get(self.size_key) == size else ""
            dots.append(f'<circle class="size{here}" cx="{24 + i * 29}" cy="156" r="{1.5 + i * 1.9:.1f}"/>')
        return "".join(dots)


def _holds(case: Mapping[str, Any], told: Mapping[str, str]) -> bool:
    return all(told.get(key) in (words if isinstance(words, list) else [words]) for key, words in case.items())


def _nick(nick: Mapping[str, Any]) -> str:
    """An arrowhead on the coat."""
    return (
        f'<path class="nick" transform="translate({nick["x"]} {nick["y"]}) rotate({nick["turn"]})" d="M0 3l-8-15h16z"/>'
    )
