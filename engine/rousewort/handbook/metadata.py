"""What pages are about, in the words of schema.org, for machines that read a page's head."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

CONTEXT = "https://schema.org"
LICENCE = "https://spdx.org/licenses/MIT"
SITE = {"@type": "WebSite", "name": "Rousewort handbook"}


def species(
    name: str, family: str, genus: str, common: Iterable[str], synonyms: Iterable[str], plan: Mapping[str, Any]
) -> dict[str, Any]:
    """A page about a taxon: its names and place, the works that it rests on, its steps in order."""
    taxon: dict[str, Any] = {
        "@type": "Taxon",
        "name": name,
        "taxonRank": "species",
        "parentTaxon": {
            "@type": "Taxon",
            "name": genus,
            "taxonRank": "genus",
            "parentTaxon": {"@type": "Taxon", "name": family, "taxonRank": "family"},
        },
    }
    names = [*common, *synonyms]
    if names:
        taxon["alternateName"] = names
    page: dict[str, Any] = {
        "@context": CONTEXT,
        "@type": "WebPage",
        "name": f"How to wake seed of {name}",
        "isPartOf": SITE,
        "inLanguage": "en",
        "license": LICENCE,
        "about": taxon,
    }
    cited = [{"@type": "CreativeWork", "name": source["citation"]} for source in plan["sources"]]
    if cited:
        page["citation"] = cited
    if plan["steps"]:
        steps = [
            {"@type": "HowToStep", "position": i, "name": step["label"], "text": " ".join(step["do"])}
            for i, step in enumerate(plan["steps"], 1)
        ]
        page["mainEntity"] = {"@type": "HowTo", "name": f"Sowing {name}", "step": steps}
    return page


def glossary(terms: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """A set of defined terms."""
    return {
        "@context": CONTEXT,
        "@type": "DefinedTermSet",
        "name": "Rousewort handbook: glossary",
        "hasDefinedTerm": [
            {"@type": "DefinedTerm", "name": term, "description": entry["means"]} for term, entry in terms.items()
        ],
    }


def dataset(files: Iterable[tuple[str, str, str]]) -> dict[str, Any]:
    """The whole as data. `files`: path from the page, form, what it holds."""
    return {
        "@context": CONTEXT,
        "@type": "Dataset",
        "name": "Rousewort: what is known of the dormancy of seeds",
        "description": "Traits of seed and protocols of treatment by species, genus and family, each with its source and how it is "
        "held; and the plans reasoned from them.",
        "license": LICENCE,
        "isAccessibleForFree": True,
        "distribution": [
            {"@type": "DataDownload", "contentUrl": path, "encodingFormat": form, "description": means}
            for path, form, means in files
        ],
    }
