#!/usr/bin/env python3
"""Mutation: is every condition, number and order under test?

    python tests/mutation/run.py                     some 20 mutants, others every day: what CI runs
    python tests/mutation/run.py --count 300 --seed release-1
    python tests/mutation/run.py --all               every mutant there is: a night
    python tests/mutation/run.py --area rules --like 'coat'   those whose name holds this
    python tests/mutation/run.py --all --results all.csv   write down each result; begun again, it goes on where it ended

A mutant is a small unwanted change (mutants.py); it is caught if golden lines, examples of rules or tests notice (trial.py).
A survivor is a number or condition that nobody would miss, or a missing test. Those looked at, with why, are in survivors.csv
beside this file. Exit 1 where fewer than `--least` of a hundred are caught, those of survivors.csv left out.
"""

from __future__ import annotations

import argparse
import csv
import datetime
import sys
import time
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1] / "engine")]

from mutants import AREAS, Mutant, every, sample  # type: ignore[import-not-found]  # noqa: E402
from trial import Ground, Result  # type: ignore[import-not-found]  # noqa: E402

KNOWN = HERE / "survivors.csv"


def known() -> dict[str, str]:
    """Mutants that were looked at and left: name → why. A name without its line number is one that code has moved."""
    if not KNOWN.exists():
        return {}
    with KNOWN.open(encoding="utf-8", newline="") as file:
        return {row["mutant"]: row["why"] for row in csv.DictReader(file)}


def drawn(ground: Ground, words: argparse.Namespace) -> list[Mutant]:
    """As many of each area as of any other, those looked at before left out."""
    seen = known()
    made: list[Mutant] = []
    areas = words.area or AREAS
    for n, area in enumerate(areas):
        found = [
            m
            for m in every(area, ground.store._shared, ground.store.records)
            if m.id not in seen and words.like in m.id
        ]
        if area == "reports":  # of plants that are looked at
            found = [m for m in found if m.where in ground.lines]
        share = words.count // len(areas) + (n < words.count % len(areas))
        made += found if words.all else sample(found, share, f"{words.seed} {area}")
    return made


def earlier(table: Path | None) -> dict[str, tuple[str, float]]:
    """Results written down before: by what each was caught, and in what time."""
    if not table or not table.exists():
        return {}
    with table.open(encoding="utf-8", newline="") as file:
        return {row[0]: (row[1], float(row[2])) for row in csv.reader(file)}


def write_down(table: Path, result: Result) -> None:
    with table.open("a", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerow([result.mutant.id, result.by, f"{result.seconds:.1f}"])


def told(results: list[Result]) -> list[str]:
    """How many were caught, by area and by what; then the survivors."""
    lines = []
    for area in AREAS:
        own = [r for r in results if r.mutant.area == area]
        if own:
            by = Counter(r.by.split(":")[0] for r in own if r.by)
            caught = sum(by.values())
            ways = ", ".join(f"{count} by {what}" for what, count in by.most_common())
            lines.append(f"{area}: {caught} of {len(own)} caught ({100 * caught // len(own)} %): {ways}")
    left = [r for r in results if not r.by]
    return [*lines, *(["", "Survived:"] if left else []), *(f"  {r.mutant.id}" for r in left)]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument(
        "--seed", default=datetime.date.today().isoformat(), help="by which the sample is drawn; else the day"
    )
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--area", action="append", choices=AREAS)
    parser.add_argument("--like", default="", help="only mutants whose name holds this")
    parser.add_argument(
        "--every", type=int, default=1, help="look at each so-many-th plant only: quicker, and more survive"
    )
    parser.add_argument("--no-tests", action="store_true", help="golden lines and examples only")
    parser.add_argument(
        "--within", type=float, default=300, help="seconds that a mutant may take; longer is not caught"
    )
    parser.add_argument(
        "--stop-after", type=float, default=0, help="begin no further mutant after so many seconds, and say so"
    )
    parser.add_argument("--least", type=int, default=0, help="of a hundred that must be caught")
    parser.add_argument("--results", type=Path, help="add each result to this table, and try none that stands there")
    words = parser.parse_args()
    begun = time.monotonic()
    ground = Ground(words.every)
    mutants = drawn(ground, words)
    print(f"{len(mutants)} mutants, drawn by “{words.seed}”", flush=True)
    done = earlier(words.results)
    results = [Result(m, *done[m.id]) for m in mutants if m.id in done]
    for mutant in mutants:
        if mutant.id in done:
            continue
        if words.stop_after and time.monotonic() - begun > words.stop_after:
            print(f"Not begun within {words.stop_after:g} s: {len(mutants) - len(results)} of {len(mutants)}")
            break
        result = ground.tried(mutant, words.within, not words.no_tests)
        results.append(result)
        if words.results:
            write_down(words.results, result)
        print(f"{result.seconds:5.1f} s  {mutant.id}  →  {result.by or 'SURVIVED'}", flush=True)
    print("\n" + "\n".join(told(results)))
    caught = sum(bool(r.by) for r in results)
    print(f"\n{caught} of {len(results)} caught in {time.monotonic() - begun:.0f} s")
    return int(100 * caught < words.least * len(results))


if __name__ == "__main__":
    sys.exit(main())
