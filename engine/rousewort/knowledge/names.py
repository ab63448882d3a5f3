"""How names are compared: folded for exact look-up, by letter triples and edit distance for misspellings."""

from __future__ import annotations

import unicodedata


def fold(name: str) -> str:
    """Lower case, no accents, no punctuation, `×` and `x` between words alike, single spaces."""
    plain = unicodedata.normalize("NFKD", name.replace("×", " x ")).casefold()
    kept = "".join(c if c.isalnum() else "" if c in "'’`´" or unicodedata.combining(c) else " " for c in plain)
    return " ".join(word for word in kept.split() if word not in {"x", "var", "subsp", "ssp", "f"})


def triples(folded: str) -> set[str]:
    """The letter triples of a folded name, padded so that its beginning counts."""
    padded = f" {folded} "
    return {padded[i : i + 3] for i in range(len(padded) - 2)}


def slug(name: str) -> str:
    """The file name of an accepted name: lower case, words joined by hyphens, rank words kept."""
    plain = unicodedata.normalize("NFKD", name.replace("×", "x")).encode("ascii", "ignore").decode().lower()
    return "-".join("".join(c if c.isalnum() else " " for c in plain).split())
