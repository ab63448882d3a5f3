"""The planner on the page gives, for every choice a reader can make, what the command line gives."""

from __future__ import annotations

import json
import os
import random
import re
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading import choices, options, typed_grower
from rousewort.base.binomial import at_most
from rousewort.cli.main import main
from rousewort.handbook import planner as page
from rousewort.handbook.build import Built
from rousewort.handbook.catalogue import Catalogue
from rousewort.handbook.settings import Settings, Variant, settings, shrink
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.planning.plan import Plan, Planner
from rousewort.planning.plan_json import plan_json
from rousewort.schedule.dating import schedule
from rousewort.schedule.durations import Lasting
from rousewort.schedule.model import Window

ALL = os.environ.get("ROUSEWORT_ALL") == "1"
# Inside a season, outside all of them, a leap day, the last of a year.
DAYS = [date(2026, 9, 30), date(2027, 4, 3), date(2028, 2, 29), date(2030, 12, 31)]


def differences(planner: Planner, made: Settings, choice: tuple[int, ...], plan: Plan, usual: Plan) -> list[str]:
    wanted, result = plan_json(plan), made.result(choice)
    shown = {
        "outcome": result.outcome,
        "advice": list(result.advice),
        "unmet": list(result.unmet),
        "splits": list(result.splits),
        "steps": [variant.step for variant in made.steps(choice)],
    }
    found = [key for key, value in shown.items() if value != wanted[key]]
    cautions = {text for table in made.cautions for text in table.of(choice)} | set(usual.cautions)
    return found + (["cautions"] if cautions != set(plan.cautions) else [])


def compare(kb: KnowledgeBase, names: list[str], most: int) -> int:
    compared = 0
    catalogue = Catalogue(kb, names)
    chance = random.Random(7)
    for entry, usual, _, _ in catalogue.plans():
        made = settings(catalogue.planner, usual)
        for choice in choices(made, chance, most):
            typed = options(catalogue.planner, made.fields, choice)
            plan = catalogue.planner.plan_for(usual.match, typed_grower(catalogue.planner, typed))
            assert not differences(catalogue.planner, made, choice, plan, usual), (entry.name, typed)
            compared += 1
    return compared


def test_every_choice_leads_to_the_plan_that_the_command_line_makes(kb: KnowledgeBase, chosen: list[str]) -> None:
    assert compare(kb, chosen, 40) > 900


@pytest.mark.slow
def test_every_species_and_its_choices_lead_to_the_plan_of_the_command_line(kb: KnowledgeBase) -> None:
    """With ROUSEWORT_ALL=1 all equipment of every species, and as many choices about the lot as well; else a few each."""
    assert compare(kb, sorted(kb.names("species")), 1024 if ALL else 4) > 4000


def test_the_usual_choice_is_the_plan_on_the_page(planner: Planner, chosen: list[str]) -> None:
    for name in chosen:
        made = settings(planner, planner.plan(name))
        assert [v.step for v in made.steps(made.usual)] == plan_json(planner.plan(name))["steps"]


def test_what_is_asked_changes_something_and_what_changes_something_is_asked(
    planner: Planner, chosen: list[str]
) -> None:
    seen = set()
    for name in chosen:
        plan = planner.plan(name)
        made = settings(planner, plan)
        tables = [made.route, *made.cautions, *(t for r in made.results for t in r.steps)]
        used = {number for table in tables for number, _ in table.by}
        assert used == set(range(len(made.fields))), name
        seen |= {(field.name, field.word) for field in made.fields}
        for part in ("stored", "provenance"):
            for word in planner.kb.vocabulary.files["lots"][part]:
                other = planner.plan(name, planner.usual_grower._replace(**{part: word}))
                differs = plan_json(other) != plan_json(plan)
                field = next((f for f in made.fields if f.name == part), None)
                if plan.outcome == "plan":
                    assert differs == (field is not None and word in field.values), (name, word)
    assert {("had", "cold_moist"), ("stored", None), ("provenance", None), ("cleaned", None), ("seeds", None)} <= seen


