"""From the knowledge base to a finished handbook: pages written, mkdocs run, the result looked over, then put in place."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from rousewort.base.errors import UserError
from rousewort.handbook.inspect import inspect
from rousewort.handbook.to_html import BUILDER, files_below, to_html
from rousewort.handbook.writing import write_pages
from rousewort.knowledge.knowledge_base import KnowledgeBase

# A page written by us carries this in its folder, so that we replace no folder of another's.
MARK = ".rousewort-handbook"


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
    pages into HTML, mkdocs or a drop-in successor. Raises UserError where `out`
    holds something else, mkdocs is missing or fails, or a strict build finds anything.
    """
    _free(out, force)
    out.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{out.name}.", dir=out.parent) as name:
        work = Path(name)
        tell("writing the pages")
        pages = write_pages(kb, work / "docs", only)
        tell(f"{pages} pages written; mkdocs turns them into HTML")
        made = to_html(work, strict, builder)
        (made / MARK).write_text(
            "Made by `rousewort handbook build`; it may be replaced by the next.\n", encoding="utf-8"
        )
        tell("looking over every link and element")
        problems = tuple(inspect(made))
        if problems and strict:
            more = f"\n… and {len(problems) - 20} more" if len(problems) > 20 else ""
            raise UserError(
                "The handbook is not fit to publish:", *problems[:19], problems[min(19, len(problems) - 1)] + more
            )
        _put(made, out)
    size = sum(os.path.getsize(out / name) for name in files_below(out))
    return Built(out, pages, size, problems)


def _free(out: Path, force: bool) -> None:
    if out.is_file():
        raise UserError(f"{out} is a file. Name a folder.")
    if out.is_dir() and any(out.iterdir()) and not (out / MARK).exists() and not force:
        raise UserError(f"{out} is not empty and is no earlier handbook. Name another folder, or say --force.")


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
