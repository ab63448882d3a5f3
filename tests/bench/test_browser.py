"""The bench pages in Chromium, 360 pixels wide: worked by thumb and by keyboard, read by an accessibility checker, printed.

With ROUSEWORT_SHOTS=1 the pages are also kept as pictures in shots/, to be looked at.
"""

from __future__ import annotations

import base64
import json
import os
from typing import Any

import pytest
from bench_forms import DAY, SHOTS, follow, keep, press, tab_to, unfold  # type: ignore[import-not-found]
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger

pytestmark = pytest.mark.slow
PAGES = {
    "due": "/",
    "all": "/all",
    "results": "/results",
    "start": "/start",
    "cold": "/batch/1",
    "begun": "/batch/2",
    "sown": "/batch/3",
    "closed": "/batch/4",
    "label": "/batch/1/label",
    "message": "/batch/99",
    "alike": "/batch/5",
    "bed": "/batch/7",
}


@pytest.fixture(autouse=True)
def more(ledger: Ledger, kb: KnowledgeBase) -> None:
    """5L and 6N could be merged; 7R must wait for its season outside."""
    from rousewort.ledger.service import plan_to_keep
    from rousewort.planning.grower import make_grower

    plan = plan_to_keep(kb, "Cercis canadensis", make_grower(kb.vocabulary, without=["fridge"]), "plain")
    for seeds in (60, 24):
        code = ledger.start(ledger.batch("1").plan, seeds=seeds, lot="Sallow Bridge 9", held="demo").code
        ledger.record(code, "move", step="cold_moist-1")
    ledger.start(plan, seeds=30, held="demo")
    ledger.record("7", "move", step="nick-1")


@pytest.mark.parametrize("name", PAGES)
def test_page_fits_a_phone_is_accessible_and_its_targets_suit_a_thumb(chromium: Any, address: str, name: str) -> None:
    from axe_core_python.selenium import Axe

    chromium.get(address + PAGES[name])
    unfold(chromium)
    keep(chromium, name)
    assert chromium.execute_script("return window.innerWidth") == 360
    assert chromium.execute_script("return document.documentElement.scrollWidth") <= 360
    small = chromium.execute_script(
        "return [...document.querySelectorAll('button, input:not([type=hidden]), select, summary, nav a')]"
        ".filter(e => e.type != 'checkbox' && e.getClientRects().length && e.getBoundingClientRect().height < 44).map(e => e.outerHTML)"
    )
    assert small == []
    found = Axe().run(chromium)["violations"]
    assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found] == []


def test_pages_can_be_read_in_the_dark(chromium: Any, address: str) -> None:
    from axe_core_python.selenium import Axe

    dark = {"features": [{"name": "prefers-color-scheme", "value": "dark"}]}
    chromium.execute_cdp_cmd("Emulation.setEmulatedMedia", dark)
    try:
        for name in ("due", "cold", "sown", "start", "bed", "label"):
            chromium.get(address + PAGES[name])
            unfold(chromium)
            keep(chromium, f"dark-{name}")
            paper = chromium.execute_script("return getComputedStyle(document.documentElement).backgroundColor")
            assert paper == "rgb(27, 30, 25)"  # of house.css
            found = Axe().run(chromium, options={"runOnly": ["color-contrast"]})["violations"]
            assert [(name, n["html"]) for v in found for n in v["nodes"]] == []
    finally:
        chromium.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_pages_load_nothing_from_anywhere_else_and_complain_of_nothing(chromium: Any, address: str) -> None:
    chromium.get_log("performance"), chromium.get_log("browser")
    for path in PAGES.values():
        chromium.get(address + path)
    asked = [json.loads(entry["message"])["message"] for entry in chromium.get_log("performance")]
    urls = {m["params"]["request"]["url"] for m in asked if m["method"] == "Network.requestWillBeSent"}
    assert len(urls) >= len(PAGES)
    assert [u for u in urls if not u.startswith((address, "data:image/svg"))] == []
    said = [e["message"] for e in chromium.get_log("browser") if "/batch/99" not in e["message"]]
    assert said == []


def test_morning_at_the_bench_by_thumb(chromium: Any, address: str, ledger: Ledger) -> None:
    """What is late is looked at, a batch goes two steps on, seedlings are counted, a slip is taken back."""
    chromium.get(address + "/")
    press(chromium, "1C: all fine")
    assert ledger.batch("1").looked == DAY
    chromium.get(address + "/")
    assert "1C" not in chromium.find_element("xpath", "//h2[contains(., 'Today')]/following-sibling::ul[1]").text
    chromium.find_element("id", "code").send_keys("2")
    press(chromium, "Open")
    press(chromium, "On to: soak")
    press(chromium, "On to: nick the coat")
    assert ledger.batch("2").step == "nick-1"
    assert "Blades and flying chips" in chromium.find_element("tag name", "main").text
    chromium.get(address + "/batch/3")
    press(chromium, "5 new")
    assert ledger.batch("3").germinated == 16
    assert "16 of 50 up" in chromium.find_element("class name", "count").text
    press(chromium, "Take back the last entry")
    assert ledger.batch("3").germinated == 11


