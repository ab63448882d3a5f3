"""The key for unknown seed: what the page looks up is what `rousewort observe` concludes and asks, for every set of findings."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rousewort.base.errors import UserError
from rousewort.handbook.build import Built
from rousewort.handbook.formulas import page_sums
from rousewort.handbook.seedkey import Key, seed_key
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.observe.ask import Inquiry
from rousewort.observe.conclude import Conclusion, conclude, match_for, read
from rousewort.observe.entries import Observations, checked
from rousewort.observe.key import tests as key_of
from test_formulas import in_node
from test_in_browser import look, picture, wait

MANY = 3000


@pytest.fixture(scope="module")
def key(kb: KnowledgeBase) -> Key:
    return seed_key(kb)


@pytest.fixture(scope="module")
def page(browser: Any, address: str) -> Any:
    look(browser, address, "key.html", 1280)
    assert wait(lambda: browser.execute_script("return document.documentElement.dataset.key") == "ready")
    return browser


def concluded(kb: KnowledgeBase, key: Key, chosen: dict[str, int]) -> Conclusion:
    """By the command's own way: one reading a test, in the order of the key."""
    made: dict[str, Any] = {}
    for name, option in chosen.items():
        reading = key.inputs[name].options[option]
        known = made.get(reading.test.id)
        made[reading.test.id] = reading if known is None else known._replace(
            clause=known.clause or reading.clause, words={**known.words, **reading.words}
        )  # fmt: skip
    return conclude(kb.vocabulary, [made[name] for name in key_of(kb.vocabulary) if name in made])


def every_part_and_many_wholes(key: Key) -> list[dict[str, int]]:
    """Every combination of findings that some table tells apart, and a sample of whole sets of answers."""
    from rousewort.handbook.seedkey import _combinations

    found = [chosen for part in key.parts.values() for chosen in _combinations(part.inputs, key.inputs, [part])]
    dice = random.Random(7)
    for _ in range(MANY):
        share = dice.random()
        found.append(
            {name: dice.randrange(len(one.options)) for name, one in key.inputs.items() if dice.random() < share}
        )
    return found


@pytest.mark.slow
def test_the_page_concludes_what_the_command_concludes_for_every_set_of_findings(
    kb: KnowledgeBase, key: Key, page: Any
) -> None:
    sets = every_part_and_many_wholes(key)
    assert len(sets) > MANY + 500
    answers = page.execute_script("return arguments[0].map(window.rousewortKeyLookup.conclude)", sets)
    settled = clashes = 0
    for chosen, answer in zip(sets, answers, strict=True):
        wanted = concluded(kb, key, chosen)
        assert answer["words"] == dict(wanted.words), chosen
        assert answer["left"] == {k: list(words) for k, words in wanted.left.items()}, chosen
        assert sorted(answer["against"]) == sorted([list(c) for c in wanted.contradictions]), chosen
        assert answer["stop"] == [reading.clause.says for reading in wanted.stop if reading.clause], chosen
        settled += "dormancy_class" in wanted.words
        clashes += bool(wanted.contradictions)
    assert settled > 300 and clashes > 300


