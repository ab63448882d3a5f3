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
from rousewort.evaluation.census import number_census
from rousewort.evaluation.claim_trials import claim_reliability, claim_scores, table_of, try_claims
from rousewort.evaluation.readings import rates
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
  rousewort agreement --write     (in a clone: writes the record of claims to kb/calibration.yaml)
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--list", action="store_true", help="also list every disagreement, classed")
    parser.add_argument("--write", action="store_true", help="write how often claims were right to kb/calibration.yaml")
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    figures, left_out, alone = measure(kb, _progress)
    trials = try_claims(kb)
    figures["claims"] = {"scores": claim_scores(trials), "reliability": claim_reliability(trials)}
    figures["census"] = number_census(kb)
    figures["readings"] = rates(kb.store.shared("readings"))
    if arguments.json:
        print(json.dumps(figures, indent=2))
    else:
        _print(figures)
        _print_claims(figures["claims"])
        _print_census(figures["census"])
        _print_readings(figures["readings"])
        if arguments.list:
            for title, judged in (("left out in turn", left_out), ("from traits alone", alone)):
                print(f"\nDisagreements, {title}:")
                for d in disagreements(kb, judged):
                    print(
                        f"  {d['species']:<34} {d['treatment']:<5} source: {d['source_says']:<6} plan: {d['plan']:<9} "
                        f"{d['class'] or '?':<6} {d['why']}  [{d['source']}]"
                    )
    if arguments.write:
        _write(table_of(trials))
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
    _print_readings(figures["readings"])
    sources = figures["sources"]
    print("\nTwo sources on one species agree with each other (firm protocols)")
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


def _print_claims(claims: dict[str, Any]) -> None:
    print("\nClaims of plans, each work hidden in turn and asked; Brier score: 0 is best, 1 worst")
    print(f"  {'about':<10} {'right':>22}   Brier of its figures   of one figure for all")
    for about, row in claims["scores"].items():
        print(
            f"  {about:<10} {_share(row['right'], row['tried']):>22}   {row['brier']:>20.3f}   {row['constant']:>21.3f}"
        )
    print("  figure that claims carried, and how often they were right (interval by works drawn again)")
    for row in claims["reliability"]:
        ends = "–".join(f"{100 * end:.0f}" for end in row["ends"])
        right = _share(row["right"], row["tried"])
        print(
            f"  from {row['from']:.1f} to {row['to']:.1f}   said {100 * row['mean']:.0f} %   right {right}   {ends} %"
        )


def _print_census(census: dict[str, Any]) -> None:
    print(f"\nOn what the {census['numbers']} numbers rest that decide the plans of all species")
    for row in census["by"]:
        print(f"  {row['from']:<10} {row['held']:<9} {row['count']:>5} ({100 * row['share']:.0f} %)")
    print(f"  of the species or its genus, and read or from a table: {100 * census['near_and_firm']:.0f} %")


def _print_readings(read: dict[str, Any]) -> None:
    print(f"\nRead again in the work, blind to the entry: {read['found']} of {read['protocols']} protocols found again")
    for name, verdicts in (("protocols", read["verdicts"]), *read["fields"].items()):
        shares = (f"{v} {s['count']} of {s['of']} ({s['low']:.0%}–{s['high']:.0%})" for v, s in verdicts.items())
        print(f"  {name:<11} " + ", ".join(shares))


def _write(rows: list[dict[str, Any]]) -> None:
    layer = shipped_layer()
    if layer is None:
        raise UserError("--write works in a clone only: an installed knowledge base is not changed.")
    path: Path = layer / "calibration.yaml"
    data = read(path.read_bytes(), str(path)).data
    data["claims"] = rows
    head = "".join(line for line in path.read_text("utf-8").splitlines(keepends=True) if line.startswith("#"))
    write_atomically(path, (head + dump(data)).encode())
    print(f"wrote {path}", file=sys.stderr)
