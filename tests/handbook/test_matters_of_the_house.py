"""Pages that are not about plants: forms of files, the guide, how far to trust, the data, the glossary."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from rousewort.contribute.table import export
from rousewort.evaluation.agreement import measure
from rousewort.evaluation.calibrate import figures, leave_species_out
from rousewort.handbook.build import Built
from rousewort.handbook.catalogue import Catalogue
from rousewort.handbook.list_pages import WaysIn, glossary
from rousewort.handbook.pages import Writer
from rousewort.handbook.places import site_folder
from rousewort.handbook.schemapages import FORMS, docs_folder, rows_of
from rousewort.handbook.trustpage import measured
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.schemas import all_schemas
from test_build import text_of


def read(handbook: Built, path: str) -> str:
    return (handbook.folder / path).read_text("utf-8")


# Contributors


def test_the_guide_is_the_one_in_docs(handbook: Built) -> None:
    page = text_of(read(handbook, "contributing.html"))
    written = (docs_folder() / "contributing.md").read_text("utf-8")
    headings, commands = re.findall(r"(?m)^#+ (.*)$", written), re.findall(r"`(rousewort [^`\n]*)`", written)
    assert len(headings) > 5 and len(commands) > 10
    assert not [said for said in (*headings, *commands) if said not in page]
    assert "```" not in page and "yaml practice" not in page, "a block of code became words"


def leaves(schema: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(schema, dict):
        for key, value in schema.get("properties", {}).items():
            if isinstance(value, dict) and "description" in value:  # parts of a condition have none
                yield key, value
                yield from leaves(value, (*path, key))
        for part in ("items", "additionalProperties"):
            yield from leaves(schema.get(part), path)
        for part in ("anyOf", "oneOf"):
            for one in schema.get(part, ()):
                yield from leaves(one, path)


def bare(text: str) -> str:
    """Letters only: where code begins and ends is another matter."""
    return re.sub(r"[`\s]", "", text)


@pytest.mark.parametrize("stem", sorted(FORMS))
def test_every_key_and_every_word_of_a_form_is_explained_on_its_page(
    kb: KnowledgeBase, handbook: Built, stem: str
) -> None:
    html = read(handbook, f"schema/{stem}.html")
    page = bare(text_of(html))
    schema = all_schemas(kb.vocabulary, kb.treatments)[stem]
    for key, value in leaves(schema):
        assert f">{key.replace('_', '&#95;')}" in html or f">{key}" in html, key
        assert bare(value["description"]) in page, (key, value["description"])
        for option in value.get("oneOf", ()):
            if "const" in option:
                assert f"<code>{str(option['const']).replace('_', '&#95;')}</code>" in html
                assert bare(option.get("description", "")) in page
    assert json.loads(read(handbook, f"schema/{stem}.schema.json")) == json.loads(json.dumps(schema))


def test_nearly_every_key_has_an_example_from_our_own_files(kb: KnowledgeBase) -> None:
    from rousewort.handbook.schemapages import _examples, _files

    write = Writer(Catalogue(kb), site_folder() / "pages")

    def ends(rows: Any) -> Iterator[Any]:
        for row in rows:
            yield from ends(row.inside) if row.inside and not row.again else [row]

    # Of the keys of a protocol our own files use few until the notes are read into them; that share may only grow.
    for stem, least in (("taxon", 0.35), ("rule", 0.75), ("treatment", 0.75)):
        rows, again = rows_of(all_schemas(kb.vocabulary, kb.treatments)[stem], _examples(_files(write, stem)))
        found = [row for row in ends([*rows, *again]) if not row.again]
        without = {row.key for row in found if not row.example}
        assert sum(bool(row.example) for row in found) > least * len(found), without


def test_the_whole_file_shown_keeps_its_indent(handbook: Built) -> None:
    shown = read(handbook, "schema/taxon.html").split("<pre")[1].split("</pre>")[0]
    assert re.search(r"\n  [a-z]", shown)


# Sources


def test_every_source_stands_once_under_a_letter_that_is_led_to(handbook: Built) -> None:
    page = read(handbook, "sources.html")
    led, headed = re.findall(r'href="#(with-\d+)"', page), re.findall(r'<h2 id="(with-\d+)">', page)
    assert led == headed and len(headed) > 10
    listed = re.findall(r'<li><a href="(sources/[^"]+)"', page)
    assert sorted(listed) == sorted({f"sources/{path.name}" for path in (handbook.folder / "sources").glob("*.html")})


# Trust


@pytest.fixture(scope="module")
def trust(kb: KnowledgeBase) -> str:
    write = Writer(Catalogue(kb), site_folder() / "pages")
    return text_of(WaysIn(write, partial(measured, kb))._trust([]).text)


@pytest.mark.slow
def test_trust_shows_what_the_commands_measure(kb: KnowledgeBase, trust: str) -> None:
    agreed, _, _ = measure(kb)
    for what in ("coat", "cold", "warm"):
        row = agreed["left_out"][what]
        assert f"{row['agreed']:g} of {row['tried']} ({round(100 * row['agreed'] / row['tried'])} %)" in trust
        alone = agreed["traits_alone"][what]
        assert f"{alone['agreed']:g} of {alone['tried']}" in trust
        for name, cells in agreed["by_class"].items():
            assert not cells[what][1] or f"{cells[what][0]:g} of {cells[what][1]}" in trust, name
    lengths = agreed["left_out"]["days"]["cold"]
    assert f"{lengths['use_within']} of {lengths['tried']}" in trust
    made = figures(leave_species_out(kb))
    for row in made["classes"].values():
        assert f"{row['right']} of {row['tried']}" in trust and f"{row['brier']:.2f}" in trust
    for row in made["reliability"]:
        assert f"{row['right']} of {row['tried']}" in trust


def test_trust_names_the_weak_spots(trust: str) -> None:
    for said in ("Known weak spots", "How long is the weak spot", "from memory"):
        assert said in trust


def test_a_handbook_of_a_few_species_does_not_pretend_to_have_been_measured(handbook: Built) -> None:
    assert "this one holds a few species only" in text_of(read(handbook, "trust.html"))


# Data


def test_the_tables_are_those_of_the_command_and_every_column_is_described(
    kb: KnowledgeBase, handbook: Built, chosen: list[str]
) -> None:
    package = json.loads(read(handbook, "data/datapackage.json"))
    assert package["licenses"][0]["name"] == "MIT" and "MIT licence" in read(handbook, "data/LICENCE.txt")
    page = text_of(read(handbook, "data.html"))
    for table in package["resources"]:
        rows = list(csv.reader(read(handbook, f"data/{table['path']}").splitlines()))
        assert rows[0] == [column["name"] for column in table["schema"]["fields"]]
        for column in table["schema"]["fields"]:
            assert column["name"] in page and column["description"].split("`")[0].strip() in page
    names = {row["scientificName"] for row in csv.DictReader(read(handbook, "data/taxa.csv").splitlines())}
    assert set(chosen) <= names
    one = export(kb, ["Cercis canadensis"])["protocols.csv"].splitlines()[1:]
    assert set(one) <= set(read(handbook, "data/protocols.csv").splitlines())


def test_every_key_of_the_list_of_species_is_described(handbook: Built) -> None:
    from rousewort.handbook.downloads import KEYS

    listed = json.loads(read(handbook, "data/species.json"))["species"]
    assert all(set(item) == set(KEYS) for item in listed)


# What schema.org has of the terms that we use: type → its properties (https://schema.org, from memory).
SCHEMA_ORG = {
    "WebPage": {"name", "isPartOf", "inLanguage", "license", "about", "citation", "mainEntity"},
    "WebSite": {"name"},
    "Taxon": {"name", "taxonRank", "parentTaxon", "alternateName"},
    "CreativeWork": {"name"},
    "HowTo": {"name", "step"},
    "HowToStep": {"position", "name", "text"},
    "DefinedTermSet": {"name", "hasDefinedTerm"},
    "DefinedTerm": {"name", "description"},
    "Dataset": {"name", "description", "license", "isAccessibleForFree", "distribution"},
    "DataDownload": {"contentUrl", "encodingFormat", "description"},
}


def objects(value: Any) -> Iterator[dict[str, Any]]:
    for item in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from objects(item)
    if isinstance(value, dict):
        yield value


def linked_data(html: str) -> dict[str, Any] | None:
    found = re.findall(r'<script type="application/ld\+json">(.*?)</script>', html, re.DOTALL)
    assert len(found) < 2
    return json.loads(found[0]) if found else None


def test_heads_say_what_pages_are_about_in_terms_that_exist(handbook: Built, chosen: list[str]) -> None:
    seen = 0
    for path in handbook.folder.rglob("*.html"):
        data = linked_data(path.read_text("utf-8"))
        if data is None:
            continue
        seen += 1
        assert data.pop("@context") == "https://schema.org"
        for thing in objects(data):
            assert set(thing) - {"@type"} <= SCHEMA_ORG[thing["@type"]], (path.name, thing)
            assert all(value not in (None, "", []) for value in thing.values())
    assert seen == len(chosen) + 2
    plant = linked_data(read(handbook, "species/cercis-canadensis.html"))
    assert plant and plant["about"]["name"] == "Cercis canadensis"
    assert plant["about"]["parentTaxon"]["parentTaxon"]["name"] == "Fabaceae"
    assert [step["position"] for step in plant["mainEntity"]["step"]] == list(
        range(1, len(plant["mainEntity"]["step"]) + 1)
    )


def test_every_file_of_the_dataset_is_there(handbook: Built) -> None:
    data = linked_data(read(handbook, "data.html"))
    assert data
    for part in data["distribution"]:
        assert (handbook.folder / part["contentUrl"]).is_file()


# Glossary

TRADE = re.compile(
    r"\b\w*(?:cotyl|sperm|radicl|stratif|scarif|imbib|gibberel|tetrazol|vermicul|sphagn|perlit|mucilag|achene|samara|caryops|drupe|"
    r"nutlet|endocarp|hilum|winnow|(?<!b)leach|chitt|recalcitr|orthodox|desicc|inhibitor|provenance|viab|tumbler)\w*",
    re.IGNORECASE,
)


def test_terms_of_the_trade_on_species_pages_are_in_the_glossary(handbook: Built) -> None:
    known = text_of(read(handbook, "glossary.html")).lower()
    used: dict[str, str] = {}
    for path in sorted((handbook.folder / "species").glob("*.html")):
        body = re.sub(r'<h2 id="sources">.*', "", path.read_text("utf-8").split("<main")[1], flags=re.DOTALL)
        body = re.sub(r"<a [^>]*sources/[^>]*>.*?</a>", "", body, flags=re.DOTALL)
        used |= {
            word.lower(): path.name for word in TRADE.findall(text_of(body)) for word in TRADE.findall(word) or [word]
        }
    assert len(used) > 8
    missing = {word: where for word, where in used.items() if not any(word.startswith(stem) for stem in stems(known))}
    assert not missing


def stems(text: str) -> set[str]:
    """Beginnings long enough to know a word by, whatever its ending."""
    return {word[: max(6, len(word) - 3)] for word in re.findall(r"\w{5,}", text)} | set(re.findall(r"\w{4,5}", text))


def test_glossary_terms_are_told_once_and_in_a_sentence() -> None:
    terms = glossary()
    others = [word for entry in terms.values() for word in entry.get("also", ())]
    assert not set(others) & set(terms) and len(others) == len(set(others))
    assert all(entry["means"].endswith(".") and len(entry["means"]) > 20 for entry in terms.values())


# Ways in


def test_every_species_stands_under_its_month_with_its_days(handbook: Built) -> None:
    listed = json.loads(read(handbook, "data/species.json"))["species"]
    pages = {path: path.read_text("utf-8") for path in sorted((handbook.folder / "time").glob("*.html"))}
    for item in listed:
        if item["outcome"] != "plan" or item["days_before_sowing"] is None:
            continue
        stem = Path(item["page"]).name
        on = [path.stem for path, text in pages.items() if f"species/{stem}" in text]
        assert len(on) == 1, item["name"]
        assert ("outside" in on) == ("outdoor_winter" in item["steps"])


def test_in_the_south_a_month_is_half_a_year_later(handbook: Built) -> None:
    from rousewort.handbook.page_models import MONTHS

    for path in (handbook.folder / "time").glob("*.html"):
        month = path.stem.split("-")[0].capitalize()
        if month not in MONTHS:
            continue
        south = MONTHS[(MONTHS.index(month) + 6) % 12]
        assert f"in the southern half of the Earth in {south}, for seedlings by 1 November" in text_of(
            path.read_text("utf-8")
        )