@pytest.mark.slow
def test_the_page_asks_next_what_the_command_asks_next(kb: KnowledgeBase, key: Key, page: Any) -> None:
    """For every set of class findings, however many are skipped; and from nothing at all."""
    bench = Inquiry(kb, match_for(kb, "seed"))
    dice = random.Random(3)
    sets: list[dict[str, int]] = [{}]
    while len(sets) < 250:
        chosen = {n: dice.randrange(len(key.inputs[n].options)) for n in key.order.inputs if dice.random() < 0.4}
        words = concluded(kb, key, chosen).words
        if all(any(words.get(t) in w for t, w in key.order.gates.get(n, {"": (None,)}).items()) for n in chosen):
            sets.append(chosen)
    skipped = [dice.sample(list(key_of(kb.vocabulary)), dice.choice([0, 0, 1, 3])) for _ in sets]
    script = """var sets = arguments[0], skips = arguments[1];
    return sets.map(function (chosen, i) {
      var left = {};
      skips[i].forEach(function (name) { left[name] = true; });
      return window.rousewortKeyLookup.ranking(chosen, left);
    });"""
    asked = page.execute_script(script, sets, skipped)
    told = 0
    for chosen, left, ranking in zip(sets, skipped, asked, strict=True):
        known = Observations("seed", seen={key.inputs[n].test.id: {} for n in chosen}, skipped=left)
        wanted = [question.test.id for question in bench.questions(known, concluded(kb, key, chosen))]
        gates = [test.id for test in key_of(kb.vocabulary).values() if test.data.get("gate")]
        assert [name for name in ranking if name not in gates] == [n for n in wanted if n not in gates], chosen
        assert ranking[:1] == wanted[:1], chosen
        told += len(ranking) > 1
    assert told > 100


def test_large_or_wet_forest_seed_can_be_asked_about_drying(kb: KnowledgeBase, key: Key) -> None:
    assert set(key.order.flags) == {"seed_size", "home_climate"}
    asking = [key.order.rankings[place] for place in key.order.flagged]
    assert any("desiccation_model" in names for names in asking)


# Numbers


def asks_of(kb: KnowledgeBase) -> dict[str, list[list[str]]]:
    """Test → the boxes of the page."""
    found = {test.id: page_sums(test) for test in key_of(kb.vocabulary).values()}
    return {name: sums["asks"] for name, sums in found.items() if sums}


def fields_for(test: str, typed: dict[str, Any]) -> dict[str, Any]:
    """What was typed on the page as the command's fields."""
    if test == "imbibition":
        fields: dict[str, Any] = {"intact_g": {0: typed["dry"], typed["soaked"]: typed["wet"]}}
        if "nicked_dry" in typed:
            fields["nicked_g"] = {0: typed["nicked_dry"], typed["soaked"]: typed["nicked_wet"]}
        return fields | {name: typed[name] for name in ("intact_swollen", "intact_seeds") if name in typed}
    if "roots_30" in typed:
        days = {min(typed["counted"], 30): typed["roots_30"]}
        days |= {typed["counted"]: typed["roots_30"]} if typed["counted"] > 30 else {}
        return {"sown": typed["sown"], "empty": typed["empty"], "roots": days}
    return typed


def typing(test: str, asks: list[list[str]]) -> st.SearchStrategy[dict[str, Any]]:
    counts, masses = st.integers(0, 60), st.floats(0.1, 20).map(lambda x: round(x, 3))
    kinds = {"count": counts, "number": masses, "list": st.lists(masses, min_size=1, max_size=4)}
    of = {name: kinds[kind] for name, _, kind in asks}
    if test == "imbibition":
        both = st.one_of(st.just({}), st.fixed_dictionaries({"nicked_dry": masses, "nicked_wet": masses}))
        swollen = st.one_of(st.just({}), st.integers(1, 30).flatmap(lambda n: st.fixed_dictionaries({"intact_seeds": st.just(n), "intact_swollen": st.integers(0, n)})))  # fmt: skip
        base = st.fixed_dictionaries({"dry": masses, "wet": masses, "soaked": st.integers(1, 72)})
        return st.tuples(base, both, swollen).map(lambda t: {**t[0], **t[1], **t[2]})
    if "counted" in of:
        of["counted"] = st.integers(1, 90)
    dishes = {name.removesuffix("_roots") for name in of if name.endswith("_roots")}
    of |= {dish: st.integers(60, 80) for dish in dishes}
    return st.fixed_dictionaries(of)


def drawn(values: st.SearchStrategy[Any]) -> list[Any]:
    found: list[Any] = []

    @settings(max_examples=50, deadline=None, database=None)
    @given(values)
    def draw(value: Any) -> None:
        found.append(value)

    draw()
    return found


