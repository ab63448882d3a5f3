"""Every page is HTML as its standard has it. html5lib reads by the same algorithm as browsers and names each error."""

from __future__ import annotations

import pytest
from rousewort.handbook.build import Built

html5lib = pytest.importorskip("html5lib", reason="html5lib is not here: the pages' HTML was not checked")


def faults(text: str) -> list[str]:
    parser = html5lib.HTMLParser()
    parser.parse(text)
    return [f"{position}: {code}" for position, code, _ in parser.errors]


def test_the_checker_finds_a_planted_fault() -> None:
    assert faults("<!doctype html><html><head><title>x</title></head><body><p><div></p></body></html>")


def test_a_page_of_every_kind_parses_without_an_error(handbook: Built) -> None:
    pages = [
        path
        for folder in sorted({p.parent for p in handbook.folder.rglob("*.html")})
        for path in sorted(folder.glob("*.html"))[:6]
    ]
    assert len(pages) > 40
    wrong = {
        path.relative_to(handbook.folder).as_posix(): found[:3]
        for path in pages
        if (found := faults(path.read_text("utf-8")))
    }
    assert not wrong
