"""rousewort calibrate"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from typing import Any

from rousewort.base.atomic_write import write_atomically
from rousewort.base.errors import UserError
from rousewort.cli.options import layers
from rousewort.evaluation.calibrate import class_counts, figures, leave_species_out, table
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.knowledge_base import load
from rousewort.knowledge.strict_yaml import read

HELP = """How far to trust a plan that rests on relatives.

Every species is hidden in turn, with what its genus and family files have from its sources, and predicted from its
genus and family: class, level, sequence and treatments, beside plain baselines."""
EPILOG = """examples:
  rousewort calibrate
  rousewort calibrate --json
  rousewort calibrate --write     (in a clone: writes the genus and family rows of kb/calibration.yaml)
"""
NAMES = {
    "rousewort": "Rousewort",
    "overall": "commonest overall",
    "family": "commonest in the family",
    "genus": "commonest in the genus, else family",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--write", action="store_true", help="write the tables that plans show to kb/calibration.yaml")
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    show = sys.stderr.isatty()

    def progress(done: int, of: int) -> None:
        if show and (done % 20 == 0 or done + 1 == of):
            print(f"\r  hiding species: {done + 1} of {of} ", end="" if done + 1 < of else "\n", file=sys.stderr)

    trials = leave_species_out(kb, progress=progress)
    made = figures(trials)
    if arguments.json:
        print(json.dumps(made, indent=2))
    else:
        _print(made)
    if arguments.write:
        _write(table(trials, class_counts(kb)))
    return 0


def _share(right: float, tried: int) -> str:
    return f"{right:g} of {tried} ({100 * right / tried:.1f} %)" if tried else "none"


def _classes(title: str, rows: Mapping[str, Mapping[str, Any]]) -> None:
    print(f"\n{title}: {rows['rousewort']['tried']} species")
    print(f"  {'':<36} {'right':>22}   Brier score")
    for kind, row in rows.items():
        print(f"  {NAMES[kind]:<36} {_share(row['right'], row['tried']):>22}   {row['brier']:.3f}")


def _print(made: Mapping[str, Any]) -> None:
    print("Every species hidden in turn and predicted from its genus and family.")
    print("Brier score: 0 is best, 2 is worst.")
    _classes("Dormancy class, where a source states it", made["classes"])
    _classes("With inferred and doubtful classes too", made["classes_with_inferred"])
    ranks = {"genus": "a class is known in the genus", "family": "only in the family", "none": "in neither"}
    for rank, rows in made["by_rank"].items():
        _classes(f"Stated, and {ranks[rank]}", rows)
    print("\nReliability: chance given to the likeliest class, and how often it was right")
    for row in made["reliability"]:
        mean = "-" if row["mean"] is None else f"{100 * row['mean']:.0f} %"
        right = _share(row["right"], row["tried"])
        print(f"  from {row['from']:.1f} to {row['to']:.1f}   said {mean:>5}   right {right}")
    planned, levels = made["planned_class"], made["levels"]
    print(f"\nClass in the plan: {_share(planned['right'], planned['tried'])}; left open {planned['blank']}")
    level_open = levels["tried"] - levels["said"]
    print(f"Level, where the class was right: {_share(levels['right'], levels['said'])}; left open {level_open}")
    print("\nSequence of coat, cold and warm, against the plan from the species' own facts")
    ours = made["sequences"]["rousewort"]
    print(f"(of {ours['tried'] - ours['said']} it says 'not known' instead; right column: without these)")
    for kind, row in made["sequences"].items():
        right, said = _share(row["right"], row["tried"]), _share(row["right_said"], row["said"])
        print(f"  {NAMES[kind]:<35} {right:>20} {said:>20}")
    print("\nTreatments, against what most sources of the hidden species say")
    for what, row in made["treatments"].items():
        given, left = _share(row["given"], row["to_give"]), _share(row["left"], row["to_leave"])
        print(f"  {what:<5} given where they do {given}")
        print(f"  {'':<5} left where they leave it {left}")
    print("\nPlans by ground: agreed with the hidden species' sources")
    for kind, row in made["basis"].items():
        print(f"  {kind:<7} {_share(row['right'], row['tried'])}")
        for part in row["by_chance"]:
            print(f"    likeliest class from {part['from']:.1f}: {_share(part['right'], part['tried'])}")


def _write(made: Mapping[str, Any]) -> None:
    layer = shipped_layer()
    if layer is None:
        raise UserError("--write works in a clone only: an installed knowledge base is not changed.")
    path = layer / "calibration.yaml"
    text = path.read_text("utf-8")
    data = read(text.encode(), str(path)).data
    data["basis"] = {**data.get("basis", {}), **made["basis"]}
    data |= {key: value for key, value in made.items() if key != "basis"}
    head = "".join(line for line in text.splitlines(keepends=True) if line.startswith("#"))
    write_atomically(path, (head + dump(data)).encode())
    print(f"wrote {path}", file=sys.stderr)


__all__ = ["EPILOG", "HELP", "add_arguments", "run"]