def typed_cases(kb: KnowledgeBase) -> tuple[list[tuple[str, dict[str, Any]]], list[int]]:
    """Drawn numbers for every test with sums, and the place of the finding that the command gives (-1: none)."""
    asked: list[tuple[str, dict[str, Any]]] = []
    wanted = []
    asks = asks_of(kb)
    for test in sorted(asks):
        one = key_of(kb.vocabulary)[test]
        for typed in drawn(typing(test, asks[test])):
            try:
                checked(Observations("seed", seen={test: fields_for(test, typed)}), kb.vocabulary)
                reading = read(one, fields_for(test, typed), kb.vocabulary)
            except UserError:
                continue
            asked.append((test, typed))
            wanted.append(one.reads.index(reading.clause) if reading.clause else -1)
    assert {test for test, _ in asked} == set(asks)
    return asked, wanted


@pytest.mark.slow
def test_typed_numbers_give_the_finding_that_the_command_gives(kb: KnowledgeBase, page: Any) -> None:
    """Worked out in the browser, thresholds and dishes included."""
    asked, wanted = typed_cases(kb)
    script = "return arguments[0].map(function (a) { return window.rousewortKeyLookup.finding(a[0], a[1]).place; })"
    assert page.execute_script(script, asked) == wanted


def test_outside_a_browser_too_typed_numbers_give_the_finding_that_the_command_gives(kb: KnowledgeBase) -> None:
    asked, wanted = typed_cases(kb)
    sums = {test: page_sums(one) for test, one in key_of(kb.vocabulary).items()}
    given = [[sums[test], typed] for test, typed in asked]
    places = in_node(
        "key.js", "input.map(function (a) { return window.rousewortFormulas.finding(a[0], a[1]).place; })", given
    )
    assert list(zip(asked, places, strict=True)) == list(zip(asked, wanted, strict=True))


def test_the_page_tells_what_cannot_be_in_the_command_s_words(kb: KnowledgeBase) -> None:
    one = key_of(kb.vocabulary)["light_test"]
    typed = {"light": 20, "light_roots": 21, "dark": 20, "dark_roots": 1}
    with pytest.raises(UserError) as told:
        read(one, typed, kb.vocabulary)
    got = in_node("key.js", "window.rousewortFormulas.finding(input[0], input[1])", [page_sums(one), typed])
    assert got["place"] is None and f"light_test: {got['impossible']}." == str(told.value)


# The reader's path


def test_without_javascript_the_whole_key_is_there(handbook: Built, kb: KnowledgeBase) -> None:
    from test_build import text_of

    page = text_of((handbook.folder / "key.html").read_text("utf-8"))
    for test in key_of(kb.vocabulary).values():
        for said in (test.ask, test.why, *test.do, *(clause.says for clause in test.reads if len(test.reads) > 1)):
            assert " ".join(said.split()) in page, said


def test_every_threshold_names_its_source_or_says_that_it_is_ours(handbook: Built, kb: KnowledgeBase) -> None:
    page = (handbook.folder / "key.html").read_text("utf-8")
    for part in page.split("data-finding=")[1:]:
        assert "sources/" in part.split("</li>")[0] or "threshold of this project" in part.split("</li>")[0]


