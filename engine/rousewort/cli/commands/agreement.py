"""rousewort agreement"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from rousewort.base.atomic_write import write_atomically
from rousewort.base.errors import UserError
from rousewort.cli.options import layers
from rousewort.evaluation.agreement import disagreements, measure
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.knowledge_base import load
from rousewort.knowledge.strict_yaml import read

HELP = """Try plans against the published sources that they were made without.

First every source of a species that several describe is left out in turn and judged against the plan made from the
rest; then every source is judged against the plan made from traits alone, all protocols withheld."""
EPILOG = """examples:
  rousewort agreement
  rousewort agreement --list
  rousewort agreement --write     (in a clone: writes the species row of kb/calibration.yaml)
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--list", action="store_true", help="also list every disagreement, classed")
    parser.add_argument(
        "--write", action="store_true", help="write how sure plans on species facts are to kb/calibration.yaml"
    )
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    figures, left_out, alone = measure(kb, _progress)
    if arguments.json:
        print(json.dumps(figures, indent=2))
    else:
        _print(figures)
        if arguments.list:
            for title, judged in (("left out in turn", left_out), ("from traits alone", alone)):
                print(f"\nDisagreements, {title}:")
                for d in disagreements(kb, judged):
                    print(
                        f"  {d['species']:<34} {d['treatment']:<5} source: {d['source_says']:<6} plan: {d['plan']:<9} "
                        f"{d['class'] or '?':<6} {d['why']}  [{d['source']}]"
                    )
    if arguments.write:
        _write(figures)
    return 0


def _progress(done: int, of: int) -> None:
    if sys.stderr.isatty():
        print(f"\r  leaving sources out: {done + 1} of {of} ", end="" if done + 1 < of else "\n", file=sys.stderr)


def _share(agreed: float, tried: int) -> str:
    return f"{agreed:g} of {tried} ({round(100 * agreed / tried)} %)" if tried else "none"


def _lengths(part: dict[str, Any]) -> str:
    tried = part["tried"]
    return (
        f"use within {_share(part['use_within'], tried)}, near {_share(part['use_near'], tried)}, "
        f"overlap {_share(part['overlap'], tried)}, width ours ×{part['our_width']} theirs ×{part['their_width']}"
    )


def _print(figures: dict[str, Any]) -> None:
    sources = figures["sources"]
    print("Two sources on one species agree with each other (firm protocols)")
    for what, (agreed, tried) in sources["agree"].items():
        print(f"  {what:<5} {_share(agreed, tried)}")
    print(f"  lengths of cold overlap: {_share(*sources['cold_overlap'])}")
    for key, title in (
        ("left_out", "Each source left out in turn"),
        ("traits_alone", "From traits alone, protocols withheld"),
    ):
        part = figures[key]
        print(f"\n{title}")
        for what in ("coat", "cold", "warm"):
            row = part[what]
            base = f"   majority of the genus: {_share(row['baseline'], row['tried'])}" if "baseline" in row else ""
            print(f"  {what:<5} {_share(row['agreed'], row['tried'])}{base}")
        for what in ("cold", "warm"):
            print(f"  days {what}: {_lengths(part['days'][what])}")
            if "baseline_days" in part:
                print(f"    genus median: {_lengths(part['baseline_days'][what])}")
        print("  disagreements: " + ", ".join(f"{why} {n}" for why, n in part["why"].items()))
    print("\nFrom traits alone, by dormancy class of the plan (agreed/tried)")
    print(f"  {'class':<10} {'coat':>10} {'cold':>10} {'warm':>10}   cold days overlap")
    for name, row in figures["by_class"].items():
        cells = [f"{row[w][0]:g}/{row[w][1]}" for w in ("coat", "cold", "warm")]
        print(
            f"  {name:<10} {cells[0]:>10} {cells[1]:>10} {cells[2]:>10}   {row['cold_days']['overlap']}/{row['cold_days']['tried']}"
        )


def _write(figures: dict[str, Any]) -> None:
    layer = shipped_layer()
    if layer is None:
        raise UserError("--write works in a clone only: an installed knowledge base is not changed.")
    path: Path = layer / "calibration.yaml"
    data = read(path.read_bytes(), str(path)).data
    data.setdefault("basis", {}).update(figures["basis"])
    head = "".join(line for line in path.read_text("utf-8").splitlines(keepends=True) if line.startswith("#"))
    write_atomically(path, (head + dump(data)).encode())
    print(f"wrote {path}", file=sys.stderr)
