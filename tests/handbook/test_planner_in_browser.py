"""The planner in a real browser: its days against the calendar's, the address, hostile links, the keyboard, paper."""

from __future__ import annotations

import base64
import json
import random
import re
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from reading import choices, headings, look, options, picture, typed_grower, wait
from rousewort.base.errors import UserError
from rousewort.handbook import planner as page
from rousewort.handbook.catalogue import Catalogue
from rousewort.handbook.settings import settings
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.grower import make_grower
from rousewort.planning.plan import Plan, Planner
from rousewort.schedule.dating import schedule
from rousewort.schedule.model import Schedule
from rousewort.schedule.quantities import seed_need

pytestmark = pytest.mark.slow
CERCIS = "species/cercis-canadensis.html"
VIBURNUM = "species/viburnum-prunifolium.html"


def number(day: date | None) -> int | None:
    return None if day is None else (day - page.EPOCH).days


def windows(dated: Schedule) -> dict[str, Any]:
    """A schedule in the form of the page's script."""
    made: dict[str, Any] = {"start": number(dated.start), "steps": [
        {"start": number(s.start), "earliest": number(s.earliest), "planned": number(s.planned), "latest": number(s.latest)}
        for s in dated.steps
    ]}  # fmt: skip
    for key, window in (("sown", dated.sown), ("seedlings", dated.seedlings)):
        assert window is not None
        made[key] = [number(window.earliest), number(window.planned), number(window.latest)]
    if dated.missed:
        later = next(way for way in dated.missed.others if way.gain == "later")
        made["missed"] = {
            "begunBy": number(dated.missed.begun_by),
            "nearest": number(dated.missed.nearest),
            "atBest": number(dated.missed.at_best),
            "later": number(later.start),
        }
    return made


def cases(kb: KnowledgeBase, names: list[str]) -> tuple[list[Any], list[Any]]:
    """What the script is asked, and what the calendar says: species by choices, modes, halves and days drawn by lot."""
    chance = random.Random(11)
    catalogue, asked, wanted = Catalogue(kb, names), [], []
    for entry, usual, _, _ in catalogue.plans():
        made = settings(catalogue.planner, usual)
        data = page.page_data(kb, made, lambda step: ())
        for choice in choices(made, chance, 8):
            if not made.steps(choice):
                continue
            typed = options(catalogue.planner, made.fields, choice)
            plan = catalogue.planner.plan_for(usual.match, typed_grower(catalogue.planner, typed))
            day = date(2026, 1, 1) + timedelta(chance.randrange(2000))
            today = day - timedelta(chance.choice((0, 30, 200, 900)))
            mode, south = chance.choice(("start", "wanted", "last-frost")), chance.random() < 0.5
            given = {"mode": mode, "day": number(day), "south": south, "today": number(today)}
            asked.append([entry.name, list(choice), given])
            wanted.append(windows(dated(plan, kb, mode, day, south, today)))
        asked.append(data)
    return asked, wanted


def dated(plan: Plan, kb: KnowledgeBase, mode: str, day: date, south: bool, today: date) -> Schedule:
    given: dict[str, Any] = {mode.replace("-", "_"): day}
    return schedule(plan, kb.vocabulary.calendar, today=today, south=south, **given)


def test_the_script_reckons_the_days_of_the_calendar(
    browser: Any, address: str, kb: KnowledgeBase, chosen: list[str]
) -> None:
    """Forward, backward, from the last frost, too late, and outside in both halves of the Earth."""
    look(browser, address, CERCIS, 1280)
    asked, wanted = cases(kb, chosen)
    browser.execute_script("window.sharedTables = arguments[0]", json.loads(json.dumps(page.shared_tables(kb))))
    got, waiting = [], []
    for case in asked:
        if isinstance(case, list):
            waiting.append(case)
            continue
        got += browser.execute_script(
            "var plan = arguments[0], p = window.rousewortPlanner;"
            "return arguments[1].map(function (c) { return p.dates(p.stepsOf(plan, c[1]), c[2], window.sharedTables); })",
            json.loads(json.dumps(case)), waiting,
        )  # fmt: skip
        waiting = []
    cases_asked = [case for case in asked if isinstance(case, list)]
    assert len(got) == len(wanted) > 300
    for case, ours, theirs in zip(cases_asked, got, wanted, strict=True):
        assert ours == theirs, case
    assert sum("missed" in one for one in wanted) > 30


