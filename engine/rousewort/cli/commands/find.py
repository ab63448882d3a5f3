"""rousewort find"""

from __future__ import annotations

import argparse
import sys
from typing import Any

from rousewort.cli.lists import Listed, add_list_arguments, was_written
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.knowledge.search import search

HELP = "Find plants by name, family, dormancy class, treatment or cue. All conditions given must hold."
EPILOG = """examples:
  rousewort find viburnum
  rousewort find --family Fabaceae --cue fire_heat
  rousewort find --class morphophysiological --level deep_simple_double
  rousewort find --treatment smoke
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("words", nargs="*", help="part of a scientific or common name")
    parser.add_argument("--family", help="family name")
    parser.add_argument("--genus", help="genus name")
    parser.add_argument(
        "--class", dest="dormancy", metavar="CLASS", help="dormancy class, as a word (physical) or letters (PY+PD)"
    )
    parser.add_argument("--level", help="level of dormancy, e.g. deep_simple_epicotyl")
    parser.add_argument("--treatment", metavar="KIND", help="a treatment that some protocol gives, e.g. cold_moist")
    parser.add_argument("--cue", help="native cue, e.g. winter_cold")
    parser.add_argument(
        "--trait", action="append", default=[], metavar="TRAIT=WORD", help="any other trait, e.g. light=required"
    )
    add_list_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    wanted = [(kb.vocabulary.cue_key, arguments.cue)] if arguments.cue else []
    wanted += [tuple(item.partition("=")[::2]) for item in arguments.trait]
    found = search(
        kb,
        words=arguments.words,
        family=arguments.family,
        genus=arguments.genus,
        dormancy=arguments.dormancy,
        level=arguments.level,
        treatment=arguments.treatment,
        traits=wanted,
    )
    return _print(found, arguments)


def _print(found: list[dict[str, Any]], arguments: argparse.Namespace) -> int:
    rows = [[item["name"], item["family"], item["class"] or "", "; ".join(item["common_names"])] for item in found]
    if was_written(arguments, Listed("Plants", ("plant", "family", "class", "common names"), rows, found)):
        return 0 if found else 1
    if not found:
        print("Nothing found. Fewer conditions, or another spelling, may help.", file=sys.stderr)
        return 1
    for item in found:
        common = f"  {', '.join(item['common_names'][:2])}" if item["common_names"] else ""
        print(f"{item['name']:<34} {item['family']:<16} {item['class'] or '?':<6}{common}"[:80].rstrip())
    print(f"{len(found)} found", file=sys.stderr)
    return 0
