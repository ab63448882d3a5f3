"""Pictures drawn from data: what a seed is like. Every picture says in words what it shows."""

from __future__ import annotations

from collections.abc import Mapping

from markupsafe import Markup

from rousewort.handbook.escape import escaped

SIZES = ("dust", "fine", "small", "medium", "large", "very_large")
# Embryos inside the outline below: a few cells, a small heart, a full-grown one with two seed leaves.
EMBRYOS = {
    "undifferentiated": '<circle class="embryo" cx="68" cy="70" r="3"/><circle class="embryo" cx="74" cy="73" r="3"/>',
    "undergrown": '<path class="embryo" d="M56 70c5-9 15-10 20-5-1 2-3 3-6 4 3 2 5 3 6 6-5 5-15 4-20-5z"/>',
    "full_size": '<path class="embryo" d="M52 70c0-4 6-6 14-6 12-9 52-14 68 1 2 3 0 4-4 4-22 1-40 0-58 1 18 1 36 0 58 1 4 0 6 1 4 4'
    '-16 15-56 10-68 1-8 0-14-2-14-6z"/>',
}


def seed(known: Mapping[str, str], words: Mapping[str, str]) -> Markup:
    """A seed cut lengthwise, root tip to the left, with a bar of sizes below.

    `known`: trait → word of the vocabulary, missing where nothing is known. `words`: trait → the same in plain words.
    """
    water = known.get("coat_water")
    hard = known.get("coat_hardness")
    parts = []
    if known.get("fruit") == "fleshy":
        parts.append('<path class="flesh" d="M14 70C14 28 52 8 98 8s84 20 84 62-38 62-84 62-84-20-84-62z"/>')
    if known.get("restraint") in ("stone", "hull") or hard == "stony":
        parts.append('<path class="stone" d="M26 70c0-32 32-50 72-50s72 18 72 50-32 50-72 50-72-18-72-50z"/>')
    coat = (
        "coat"
        + (" tight" if water == "stops" else "")
        + (" open" if water == "passes" else " unknown" if water is None else "")
    )
    thick = {"soft": 2, "hard": 4, "stony": 4}.get(hard or "", 3)
    parts.append(
        f'<path class="{coat}" stroke-width="{thick}" d="M40 70c0-24 26-38 58-38s58 14 58 38-26 38-58 38-58-14-58-38z"/>'
    )
    parts.append(EMBRYOS.get(known.get("embryo", ""), '<text class="ask" x="98" y="76" text-anchor="middle">?</text>'))
    said = [
        words[key]
        for key in ("embryo", "coat_water", "coat_hardness", "restraint", "fruit", "seed_size")
        if key in words
    ]
    label = "A seed cut lengthwise: " + ("; ".join(said) if said else "nothing of this is known")
    return Markup(
        f'<svg class="rw-seed" viewBox="0 0 196 172" role="img" aria-label="{escaped(label)}">{"".join(parts)}{_size_bar(known)}</svg>'
    )


def _size_bar(known: Mapping[str, str]) -> str:
    dots = []
    for i, size in enumerate(SIZES):
        here = " here" if known.get("seed_size") == size else ""
        dots.append(f'<circle class="size{here}" cx="{24 + i * 29}" cy="156" r="{1.5 + i * 1.9:.1f}"/>')
    return "".join(dots)
