"""How long the handbook takes to build, beside mkdocs building as many plain pages with the same theme in the same run.

    python benchmarks/handbook_build.py [200 1000 5000]     (entries; a clone with its test environment)

Prints for each number of entries: pages, seconds of the whole build and per 1,000 pages, the ratio to plain pages (to stay at or under 3),
both again in processor time, since ours uses all cores and mkdocs one, megabytes, the list behind the search box in bytes per entry, and the
heaviest page with what its planner reads (to stay under 300 kB).
Entries beyond the real ones are copies under invented epithets. What a machine works out once and keeps, the order of questions of the key, is
timed by itself first: the first build takes that much longer.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from plans import grown
from rousewort.handbook import build as building
from rousewort.handbook.seedkey import seed_key
from rousewort.handbook.to_html import run_builder
from rousewort.knowledge.build import build as build_store
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import MemoryStore, genus_of

ROOT = Path(__file__).resolve().parents[1]
WORDS = "Seed waits for a season and the grower waits for the seed, which is why a plan says when to look and what to look for. "
MOST_RATIO, MOST_WEIGHT = 3.0, 300_000


def cpu() -> float:
    """Seconds of processor time of this process and its children: what a busy machine does not change."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


class Took(NamedTuple):
    """Seconds by the clock, and of processor time."""

    clock: float
    cpu: float


@contextmanager
def timed() -> Iterator[list[Took]]:
    taken: list[Took] = []
    begun = time.perf_counter(), cpu()
    yield taken
    taken.append(Took(time.perf_counter() - begun[0], cpu() - begun[1]))


def plain_pages(count: int, folder: Path) -> Took:
    """What mkdocs takes for `count` pages of plain prose, with our theme and configuration."""
    docs = folder / "docs"
    for part in ("index", "find", "families", "time", "dormancy", "treatments", "equipment", "trust", "glossary"):
        docs.mkdir(parents=True, exist_ok=True)
        (docs / f"{part}.md").write_text(f"# {part}\n\n{WORDS}\n", encoding="utf-8")
    for i in range(count - 9):
        path = docs / f"part{i % 20}" / f"page{i}.md"
        path.parent.mkdir(exist_ok=True)
        path.write_text(
            f"# Page {i}\n\n" + "\n\n".join(f"## Part {k}\n\n{WORDS * 4}\n\n- one\n- two" for k in range(8)),
            encoding="utf-8",
        )
    with timed() as taken:
        run_builder(folder, strict=False)
    return taken[0]


def weighs(page: Path) -> int:
    """Bytes of a page and of what its planner reads; what all pages share is in the reader's cache."""
    plans = page.with_suffix(".plans.js")
    return page.stat().st_size + (plans.stat().st_size if plans.exists() else 0)


def only_these(store: MemoryStore, names: list[str]) -> MemoryStore:
    """The store without any other species; genera and families stay where one of these is of them."""
    kept = {name: store.records[name] for name in names}
    groups = {genus_of(name) for name in names} | {record["family"] for record in kept.values()}
    return MemoryStore(
        {**{n: r for n, r in store.records.items() if n in groups}, **kept}, store._shared, store.vocabulary
    )


def measure(kb: KnowledgeBase, work: Path) -> bool:
    with timed() as ours:
        built = building.build(kb, work / "out")
    plain = plain_pages(built.pages, work / "plain")
    weight, page = max((weighs(path), path.name) for path in built.folder.rglob("*.html"))
    entries = len(kb.names("species"))
    index = (built.folder / "data/names.js").stat().st_size / entries
    ratio = ours[0].clock / plain.clock
    print(
        f"{entries:>6} entries  {built.pages:>6} pages  {ours[0].clock:6.1f} s  "
        f"{1000 * ours[0].clock / built.pages:5.1f} s per 1,000 pages  {ratio:4.2f} × plain ({plain.clock:.1f} s; "
        f"processor time {ours[0].cpu:.1f} s, {ours[0].cpu / plain.cpu:.2f} ×)  "
        f"{built.size / 1e6:6.1f} MB  {index:4.0f} B of names per entry  heaviest {weight / 1000:.0f} kB ({page})",
        flush=True,
    )
    return ratio <= MOST_RATIO and weight <= MOST_WEIGHT


def main() -> int:
    counts = [int(word) for word in sys.argv[1:]] or [200, 1000, 5000]
    real = build_store([ROOT / "kb"])
    with tempfile.TemporaryDirectory() as cache:
        os.environ["XDG_CACHE_HOME"] = cache
        return 0 if all_within(real, counts) else 1


def all_within(real: MemoryStore, counts: list[int]) -> bool:
    with timed() as key:
        seed_key(KnowledgeBase(real))
    print(f"once on a machine: the order of questions, {key[0].clock:.1f} s", flush=True)
    kept = True
    for count in counts:
        store = grown(real, count)
        names = sorted(store.names("species"))
        chosen = [names[i * len(names) // count] for i in range(min(count, len(names)))]
        with tempfile.TemporaryDirectory() as folder:
            kept = measure(KnowledgeBase(only_these(store, chosen)), Path(folder)) and kept
    print(
        "within the limits" if kept else f"over a limit: {MOST_RATIO} × plain pages, {MOST_WEIGHT / 1000:.0f} kB a page"
    )
    return kept


if __name__ == "__main__":
    sys.exit(main())
