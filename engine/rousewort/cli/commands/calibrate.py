"""rousewort calibrate"""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rousewort.base.atomic_write import write_atomically
from rousewort.base.errors import UserError
from rousewort.cli.options import layers
from rousewort.evaluation import lengths
from rousewort.evaluation.calibrate import class_counts, figures, leave_species_out, table
from rousewort.evaluation.classes import all_scores
from rousewort.evaluation.genera import HARMS, every_genus, try_genera
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.knowledge_base import KnowledgeBase, load
from rousewort.knowledge.strict_yaml import read

HELP = """How far to trust a plan that rests on relatives.

Every species is hidden in turn, with what its genus and family files have from its sources, and predicted from its
genus and family: class, level, sequence and treatments, beside plain baselines."""
EPILOG = """examples:
  rousewort calibrate
  rousewort calibrate --json
  rousewort calibrate --write     (in a clone: writes shares and chances of classes to kb/calibration.yaml)
  rousewort calibrate --lengths           (days of cold, on trials left out by work and by genus)
  rousewort calibrate --lengths --write   (in a clone: fits kb/tables/chilling.csv to the entries)
  rousewort calibrate --lengths --check   (exit 1 if that table is stale)
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
    parser.add_argument("--lengths", action="store_true", help="days of cold instead of classes")
    parser.add_argument("--check", action="store_true", help="with --lengths: is what was fitted to the entries stale?")


def run(arguments: argparse.Namespace) -> int:
    if arguments.check and not arguments.lengths:
        raise UserError("--check goes with --lengths: rousewort calibrate --lengths --check")
    kb = load(layers(arguments))
    if arguments.lengths:
        return _lengths(kb, arguments)
    show = sys.stderr.isatty()

    def progress(done: int, of: int) -> None:
        if show and (done % 20 == 0 or done + 1 == of):
            print(f"\r  hiding species: {done + 1} of {of} ", end="" if done + 1 < of else "\n", file=sys.stderr)

    trials = leave_species_out(kb, progress=progress)
    made = figures(trials)
    made["class_of_hidden"] = all_scores(kb)
    made["genera"] = try_genera(kb, every_genus(kb))
    if arguments.json:
        print(json.dumps(made, indent=2))
    else:
        _print(made)
    if arguments.write:
        _write(table(trials, class_counts(kb)))
    return 0


def _lengths(kb: KnowledgeBase, arguments: argparse.Namespace) -> int:
    if arguments.write:
        path = _shipped() / "tables" / "chilling.csv"
        write_atomically(path, lengths.to_csv(lengths.fit(kb)).encode())
        print(f"wrote {path}", file=sys.stderr)
        return 0
    if arguments.check:
        stale = lengths.stale(kb)
        print("\n".join(f"{group}: fitted to other studies than are held now" for group in stale) or "not stale")
        if stale:
            print("Fit it again: rousewort calibrate --lengths --write", file=sys.stderr)
        return 1 if stale else 0
    made = lengths.measure(kb)
    if arguments.json:
        print(json.dumps(made, indent=2))
        return 0
    for by, part in made.items():
        print(f"\nDays of cold, {by} left out whole: {part['studies']} studies of {part['works']} works")
        print(f"  {'':<26} utility   of the best   {lengths.USEFUL} of it or more   Rousewort's length ahead by")
        for way, row in part["ways"].items():
            ahead = f"{row['ahead_from']:+.3f} to {row['ahead_to']:+.3f}"
            print(f"  {way:<26} {row['utility']:>7.3f} {row['share']:>13.3f} {100 * row['useful']:>17.0f} %   {ahead}")
    return 0


def _shipped() -> Path:
    layer = shipped_layer()
    if layer is None:
        raise UserError("--write works in a clone only: an installed knowledge base is not changed.")
    return layer


def _share(right: float, tried: int) -> str:
    return f"{right:g} of {tried} ({100 * right / tried:.1f} %)" if tried else "none"


def _classes(title: str, rows: Mapping[str, Mapping[str, Any]]) -> None:
    print(f"\n{title}: {rows['rousewort']['tried']} species")
    print(f"  {'':<36} {'right':>22}   Brier score")
    for kind, row in rows.items():
        print(f"  {NAMES[kind]:<36} {_share(row['right'], row['tried']):>22}   {row['brier']:.3f}")


ASKED = {
    "table": "Class of each species of the table of classes, hidden by itself",
    "genus_hidden": "The same, with all of its genus hidden",
    "entries": "Class of each species of which a source states it, hidden by itself",
}


def _print_classes(made: Mapping[str, Any]) -> None:
    """All that were asked, whatever is known of their kin; the table counts among relatives here."""
    for asked, scores in made.items():
        print(f"\n{ASKED[asked]}: {scores['rousewort']['tried']} species")
        for way, row in scores.items():
            print(f"  {NAMES[way]:<36} {_share(row['right'], row['tried']):>22}   {row['brier']:.3f}")
        told = ", ".join(f"{word} {right}/{of}" for word, (right, of) in scores["rousewort"]["recalled"].items())
        for line in textwrap.wrap(f"found of each class: {told}", 76):
            print(f"  {line}")


def _print_genera(made: Mapping[str, Any]) -> None:
    outcomes = ", ".join(f"{outcome} {n}" for outcome, n in made["outcomes"].items())
    print(f"\nA species that nobody entered, in each of {made['genera']} genera:\n  {outcomes}")
    for harm, genera in made["harms"].items():
        print(textwrap.fill(f"{len(genera)}: {HARMS[harm]}", 80, initial_indent="  ", subsequent_indent="     "))


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
    _print_classes(made["class_of_hidden"])
    _print_genera(made["genera"])
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


def _write(made: Mapping[str, Any]) -> None:
    path = _shipped() / "calibration.yaml"
    text = path.read_text("utf-8")
    data = read(text.encode(), str(path)).data
    data |= made
    head = "".join(line for line in text.splitlines(keepends=True) if line.startswith("#"))
    write_atomically(path, (head + dump(data)).encode())
    print(f"wrote {path}", file=sys.stderr)


__all__ = ["EPILOG", "HELP", "add_arguments", "run"]