@given(st.data())
def test_a_shrunk_table_says_what_the_whole_one_said(data: st.DataObject) -> None:
    sizes = data.draw(st.lists(st.integers(1, 4), max_size=4))
    count = 1
    for size in sizes:
        count *= size
    values = data.draw(st.lists(st.integers(0, 2), min_size=count, max_size=count))
    table = shrink(list(enumerate(sizes)), values)
    for place, choice in enumerate(product(*(range(size) for size in reversed(sizes)))):
        assert table.of(tuple(reversed(choice))) == values[place]
    assert len(table.at) <= len(values)


# --- dates


def follows(shown: list[Variant], plan: Plan, habits: dict, seasons: dict, day: date, south: bool) -> None:
    """The page's days, reckoned from its tables, against the calendar's: from a start, and back from a day wanted."""
    last = shown[-1]
    for dated in (schedule(plan, habits, start=day, south=south), schedule(plan, habits, wanted=day, south=south)):
        assert [(s.start, s.earliest, s.planned, s.latest) for s in dated.steps] == [
            (at, *after(at, variant.lasts)) for at, variant in reckoned(dated.start, shown, seasons)
        ]
        assert dated.seedlings is not None and last.seedlings is not None
        sown = dated.steps[-1].start
        early, late = (sowing(dated.start, shown, seasons, part) for part in ("low", "high"))
        low, use, high = last.seedlings.low, last.seedlings.use, last.seedlings.high
        latest = None if late is None or high is None else max(late, sown) + timedelta(high)
        assert early is not None
        assert dated.seedlings == Window(min(early, sown) + timedelta(low), sown + timedelta(use), latest)


def sowing(start: date, shown: list[Variant], seasons: dict[str, list[list[int]]], part: str) -> date | None:
    """The day of sowing where every step is as short, or as long, as it may be: outside the seed is sown already."""
    day = start
    for variant in shown:
        if variant.season or variant is shown[-1]:
            return next(reckoned(day, [variant], seasons))[0]
        days = getattr(variant.lasts, part)
        if days is None:
            return None
        day += timedelta(days)
    return day


def after(day: date, span: Lasting) -> list[date | None]:
    return [None if days is None else day + timedelta(days) for days in (span.low, span.use, span.high)]


def reckoned(start: date, shown: list[Variant], seasons: dict[str, list[list[int]]]) -> Iterator[tuple[date, Variant]]:
    day = start
    for variant in shown:
        if variant.season:
            span = next(span for span in seasons[variant.season] if page.EPOCH + timedelta(span[1]) >= day)
            day = max(day, page.EPOCH + timedelta(span[0]))
        yield day, variant
        day += timedelta(variant.lasts.use)


def dates_agree(kb: KnowledgeBase, names: list[str], most: int) -> int:
    catalogue, count, chance = Catalogue(kb, names), 0, random.Random(3)
    habits, seasons = kb.vocabulary.calendar, page.shared_seasons(kb)
    for _, usual, _, _ in catalogue.plans():
        made = settings(catalogue.planner, usual)
        done = set()
        for choice in choices(made, chance, most):
            shown = made.steps(choice)
            key = tuple(map(id, shown))
            if not shown or key in done:
                continue
            done.add(key)
            plan = catalogue.planner.plan_for(
                usual.match, typed_grower(catalogue.planner, options(catalogue.planner, made.fields, choice))
            )
            for half in ("north", "south"):
                follows(shown, plan, habits, seasons[half], chance.choice(DAYS), half == "south")
                count += 1
    return count


def test_days_added_to_any_date_are_those_of_the_calendar(kb: KnowledgeBase, chosen: list[str]) -> None:
    assert dates_agree(kb, chosen, 30) > 1000


@pytest.mark.slow
def test_days_of_every_species_are_those_of_the_calendar(kb: KnowledgeBase) -> None:
    assert dates_agree(kb, sorted(kb.names("species")), 24 if ALL else 2) > 4000


# --- quantities


@pytest.fixture(scope="module")
def tables(kb: KnowledgeBase) -> dict:
    return json.loads(json.dumps(page.shared_tables(kb)))


def test_seeds_to_sow_are_the_fewest_that_give_so_many_with_that_probability(tables: dict) -> None:
    """Against the binomial tail itself, for every entry of the table."""
    axes = product(tables["plants"], tables["germination"], tables["survival"], tables["probability"])
    for seeds, (plants, germination, survival, probability) in zip(tables["seeds"], axes, strict=True):
        chance, risk = germination / 100 * (survival / 100), 1 - probability / 100
        assert at_most(plants - 1, seeds, chance) <= risk * (1 + 1e-9)
        assert seeds == plants or at_most(plants - 1, seeds - 1, chance) > risk * (1 - 1e-9)


