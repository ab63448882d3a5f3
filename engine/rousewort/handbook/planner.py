"""What the planner on a page reads: the settings of a species beside its page, and the tables that all pages share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from itertools import product
from typing import Any

from rousewort.handbook.escape import as_data
from rousewort.handbook.page_models import short_citation
from rousewort.handbook.settings import Field, SettingResult, Settings, SettingsTable, Variant
from rousewort.knowledge.kinds import Kinds
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.schedule.durations import Lasting
from rousewort.schedule.quantities import seed_need
from rousewort.schedule.seasons import Seasons

EPOCH = date(1970, 1, 1)  # browsers count days from here
YEARS = (2000, 2099)  # in which a reader can plan
# Around them: a plan takes up to a few years, forward or back.
SEASON_YEARS = range(YEARS[0] - 10, YEARS[1] + 11)
# What can be chosen of quantities; shares in percent. No book knows how a lot germinates: the reader says it.
PLANTS = (1, 2, 3, 5, 10, 15, 20, 25, 30, 40, 50, 60, 72, 80, 100, 120, 150, 200, 250, 300, 400, 500, 1000)
GERMINATION = (1, 2, *range(5, 101, 5))
SURVIVAL = (100, 90, 80, 70, 50)
PROBABILITY = (95, 99, 90)


def shared_seasons(kb: KnowledgeBase) -> dict[str, dict[str, list[list[int]]]]:
    """Half of the Earth → season → first and last day of each year, in days since 1970."""
    habits = kb.vocabulary.calendar
    table = habits["sow_outside"]
    return {
        half: {row["season"]: [[_days(day) for day in span] for span in Seasons(habits, south).spans(row, SEASON_YEARS)]
               for row in table["seasons"]}
        for half, south in (("north", False), ("south", True))
    }  # fmt: skip


def shared_tables(kb: KnowledgeBase) -> dict[str, Any]:
    """Seasons, and seeds to sow: of `seeds`, plants turn slowest, then germination, survival and probability; of
    `on_average` likewise without probability."""
    needs = {}
    for plants, germination, survival, probability in product(PLANTS, GERMINATION, SURVIVAL, PROBABILITY):
        key = (plants, germination * survival, probability)
        if key not in needs:
            needs[key] = seed_need(plants, germination / 100, survival / 100, probability=probability / 100)
    wanted = list(product(PLANTS, GERMINATION, SURVIVAL))
    return {
        "years": YEARS,
        "seasons": shared_seasons(kb),
        "plants": PLANTS,
        "germination": GERMINATION,
        "survival": SURVIVAL,
        "probability": PROBABILITY,
        "seeds": [needs[plants, g * s, p].seeds for plants, g, s in wanted for p in PROBABILITY],
        "on_average": [needs[plants, g * s, PROBABILITY[0]].on_average for plants, g, s in wanted],
    }


def page_data(
    kb: KnowledgeBase, made: Settings, lines_of: Callable[[Mapping[str, Any]], tuple[str, ...]]
) -> dict[str, Any]:
    """The settings of one species in the form that its page's script reads: each text once. `texts` are lines of HTML, all else is text.

    `lines_of`: the lines of HTML of a step.
    """
    texts: dict[str, int] = {}
    labels: dict[str, int] = {}
    tables: dict[SettingsTable, int] = {}
    results = [_result(result, tables) for result in made.results]
    return {
        "fields": [_field(kb, field) for field in made.fields],
        "route": _table(made.route),
        "results": results,
        "tables": [_table(table) for table in tables],
        "variants": [_variant(kb.vocabulary.kinds, variant, lines_of, texts, labels) for variant in made.variants],
        "labels": list(labels),
        "texts": list(texts),
        "cautions": [_table(table) for table in made.cautions],
        "per_gram": _per_gram(kb, made),
    }


def _field(kb: KnowledgeBase, field: Field) -> dict[str, Any]:
    """A field with its words for the reader: `label`, and of each value what the address keeps and what is shown."""
    equipment, lots = kb.vocabulary.files["equipment"], kb.vocabulary.files["lots"]
    shown: list[str] = []
    if field.name == "have":
        label = equipment[field.word]["label"]
    elif field.name == "had":
        label = f"{kb.treatments[field.word or '']['label']}, already given"
        shown = ["none" if value == 0 else f"{value} days" for value in field.values]
    elif field.name in lots:
        label = {"stored": "How it came", "provenance": "Where it is from"}[field.name]
        shown = ["not said" if value is None else lots[field.name][value]["label"] for value in field.values]
    else:
        label = {"cleaned": "pulp is off already", "seeds": "Seeds in the lot", "dried_since": "it dried out since"}[
            field.name
        ]
    made = {"name": field.name, "word": field.word, "label": label, "values": list(field.values), "usual": field.usual}
    if field.name == "have" and equipment[field.word].get("permission"):
        made["permission"] = True
    return made | ({"shown": shown} if shown else {})


def _table(table: SettingsTable) -> dict[str, Any]:
    return {"by": [[number, list(groups)] for number, groups in table.by], "at": list(table.at)}


def _result(result: SettingResult, tables: dict[SettingsTable, int]) -> dict[str, Any]:
    said = [*result.advice, *(split["text"] for split in result.splits)]
    left = [f"Left undone: {item['label']}. {item['because']}" for item in result.unmet]
    return {"steps": [tables.setdefault(table, len(tables)) for table in result.steps], "said": [*said, *left]}


def _variant(
    kinds: Kinds,
    variant: Variant,
    lines_of: Callable[[Mapping[str, Any]], tuple[str, ...]],
    texts: dict[str, int],
    labels: dict[str, int],
) -> dict[str, Any]:
    step = variant.step
    made = {
        "label": labels.setdefault(step["label"], len(labels)),
        "colour": kinds.drawn(step["kind"]),
        "lines": [texts.setdefault(line, len(texts)) for line in lines_of(step)],
        "lasts": _span(variant.lasts),
    }
    if variant.season:
        made["season"] = variant.season
    if variant.seedlings:
        made["seedlings"] = _span(variant.seedlings)
    return made


def _per_gram(kb: KnowledgeBase, made: Settings) -> dict[str, Any] | None:
    if made.per_gram is None:
        return None
    cited = [short_citation(kb.sources[s]["citation"]) if s in kb.sources else s for s in made.per_gram.sources]
    return {"count": made.per_gram.per_gram, "from": ": ".join(filter(None, (made.per_gram.words, "; ".join(cited))))}


def _span(lasts: Lasting) -> list[int | None]:
    return [lasts.low, lasts.use, lasts.high]


def _days(day: date) -> int:
    return (day - EPOCH) // timedelta(days=1)


def call(name: str, data: Any) -> str:
    """A call of a script's function with data, in which nothing can end a script element."""
    return f"{name}({as_data(data, separators=(',', ':'))});\n"
