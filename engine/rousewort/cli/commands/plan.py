"""rousewort plan NAME"""

from __future__ import annotations

import argparse
import gc
import sys

from rousewort.base.errors import UserError
from rousewort.cli.grower_options import add_grower_arguments, grower_from
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.plan import Planner

HELP = "A justified plan for waking the seed of a plant: steps in order, with numbers, reasons, cautions and sources."
EPILOG = """examples:
  rousewort plan 'black haw'
  rousewort plan 'Cercis canadensis' --seeds 15
  rousewort plan 'Trillium grandiflorum' --without fridge
  rousewort plan 'Gleditsia triacanthos' --allow acid --json
  rousewort plan 'Malus sieversii' --had cold_moist=30
  rousewort plan 'Vigna marina' --observations seen.yaml
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="+", help="accepted name, synonym, common name, genus or family")
    parser.add_argument("--json", action="store_true", help="print the plan as JSON (rousewort-plan-1)")
    parser.add_argument("--brief", action="store_true", help="only the steps")
    parser.add_argument(
        "--observed",
        action="append",
        default=[],
        metavar="TRAIT=WORD",
        help="what you saw at the bench, e.g. coat_water=stops",
    )
    parser.add_argument(
        "--observations", metavar="FILE", help="what `rousewort observe --save` wrote; the plant need not have an entry"
    )
    add_grower_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    gc.disable()  # one plan and out: collecting garbage would cost a tenth of the time and free nothing

    kb = load(layers(arguments))
    grower = grower_from(arguments, kb.vocabulary, list(kb.treatments))
    observed = {}
    for item in arguments.observed:
        trait, sign, word = item.partition("=")
        if not sign:
            raise UserError(f"--observed {item}: write TRAIT=WORD, e.g. coat_water=stops.")
        observed[trait.strip()] = word.strip()
    planner, name = Planner(kb, arguments.engine), " ".join(arguments.name)
    if arguments.observations:
        from rousewort.cli.observed import plan_observed

        plan = plan_observed(planner, name, grower, arguments.observations, observed)
    else:
        plan = planner.plan(name, grower, observed)
    if arguments.json:
        from rousewort.planning.plan_json import to_text

        print(to_text(plan))
    else:
        from rousewort.render import plan_text, terminal

        sys.stdout.write(plan_text.render(plan, terminal.page_for(), arguments.brief))
    return 0
