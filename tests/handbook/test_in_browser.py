"""The reader's paths in a real browser, narrow and wide; screenshots are left for a person to look at."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from must_be_here import axe_finds
from reading import headings, look, picture, wait
from rousewort.handbook.build import Built

pytestmark = pytest.mark.slow
PAGES = [
    "index.html", "species/cercis-canadensis.html", "species/viburnum-prunifolium.html", "species/prunus-avium.html", "genera/viburnum.html",
    "families/rosaceae.html", "treatments/acid.html", "dormancy/physical.html", "obstacles/needs_cold.html", "rules/coat-keeps-water-out.html",
    "species/cercis-canadensis.html?without=fridge&wanted=2090-05-01&plants=50&germination=70", "sources/gosling-2007.html", "find.html", "time.html", "glossary.html", "trust.html", "equipment/fridge.html", "404.html",
]  # fmt: skip


@pytest.mark.parametrize("width", [360, 1280])
def test_no_page_is_wider_than_the_screen(browser: Any, address: str, pictures: Path, width: int) -> None:
    wide = []
    for page in PAGES:
        look(browser, address, page, width)
        assert "?" not in page or wait(lambda: browser.find_elements("css selector", ".rw-dates"))
        if browser.execute_script("return document.documentElement.scrollWidth") > width:
            wide.append(page)
        picture(
            browser,
            pictures
            / f"{page.partition('?')[0].replace('/', '-').removesuffix('.html')}{'-open' * ('?' in page)}-{width}.png",
        )
    assert not wide


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_axe_finds_nothing(browser: Any, address: str, pictures: Path, dark: bool) -> None:
    found = {}
    for page in PAGES:
        look(browser, address, page, 1280, dark)
        assert "?" not in page or wait(lambda: browser.find_elements("css selector", ".rw-dates"))
        paper = browser.find_element("tag name", "body").value_of_css_property("background-color")
        assert paper == ("rgba(27, 30, 25, 1)" if dark else "rgba(251, 248, 240, 1)")
        if wrong := axe_finds(browser):
            found[page] = wrong
    look(browser, address, "species/viburnum-prunifolium.html", 1280, dark)
    picture(browser, pictures / f"viburnum-{'dark' if dark else 'light'}.png")
    assert not found, json.dumps(found, indent=1)


@pytest.mark.parametrize("typed", ["redbud", "rebdud", "Cercis canadensis", "cercsi canadensis", "eastern redb"])
def test_the_search_box_forgives_and_knows_common_names(browser: Any, address: str, typed: str) -> None:
    look(browser, address, "genera/viburnum.html", 1280)
    browser.find_element("name", "q").send_keys(typed)
    first = wait(lambda: browser.find_elements("css selector", ".rw-hits:not([hidden]) a"))
    assert first and first[0].get_attribute("href").endswith("species/cercis-canadensis.html")


def test_enter_opens_the_first_hit_and_arrows_move_among_them(browser: Any, address: str) -> None:
    from selenium.webdriver.common.keys import Keys

    look(browser, address, "index.html", 1280)
    box = browser.find_element("name", "q")
    box.send_keys("viburnum")
    assert wait(lambda: browser.find_elements("css selector", ".rw-hits:not([hidden]) a"))
    box.send_keys(Keys.ARROW_DOWN)
    assert browser.execute_script("return document.activeElement.closest('.rw-hits') !== null")
    browser.switch_to.active_element.send_keys(Keys.ESCAPE)
    assert browser.execute_script("return document.querySelector('.rw-hits').hidden")
    box.clear()
    box.send_keys("black haw")
    assert wait(lambda: browser.find_elements("css selector", ".rw-hits:not([hidden]) a"))
    box.send_keys(Keys.ENTER)
    assert wait(lambda: browser.current_url.endswith("species/viburnum-prunifolium.html"))


def test_reasons_open_to_their_rule_and_the_rule_leads_back(browser: Any, address: str) -> None:
    look(browser, address, "species/cercis-canadensis.html", 1280)
    browser.find_element("css selector", "#nick-1 summary").click()
    rule = browser.find_element("css selector", "#nick-1 details a[href*='rules/']")
    assert rule.is_displayed()
    browser.execute_script("arguments[0].click()", rule)
    assert "/rules/" in browser.current_url
    assert browser.find_elements("css selector", "a[href$='species/cercis-canadensis.html']")


def test_without_javascript_the_plan_is_all_there_and_dark_is_dark(browser: Any, address: str, pictures: Path) -> None:
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        look(browser, address, "species/cercis-canadensis.html", 360, dark=True)
        picture(browser, pictures / "no-javascript-dark-360.png")
        steps = browser.find_elements("css selector", "ol.rw-steps > li h3")
        assert [step.text.split("\n")[0].replace(" optional", "") for step in steps[:5]] == [
            "Look the lot over",
            "Soak",
            "Nick the coat",
            "Cold and moist",
            "Sow",
        ]
        assert (
            browser.find_element("tag name", "body").value_of_css_property("background-color") == "rgba(27, 30, 25, 1)"
        )
        assert browser.find_element("css selector", ".rw-search").get_attribute("action").endswith("find.html")
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_no_request_leaves_the_handbook(browser: Any, address: str) -> None:
    browser.get_log("performance")
    look(browser, address, "species/cercis-canadensis.html", 1280)
    browser.find_element("name", "q").send_keys("redbud")
    assert wait(lambda: browser.find_elements("css selector", ".rw-hits:not([hidden]) a"))
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    urls = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    assert urls and not [url for url in urls if not url.startswith((address, "data:"))]
    failed = [m["params"] for m in messages if m["method"] == "Network.loadingFailed"]
    assert not failed


def test_it_works_from_a_folder_on_a_disk(browser: Any, handbook: Built) -> None:
    browser.get((handbook.folder / "species/cercis-canadensis.html").as_uri())
    browser.find_element("name", "q").send_keys("black haw")
    first = wait(lambda: browser.find_elements("css selector", ".rw-hits:not([hidden]) a"))
    assert first and first[0].get_attribute("href").endswith("species/viburnum-prunifolium.html")


def test_nothing_goes_wrong_in_the_console(browser: Any, address: str) -> None:
    browser.get_log("browser")
    for page in PAGES[:4]:
        look(browser, address, page, 1280)
    assert [entry["message"] for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_acid_shows_with_its_cautions_only_once_it_is_allowed(browser: Any, address: str) -> None:
    look(browser, address, "species/cercis-canadensis.html?without=blade,sandpaper,kettle", 1280)
    assert wait(lambda: browser.find_elements("css selector", ".rw-choices label"))
    assert "Concentrated acid" not in headings(browser)
    next(x for x in browser.find_elements("css selector", ".rw-choices label") if "allow strong acid" in x.text).click()
    assert wait(lambda: "Concentrated acid" in headings(browser))
    assert "Burns and blinds" in browser.find_element("css selector", "ol.rw-steps li.rw-acid").text
