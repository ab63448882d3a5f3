"""rousewort plan NAME"""

from __future__ import annotations

import argparse
import gc
import sys

from rousewort.base.errors import UserError
from rousewort.base.output import needed, refuse_anothers, write_output
from rousewort.cli.grower_options import add_grower_arguments, grower_from, set_for_all
from rousewort.cli.naming import add_place_arguments, match_named, one_name
from rousewort.cli.options import layers
from rousewort.cli.settings import PAPERS, settings
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.plan import NoSingleMatch, Plan, Planner
from rousewort.planning.plan_json import to_text
from rousewort.planning.sheet import Sheet, make_sheet
from rousewort.planning.units import UNITS, converted
from rousewort.render import plan_text, sheet_text, terminal

HELP = """A justified plan for waking the seed of a plant, on one sheet: what it is, how sure, what it takes, the steps with their
numbers, what to expect, what to do if nothing comes. --full has the reasons, alternatives and gaps; `rousewort how KIND` says how a
thing is done."""
EPILOG = """examples:
  rousewort plan 'black haw'
  rousewort plan 'Cercis canadensis' --seeds 15
  rousewort plan 'Trillium grandiflorum' --without fridge
  rousewort plan 'Gleditsia triacanthos' --allow acid --json
  rousewort plan 'Malus sieversii' --had cold_moist=30
  rousewort plan 'Vigna marina' --observations seen.yaml
  rousewort plan "Acer rubrum L. 'Sun Valley', 20 seeds"
  rousewort plan 'Sphaerophysa salsula' --family Fabaceae
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="+", help="the plant, as on its packet")
    add_place_arguments(parser)
    parser.add_argument("--json", action="store_true", help="print the plan as JSON (rousewort-plan-2)")
    parser.add_argument("--full", action="store_true", help="all of it: reasons, alternatives, what others did, gaps")
    parser.add_argument("--units", choices=[*UNITS], help="us: °F and inches")
    parser.add_argument("--pdf", metavar="FILE", help="the sheet on one page of paper (- for standard output)")
    parser.add_argument("--paper", choices=PAPERS, help="its size (A4, or as `rousewort config` has it)")
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
    planner = Planner(kb, arguments.engine)
    if arguments.observations:
        from rousewort.cli.observed import plan_observed

        place = (arguments.family, arguments.genus)
        name = one_name(kb, arguments.name)
        plan = plan_observed(planner, name, grower, arguments.observations, observed, place)
    else:
        try:
            match = match_named(kb, arguments.name, arguments)
        except NoSingleMatch as none:
            if (
                arguments.json
            ):  # what reads it finds a plan that says what to ask; the exit code says that there is none
                _print_json(planner.unknown(none.match, grower))
            raise
        plan = planner.plan_for(match, grower, observed)
    if arguments.json:
        _print_json(plan)
    else:
        page, usual = terminal.page_for(fit=True), settings()
        units = arguments.units or usual.units
        if arguments.pdf:
            _print_pdf(make_sheet(kb, plan, units, set_for_all(usual)), arguments, usual.paper)
        elif arguments.full:
            sys.stdout.write(converted(plan_text.render(plan, page), units))
        else:
            sys.stdout.write(sheet_text.render(make_sheet(kb, plan, units, set_for_all(usual)), page))
    return 0


def _print_pdf(sheet: Sheet, arguments: argparse.Namespace, paper: str) -> None:
    refuse_anothers(arguments.pdf, b"%PDF-", None)
    with needed("reportlab", "labels"), needed("segno", "labels"), needed("fontTools", "labels"):
        from rousewort.render.sheet_pdf import to_pdf

        data = to_pdf(sheet, arguments.paper or paper)
    write_output(arguments.pdf, data, b"%PDF-", None)


def _print_json(plan: Plan) -> None:
    print(to_text(plan))
