"""How fast plans are made, as ratios within one run, with the real entries and with 10,000 synthetic ones.

    python benchmarks/plans.py          (a clone with its test environment; about three minutes)

Cold: the whole process of an installed wheel, `rousewort plan NAME`, against a bare `python -c pass`. Warm: plans with
their alternatives a second on one core, each engine. Memory: resident size over 10,000 plans.
"""

from __future__ import annotations

import copy
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from rousewort.knowledge.build import build
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import IndexStore, MemoryStore, write_index
from rousewort.planning.plan import Planner

ROOT = Path(__file__).resolve().parents[1]
NAMES = ["Cercis canadensis", "Trillium grandiflorum", "Acer saccharum", "Viburnum prunifolium", "Robinia pseudoacacia"]


def grown(store: MemoryStore, count: int) -> MemoryStore:
    """The store with synthetic species added, copies of real ones under invented epithets, up to `count` species."""
    chance = random.Random(1)
    records = dict(store.records)
    real = [r for r in records.values() if r["rank"] == "species"]
    while sum(1 for _ in records) < count + len(store.records) - len(real):
        record = copy.deepcopy(chance.choice(real))
        record["name"] = f"{record['name'].split()[0]} ficta{len(records)}"
        record["common_names"] = [f"made-up {len(records)}"]
        record.pop("synonyms", None)
        records[record["name"]] = record
    return MemoryStore(records, store._shared, store.vocabulary)


def cold(commands: dict[str, list[str]], runs: int = 21) -> dict[str, float]:
    """Median seconds of whole processes, taken in turn so that a slow spell of the machine hits all alike."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}  # compiled once, as for a user
    times: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(runs):
        for name, command in commands.items():
            start = time.perf_counter()
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=env)
            times[name].append(time.perf_counter() - start)
    return {name: statistics.median(taken) for name, taken in times.items()}


def warm(index: Path, engine: str, count: int = 1000) -> float:
    """Plans a second, alternatives included, over a sample of species; records read once before."""
    kb = KnowledgeBase(IndexStore(index))
    planner = Planner(kb, engine)
    names = random.Random(2).sample(kb.names(), count)
    matches = [kb.lookup(name) for name in names]
    for match in matches:
        planner.plan_for(match)
    start = time.perf_counter()
    for match in matches:
        planner.plan_for(match)
    return count / (time.perf_counter() - start)


_MEMORY = """
import sys
from pathlib import Path
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.knowledge.store import IndexStore
from rousewort.planning.plan import Planner
kb = KnowledgeBase(IndexStore(Path(sys.argv[1])))
planner = Planner(kb, sys.argv[2])
matches = [kb.lookup(name) for name in kb.names()[:500]]
for made in range(1, 10_001):
    planner.plan_for(matches[made % 500])
    if made in (2_000, 10_000):
        print(int(Path("/proc/self/statm").read_text().split()[1]) * 4 // 1024, flush=True)
"""


def memory(index: Path, engine: str) -> tuple[int, int]:
    """Resident size in MB of a process of its own after 2,000 plans and after 10,000 (Linux)."""
    run = subprocess.run(
        [sys.executable, "-c", _MEMORY, str(index), engine], check=True, capture_output=True, text=True
    )
    early, late = map(int, run.stdout.split())
    return early, late


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        print("building …", file=sys.stderr)
        store = build([ROOT / "kb"])
        large_store = grown(store, 10_000)
        real, large = place / "real.sqlite", place / "large.sqlite"
        write_index(store, real, "benchmark")
        write_index(large_store, large, "benchmark")
        subprocess.run([sys.executable, "-m", "venv", place / "v"], check=True)
        python = place / "v" / "bin" / "python"
        subprocess.run(
            [python, "-m", "pip", "install", "-q", f"{ROOT}[durable]"], check=True, stderr=subprocess.DEVNULL
        )
        command = str(place / "v" / "bin" / "rousewort")
        found = subprocess.run(
            [python, "-c", "import rousewort; print(rousewort.__path__[0])"],
            check=True,
            capture_output=True,
            text=True,
            cwd=place,
        )
        installed = Path(found.stdout.strip()) / "kb.sqlite"

        print("Cold, whole process (median of 21)")
        for label, index in (("real", real), ("10,000 species", large)):
            installed.write_bytes(index.read_bytes())
            times = cold(
                {
                    "bare": [str(python), "-c", "pass"],
                    "plain": [command, "plan", NAMES[0], "--engine", "plain"],
                    "default": [command, "plan", NAMES[0]],
                }
            )
            print(
                f"  {label:<15} bare {times['bare'] * 1000:.0f} ms; plan ×{times['default'] / times['bare']:.1f}, "
                f"on the plain engine ×{times['plain'] / times['bare']:.1f}"
            )
        print("Warm, plans a second with their alternatives, one core")
        for engine in ("durable_rules", "plain"):
            rates = [warm(index, engine) for index in (real, large)]
            print(f"  {engine:<15} {rates[0]:.0f} (real), {rates[1]:.0f} (10,000 species)")
        for engine in ("plain", "durable_rules"):
            early, late = memory(real, engine)
            print(f"Memory, {engine}: {early} MB after 2,000 plans, {late} MB after 10,000")


if __name__ == "__main__":
    main()