def test_check_with_findings_by_keyboard_alone(chromium: Any, address: str, ledger: Ledger) -> None:
    from selenium.webdriver.common.keys import Keys

    chromium.get(address + "/batch/1")

    tab_to(chromium, "Something was amiss")
    chromium.switch_to.active_element.send_keys(Keys.ENTER)
    tab_to(chromium, "mould")
    chromium.switch_to.active_element.send_keys(Keys.SPACE)
    tab_to(chromium, "Seeds taken out")
    chromium.switch_to.active_element.send_keys("4")
    tab_to(chromium, "Write it down")
    follow(chromium, chromium.switch_to.active_element, Keys.ENTER)
    assert ledger.batch("1").events[-1].data == {"finds": ["mould"], "lost": 4}
    told = chromium.find_element("css selector", "[role=status]").text
    assert "Take mouldy seed out" in told


def test_batch_is_split_and_merged_by_thumb(chromium: Any, address: str, ledger: Ledger) -> None:
    chromium.get(address + "/batch/5")
    chromium.find_element("xpath", "//summary[.='Split or merge']").click()
    press(chromium, "a quarter: 15 seeds")
    assert (ledger.batch("5").seeds, ledger.batch("8").seeds) == (45, 15)
    assert "8T is a batch of its own now" in chromium.find_element("css selector", "[role=status]").text
    chromium.get(address + "/batch/8")
    chromium.find_element("xpath", "//summary[.='Split or merge']").click()
    press(chromium, "Put into 5L")
    assert ledger.batch("5").seeds == 60 and ledger.batch("8").ended
    assert chromium.find_element("tag name", "h1").text.startswith("5L")


def test_batch_is_split_by_keyboard_alone(chromium: Any, address: str, ledger: Ledger) -> None:
    from selenium.webdriver.common.keys import Keys

    chromium.get(address + "/batch/5")
    tab_to(chromium, "Split or merge")
    chromium.switch_to.active_element.send_keys(Keys.ENTER)
    tab_to(chromium, "Seeds for a batch of its own")
    chromium.switch_to.active_element.send_keys("20")
    tab_to(chromium, "Split off")
    follow(chromium, chromium.switch_to.active_element, Keys.ENTER)
    assert (ledger.batch("5").seeds, ledger.batch("8").seeds) == (40, 20)


def test_discarded_with_a_reason_and_taken_back(chromium: Any, address: str, ledger: Ledger) -> None:
    chromium.get(address + "/batch/5")
    chromium.find_element("xpath", "//summary[starts-with(., 'Wait')]").click()
    chromium.find_element("id", "reason").send_keys("all rotten")
    press(chromium, "Discard")
    assert ledger.batch("5").ended.data == {"reason": "all rotten"}  # type: ignore[union-attr]
    press(chromium, "Take back the last entry")
    assert not ledger.batch("5").ended


def test_moved_early_then_sown_and_closed(chromium: Any, address: str, ledger: Ledger) -> None:
    """Roots came long before the days were over."""
    chromium.get(address + "/batch/6")
    press(chromium, "Sow")
    assert not ledger.batch("6").sown_on and "it would be cut short" in chromium.find_element("tag name", "main").text
    keep(chromium, "asked")
    chromium.find_element("id", "why").send_keys("roots out")
    press(chromium, "Record it all the same")
    assert ledger.batch("6").sown_on == DAY
    press(chromium, "10 new")
    chromium.find_element("xpath", "//summary[starts-with(., 'Wait')]").click()
    chromium.find_element("id", "plants").send_keys("9")
    press(chromium, "Close")
    assert ledger.batch("6").plants == 9


def test_bed_out_of_season_is_put_outside_only_with_a_tick(chromium: Any, address: str, ledger: Ledger) -> None:
    chromium.get(address + "/batch/7")
    assert "the next begins on 2025-09-15" in chromium.find_element("class name", "next").text
    chromium.find_element("xpath", "//button[.='Sow']").click()  # the browser asks for the tick
    assert not ledger.batch("7").sown_on
    chromium.find_element("css selector", "form[action$='/sow'] input[name=anyway]").click()
    press(chromium, "Sow")
    assert ledger.batch("7").sown_on == DAY


def test_several_are_looked_at_with_one_press(chromium: Any, address: str, ledger: Ledger) -> None:
    chromium.get(address + "/")
    chromium.find_element("css selector", "details.round > summary").click()
    keep(chromium, "several")
    chromium.find_element("id", "n-3G").send_keys("2")
    press(chromium, "Write all this down")
    assert ledger.batch("1").looked == DAY and ledger.batch("3").germinated == 13


def test_every_field_and_button_has_a_name_for_a_screen_reader(chromium: Any, address: str) -> None:
    for path in PAGES.values():
        chromium.get(address + path)
        unfold(chromium)
        for element in chromium.find_elements("css selector", "button, input:not([type=hidden]), select, a, summary"):
            assert element.accessible_name.strip() or element.tag_name == "summary", (
                path,
                element.get_attribute("outerHTML"),
            )


def test_due_list_prints_on_one_page_without_buttons(chromium: Any, address: str) -> None:
    chromium.get(address + "/")
    chromium.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        shown = [b for b in chromium.find_elements("css selector", "button, nav") if b.is_displayed()]
        text = chromium.find_element("tag name", "main").text
        assert shown == [] and "1C" in text and "Moulds and peat" in text and "Cut away from the hand" in text
        printed = base64.b64decode(
            chromium.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})["data"]
        )
    finally:
        chromium.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert printed.startswith(b"%PDF") and printed.count(b"/Type /Page\n") == 1
    if os.environ.get("ROUSEWORT_SHOTS"):
        SHOTS.mkdir(exist_ok=True)
        (SHOTS / "bench-due.pdf").write_bytes(printed)
