"""The list that narrows and sorts holds what the other lists and the plans say."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from reading import look, wait
from rousewort.handbook.build import Built

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def listed(handbook: Built) -> list[dict[str, Any]]:
    return json.loads((handbook.folder / "data/species.json").read_text("utf-8"))["species"]


@pytest.fixture(scope="module")
def data(handbook: Built) -> dict[str, Any]:
    text = (handbook.folder / "data/browse.js").read_text("utf-8")
    return json.loads(re.fullmatch(r"rousewortBrowse\((.*)\);\n", text, re.DOTALL)[1])  # type: ignore[index]


def open_list(browser: Any, address: str, query: str) -> list[str]:
    browser.get("about:blank")
    look(browser, address, f"browse.html?{query}", 1280)
    assert wait(lambda: browser.find_element("css selector", ".rw-summary").text)
    return [e.text for e in browser.find_elements("css selector", ".rw-found tbody em")]


def test_every_species_is_listed_by_name(browser: Any, address: str, listed: list[dict[str, Any]]) -> None:
    assert open_list(browser, address, "") == sorted(item["name"] for item in listed)


def test_a_step_leaves_the_species_whose_plan_has_it(
    browser: Any, address: str, listed: list[dict[str, Any]], data: dict[str, Any]
) -> None:
    words = next(choice["words"] for choice in data["choices"] if choice["name"] == "treatment")
    found = open_list(browser, address, f"treatment={words.index('warm and moist')}")
    wanted = [item["name"] for item in listed if "warm_moist" in item["steps"]]
    assert found == wanted and 0 < len(wanted) < len(listed)


def test_with_no_more_than_a_fridge_leaves_plans_that_need_nothing_else(
    browser: Any, address: str, data: dict[str, Any]
) -> None:
    place = [choice["name"] for choice in data["choices"]].index("have")
    fridge = data["choices"][place]["words"].index("fridge")
    wanted = [row[0] for row in data["rows"] if row[3] is not None and set(row[6 + place]) <= {fridge}]
    found = open_list(browser, address, f"have={fridge}")
    assert found == wanted and 0 < len(wanted) < len(data["rows"])


def test_the_shortest_come_first_and_what_has_no_length_last(
    browser: Any, address: str, listed: list[dict[str, Any]]
) -> None:
    days = {item["name"]: item["days_before_sowing"] for item in listed}
    order = [days[name] for name in open_list(browser, address, "sort=days")]
    known = [length for length in order if length is not None]
    assert known == sorted(known) and order[len(known) :] == [None] * (len(order) - len(known))
