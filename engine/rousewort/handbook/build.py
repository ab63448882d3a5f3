"""From the knowledge base to a finished handbook: pages written, mkdocs run, the result looked over, then put in place."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from rousewort.errors import Trouble
from rousewort.handbook.places import site_folder
from rousewort.handbook.writing import write_pages
from rousewort.knowledge.base import KnowledgeBase

# A page written by us carries this in its folder, so that we replace no folder of another's.
MARK = ".rousewort-handbook"
BUILDER = "mkdocs"
# mkdocs dates what it writes; a fixed day makes two builds the same to the byte.
FIXED_DAY = "315532800"


class Built(NamedTuple):
    """What a build made: where, how many pages, bytes of all files, and what was found wrong (empty: nothing)."""

    folder: Path
    pages: int
    size: int
    problems: tuple[str, ...]


def build(
    kb: KnowledgeBase,
    out: Path,
    *,
    only: Sequence[str] | None = None,
    strict: bool = False,
    force: bool = False,
    builder: str = BUILDER,
    tell: Callable[[str], None] = lambda text: None,
) -> Built:
    """Build the handbook into `out`, whole or not at all: an earlier one stays until the new one is finished.

    `only`: these species. `strict`: a warning of mkdocs or a finding of ours is a failure. `builder`: the module that turns
    pages into HTML, mkdocs or a drop-in successor. Raises Trouble where `out`
    holds something else, mkdocs is missing or fails, or a strict build finds anything.
    """
    from rousewort.handbook.inspect import inspect

    _free(out, force)
    out.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{out.name}.", dir=out.parent) as name:
        work = Path(name)
        tell("writing the pages")
        pages = write_pages(kb, work / "docs", only)
        tell(f"{pages} pages written; mkdocs turns them into HTML")
        _run_mkdocs(work, strict, builder)
        made = work / "site"
        _mend(made)
        (made / MARK).write_text(
            "Made by `rousewort handbook build`; it may be replaced by the next.\n", encoding="utf-8"
        )
        tell("looking over every link and element")
        problems = tuple(inspect(made))
        if problems and strict:
            more = f"\n… and {len(problems) - 20} more" if len(problems) > 20 else ""
            raise Trouble(
                "The handbook is not fit to publish:", *problems[:19], problems[min(19, len(problems) - 1)] + more
            )
        _put(made, out)
    size = sum(path.stat().st_size for path in out.rglob("*") if path.is_file())
    return Built(out, pages, size, problems)


def _free(out: Path, force: bool) -> None:
    if out.is_file():
        raise Trouble(f"{out} is a file. Name a folder.")
    if out.is_dir() and any(out.iterdir()) and not (out / MARK).exists() and not force:
        raise Trouble(f"{out} is not empty and is no earlier handbook. Name another folder, or say --force.")


def _run_mkdocs(work: Path, strict: bool, builder: str = BUILDER) -> None:
    """In a process of its own: it keeps state, and another builder of the same form can take its place."""
    site = site_folder()
    config = {"INHERIT": str(site / "mkdocs.yml"), "docs_dir": str(work / "docs"), "site_dir": str(work / "site")}
    # Assets of our look lie in the theme's folder, so the pages folder holds nothing but what was generated.
    lines = [f"{key}: {json.dumps(value)}" for key, value in config.items()] + [
        f"theme: {{custom_dir: {json.dumps(str(site / 'look'))}}}"
    ]
    (work / "mkdocs.yml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    environment = {
        **os.environ,
        "SOURCE_DATE_EPOCH": os.environ.get("SOURCE_DATE_EPOCH", FIXED_DAY),
        "PYTHONHASHSEED": "0",
        "NO_MKDOCS_2_WARNING": "1",
        "DISABLE_MKDOCS_2_WARNING": "true",
    }
    command = [
        sys.executable,
        "-m",
        builder,
        "build",
        "--quiet",
        "--config-file",
        str(work / "mkdocs.yml"),
        *(["--strict"] if strict else []),
    ]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    if done.returncode:
        if f"No module named {builder}" in done.stderr:
            how = "pip install 'rousewort[handbook]'" if builder == BUILDER else f"pip install {builder}"
            raise Trouble(f"This needs {builder} and the theme, which are not installed. Get them with: {how}")
        raise Trouble(f"{builder} could not build the handbook:\n" + (done.stderr or done.stdout).strip()[-3000:])


def _mend(made: Path) -> None:
    """The theme gives its two hidden checkboxes an attribute that HTML does not allow them."""
    for path in made.rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        path.write_text(
            re.sub(r'(<input class="md-toggle"[^>]*) autocomplete="off"', r"\1", text), encoding="utf-8", newline="\n"
        )


def _put(made: Path, out: Path) -> None:
    """Swap the new folder for the old one."""
    if out.exists():
        old = made.with_name("old")
        out.rename(old)
        try:
            made.rename(out)
        except OSError:
            old.rename(out)
            raise
        shutil.rmtree(old, ignore_errors=True)
    else:
        made.rename(out)
