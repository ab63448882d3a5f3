"""The compiled index is only a copy: same answers, made anew when stale, never trusted when it is of another form."""

from __future__ import annotations

import os
import pickle
import shutil
import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_plant import PLANT, PLANT_PATH
from rousewort.base.errors import KnowledgeError, UserError
from rousewort.knowledge import files, knowledge_base
from rousewort.knowledge.knowledge_base import KnowledgeBase, load
from rousewort.knowledge.store import INDEX_FORMAT, IndexStore, MemoryStore, write_index


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "rousewort"


@pytest.fixture
def small(put: Callable, monkeypatch: pytest.MonkeyPatch, index: Path) -> Path:
    """A layer over the compiled base, as an installed wheel has it: quick to build again."""
    monkeypatch.setattr(knowledge_base, "shipped_layer", lambda: None)
    monkeypatch.setattr(knowledge_base, "PACKAGED_INDEX", index)
    return put({PLANT_PATH: PLANT})


def test_index_and_memory_answer_alike_for_every_taxon(index: Path, memory: MemoryStore) -> None:
    compiled = IndexStore(index)
    for rank in ("species", "genus", "family"):
        assert sorted(compiled.names(rank)) == sorted(memory.names(rank))
    for name in memory.records:
        assert compiled.record(name) == memory.record(name)
        assert compiled.summary(name) == memory.summary(name)
    assert compiled.record("Nulla planta") is None and compiled.summary("Nulla planta") is None


def test_index_and_memory_answer_alike_for_every_genus_and_family(index: Path, memory: MemoryStore) -> None:
    compiled = IndexStore(index)
    genera = {name.split()[0] for name in memory.names("species")}
    families = {record["family"] for record in memory.records.values() if "family" in record}
    for rank, names in (("genus", {*genera, "Nullus"}), ("family", {*families, "Nullaceae"})):
        for name in names:
            mine = memory.group(rank, name)
            assert compiled.group(rank, name) == mine, f"{rank} {name}"


def test_threads_that_share_an_index_each_get_their_own_answers(index: Path, memory: MemoryStore) -> None:
    compiled = IndexStore(index)
    asked = sorted(memory._all_names())[::4]
    expected = {folded: sorted(memory.named(folded)) for folded in asked}

    def differing(turn: int) -> list[str]:
        turned = asked[turn * 50 :] + asked[: turn * 50]
        return [folded for folded in turned if sorted(compiled.named(folded)) != expected[folded]]

    with ThreadPoolExecutor(8) as pool:
        assert [folded for one in pool.map(differing, range(8)) for folded in one] == []


def test_index_and_memory_answer_alike_to_every_name(index: Path, memory: MemoryStore) -> None:
    compiled = IndexStore(index)
    for folded in memory._all_names():
        assert sorted(compiled.named(folded)) == sorted(memory.named(folded))


def test_index_and_memory_share_the_same_parts(index: Path, memory: MemoryStore) -> None:
    compiled = IndexStore(index)
    for part in ("vocabulary", "rules", "treatments", "sources", "families", "genus_family", "calibration"):
        assert compiled.shared(part) == memory.shared(part), part


@given(st.data())
def test_index_and_memory_take_a_misspelling_for_the_same_plant(
    kb: KnowledgeBase, memory: MemoryStore, data: st.DataObject
) -> None:
    name = data.draw(st.sampled_from(sorted(kb.names("species"))))
    place = data.draw(st.integers(0, len(name) - 1))
    letter = data.draw(st.sampled_from(" abcdefghijklmnopqrstuvwxyz"))
    wrong = name[:place] + letter + name[place + data.draw(st.integers(0, 1)) :]
    if not wrong.strip():
        return
    assert KnowledgeBase(memory).lookup(wrong) == kb.lookup(wrong)


def test_an_index_of_another_form_is_refused_with_a_way_on(index: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.sqlite"
    shutil.copy(index, other)
    with sqlite3.connect(other) as connection:
        connection.execute(f"pragma user_version={INDEX_FORMAT + 1}")
    with pytest.raises(UserError, match=f"format {INDEX_FORMAT + 1}.*reads {INDEX_FORMAT}"):
        IndexStore(other)


def test_the_index_is_opened_read_only(index: Path) -> None:
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        IndexStore(index)._connection.execute("delete from taxon")


@pytest.mark.parametrize(
    "name", ["with space.sqlite", "with?mark.sqlite", "with#hash.sqlite", "with%25percent.sqlite", "ümlaut.sqlite"]
)
def test_an_index_opens_whatever_its_folder_is_called(index: Path, tmp_path: Path, name: str) -> None:
    shutil.copy(index, tmp_path / name)
    assert IndexStore(tmp_path / name).names("family")


def test_a_second_load_reads_the_index_and_no_yaml(small: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    load([small])
    assert len(list(cache.glob("*.sqlite"))) == 1
    monkeypatch.setattr("rousewort.knowledge.build.build", lambda *_: pytest.fail("built again"))
    assert load([small]).taxon("Sallowia pontis")


@pytest.mark.parametrize("change", ["edit", "add", "remove", "rename"])
def test_a_changed_file_is_seen_at_the_next_load(small: Path, cache: Path, change: str) -> None:
    assert load([small]).lookup("sallow bridge pea").name == "Sallowia pontis"
    path = small / PLANT_PATH
    if change == "edit":
        path.write_text(PLANT.replace("sallow bridge pea", "grey bridge pea"))
        assert load([small]).lookup("grey bridge pea").name == "Sallowia pontis"
    elif change == "add":
        (path.parent / "sallowia-rivi.yaml").write_text("name: Sallowia rivi\nrank: species\nfamily: Fabaceae\n")
        assert load([small]).taxon("Sallowia rivi")
    elif change == "remove":
        path.unlink()
        assert load([small]).taxon("Sallowia pontis") is None
    else:
        path.write_text(PLANT.replace("Sallowia pontis", "Sallowia rivi"))
        path.rename(path.parent / "sallowia-rivi.yaml")
        assert load([small]).taxon("Sallowia rivi") and load([small]).taxon("Sallowia pontis") is None


def test_an_edit_of_the_same_length_is_seen(small: Path, cache: Path) -> None:
    load([small])
    path = small / PLANT_PATH
    before = path.stat()
    path.write_text(PLANT.replace("bridge pea", "brigde pea"))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns + 1))
    assert load([small]).lookup("sallow brigde pea").matched_by == "common_name"


