"""What the search box finds: names of plants in every language that the tables hold, and the words of the trade."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from rousewort.handbook.catalogue import Catalogue


def findable(catalogue: Catalogue, terms: Mapping[str, Mapping[str, Any]]) -> Iterator[list[str]]:
    """[name, other names, what it is, page, further words that lead to it] of everything that has a page or a place on one.

    `terms`: those of the glossary; `see` names the pages that a term leads to beside its own place there.
    """
    places, kb = catalogue.places, catalogue.kb
    listed: dict[str, list[str]] = defaultdict(list)
    for folded, taxa in sorted(kb.store.shared("listed").items()):
        for taxon in taxa:
            listed[taxon].append(folded)
    meant: dict[str, list[str]] = defaultdict(list)
    for term, about in terms.items():
        for page in about.get("see", ()):
            meant[page] += [term, *about.get("also", ())]

    def row(name: str, others: Iterable[str], what: str, page: str, words: Iterable[str] = ()) -> list[str]:
        further = "; ".join((*words, *meant.get(page, ())))
        return [name, "; ".join(others), what, page, *([further] if further else [])]

    for e in catalogue.entries.values():
        page = places.path("species", e.name) or ""
        yield row(e.name, (*e.common_names, *e.synonyms), e.family, page, listed.get(e.name, ()))
    for rank in ("genus", "family"):
        for name in places.all(rank):
            common = (kb.taxon(name) or {}).get("common_names", ())
            yield row(name, common, rank, places.path(rank, name) or "", listed.get(name, ()))
    for kind, treatment in kb.treatments.items():
        yield row(_up(treatment["label"]), [kind.replace("_", " ")], "treatment", places.path("treatment", kind) or "")
    for word, about in kb.vocabulary.classes.items():
        yield row(_up(about["label"]), [about["short"], word], "dormancy", places.path("class", word) or "")
    for key, obstacle in kb.vocabulary.obstacles.items():
        yield row(_up(obstacle["label"]), [key.replace("_", " ")], "obstacle", places.path("obstacle", key) or "")
    for key, trait in kb.vocabulary.traits.items():
        path = trait.get("listed", {}).get("path")
        for word, about in trait["values"].items() if path and key != kb.vocabulary.class_key else ():
            if catalogue.having(key, word):
                yield row(_up(about["label"]), [word.replace("_", " ")], trait["listed"]["title"], f"{path}/{word}")
    for word, item in kb.vocabulary.files["equipment"].items():
        if catalogue.by["needs"].get(word):
            yield row(_up(item["label"]), [word.replace("_", " ")], "equipment", f"equipment/{word}")
    for test in kb.vocabulary.files["observations"]["tests"]:
        yield row(test["label"], [test["id"].replace("_", " ")], "observation of a seed", f"key#{test['id']}")
    for term, about in terms.items():
        yield row(_up(term), about.get("also", ()), "glossary", f"glossary#{anchor(term)}")


def anchor(term: str) -> str:
    """The place of a term on the page of the glossary."""
    return "term-" + term.replace(" ", "-")


def _up(text: str) -> str:
    return text[:1].upper() + text[1:]
