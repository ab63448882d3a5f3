"""The last look finds each kind of fault that is planted for it."""

from __future__ import annotations

from pathlib import Path

import pytest
from rousewort.handbook.inspect import inspect


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ('<a href="gone.html">x</a>', "leads nowhere"),
        ('<a href="../outside.html">x</a>', "leads nowhere"),
        ('<a href="#gone">x</a>', "no such place"),
        ('<a href="b.html#gone">x</a>', "no such place"),
        ('<a href="java&#10;script:alert(1)">x</a>', "leads to javascript"),
        ('<img src="x.png" onerror="alert(1)">', "has onerror"),
        ('<script src="https://example.org/x.js"></script>', "from elsewhere"),
        ('<link rel="stylesheet" href="//example.org/x.css">', "from elsewhere"),
        ("<iframe></iframe>", "holds a <iframe>"),
        ('<p id="a">x</p><p id="a">y</p>', "two elements"),
    ],
)
def test_each_fault_is_found(tmp_path: Path, body: str, told: str) -> None:
    (tmp_path / "a.html").write_text(body)
    (tmp_path / "b.html").write_text("<p id=here>fine</p>")
    assert [problem for problem in inspect(tmp_path) if told in problem and problem.startswith("a.html")]


def test_sound_pages_pass(tmp_path: Path) -> None:
    (tmp_path / "a.html").write_text(
        '<a href="sub/b.html#here">x</a> <a href="https://example.org">a link, not fetched</a>'
    )
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub/b.html").write_text('<p id="here">fine</p><a href="../a.html">up</a>')
    assert list(inspect(tmp_path)) == []


def test_a_style_sheet_that_fetches_is_found(tmp_path: Path) -> None:
    (tmp_path / "assets").mkdir()
    (tmp_path / "assets/handbook.css").write_text("@font-face{src:url(https://example.org/f.woff2)}")
    assert list(inspect(tmp_path))
