"""The whole as data: the list of species with what their plans say, every fact as tables, and the page that describes them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rousewort.contribute.table import description, export
from rousewort.handbook import metadata
from rousewort.handbook.escape import as_data
from rousewort.handbook.pages import Page, Writer, json_text
from rousewort.handbook.schemapages import said

KEYS = {
    "name": "Accepted name.",
    "family": "Family.",
    "common_names": "Common names.",
    "synonyms": "Names no longer used.",
    "outcome": "How asking for a plan ends: plan, laboratory, unreachable, unknown.",
    "dormancy": "Class of dormancy, given or concluded; null where not known.",
    "days_before_sowing": "Days from the first step to sowing, at the lengths we would use; null where there is no plan.",
    "steps": "Kinds of step of the plan for a grower with the usual things, in order.",
    "page": "Its page.",
    "plan": "Its entry and plan as JSON.",
}
TABLES = {
    "taxa": "Every entry with its names.",
    "traits": "Every statement on seed and plant.",
    "protocols": "What each source did to one lot of seed: who says so, how it was found out, which lot.",
    "phases": "What was done, phase by phase, for every protocol.",
    "results": "What came up, for every protocol.",
    "lots": "How lots and provenances differ.",
    "works": "The works cited.",
}
LICENCE = """The knowledge base and the code of Rousewort are under the MIT licence.

Copyright (c) 2026 the Rousewort maintainers

Permission is hereby granted, free of charge, to any person obtaining a copy of this software and associated documentation files
(the "Software"), to deal in the Software without restriction, including without limitation the rights to use, copy, modify,
merge, publish, distribute, sublicense, and/or sell copies of the Software, and to permit persons to whom the Software is
furnished to do so, subject to the following conditions:

The above copyright notice and this permission notice shall be included in all copies or substantial portions of the Software.

THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT NOT LIMITED TO THE WARRANTIES OF
MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN NO EVENT SHALL THE AUTHORS OR COPYRIGHT HOLDERS BE LIABLE
FOR ANY CLAIM, DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF CONTRACT, TORT OR OTHERWISE, ARISING FROM, OUT OF OR IN CONNECTION
WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN THE SOFTWARE.
"""


def download_pages(write: Writer) -> Iterator[Page]:
    """Read after every species page is written."""
    catalogue = write.catalogue
    yield Page("data/species.json", json_text({"format": "rousewort-species-1", "species": list(_species(write))}))
    yield Page("data/LICENCE.txt", LICENCE)
    names = [*catalogue.species, *catalogue.places.all("genus"), *catalogue.places.all("family")]
    for name, text in export(write.kb, sorted(name for name in names if write.kb.taxon(name))).items():
        if name == "datapackage.json":
            continue
        yield Page(f"data/{name}", text)
    package = {**description(), "licenses": [{"name": "MIT", "path": "LICENCE.txt"}]}
    yield Page("data/datapackage.json", json_text(package))
    files = [("data/species.json", "application/json", "Every species, with what its plan says and where its page is.")]
    files += [(f"data/{table}.csv", "text/csv", means) for table, means in TABLES.items()]
    files += [
        ("data/datapackage.json", "application/json", "Every column of the tables: type, meaning, unit, open term.")
    ]
    yield write.page(
        "data",
        "data.md",
        "The handbook as data",
        "Everything on these pages as data, with its licence and what every column means.",
        {"ld": as_data(metadata.dataset(files))},
        files=files,
        tables=package["resources"],
        said=said,
        keys=list(KEYS.items()),
    )


def _species(write: Writer) -> Iterator[dict[str, Any]]:
    for entry in write.catalogue.entries.values():
        path = write.catalogue.places.path("species", entry.name)
        yield {
            "name": entry.name,
            "family": entry.family,
            "common_names": entry.common_names,
            "synonyms": entry.synonyms,
            "outcome": entry.outcome,
            "dormancy": entry.dormancy,
            "days_before_sowing": entry.lead,
            "steps": entry.kinds,
            "page": f"{path}.html",
            "plan": f"{path}.json",
        }