@pytest.mark.slow
def test_a_reader_walks_from_nothing_to_a_class_by_keyboard_and_the_address_keeps_it(
    browser: Any, address: str, pictures: Path
) -> None:
    from selenium.webdriver.common.keys import Keys

    def ready() -> bool:
        return bool(wait(lambda: browser.execute_script("return document.documentElement.dataset.key") == "ready"))

    def press(*keys: str) -> None:
        for one in keys:
            browser.switch_to.active_element.send_keys(one)

    def until_focus(what: str) -> None:
        for _ in range(80):
            if browser.execute_script("return document.activeElement.matches(arguments[0])", what):
                return
            press(Keys.TAB)
        raise AssertionError(f"{what} cannot be reached by keyboard")

    look(browser, address, "key.html", 360)
    assert ready()
    picture(browser, pictures / "key-begin-360.png")
    assert "Cut test" in browser.find_element("css selector", ".rw-asked").text
    until_focus("input[name='cut_test.full']")
    press("18", Keys.TAB, "2", Keys.TAB, "0", Keys.TAB, "0")
    assert wait(lambda: "cut_test=2" in browser.current_url)
    # What costs neither seed nor time is asked before what takes days; what the reader does not know is skipped.
    assert "The plant and its home: no seed" in browser.find_element("css selector", ".rw-asked").text
    browser.find_element("css selector", ".rw-asked a").send_keys(Keys.ENTER)
    assert browser.execute_script("return document.activeElement.textContent").startswith("The plant and its home")
    passed_over = []
    while not (asked := browser.find_element("css selector", ".rw-asked").text).startswith("Soak and weigh"):
        passed_over.append(asked)
        assert "no seed" in asked and len(passed_over) < 5, passed_over
        until_focus(".rw-skip:not([hidden])")
        press(Keys.ENTER)
    until_focus("input[type=radio][name='imbibition']")
    press(Keys.ARROW_DOWN)
    assert wait(lambda: "imbibition=2" in browser.current_url)
    concluded = browser.find_element("css selector", ".rw-concluded")
    assert "keeps water out" in concluded.text and "Still possible" in concluded.text
    browser.get(browser.current_url.replace("imbibition=2", "imbibition=2&nicked_germination=1&embryo=8"))
    assert ready()
    concluded = browser.find_element("css selector", ".rw-concluded")
    assert "The class is physical" in concluded.text
    assert (
        concluded.find_element("css selector", ".rw-verdict a").get_attribute("href").endswith("dormancy/physical.html")
    )
    assert concluded.find_elements("css selector", "ol.rw-steps > li")
    picture(browser, pictures / "key-class-360.png")
    browser.set_window_size(1280, 900)
    look(browser, address, "key.html?imbibition=2&fresh_germination=1&nicked_germination=3", 1280)
    assert ready() and "contradict each other" in browser.find_element("css selector", ".rw-concluded").text
    picture(browser, pictures / "key-contradiction-1280.png")
    browser.find_element("css selector", ".rw-clear").click()
    assert "?" not in browser.current_url


@pytest.mark.slow
def test_the_key_prints_what_was_found_and_not_the_rest(browser: Any, address: str, pictures: Path) -> None:
    import base64

    look(browser, address, "key.html?cut_test=2&imbibition=5&embryo=7", 1280)
    assert wait(lambda: browser.execute_script("return document.documentElement.dataset.key") == "ready")
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    shown = browser.execute_script(
        "return Array.from(document.querySelectorAll('.rw-test')).filter(function (e) { return e.offsetHeight; }).map(function (e) { return e.dataset.test; })"
    )
    assert shown == ["cut_test", "imbibition", "embryo"]
    made = browser.execute_cdp_cmd("Page.printToPDF", {})
    (pictures / "key.pdf").write_bytes(base64.b64decode(made["data"]))
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_hostile_words_in_the_address_change_nothing(browser: Any, address: str) -> None:
    look(browser, address, "key.html?imbibition=99&home_climate=%3Cscript%3E&skip=%3Cimg%20src=x%3E&embryo=-1", 360)
    assert wait(lambda: browser.execute_script("return document.documentElement.dataset.key") == "ready")
    assert "?" not in browser.current_url
    assert not [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]


def test_the_data_holds_no_markup_that_could_leave_its_script(handbook: Built, kb: KnowledgeBase) -> None:
    text = (handbook.folder / "key.data.js").read_text("utf-8")
    assert "<" not in text
    json.loads(text.removeprefix("rousewortKey(").rstrip().removesuffix(");"))
    assert all(level in text for level in kb.vocabulary.level_keys)
