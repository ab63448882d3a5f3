"""rousewort gaps"""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from rousewort.cli.options import layers
from rousewort.contribute.gaps import THIN, gaps
from rousewort.knowledge.knowledge_base import load
from rousewort.render.terminal import page_for

HELP = "Where help is worth most: facts recalled and never re-read, entries on one source, classes, climates and families thinly covered."
EPILOG = """examples:
  rousewort gaps
  rousewort gaps --all
  rousewort gaps --json
"""
SHOWN = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--all", action="store_true", help="every name, not the first ten of each list")
    parser.add_argument("--json", action="store_true", help="print everything as JSON")


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    found = gaps(kb)
    if arguments.json:
        print(
            json.dumps({**found._asdict(), "memory": [m._asdict() for m in found.memory]}, ensure_ascii=False, indent=2)
        )
        return 0

    page = page_for()
    _print(found, kb, page, None if arguments.all else SHOWN)
    sys.stdout.write(page.text())
    return 0


def _print(found: Any, kb: Any, page: Any, most: int | None) -> None:
    page.heading(
        f"Recalled from a work and never re-read: {sum(m.facts for m in found.memory)} facts from {len(found.memory)} works"
    )
    for work in found.memory[:most]:
        page.say(f"{work.facts}: {work.citation} [{work.source}]", 2, "- ")
        page.say(", ".join(work.names[:6]) + (" …" if len(work.names) > 6 else ""), 6, code="2")
    _more(page, len(found.memory), most)
    for title, names in (
        ("Species on one source", found.one_source),
        ("Species on no source, on common practice alone", found.no_source),
        ("Species without a class of dormancy", found.no_class),
        ("Species without any protocol", found.no_protocols),
    ):
        page.heading(f"{title}: {len(names)}")
        page.say(", ".join(names[:most]) + (" …" if most and len(names) > most else ""), 2)
    page.heading("Species by class of dormancy and home climate")
    climates = list(next(iter(found.table.values())))
    columns = {climate: f"{chr(97 + i)}" for i, climate in enumerate(climates)}
    shorts = {w: e["short"] for w, e in kb.vocabulary.classes.items()}
    page.lines.append("  " + " " * 8 + "".join(f"{columns[c]:>6}" for c in climates))
    for word, row in found.table.items():
        page.lines.append(f"  {shorts.get(word, 'unknown'):<8}" + "".join(f"{row[c] or '·':>6}" for c in climates))
    page.say(
        "; ".join(
            f"{columns[c]} {kb.vocabulary.label(kb.vocabulary.climate_key, c) if c != 'unknown' else 'not known'}"
            for c in climates
        ),
        2,
        code="2",
    )
    page.heading(f"Families with many genera and fewer than {THIN} species here")
    page.each(
        (f"{family}: {have} species, {genera} genera known" for family, have, genera in found.thin_families[:most]), 2
    )
    _more(page, len(found.thin_families), most)


def _more(page: Any, count: int, most: int | None) -> None:
    if most and count > most:
        page.say(f"… and {count - most} more (--all)", 2, code="2")
