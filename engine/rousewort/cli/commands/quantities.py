"""rousewort quantities NAME --plants N"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rousewort.base.errors import UserError
from rousewort.cli.grower_options import add_grower_arguments, grower_from
from rousewort.cli.naming import add_place_arguments, match_named
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.plan import Planner
from rousewort.render.quantities_text import Reckoning, render
from rousewort.render.terminal import page_for
from rousewort.schedule.quantities import cells_for, grams_for, room_for, seed_need
from rousewort.schedule.weights import SeedWeight, seeds_per_gram

if TYPE_CHECKING:
    from rousewort.knowledge.knowledge_base import KnowledgeBase
    from rousewort.planning.plan import Plan
    from rousewort.render.quantities_text import Reckoning

HELP = """From plants wanted to seeds, grams, cells, moist medium and fridge space, for one plant and its plan.

Germination, survival and purity are those of your lot, from a test or your own record: no book knows them.
The number to sow is exact (binomial), so that at least N plants come with the stated probability, not on the mean."""
EPILOG = """examples:
  rousewort quantities 'Cercis canadensis' --plants 50 --germination 70% --survival 0.9
  rousewort quantities 'black haw' --plants 20 --germination 0.5 --seeds-per-gram 11 --purity 98%
  rousewort quantities 'Cercis canadensis' --plants 100 --germination 0.6 --per-cell 2 --probability 0.9
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="+", help="the plant")
    add_place_arguments(parser)
    parser.add_argument("--plants", metavar="N", required=True, help="plants wanted")
    parser.add_argument(
        "--germination", metavar="SHARE", required=True, help="of your lot, after its plan: 0.7 or 70%%"
    )
    parser.add_argument("--survival", metavar="SHARE", default="1", help="from seedling to plant (1 if left out)")
    parser.add_argument("--purity", metavar="SHARE", default="1", help="pure seed by weight (1 if left out)")
    parser.add_argument(
        "--seeds-per-gram", dest="count", metavar="N", help="clean seeds in a gram; else from the entry, if it is known"
    )
    parser.add_argument("--per-cell", metavar="N", help="also reckon cells, with so many seeds in each")
    parser.add_argument(
        "--probability", metavar="SHARE", default="0.95", help="of at least N plants (0.95 if left out)"
    )
    parser.add_argument("--json", action="store_true", help="print as JSON")
    add_grower_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    told = _numbers(arguments)
    kb = load(layers(arguments))
    grower = grower_from(arguments, kb.vocabulary, list(kb.treatments))
    match = match_named(kb, arguments.name, arguments)
    made = _reckon(kb, Planner(kb, arguments.engine).plan_for(match, grower), told)
    if arguments.json:
        print(json.dumps(_data(made), ensure_ascii=False, indent=2))
    else:
        sys.stdout.write(render(made, page_for()))
    return 0


def _reckon(kb: KnowledgeBase, plan: Plan, told: dict[str, Any]) -> Reckoning:
    kinds, name = kb.vocabulary.kinds, plan.match.name or plan.query
    known = seeds_per_gram(kb, name) if told["count"] is None else SeedWeight(told["count"], "as given")
    count, counted_from = (known.per_gram, known.said_by) if known else (None, "not known here")
    plants, germination, survival = told["plants"], told["germination"], told["survival"]
    need = seed_need(plants, germination, survival, told["purity"], count, told["probability"])
    cells, grams = None, need.grams
    if told["per_cell"] is not None:
        cells = cells_for(plants, germination, told["per_cell"], survival, told["probability"])
        grams = grams_for(cells.seeds, count, told["purity"]) if count else None
    moist = tuple(dict.fromkeys(step.label for step in plan.steps if kinds.takes_moist_volume(step.kind)))
    room = room_for(grams) if grams and moist else None
    plant = plan.match.name or plan.query
    return Reckoning(plant, plan.cautions, germination, survival, need, cells, grams, counted_from, room, moist)


def _data(made: Reckoning) -> dict[str, Any]:
    return {
        "plant": made.plant,
        "cautions": list(made.cautions),
        "seed": asdict(made.need),
        "cells": asdict(made.cells) if made.cells else None,
        "grams": made.grams,
        "seeds_per_gram_from": made.counted_from,
        "room": asdict(made.room) if made.room else None,
    }


def _numbers(arguments: argparse.Namespace) -> dict[str, Any]:
    """The numbers given, shares as fractions of one. Raises UserError for each that is none."""
    found: dict[str, Any] = {}
    problems = []
    wholes, shares = ("plants", "per_cell"), ("germination", "survival", "purity", "probability")
    for option in (*wholes, *shares, "count"):
        text = getattr(arguments, option)
        words = "--seeds-per-gram" if option == "count" else "--" + option.replace("_", "-")
        try:
            if text is None:
                found[option] = None
            elif option in wholes:
                found[option] = int(text)
            elif option in shares and text.strip().endswith("%"):
                found[option] = float(text.strip()[:-1]) / 100
            else:
                found[option] = float(text)
        except ValueError:
            form = "a whole number" if option in wholes else "0.7 or 70%" if option in shares else "a number"
            problems.append(f"{words} {text}: write {form}.")
    if problems:
        raise UserError(*problems)
    return found