def other_ways(kb: KnowledgeBase, names: list[str]) -> list[dict[str, Any]]:
    """For days that are out of reach: what is asked, the ways that one thing more or less gives by the calendar, and of
    the ways that the calendar itself names those without a thing."""
    catalogue, found = Catalogue(kb, names), []
    for entry, usual, _, _ in catalogue.plans():
        made, day, today = settings(catalogue.planner, usual), date(2027, 5, 1), date(2027, 3, 10)
        have = [i for i, f in enumerate(made.fields) if f.name == "have"]
        allowed = [
            kb.vocabulary.files["equipment"][f.word or ""].get("permission") if f.name == "have" else None
            for f in made.fields
        ]
        choice = tuple(field.usual for field in made.fields)
        if (
            not made.steps(choice)
            or not (reached := dated(catalogue.planner.plan_for(usual.match), kb, "wanted", day, False, today)).missed
        ):
            continue
        ways = []
        for i in [i for i in have if not allowed[i]]:
            other = tuple(1 - place if i == k else place for k, place in enumerate(choice))
            plan = catalogue.planner.plan_for(
                usual.match, typed_grower(catalogue.planner, options(catalogue.planner, made.fields, other))
            )
            if plan.steps and made.route.of(other) != made.route.of(choice):
                laid = dated(plan, kb, "wanted", day, False, today)
                assert laid.seedlings is not None
                ways.append([i, not laid.missed, number(laid.start), number(laid.seedlings.planned)])
        named = [[number(w.start), number(w.seedlings)] for w in reached.missed.others if w.text.startswith("No ")]
        given = {"mode": "wanted", "day": number(day), "south": False, "today": number(today)}
        found.append({"name": entry.name, "plan": page.page_data(kb, made, lambda step: ()), "choice": choice, "given": given, "ways": ways,
                      "named": named, "nearest": number(reached.missed.nearest)})  # fmt: skip
    return found


def test_for_a_day_out_of_reach_the_page_names_the_ways_that_the_calendar_names(
    browser: Any, address: str, kb: KnowledgeBase, chosen: list[str]
) -> None:
    """Each with the days that its own plan has, those in time first, and none that neither gains nor leaves it to the seasons."""
    look(browser, address, CERCIS, 1280)
    browser.execute_script("window.sharedTables = arguments[0]", json.loads(json.dumps(page.shared_tables(kb))))
    named = 0
    asked = other_ways(kb, chosen)
    for case in asked:
        got = browser.execute_script(
            "var c = arguments[0]; return window.rousewortPlanner.otherWays(c.plan, c.choice, c.given, window.sharedTables, c.nearest)",
            json.loads(json.dumps(case)),
        )
        told = [[w["field"], w["gain"] == "in time", w["start"], w["seedlings"]] for w in got]
        assert all(way in case["ways"] for way in told), case["name"]
        assert [w["start"] for w in got if w["gain"] == "in time"] == [w["start"] for w in got][
            : sum(w[1] for w in told)
        ]
        assert all(w["seedlings"] < case["nearest"] for w in got if w["gain"] == "sooner")
        assert all(way in [w[2:] for w in told] for way in case["named"]), case["name"]
        named += len(case["named"])
    assert len(asked) > 15 and named > 5


def test_the_planner_changes_steps_dates_and_seeds_and_the_address_keeps_it(
    browser: Any, address: str, planner: Planner, pictures: Path
) -> None:
    plan = planner.plan("Cercis canadensis", make_grower(planner.kb.vocabulary, without=["blade"]))
    made = schedule(plan, planner.kb.vocabulary.calendar, wanted=date(2098, 5, 1))
    wanted = [step.label[:1].upper() + step.label[1:] for step in plan.steps]
    look(browser, address, CERCIS, 1280)
    assert headings(browser) != wanted
    browser.find_element("css selector", ".rw-planner summary").click()
    blade = wait(lambda: [x for x in browser.find_elements("css selector", ".rw-choices label") if "blade" in x.text])
    assert blade
    blade[0].click()
    assert wait(lambda: headings(browser) == wanted)
    set_to(browser, "Reckon from", "Seedlings wanted on")
    browser.execute_script(
        "var d = document.querySelector('.rw-choices [type=date]'); d.value = '2098-05-01'; d.dispatchEvent(new Event('input', {bubbles: true}))"
    )
    set_to(browser, "Plants wanted", "50")
    set_to(browser, "Germination of your lot", "70 %")
    query = "?without=blade&wanted=2098-05-01&plants=50&germination=70"
    assert wait(lambda: browser.current_url.endswith(query)), browser.current_url

    def as_wanted() -> bool:
        shown = times(browser, ".rw-summary time")
        seeds = browser.find_element("css selector", ".rw-seeds b").text
        return shown[0] == str(made.start) and f"{seed_need(50, 0.7).seeds} seeds" == seeds

    assert wait(as_wanted)
    assert times(browser, ".rw-dates li > time:first-of-type") == [str(step.start) for step in made.steps]
    picture(browser, pictures / "planner-1280.png")
    browser.get(browser.current_url)
    assert wait(lambda: browser.find_elements("css selector", ".rw-dates") and as_wanted())
    assert headings(browser) == wanted


def times(browser: Any, selector: str) -> list[str]:
    return [element.get_attribute("datetime") for element in browser.find_elements("css selector", selector)]


def set_to(browser: Any, label: str, word: str) -> None:
    """Choose as a reader does, by the words on the screen."""
    from selenium.webdriver.support.ui import Select

    boxes = browser.find_elements("css selector", ".rw-choices label")
    box = next(box for box in boxes if box.text.startswith(label))
    Select(box.find_element("tag name", "select")).select_by_visible_text(word)


