"""Every page written below a folder: species in shares, on all cores; then the lists that are made of all of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import chain
from pathlib import Path
from typing import NamedTuple

from markupsafe import Markup

from rousewort.base.parallel import map_on_cores
from rousewort.handbook.catalogue import Catalogue, Entry
from rousewort.handbook.list_pages import WaysIn
from rousewort.handbook.pages import Page, Writer
from rousewort.handbook.places import site_folder
from rousewort.handbook.relatives import by_family, genera_files
from rousewort.handbook.trustpage import measured
from rousewort.knowledge.knowledge_base import KnowledgeBase


class _Pen(NamedTuple):
    """What writes pages, and the folder that it writes into."""

    writer: Writer
    folder: Path

    def write(self, pages: Iterable[Page]) -> int:
        """Returns the number of pages; data beside them are none."""
        count = 0
        for page in pages:
            target = self.folder / page.path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(page.text, encoding="utf-8", newline="\n")
            count += page.path.endswith(".md")
        return count


def write_pages(kb: KnowledgeBase, folder: Path, only: Sequence[str] | None = None) -> int:
    """Write every page as Markdown, and the data, into an empty folder. Returns the number of pages."""
    pen = _pen(kb, folder, only)
    catalogue, count = pen.writer.catalogue, 0
    for entry, written in map_on_cores(_pen, (kb, folder, only), _write_species, catalogue.species):
        catalogue.entries[entry.name] = entry
        count += written
    families = by_family(kb)
    wanted = [
        (family, families.get(family, [])) for family in (families if only is None else catalogue.places.all("family"))
    ]
    for on_pages in map_on_cores(_pen, (kb, folder, only), _write_lent, wanted):
        pen.writer.lent |= on_pages
    pen.write(Page(*file) for file in genera_files(families))
    # Meanwhile: this process writes the lists, and others measure.
    with ThreadPoolExecutor(1) as aside:
        figures = aside.submit(measured, kb).result if only is None else None
        return count + pen.write(chain(pen.writer.other_pages(), WaysIn(pen.writer, figures).every_page()))


def _pen(kb: KnowledgeBase, folder: Path, only: Sequence[str] | None) -> _Pen:
    return _Pen(Writer(Catalogue(kb, only), site_folder() / "pages"), folder)


def _write_lent(pen: _Pen, wanted: tuple[str, list[str]]) -> dict[str, Markup]:
    pages, on_pages = pen.writer.lent_pages(*wanted)
    pen.write(pages)
    return on_pages


def _write_species(pen: _Pen, name: str) -> tuple[Entry, int]:
    written = pen.write(pen.writer.species_pages(name))
    return pen.writer.catalogue.entries[name], written
