"""mkdocs, or a drop-in successor, run on the pages: in processes of its own, side by side on all cores."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from rousewort.base.errors import UserError
from rousewort.base.parallel import cores
from rousewort.handbook.places import site_folder

BUILDER = "mkdocs"
# mkdocs dates what it writes; a fixed day makes two builds the same to the byte.
FIXED_DAY = "315532800"
LARGE, WORTH_A_PROCESS = 150, 1000  # pages


def to_html(work: Path, strict: bool, builder: str = BUILDER) -> Path:
    """Turn `work`/docs into a site, and return its folder; docs is used up. Raises UserError where that fails.

    The pages of large folders are shared out between the processes: a page of a species, a genus or a source stands on no
    other. All pages that the navigation or a link of Markdown names are in small folders, which each process has.
    """
    site = work / "site"
    site.mkdir()
    shares = _shares(work / "docs", work)
    with ThreadPoolExecutor(len(shares)) as waiting:
        made = list(waiting.map(lambda share: run_builder(share, strict, builder), shares))
    for folder in (*made, work / "docs"):  # in docs, only the data beside the pages are left
        for name in list(files_below(folder)):  # what two processes have both made is the same
            _move(folder / name, site / name)
    return site


def _shares(docs: Path, work: Path) -> list[Path]:
    """Folders with the pages of docs, each in its own docs."""
    pages = sorted(name for name in files_below(docs) if name.endswith(".md"))
    in_folder = Counter(name.rpartition("/")[0] for name in pages)
    spread = [name for name in pages if in_folder[name.rpartition("/")[0]] >= LARGE]
    count = max(1, min(cores(), len(spread) // WORTH_A_PROCESS))
    shares = [work / f"share-{number}" for number in range(count)]
    for number, name in enumerate(spread):
        _move(docs / name, shares[number % count] / "docs" / name)
    for name in sorted(set(pages) - set(spread)):
        for share in shares[1:]:
            (share / "docs" / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(docs / name, share / "docs" / name)
        _move(docs / name, shares[0] / "docs" / name)
    return shares


def run_builder(work: Path, strict: bool, builder: str = BUILDER) -> Path:
    """In a process of its own: it keeps state, and another builder of the same form can take its place. Returns the site."""
    site = site_folder()
    config = {
        "INHERIT": str(site / "mkdocs.yml"),
        "docs_dir": str(work / "docs"),
        "site_dir": str(work / "site"),
        # Styles, fonts and scripts lie in the theme's folder, so the pages folder holds nothing but what was generated.
        "theme": {"custom_dir": str(site / "theme")},
    }
    (work / "mkdocs.yml").write_text(json.dumps(config), encoding="utf-8")  # JSON is YAML
    environment = {
        **os.environ,
        "SOURCE_DATE_EPOCH": os.environ.get("SOURCE_DATE_EPOCH", FIXED_DAY),
        "PYTHONHASHSEED": "0",
    }
    command = [
        *(sys.executable, "-m", builder, "build", "--quiet", "--config-file", str(work / "mkdocs.yml")),
        *(["--strict"] if strict else []),
    ]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    if done.returncode:
        if f"No module named {builder}" in done.stderr:
            how = "pip install 'rousewort[handbook]'" if builder == BUILDER else f"pip install {builder}"
            raise UserError(f"This needs {builder}, which is not installed. Get it with: {how}")
        raise UserError(f"{builder} could not build the handbook:\n" + (done.stderr or done.stdout).strip()[-3000:])
    return work / "site"


def _move(old: Path, new: Path) -> None:
    new.parent.mkdir(parents=True, exist_ok=True)
    os.replace(old, new)


def files_below(folder: Path) -> Iterator[str]:
    """The path of every file, from the folder, with slashes; tens of thousands of them, so without an object for each."""
    for place, _, names in os.walk(folder):
        way = os.path.relpath(place, folder).replace(os.sep, "/")
        yield from names if way == "." else (f"{way}/{name}" for name in names)