FULL = (
    "without=fridge,warm_place&had=cold_moist:30&cleaned=yes&seeds=7&stored=dry&dried-since=yes&last-frost=2090-04-20"
    "&south=yes&plants=100&germination=55&survival=80&probability=99"
)


def test_a_link_keeps_every_choice(browser: Any, address: str, planner: Planner) -> None:
    look(browser, address, f"{VIBURNUM}?{FULL}", 1280)
    assert wait(lambda: browser.find_elements("css selector", ".rw-seeds b"))
    asked = dict(pair.split("=", 1) for pair in FULL.split("&"))
    fields = settings(planner, planner.plan("Viburnum prunifolium")).fields
    assert {"cleaned", "seeds", "stored", "had", "dried_since"} <= {field.name for field in fields}

    def kept() -> dict[str, str]:
        return dict(pair.split("=", 1) for pair in browser.current_url.partition("?")[2].split("&"))

    assert wait(lambda: kept() == asked), kept()


@pytest.mark.parametrize(
    "query",
    [
        "have=<img src=x onerror=document.title='pwned'>&without=javascript:alert(1)&start=2027-13-45",
        "wanted=9999999-01-01&plants=-5&germination=1e9&survival=<script>document.title='pwned'</script>",
        "start=2027-02-30&seeds=1e99&had=cold_moist:NaN,cold_moist:__proto__&stored=constructor&south=<svg onload=1>",
        "start=1999-12-31&seeds=-1&plants=&probability=__proto__&last-frost=%00&provenance[]=x",
        "__proto__=1&have=__proto__,constructor,toString&allow=acid%00&wanted=2027-05-01T00:00",
    ],
)
def test_a_hostile_link_changes_nothing(browser: Any, address: str, query: str) -> None:
    from urllib.parse import quote

    browser.get_log("browser")
    look(browser, address, f"{VIBURNUM}?{quote(query, safe='=&')}", 1280)
    assert wait(lambda: browser.find_elements("css selector", ".rw-dates"))
    assert browser.current_url.endswith("prunifolium.html"), "what means nothing is not kept"
    assert "pwned" not in browser.title and not browser.find_elements(
        "css selector", ".rw-planner img, .rw-planner svg"
    )
    assert "NaN" not in browser.find_element("css selector", ".rw-planner").text
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_the_planner_works_by_keyboard_alone(browser: Any, address: str) -> None:
    from selenium.webdriver.common.keys import Keys

    look(browser, address, CERCIS, 360)
    browser.execute_script("document.querySelector('.rw-planner summary').focus()")
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    assert wait(lambda: browser.find_elements("css selector", ".rw-choices label"))
    browser.switch_to.active_element.send_keys(Keys.TAB)
    assert browser.switch_to.active_element.get_attribute("type") == "checkbox"
    before = headings(browser)
    browser.switch_to.active_element.send_keys(Keys.SPACE)
    assert wait(lambda: headings(browser) != before and "without=" in browser.current_url)
    back = [b for b in browser.find_elements("css selector", ".rw-choices button") if b.text == "Back to the usual"]
    back[0].send_keys(Keys.ENTER)
    assert wait(lambda: headings(browser) == before and "without=" not in browser.current_url)
    assert browser.switch_to.active_element.get_attribute("type") == "checkbox", "the focus stays in the form"


def test_what_stood_for_the_usual_choice_goes_when_another_is_made(browser: Any, address: str) -> None:
    look(browser, address, f"{CERCIS}?have=gibberellic_acid", 1280)
    assert wait(lambda: browser.find_elements("css selector", ".rw-dates"))
    assert not browser.find_element("id", "not-used-and-why").is_displayed()
    assert not browser.find_element("css selector", ".rw-static").is_displayed()


def test_a_refusal_leads_to_its_choice(browser: Any, address: str) -> None:
    look(browser, address, CERCIS, 1280)
    link = next(a for a in browser.find_elements("css selector", "a.rw-choose") if "Allow strong acid" in a.text)
    browser.execute_script("arguments[0].click()", link)
    assert wait(
        lambda: [x for x in browser.find_elements("css selector", ".rw-choices label") if "allow strong acid" in x.text]
    )


def test_the_chosen_plan_prints_to_one_page(browser: Any, address: str, pictures: Path) -> None:
    look(browser, address, f"{CERCIS}?without=blade&wanted=2090-05-01&plants=50&germination=70", 1280)
    assert wait(lambda: browser.find_elements("css selector", ".rw-seeds b"))
    paper = {"printBackground": True, "preferCSSPageSize": True, "paperWidth": 8.27, "paperHeight": 11.69}
    printed = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", paper)["data"])
    (pictures / "planner.pdf").write_bytes(printed)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1


def test_a_plan_that_cannot_be_dated_is_none_of_the_page(kb: KnowledgeBase, planner: Planner) -> None:
    """Where the calendar refuses, the page has no steps to date either."""
    plan = planner.plan("Epipactis palustris")
    with pytest.raises(UserError):
        schedule(plan, kb.vocabulary.calendar, start=date(2027, 1, 1))
    made = settings(planner, plan)
    assert not any(result.steps for result in made.results)
