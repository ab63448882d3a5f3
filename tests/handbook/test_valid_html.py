"""Every page is HTML as its standard has it. html5lib reads by the same algorithm as browsers and names each error."""

from __future__ import annotations

import pytest
from must_be_here import missing
from rousewort.handbook.build import Built

try:
    import html5lib
except ImportError:
    html5lib = None


@pytest.fixture(autouse=True)
def reader() -> None:
    if html5lib is None:
        missing("html5lib, which reads the pages' HTML,")


def faults(text: str) -> list[str]:
    parser = html5lib.HTMLParser()
    parser.parse(text)
    return [f"{position}: {code}" for position, code, _ in parser.errors]


def test_the_checker_finds_a_planted_fault() -> None:
    assert faults("<!doctype html><html><head><title>x</title></head><body><p><div></p></body></html>")


def test_a_page_of_every_kind_parses_without_an_error(handbook: Built) -> None:
    folders = {path.parent for path in handbook.folder.rglob("*.html")}
    whole = {handbook.folder, handbook.folder / "schema", handbook.folder / "contributing"}  # one page a kind
    pages = [p for folder in sorted(folders) for p in sorted(folder.glob("*.html"))[: None if folder in whole else 4]]
    assert len(pages) > 40
    wrong = {
        path.relative_to(handbook.folder).as_posix(): found[:3]
        for path in pages
        if (found := faults(path.read_text("utf-8")))
    }
    assert not wrong
