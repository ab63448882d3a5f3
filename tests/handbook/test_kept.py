"""What is kept between builds is made again when what it rests on changes, and never stands in the way."""

from __future__ import annotations

from pathlib import Path

import pytest
from rousewort.handbook.build_cache import cached


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "rousewort"


def test_a_result_is_made_once_and_again_when_what_it_rests_on_changes(cache: Path) -> None:
    made = []

    def make() -> list[int]:
        made.append(len(made))
        return made[-1:]

    assert [cached("sums", on, make) for on in ({"a": 1}, {"a": 1}, {"a": 2}, {"a": 2})] == [[0], [0], [1], [1]]
    assert len(list(cache.iterdir())) == 1


def test_a_change_of_our_code_makes_it_anew(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cached("sums", 1, lambda: "old")
    true = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: true(path) + (b"#" if path.name == "build_cache.py" else b""))
    assert cached("sums", 1, lambda: "new") == "new"


def test_a_damaged_file_is_made_anew(cache: Path) -> None:
    cached("sums", 1, lambda: "right")
    (file,) = cache.iterdir()
    file.write_text('"ri', encoding="utf-8")
    assert cached("sums", 1, lambda: "right again") == "right again" == cached("sums", 1, lambda: "never")


def test_where_nothing_can_be_written_it_is_made_every_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert [cached("sums", 1, lambda: 1), cached("sums", 1, lambda: 2)] == [1, 2]
