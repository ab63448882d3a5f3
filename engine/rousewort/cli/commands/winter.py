"""rousewort winter FILE"""

from __future__ import annotations

import argparse
import json
import sys
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rousewort.base.errors import UserError
from rousewort.cli.grower_options import add_grower_arguments, grower_from
from rousewort.cli.naming import add_place_arguments, match_named
from rousewort.cli.observed import plan_observed
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.observe.outdoors import outdoors
from rousewort.observe.spreadsheet import number, read_table, read_text
from rousewort.observe.winter import normal_days, read_daily
from rousewort.planning.plan import Planner
from rousewort.render.terminal import page_for
from rousewort.render.winter_text import as_data, render

if TYPE_CHECKING:
    from rousewort.observe.winter import Day

HELP = """Would seed sown outside on a date get the warm and cold seasons that its plan needs? Counts days in your own file
of temperatures: CSV with date, minimum and maximum (or mean); or month (1 to 12) and mean, for monthly normals."""
EPILOG = """examples:
  rousewort winter station.csv --plant 'Malus sieversii' --sow 2025-11-01
  rousewort winter station.csv --unit F --plant 'black haw' --sow 2024-09-15 --depth 3
  rousewort winter normals.csv --plant 'Malus sieversii' --sow 2026-11-01
  rousewort winter auckland.csv --south --plant 'Malus sieversii' --sow 2025-05-01
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_place_arguments(parser)
    parser.add_argument("file", type=Path, help="daily temperatures or monthly normals (CSV)")
    parser.add_argument("--plant", required=True, metavar="NAME", help="whose seasons to count")
    parser.add_argument("--sow", required=True, type=_date, metavar="DATE", help="day of sowing outside, as 2025-11-01")
    parser.add_argument("--unit", choices=["C", "F"], default="C", help="of the temperatures (default C)")
    parser.add_argument(
        "--south", "--southern", dest="southern", action="store_true", help="winter is from May to October"
    )
    parser.add_argument(
        "--until",
        type=_date,
        metavar="DATE",
        help="last day that the seed is moist (default: end of the cold half year)",
    )
    parser.add_argument(
        "--depth", type=float, default=0.0, metavar="CM", help="sowing depth, for frost at the seed (default 0)"
    )
    parser.add_argument(
        "--range", dest="limits", metavar="LOW:HIGH", help="daily means that count as chilling, °C (default 1:10)"
    )
    parser.add_argument("--no-frost", action="store_true", help="days on which it freezes at the seed do not count")
    parser.add_argument("--observations", metavar="FILE", help="plan with what `rousewort observe --save` wrote")
    parser.add_argument("--json", action="store_true", help="print as JSON")
    add_grower_arguments(parser)


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date such as 2025-11-01") from None


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    limits = _limits(arguments.limits)
    planner = Planner(kb, arguments.engine)
    grower = grower_from(arguments, kb.vocabulary, list(kb.treatments))
    if arguments.observations:
        plan = plan_observed(
            planner, arguments.plant, grower, arguments.observations, {}, (arguments.family, arguments.genus)
        )
    else:
        plan = planner.plan_for(match_named(kb, [arguments.plant], arguments), grower)
    days, normals = _temperatures(arguments)
    found = outdoors(
        kb.vocabulary,
        plan,
        days,
        arguments.sow,
        southern=arguments.southern,
        until=arguments.until,
        depth_cm=arguments.depth,
        limits=limits,
        skip_frost=arguments.no_frost,
    )
    name = plan.match.name or plan.query
    if arguments.json:
        print(json.dumps(as_data(name, arguments.sow, found, normals), ensure_ascii=False, indent=2))
    else:
        sys.stdout.write(render(name, arguments.sow, found, normals, page_for()))
    return 0


def _limits(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    low, colon, high = text.partition(":")
    try:
        limits = float(low), float(high)
    except ValueError:
        limits = None
    if not colon or limits is None or limits[0] > limits[1]:
        raise UserError(f"--range {text}: write the lower and the higher limit, e.g. 1:10.")
    return limits


def _temperatures(arguments: argparse.Namespace) -> tuple[dict[date, Day], bool]:
    """Days from the file; monthly normals are spread over the three years from sowing."""
    lines = read_text(arguments.file).splitlines()
    try:
        means = _monthly(lines)
        if means is None:
            return read_daily(lines, arguments.unit), False
        return normal_days(means, arguments.unit, arguments.sow, arguments.sow + timedelta(3 * 365)), True
    except UserError as trouble:
        raise UserError(*(f"{arguments.file}: {problem}" for problem in trouble.problems)) from None


def _monthly(lines: list[str]) -> list[Any] | None:
    """Twelve means if the file has a month column instead of dates; else None. UserError for a month missing or twice."""
    table = read_table(lines)
    headings = {h.lower(): h for h in table.headings}
    if "month" not in headings or "date" in headings:
        return None
    mean = next((h for low, h in headings.items() if low.startswith(("mean", "tmean", "tavg"))), None)
    if mean is None:
        raise UserError(f"monthly normals need the columns month and mean; there are {', '.join(headings)}")
    by_month: dict[int, str] = {}
    problems = []
    for line, row in table.rows:
        month = row[headings["month"]]
        if not month.isdigit() or not 1 <= int(month) <= 12 or int(month) in by_month:
            problems.append(f"line {line}: month '{month}' is not a month from 1 to 12 that is there once")
        else:
            by_month[int(month)] = number(row[mean])
    problems += [f"month {m} is missing" for m in range(1, 13) if m not in by_month and not problems]
    if problems:
        raise UserError(*problems)
    return [by_month[m] for m in range(1, 13)]
