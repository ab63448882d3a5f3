"""One list of every species that a reader can narrow and sort: a page, and the file that its script reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rousewort.handbook.catalogue import Catalogue, Entry
from rousewort.knowledge.vocabulary import Vocabulary

# Of what can be chosen, how the page asks for it. `any`: a species has one or several of the words; `only`: it takes no other.
CHOICES = (
    ("class", "Class of dormancy", "any"),
    ("climate", "Climate of its home", "any"),
    ("form", "Growth form", "any"),
    ("treatment", "A step of the plan", "any"),
    ("have", "With no more than", "only"),
)


def browse_data(catalogue: Catalogue, page_of: str = "species") -> dict[str, Any]:
    """For the script: `choices` with their words, and a row for each species.

    A row: name, common name, page, days before sowing or null, month (1–12) to begin in or 0 where the seasons outside
    decide or nothing is planned, how sure in per cent or null, then for each choice the places of its words.
    """
    vocabulary, kb = catalogue.kb.vocabulary, catalogue.kb
    words: dict[str, Mapping[str, str]] = {
        "class": {word: about["label"] for word, about in vocabulary.classes.items()},
        "climate": _labels(vocabulary, vocabulary.climate_key),
        "form": _labels(vocabulary, _form_key(vocabulary)),
        "treatment": {kind: treatment["label"] for kind, treatment in kb.treatments.items()},
        "have": {word: item["label"] for word, item in vocabulary.files["equipment"].items()},
    }
    places = {choice: {word: i for i, word in enumerate(found)} for choice, found in words.items()}
    rows = []
    for entry in catalogue.entries.values():
        own = _words(entry, vocabulary)
        rows.append(
            [
                entry.name,
                entry.common_names[0] if entry.common_names else "",
                catalogue.places.path(page_of, entry.name),
                entry.lead,
                entry.begin.month if entry.begin and not entry.outdoors else 0,
                None if entry.sure is None else round(100 * entry.sure),
                *([places[choice][word] for word in own[choice] if word in places[choice]] for choice, _, _ in CHOICES),
            ]
        )
    return {
        "choices": [
            {"name": choice, "label": label, "how": how, "words": list(words[choice].values())}
            for choice, label, how in CHOICES
        ],
        "rows": rows,
    }


def _words(entry: Entry, vocabulary: Vocabulary) -> dict[str, Sequence[str]]:
    settled = {
        key: [w for k, w in sorted(entry.settled) if k == key]
        for key in (vocabulary.climate_key, _form_key(vocabulary))
    }
    return {
        "class": [entry.dormancy] if entry.dormancy else [],
        "climate": settled[vocabulary.climate_key],
        "form": settled[_form_key(vocabulary)],
        "treatment": entry.kinds,
        "have": entry.needs,
    }


def _form_key(vocabulary: Vocabulary) -> str:
    """The trait of growth form: the listed one that is neither the class nor what wakes the seed."""
    named = (vocabulary.class_key, vocabulary.cue_key)
    return next(key for key, trait in vocabulary.traits.items() if "listed" in trait and key not in named)


def _labels(vocabulary: Vocabulary, key: str) -> dict[str, str]:
    return {word: about["label"] for word, about in vocabulary.traits[key]["values"].items()}
