"""rousewort trial design, rousewort trial read"""

from __future__ import annotations

import argparse
import json
import sys
from datetime import date
from pathlib import Path
from typing import Any

from rousewort.base.atomic_write import write_atomically
from rousewort.base.errors import UserError
from rousewort.base.output import needed, refuse_anothers, write_output
from rousewort.cli.grower_options import add_grower_arguments, grower_from
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.observe.ask import Inquiry
from rousewort.observe.conclude import conclude, match_for, read_all
from rousewort.observe.draft import write_layer
from rousewort.observe.entries import FORMAT, Observations, as_text, load_file
from rousewort.observe.result import analyse
from rousewort.observe.sheet import read_sheet
from rousewort.observe.spreadsheet import read_text
from rousewort.observe.trial import arms_of, design, dish_labels, sheet_text
from rousewort.planning.plan import Planner
from rousewort.render import trial_png, trial_svg
from rousewort.render.terminal import page_for
from rousewort.render.trial_json import as_data
from rousewort.render.trial_text import render_design, render_result

HELP = """Let the seed answer. `design` splits a lot into arms, chosen by what is still undecided, with seeds, dates and a
recording sheet; `read` analyses the filled-in sheet and says which kinds of dormancy it fits and rules out."""
EPILOG = """examples:
  rousewort trial design 'Sallowia ripensis' --family Salicaceae --seeds 400 --sheet sheet.csv --labels labels.txt
  rousewort trial design 'Vigna marina' --observations seen.yaml --width 20 --start 2027-01-10
  rousewort trial read sheet.csv --plot curves.png
  rousewort trial read sheet.csv --plant 'Vigna marina' --observations seen.yaml --save seen.yaml --draft my-kb
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parts = parser.add_subparsers(dest="part", required=True, metavar="design|read")
    design = parts.add_parser(
        "design",
        help="arms, seeds, dates, labels and a recording sheet",
        description=HELP,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    design.add_argument("name", nargs="+", help="the plant; it need not have an entry")
    design.add_argument("--family", help="its family, where neither it nor its genus is known here")
    design.add_argument("--observations", type=Path, metavar="FILE", help="what `rousewort observe --save` wrote")
    design.add_argument("--start", type=_date, metavar="DATE", help="first day, as 2027-01-10 (default: today)")
    design.add_argument(
        "--width", type=float, metavar="POINTS", help="widest 95 %% interval wished for, in points, instead of a power"
    )
    design.add_argument(
        "--power",
        type=float,
        default=80,
        metavar="PER_CENT",
        help="how often the difference should be seen (default 80)",
    )
    design.add_argument(
        "--from",
        dest="low",
        type=float,
        default=10,
        metavar="PER_CENT",
        help="germination of the poorer arm (default 10)",
    )
    design.add_argument(
        "--to",
        dest="high",
        type=float,
        default=50,
        metavar="PER_CENT",
        help="germination of the better arm (default 50)",
    )
    design.add_argument("--dishes", type=int, default=4, metavar="N", help="replicates of each arm (default 4)")
    design.add_argument("--arms", type=int, default=6, metavar="N", help="at most so many arms (default 6)")
    design.add_argument("--sheet", type=Path, metavar="FILE", help="write the recording sheet there (CSV)")
    design.add_argument("--labels", type=Path, metavar="FILE", help="write one line for each dish there")
    add_grower_arguments(design)
    read = parts.add_parser(
        "read",
        help="analyse a filled-in sheet",
        description=HELP,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    read.add_argument("sheet", type=Path, help="the filled-in recording sheet (CSV)")
    read.add_argument("--plant", help="whose seed it was")
    read.add_argument("--family", help="its family, where neither it nor its genus is known here")
    read.add_argument(
        "--observations", type=Path, metavar="FILE", help="bench tests of the same lot; they narrow what fits"
    )
    read.add_argument(
        "--save",
        type=Path,
        metavar="FILE",
        help="write the observations there with what the trial settled, for plan --observations",
    )
    read.add_argument(
        "--plot", type=Path, metavar="FILE", help="draw germination over time there (FILE.svg or FILE.png)"
    )
    read.add_argument(
        "--draft", type=Path, metavar="FOLDER", help="write a draft entry into that private knowledge base"
    )
    read.add_argument("--grower", default="The grower", metavar="NAME", help="whose trial it was, for the draft")
    read.add_argument("--json", action="store_true", help="print the result as JSON")


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date such as 2027-01-10") from None


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    return _design(arguments, kb) if arguments.part == "design" else _read(arguments, kb)


def _design(arguments: argparse.Namespace, kb: Any) -> int:
    known = load_file(arguments.observations, kb.vocabulary) if arguments.observations else Observations()
    name = " ".join(arguments.name)
    grower = grower_from(arguments, kb.vocabulary, list(kb.treatments))
    there = [p for p in (arguments.sheet, arguments.labels) if p and p.exists()]
    if there:  # a sheet may hold a season's counts
        raise UserError(
            *(f"{path} is there already and is not overwritten: choose another name, or move it." for path in there)
        )
    match = match_for(kb, name, arguments.family or known.family)
    inquiry = Inquiry(kb, match, grower, Planner(kb, arguments.engine or "plain"))
    conclusion = inquiry.conclude(known)
    cut = next((r.numbers["filled_pct"] / 100 for r in conclusion.readings if "filled_pct" in r.numbers), 1.0)
    plan = design(
        kb.vocabulary,
        match.name or name,
        conclusion,
        inquiry.chances(conclusion),
        grower,
        arguments.start or date.today(),
        width=arguments.width / 100 if arguments.width is not None else None,
        wanted=arguments.power / 100,
        low=arguments.low / 100,
        high=arguments.high / 100,
        dishes=arguments.dishes,
        most_arms=arguments.arms,
        filled=cut,
    )
    if arguments.sheet:
        write_atomically(arguments.sheet, sheet_text(plan).encode(), new=True)
        print(
            f"Recording sheet: {arguments.sheet}. When it is filled in: rousewort trial read {arguments.sheet}",
            file=sys.stderr,
        )
    if arguments.labels:
        write_atomically(arguments.labels, ("\n".join(dish_labels(plan)) + "\n").encode(), new=True)
        print(f"Labels: {arguments.labels}", file=sys.stderr)
    sys.stdout.write(render_design(plan, page_for()))
    return 0


def _read(arguments: argparse.Namespace, kb: Any) -> int:
    known = load_file(arguments.observations, kb.vocabulary) if arguments.observations else Observations()
    plant = arguments.plant or known.plant
    if arguments.plot and arguments.plot.suffix.lower() not in (".svg", ".png"):
        raise UserError(f"--plot {arguments.plot}: name a file that ends in .svg or .png.")
    if (arguments.save or arguments.draft) and not plant:
        raise UserError("Say whose seed it was with --plant, for --save and --draft.")
    lines = read_text(arguments.sheet).splitlines()
    try:
        dishes = read_sheet(lines, arms_of(kb.vocabulary))
    except UserError as trouble:
        raise UserError(*(f"{arguments.sheet}: {problem}" for problem in trouble.problems)) from None
    inquiry = conclude(kb.vocabulary, read_all(known, kb.vocabulary)) if known.seen else None
    result = analyse(kb.vocabulary, dishes, inquiry)
    if arguments.plot:
        _plot(result, arguments.plot, f"Germination of {plant}" if plant else "Germination")
        print(f"Curves: {arguments.plot}", file=sys.stderr)
    if arguments.save:
        known.plant, known.family, known.found = plant, arguments.family or known.family, dict(result.found)
        known.left = {key: list(words) for key, words in result.left.items()}
        refuse_anothers(str(arguments.save), FORMAT.encode(), None)
        write_atomically(arguments.save, as_text(known).encode())
        print(
            f"Saved to {arguments.save}. Now: rousewort plan '{plant}' --observations {arguments.save}", file=sys.stderr
        )
    if arguments.json:
        print(json.dumps(as_data(result), ensure_ascii=False, indent=2))
    else:
        sys.stdout.write(render_result(result, page_for()))
    if arguments.draft:
        match = match_for(kb, plant or "", arguments.family or known.family)
        for path in write_layer(kb, match, result, arguments.draft, date.today(), arguments.grower):
            print(f"Draft: {path}", file=sys.stderr)
        print(f"Look it over, then: rousewort plan '{plant}' --kb {arguments.draft}", file=sys.stderr)
    return 0


def _plot(result: Any, path: Path, title: str) -> None:
    drawing = trial_svg.draw(result, title)
    if path.suffix.lower() == ".svg":
        write_output(str(path), drawing.encode(), trial_svg.MARK.encode(), force=None)
        return

    with needed("resvg_py", "plot"):
        write_output(str(path), trial_png.to_png(drawing), trial_png.MARK, force=None)