@pytest.mark.parametrize(
    ("plants", "germination", "survival", "probability"), [(1, 1, 100, 95), (50, 70, 90, 95), (1000, 5, 50, 99)]
)
def test_quantities_are_those_of_the_command(
    kb: KnowledgeBase, tables: dict, capsys: pytest.CaptureFixture[str],
    plants: int, germination: int, survival: int, probability: int,
) -> None:  # fmt: skip
    counted = [name for name in sorted(kb.names("species")) if "seeds_per_gram" in kb.store.summary(name)["numbers"]]
    catalogue = Catalogue(kb, [*counted[:3], "Cercis canadensis"])
    place = tables["plants"].index(plants)
    for key, value in (("germination", germination), ("survival", survival)):
        place = place * len(tables[key]) + tables[key].index(value)
    seeds = tables["seeds"][place * len(tables["probability"]) + tables["probability"].index(probability)]
    for entry, plan, _, _ in catalogue.plans():
        typed = ["--plants", str(plants), "--germination", f"{germination}%", "--survival", f"{survival}%"]
        assert main(["quantities", entry.name, *typed, "--probability", f"{probability}%", "--json"]) == 0
        said = json.loads(capsys.readouterr().out)
        assert said["seed"]["seeds"] == seeds and said["seed"]["on_average"] == tables["on_average"][place]
        per = page.page_data(kb, settings(catalogue.planner, plan), lambda step: ())["per_gram"]
        assert said["grams"] == (pytest.approx(seeds / per["count"]) if per else None)
        assert "fewest" in per["from"] or entry.name not in counted


# --- what is written


def test_no_choice_shows_acid_unless_it_is_allowed(planner: Planner, chosen: list[str]) -> None:
    shown = 0
    for name in chosen:
        made = settings(planner, planner.plan(name))
        place = next((i for i, field in enumerate(made.fields) if field.word == "acid"), None)
        for choice in choices(made, random.Random(1), 60):
            acid = any(variant.step["kind"] == "acid" for variant in made.steps(choice))
            assert not acid or (place is not None and choice[place])
            shown += acid
    assert shown, "no species of the sample is ever treated with acid: choose others"


def read_call(text: str, name: str) -> dict:
    return json.loads(text.removeprefix(name + "(").rstrip().removesuffix(");"))


def test_the_file_beside_the_page_holds_them(handbook: Built, planner: Planner) -> None:
    """Each step of each result reads there as the page's own templates write it: the usual one as on the page."""
    text = (handbook.folder / "species/cercis-canadensis.plans.js").read_text("utf-8")
    data = read_call(text, "rousewortPlans")
    made = settings(planner, planner.plan("Cercis canadensis"))
    assert data["route"] == {"by": [[n, list(g)] for n, g in made.route.by], "at": list(made.route.at)}
    assert [field["values"] for field in data["fields"]] == [list(field.values) for field in made.fields]
    assert len(data["results"]) == len(made.results) and len(data["variants"]) == len(made.variants)
    html = (handbook.folder / "species/cercis-canadensis.html").read_text("utf-8")
    for table in made.result(made.usual).steps:
        lines = [data["texts"][i] for i in data["variants"][table.of(made.usual)]["lines"]]
        assert "".join(lines) in html.replace("\n", "")


def test_a_page_with_its_plans_is_no_heavier_than_it_may_be(handbook: Built) -> None:
    for path in handbook.folder.glob("species/*.html"):
        plans = path.with_suffix(".plans.js")
        assert path.stat().st_size + (plans.stat().st_size if plans.exists() else 0) <= 300_000, path.name


def test_no_page_of_a_species_speaks_of_options_of_the_command_line(handbook: Built) -> None:
    for path in [*handbook.folder.glob("species/*.html"), *handbook.folder.glob("species/*.js")]:
        text = re.sub(r"<(style|script)\b.*?</\1>", "", path.read_text("utf-8"), flags=re.DOTALL)
        assert not re.findall(r"(?<![\w-])--[a-z][a-z-]+", re.sub(r'(class|style)="[^"]*"', "", text)), path.name
