"""rousewort check"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from pathlib import Path

from rousewort.base.errors import KnowledgeError, Problem
from rousewort.cli.options import layers
from rousewort.contribute.rule_examples import example_problems
from rousewort.knowledge.build import lay
from rousewort.knowledge.files import shipped_layer
from rousewort.knowledge.knowledge_base import PACKAGED_INDEX
from rousewort.knowledge.loose_ends import loose_ends

HELP = "Check the whole knowledge base (and any layer over it): every file, every rule, every reference, all problems at once."
EPILOG = """examples:
  rousewort check
  rousewort check --kb ~/my-nursery-kb
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print the problems as JSON")


def run(arguments: argparse.Namespace) -> int:
    clone = shipped_layer()
    extra = [Path(path) for path in layers(arguments)]
    try:
        laid = lay([clone, *extra] if clone else extra, None if clone else PACKAGED_INDEX)
        if problems := [*laid.problems, *loose_ends(laid), *example_problems(laid)]:
            raise KnowledgeError(*problems)
    except KnowledgeError as trouble:
        if arguments.json:
            print(
                json.dumps(
                    [p._asdict() for p in trouble.problems if isinstance(p, Problem)], ensure_ascii=False, indent=2
                )
            )
        else:
            print(trouble)
        print(f"{len(trouble.problems)} problems", file=sys.stderr)
        return 1
    store = laid.store
    ranks = [record["rank"] for record in store.records.values()]
    status = Counter(rule["status"] for rule in store.shared("rules"))
    rules = ", ".join(f"{count} {word}" for word, count in status.most_common())
    counts = f"{ranks.count('species')} species, {ranks.count('genus')} genera, {ranks.count('family')} families"
    print(
        "[]"
        if arguments.json
        else f"All well: {counts}, {status.total()} rules ({rules}), {len(store.shared('sources'))} sources."
    )
    return 0
