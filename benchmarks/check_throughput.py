"""How fast entries are checked: 10,000 synthetic ones in one run, and one file on every save.

    python benchmarks/check_throughput.py          (a clone with its test environment; about two minutes)

Every ratio is within one run: the schema check alone by jsonschema-rs (the fastest general-purpose one), by jsonschema,
reading alone, and the whole of `rousewort entry check` on the same entries; then one file, whole process, against a
bare interpreter that imports the same two libraries.
"""

from __future__ import annotations

import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from rousewort.cli.progress import Bar
from rousewort.contribute.checking import check_all
from rousewort.contribute.layout import Layers
from rousewort.knowledge.build import lay
from rousewort.knowledge.canonical import dump
from rousewort.knowledge.files import read_layer
from rousewort.knowledge.schemas import all_schemas

ROOT = Path(__file__).resolve().parents[1]
COUNT = 10_000


def grow(folder: Path, count: int) -> None:
    """A copy of kb/ in which copies of real entries, under invented epithets, make up `count` species."""
    shutil.copytree(ROOT / "kb", folder)
    chance = random.Random(1)
    real = [d.data for p, d in sorted(read_layer(ROOT / "kb")[0].items()) if p.startswith("species/")]
    letters = "abcdefghijklmnopqrstuvwxyz"
    for _ in range(count - len(real)):
        record = dict(chance.choice(real))
        genus = record["name"].split()[0]
        epithet = "ficta" + "".join(chance.choices(letters, k=10))
        record["name"] = f"{genus} {epithet}"
        record.pop("synonyms", None)
        path = folder / "species" / genus.lower() / f"{genus.lower()}-{epithet}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(dump(record, "../../schema/taxon.schema.yaml"), "utf-8")


def seconds(work, *, runs: int = 1) -> float:
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def whole(folder: Path) -> None:
    import jsonschema
    import jsonschema_rs

    laid = lay([ROOT / "kb"])
    schema = all_schemas(laid.store.vocabulary, list(laid.store.shared("treatments")))["taxon"]
    documents, _ = read_layer(folder)
    entries = [d.data for p, d in documents.items() if p.startswith("species/")]
    fast, slow = jsonschema_rs.Draft202012Validator(schema), jsonschema.Draft202012Validator(schema)
    raw = seconds(lambda: [fast.is_valid(e) for e in entries], runs=3)
    some = entries[:: len(entries) // 500]
    explain = seconds(lambda: [slow.is_valid(e) for e in some]) * len(entries) / len(some)
    reading = seconds(lambda: read_layer(folder))
    bar = Bar(sys.stderr) if sys.stderr.isatty() else None
    start = time.perf_counter()
    result = check_all(Layers((folder,), None), bar)
    total = time.perf_counter() - start
    if bar:
        bar.wipe()
    print(f"{len(entries)} entries: {len(result.problems)} mistakes, {len(result.doubts)} doubts")
    print(f"  jsonschema-rs alone        {raw:7.2f} s   ×1")
    print(f"  jsonschema alone           {explain:7.2f} s   ×{explain / raw:.0f}  (from {len(some)} of them)")
    print(f"  reading the files          {reading:7.2f} s   ×{reading / raw:.0f}")
    print(
        f"  everything, doubts too     {total:7.2f} s   ×{total / raw:.0f}, {len(entries) / total:.0f} entries a second"
    )


def one(folder: Path, label: str, runs: int = 15) -> None:
    """Whole processes, taken in turn, so that a slow spell of the machine hits all alike."""
    path = str(next((folder / "species").rglob("cercis-canadensis.yaml")))
    check = [sys.executable, "-m", "rousewort.cli.main", "entry", "check", path]
    commands = {
        "bare": [sys.executable, "-c", "pass"],
        "libraries": [sys.executable, "-c", "import yaml, jsonschema_rs"],
        "check": check,
    }
    with tempfile.TemporaryDirectory() as cache:
        env = {
            **os.environ,
            "XDG_CACHE_HOME": cache,
            "PYTHONPATH": str(ROOT / "engine"),
            "PYTHONPYCACHEPREFIX": f"{cache}/compiled",
        }
        env.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program is compiled once
        first = seconds(
            lambda: subprocess.run(check, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=env)
        )
        taken: dict[str, list[float]] = {name: [] for name in commands}
        for _ in range(runs):
            for name, command in commands.items():
                taken[name].append(
                    seconds(
                        lambda c=command: subprocess.run(
                            c, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=env
                        )
                    )
                )
    median = {name: statistics.median(times) for name, times in taken.items()}
    print(
        f"One file, {label}: {median['check'] * 1000:.0f} ms; the libraries {median['libraries'] * 1000:.0f} ms (×{median['check'] / median['libraries']:.1f})"
        f", a bare interpreter {median['bare'] * 1000:.0f} ms"
    )
    print(f"  the first time, which makes the index: {first:.1f} s")


def main() -> None:
    one(ROOT / "kb", "the real knowledge base")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "kb"
        print("growing …", file=sys.stderr)
        grow(folder, COUNT)
        one(folder, f"{COUNT} species", runs=15)
        whole(folder)


if __name__ == "__main__":
    main()
