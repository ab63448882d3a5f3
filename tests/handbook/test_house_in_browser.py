"""The handbook's own matters in a real browser: narrow, wide, light, dark, read by axe, and without a request elsewhere."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from must_be_here import axe_finds
from test_in_browser import look, picture, wait

pytestmark = pytest.mark.slow
PAGES = [
    "key.html", "key.html?cut_test=2&imbibition=2&nicked_germination=1", "key.html?imbibition=2&fresh_germination=2#embryo",
    "contributing.html", "contributing/species.html", "schema.html", "schema/taxon.html", "schema/rule.html", "data.html", "glossary.html",
    "trust.html", "time.html", "cue.html", "growth-form.html", "equipment.html", "dormancy.html", "rules.html", "sources.html", "obstacles.html",
    "treatments.html", "families.html", "browse.html", "browse.html?sort=-days&have=-", "genera/without-entry.html?for=Xanthosia",
]  # fmt: skip
NEEDED = ["selenium", "axe_core_python", "html5lib", "markdown", "mkdocs"]


def test_where_everything_must_be_there_it_is() -> None:
    """Elsewhere tests skip, and say so; on CI none may."""
    absent = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    absent += [name for name in ("chromium", "chromedriver") if not shutil.which(name)]
    assert not absent or not os.environ.get("CI"), absent


def open_page(browser: Any, address: str, page: str, width: int, dark: bool = False) -> None:
    browser.get("about:blank")
    look(browser, address, page, width, dark)
    if page.startswith("key"):
        assert wait(lambda: browser.execute_script("return document.documentElement.dataset.key") == "ready")


@pytest.mark.parametrize("width", [360, 1280])
def test_no_such_page_is_wider_than_the_screen(browser: Any, address: str, pictures: Path, width: int) -> None:
    wide = []
    for i, page in enumerate(PAGES):
        open_page(browser, address, page, width)
        if browser.execute_script("return document.documentElement.scrollWidth") > width:
            wide.append(page)
        picture(
            browser, pictures / f"house-{i}-{page.split('?')[0].replace('/', '-').removesuffix('.html')}-{width}.png"
        )
    assert not wide


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_axe_finds_nothing_on_pages_of_the_house(browser: Any, address: str, dark: bool) -> None:
    found = {}
    for page in PAGES:
        open_page(browser, address, page, 360 if dark else 1280, dark)
        if wrong := axe_finds(browser):
            found[page] = wrong
    assert not found, json.dumps(found, indent=1)


def test_no_request_of_the_key_leaves_the_handbook(browser: Any, address: str) -> None:
    browser.get_log("performance")
    open_page(browser, address, PAGES[1], 1280)
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    urls = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    assert any(url.endswith("key.data.js") for url in urls)
    assert not [url for url in urls if not url.startswith((address, "data:", "about:"))]


def test_nothing_goes_wrong_in_the_console_of_the_key(browser: Any, address: str) -> None:
    browser.get_log("browser")
    for page in PAGES[:3]:
        open_page(browser, address, page, 1280)
    assert [entry["message"] for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
