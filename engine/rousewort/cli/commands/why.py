"""rousewort why NAME STEP, rousewort why --not NAME KIND"""

from __future__ import annotations

import argparse
import json
import sys

from rousewort.cli.grower_options import add_grower_arguments, grower_from
from rousewort.cli.naming import add_place_arguments, match_named
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.explain import why, why_not
from rousewort.planning.plan import Planner
from rousewort.render.terminal import page_for

HELP = "Trace a step of a plan, rule by rule, to traits and their sources; or say why a treatment is not in it."
EPILOG = """examples:
  rousewort why 'Cercis canadensis' nick
  rousewort why 'Trillium grandiflorum' cold_moist-2
  rousewort why --not 'Prunus avium' acid
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", help="the plant")
    add_place_arguments(parser)
    parser.add_argument("step", help="a step's id or kind, e.g. cold_moist-1 or nick")
    parser.add_argument("--not", dest="negated", action="store_true", help="why is this treatment not in the plan?")
    parser.add_argument("--json", action="store_true", help="print the trace as JSON")
    add_grower_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    grower = grower_from(arguments, kb.vocabulary, list(kb.treatments))
    plan = Planner(kb, arguments.engine).plan_for(match_named(kb, [arguments.name], arguments), grower)
    lines = (why_not if arguments.negated else why)(kb, plan, arguments.step)
    if arguments.json:
        print(
            json.dumps(
                [{"depth": x.depth, "kind": x.kind, "text": x.text} for x in lines], ensure_ascii=False, indent=2
            )
        )
        return 0
    page = page_for()
    page.say(page.bold(plan.match.name or plan.query))
    for line in lines:
        page.say(line.text, 2 * line.depth, code={"source": "2", "ground": "2", "step": "1;32"}.get(line.kind, ""))
    sys.stdout.write(page.text())
    return 0
