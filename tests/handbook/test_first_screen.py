"""What a grower needs first stands on the first screen, on a phone and on a desk."""

from __future__ import annotations

import json
from typing import Any

import pytest
from reading import look, wait
from rousewort.handbook.build import Built

pytestmark = pytest.mark.slow

# Whether the one-line plan, today on the year, how sure, and the first step after the look at the lot lie above the fold.
SEEN = """
const above = e => e && e.getBoundingClientRect().height > 0 && e.getBoundingClientRect().bottom <= innerHeight;
const acts = [...document.querySelectorAll('.rw-acts > li')], work = acts.find(a => !a.classList.contains('rw-inspect'));
const shown = {line: document.querySelector('.rw-line'), sure: document.querySelector('.rw-sure'), step: work && work.querySelector('.rw-title')};
if (document.querySelector('.rw-strip')) Object.assign(shown, {today: document.querySelector('.rw-strip .rw-today'), act: document.querySelector('.rw-act .rw-quiet')});
return Object.keys(shown).filter(key => !above(shown[key]));
"""
FIRST_HIT = "return (document.querySelector('.rw-hits:not([hidden]) b') || {}).textContent"


@pytest.mark.parametrize(("width", "height"), [(360, 740), (1280, 800)])
def test_the_plan_stands_on_the_first_screen(
    browser: Any, address: str, handbook: Built, width: int, height: int
) -> None:
    missed = {}
    pages = json.loads((handbook.folder / "data/species.json").read_text("utf-8"))["species"]
    planned = [item for item in pages if item["outcome"] == "plan"]
    assert len(planned) > 30
    for item in planned:
        look(browser, address, item["page"], width)
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        if below := browser.execute_script(SEEN):
            missed[item["name"]] = below
    assert not missed


def test_from_the_first_page_to_a_plan_for_a_plant_that_has_no_entry(browser: Any, address: str) -> None:
    """Typed as it stands on a packet; the first hit leads to what to do."""
    from selenium.webdriver.common.keys import Keys

    for typed, line in (("Viburnum carlesii", "Viburnum"), ("Abarema jupunba", "Abarema jupunba")):
        look(browser, address, "index.html", 360)
        browser.find_element("name", "q").send_keys(typed)
        assert wait(lambda typed=typed: browser.execute_script(FIRST_HIT) == typed)
        browser.find_element("name", "q").send_keys(Keys.ENTER)
        assert wait(lambda line=line: line in browser.title)
        assert wait(lambda: browser.find_elements("css selector", ".rw-acts > li, .rw-advice"))
        assert browser.find_element("css selector", ".rw-line").text
        assert "§" not in browser.find_element("tag name", "main").text
