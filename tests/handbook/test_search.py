"""The search box over the names of every species: misspelled, old, common, or turned round."""

from __future__ import annotations

import re
import shutil
from typing import Any

import pytest
from rousewort.handbook.build import Built
from rousewort.handbook.catalogue import Catalogue
from rousewort.handbook.list_pages import WaysIn
from rousewort.handbook.pages import Writer
from rousewort.handbook.places import site_folder
from rousewort.handbook.relatives import by_family, genera_files
from rousewort.knowledge.knowledge_base import KnowledgeBase
from test_in_browser import wait

pytestmark = pytest.mark.slow
TYPED = {
    "eastern redbud": "Cercis canadensis",
    "cercsi canadensis": "Cercis canadensis",
    "judas tree cercis": "Cercis siliquastrum",
    "black haw": "Viburnum prunifolium",
    "vibernum prunifolium": "Viburnum prunifolium",
    "sugar mapel": "Acer saccharum",
    "Acer sacharum": "Acer saccharum",
    "norway mapple": "Acer platanoides",
    "monkey puzle": "Araucaria araucana",
    "chile pine": "Araucaria araucana",
    "araucaria auracana": "Araucaria araucana",
    "osage orange": "Maclura pomifera",
    "comon milkweed": "Asclepias syriaca",
    "buterfly weed": "Asclepias tuberosa",
    "Cimicifuga racemosa": "Actaea racemosa",
    "Betula lutea": "Betula alleghaniensis",
    "Spartina pectinata": "Sporobolus michauxianus",
    "Acacia nilotica": "Vachellia nilotica",
    "lingonbery": "Vaccinium vitis-idaea",
    "saskatoon": "Amelanchier alnifolia",
    "spice bush": "Lindera benzoin",
    "pusy willow": "Salix discolor",
    "fraxinus exelsior": "Fraxinus excelsior",
    "syringia vulgaris": "Syringa vulgaris",
    "lilac common": "Syringa vulgaris",
    "juniperus virginana": "Juniperus virginiana",
    "eastern red ceder": "Juniperus virginiana",
    "Panax ginsing": "Panax ginseng",
    "alnus rubre": "Alnus rubra",
    "MANGO": "Mangifera indica",
    "snowbery": "Symphoricarpos albus",
    "glacer lily": "Erythronium grandiflorum",
    "western hemlok": "Tsuga heterophylla",
    "thunbergs daylily": "Hemerocallis thunbergii",
}
# Words of the trade, names in other languages, and plants without an entry: what is found, and the page that it leads to.
WORDS = {
    "stratification": "treatments/cold_moist",
    "stratify": "treatments/cold_moist",
    "cold stratification": "treatments/cold_moist",
    "warm and moist": "treatments/warm_moist",
    "scarification": "treatments/nick",
    "scarify": "treatments/nick",
    "nicking": "treatments/nick",
    "PD": "dormancy/physiological",
    "MPD": "dormancy/morphophysiological",
    "hard seed": "dormancy/physical",
    "gibberellin": "treatments/hormone",
    "smoke water": "treatments/smoke",
    "after-ripening": "treatments/after_ripen",
    "imbibition": "key#imbibition",
    "fridge": "equipment/fridge",
    "damping off": "glossary#term-damping",
    "tiglio selvatico": "species/tilia-cordata",
    "gerdera silvestre": "species/rubus-idaeus",
    "gräslök": "species/allium-schoenoprasum",
    "αμερικάνικη φλαμουριά": "species/tilia-americana",
    "vučji čemer": "species/aconitum-lycoctonum",
    "Viburnum carlesii": "genera/viburnum",
    "vibernum carlesi": "genera/viburnum",
    "Xanthosia atkinsoniana": "genera/without-entry",
}


@pytest.fixture(scope="module")
def lookup(kb: KnowledgeBase, handbook: Built, browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The page of all names, with the list of the whole knowledge base behind its box."""
    folder = tmp_path_factory.mktemp("search")
    shutil.copytree(handbook.folder / "assets", folder / "assets")
    shutil.copy(handbook.folder / "find.html", folder)
    ways = WaysIn(Writer(Catalogue(kb), site_folder() / "pages"))
    for _ in ways.catalogue.plans():
        pass
    page = next(page for page in ways._downloads() if page.path == "data/names.js")
    (folder / "data/genera").mkdir(parents=True)
    (folder / "data/names.js").write_text(page.text, encoding="utf-8")
    for path, text in genera_files(by_family(kb)):
        (folder / path).write_text(text, encoding="utf-8")
    browser.get((folder / "find.html").as_uri())

    def rows(typed: str) -> list[list[str]]:
        box = browser.find_element("name", "q")
        box.clear()
        box.send_keys(typed)
        done = f"return document.querySelector('[name=q]').value === {typed!r} && document.querySelector('.rw-hint').textContent"
        assert wait(lambda: browser.execute_script(done))
        found = "return Array.from(document.querySelectorAll('.rw-hits:not([hidden]) a')).map(a => [a.querySelector('b').textContent, a.getAttribute('href')])"
        return browser.execute_script(found)

    return rows


def test_the_plant_that_was_meant_is_among_the_first_three(lookup: Any) -> None:
    missed = {}
    for typed, wanted in TYPED.items():
        found = [name for name, _ in lookup(typed)]
        if wanted not in found[:3]:
            missed[typed] = found[:4]
    assert not missed


def test_words_of_the_trade_other_languages_and_plants_without_entry_lead_on(lookup: Any) -> None:
    missed = {}
    for typed, wanted in WORDS.items():
        found = [re.sub(r"\.html|\?.*", "", href).removeprefix("./") for _, href in lookup(typed)]
        if wanted not in found[:3]:
            missed[typed] = found[:4]
    assert not missed


def test_a_name_of_nothing_leads_to_family_key_and_gaps(lookup: Any) -> None:
    found = [href for _, href in lookup("pearcherry nosuchname")]
    assert [re.sub(r"^\./", "", href) for href in found] == ["families.html", "key.html", "trust.html#known-weak-spots"]