def test_a_broken_change_is_told_and_the_old_answer_not_given(small: Path, cache: Path) -> None:
    load([small])
    (small / PLANT_PATH).write_text(PLANT.replace("physical", "phsical"))
    with pytest.raises(KnowledgeError, match="phsical"):
        load([small])


@pytest.mark.parametrize("content", [b"", b"not a database", b"SQLite format 3\x00" + b"\x00" * 200])
def test_a_damaged_cache_is_made_anew(small: Path, cache: Path, content: bytes) -> None:
    load([small])
    (file,) = cache.glob("*.sqlite")
    file.write_bytes(content)
    assert load([small]).taxon("Sallowia pontis")
    assert IndexStore(file).names("family")


def test_a_cut_off_cache_is_made_anew_or_still_right(small: Path, cache: Path) -> None:
    """A copy that stopped half way has a sound head and no tail."""
    whole = load([small]).names("species")
    (file,) = cache.glob("*.sqlite")
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
    again = load([small])
    assert sorted(again.names("species")) == sorted(whole)
    assert again.taxon("Sallowia pontis")


def test_a_cache_of_another_form_is_made_anew(small: Path, cache: Path) -> None:
    load([small])
    (file,) = cache.glob("*.sqlite")
    with sqlite3.connect(file) as connection:
        connection.execute("pragma user_version=999")
    assert load([small]).taxon("Sallowia pontis")


def test_without_a_cache_that_can_be_written_everything_still_works(
    small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a file").write_text("in the way")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "a file"))
    found = load([small])
    assert isinstance(found.store, MemoryStore)
    assert found.lookup("sallow bridge pea").name == "Sallowia pontis"


def test_a_full_disk_leaves_no_half_written_index(small: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr("rousewort.knowledge.store._fill", full)
    found = load([small])
    assert found.taxon("Sallowia pontis")
    assert not list(cache.glob("*.sqlite"))


def test_old_indexes_are_cleared_away_when_a_new_one_is_written(small: Path, cache: Path) -> None:
    cache.mkdir(parents=True)
    for turn in range(9):
        (cache / f"{turn}.sqlite").write_bytes(b"old")
        os.utime(cache / f"{turn}.sqlite", (turn, turn))
    load([small])
    left = {path.name for path in cache.iterdir()}
    assert len(left) <= 6 and {"8.sqlite", "7.sqlite"} < left and "0.sqlite" not in left


def test_of_old_indexes_those_in_use_are_kept(small: Path, cache: Path) -> None:
    load([small])
    (used,) = cache.iterdir()
    os.utime(used, (1, 1))
    for turn in range(2, 9):
        (cache / f"{turn}.sqlite").write_bytes(b"old")
        os.utime(cache / f"{turn}.sqlite", (turn, turn))
    load([small])
    knowledge_base._forget_old(cache)
    assert used.exists() and not (cache / "3.sqlite").exists()


def test_an_index_cleared_away_while_in_use_is_sent_whole_to_another_process(index: Path, tmp_path: Path) -> None:
    shutil.copy(index, tmp_path / "index.sqlite")
    store = IndexStore(tmp_path / "index.sqlite")
    (tmp_path / "index.sqlite").unlink()
    assert pickle.loads(pickle.dumps(store)).names("family") == store.names("family") != []


def test_writing_an_index_twice_gives_the_same_answers(memory: MemoryStore, tmp_path: Path) -> None:
    """No order of sets or directories shows: a wheel built twice carries the same index."""
    for turn in ("one", "two"):
        write_index(memory, tmp_path / turn, "stamp")
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_a_changed_summariser_makes_the_index_anew(
    small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A developer who changes how entries are summarised must not go on reading old summaries."""
    modules = tmp_path / "knowledge"
    shutil.copytree(Path(files.__file__).parent, modules, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(files, "__file__", str(modules / "files.py"))
    before = files.stamp([small])
    assert files.stamp([small]) == before
    with (modules / "summary.py").open("a") as module:
        module.write("# changed\n")
    assert files.stamp([small]) != before
