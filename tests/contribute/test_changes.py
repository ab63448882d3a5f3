"""What a change does to plans: every plan that differs is found, and the facts and rules that made it differ are named."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest
from must_be_here import missing  # type: ignore[import-not-found]
from rousewort.contribute.changes import at_commit, compare, with_entry
from rousewort.knowledge.build import build
from rousewort.knowledge.knowledge_base import KnowledgeBase


@pytest.fixture(scope="module")
def small(layer: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the shipped knowledge base with the entries of a few genera only."""
    folder = tmp_path_factory.mktemp("small") / "kb"
    shutil.copytree(layer, folder, ignore=shutil.ignore_patterns("species"))
    for genus in ("cercis", "acer", "trillium"):
        shutil.copytree(layer / "species" / genus, folder / "species" / genus)
    return folder


@pytest.fixture
def changed(small: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "kb"
    shutil.copytree(small, folder)
    return folder


def compared(small: Path, changed: Path):
    return compare(KnowledgeBase(build([small])), KnowledgeBase(build([changed])), "plain")


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


def test_the_same_knowledge_gives_no_change(small: Path, changed: Path) -> None:
    comparison = compared(small, changed)
    assert comparison.changes == () and comparison.compared >= 10
    assert comparison.rules == comparison.treatments == ()


def test_a_changed_length_changes_numbers_and_nothing_else(small: Path, changed: Path) -> None:
    path = changed / "species/cercis/cercis-canadensis.yaml"
    edit(path, "days: 60", "days: 100")
    (change,) = [c for c in compared(small, changed).changes if c.name == "Cercis canadensis"]
    assert change.what == "numbers" and change.before != change.after
    assert any("cold_moist-1: days" in reason for reason in change.because)


def test_a_changed_class_changes_the_sequence_and_the_fact_is_named(small: Path, changed: Path) -> None:
    path = changed / "species/cercis/cercis-canadensis.yaml"
    text = path.read_text()
    path.write_text(text[: text.index("protocols:")].replace("is: physical_physiological", "is: none"))
    (change,) = [c for c in compared(small, changed).changes if c.name == "Cercis canadensis"]
    assert change.what == "sequence"
    assert any(r.startswith("now known: dormancy_class: none") for r in change.because)
    assert any("no longer fires" in r for r in change.because)


def test_a_rule_that_is_taken_away_names_every_plan_that_it_changes(small: Path, changed: Path) -> None:
    (changed / "rules" / "soak-the-lot-first.yaml").unlink()
    comparison = compared(small, changed)
    assert comparison.rules == ("-soak-the-lot-first",)
    assert comparison.changes and all(
        "rule soak-the-lot-first no longer fires" in c.because for c in comparison.changes if c.what == "sequence"
    )


def test_a_changed_treatment_is_named_where_it_is_used(small: Path, changed: Path) -> None:
    path = changed / "treatments" / "cold_moist.yaml"
    text = path.read_text()
    path.write_text(text.replace("Mix the seed", "Blend the seed"))
    comparison = compared(small, changed)
    assert comparison.treatments == ("~cold_moist",)
    assert comparison.changes and {c.what for c in comparison.changes} == {"words"}
    assert all("treatment cold_moist was changed" in c.because for c in comparison.changes)


def test_entries_that_come_and_go_are_told(small: Path, changed: Path) -> None:
    (changed / "species/cercis/cercis-canadensis.yaml").unlink()
    assert {(c.name, c.what) for c in compared(small, changed).changes} >= {("Cercis canadensis", "removed")}
    assert {(c.name, c.what) for c in compared(changed, small).changes} >= {("Cercis canadensis", "added")}


def test_diff_prints_json_and_exits_1_only_when_asked(rousewort, small: Path, changed: Path) -> None:
    (changed / "species/cercis/cercis-canadensis.yaml").unlink()
    words = ("entry", "diff", "--before", small, "--after", changed, "--engine", "plain")
    code, out, _ = rousewort(*words)
    assert code == 0 and "No plan any more (1)" in out
    code, out, _ = rousewort(*words, "--json", "--exit-code")
    assert code == 1 and json.loads(out)["format"] == "rousewort-changes-1"
    assert rousewort("entry", "diff", "--before", small, "--after", small, "--exit-code")[0] == 0


def test_diff_without_anything_to_compare_says_what_to_give(rousewort) -> None:
    code, _, err = rousewort("entry", "diff")
    assert code == 2 and "--before DIR --after DIR" in err


def test_a_commit_is_compared_as_it_was(small: Path, tmp_path: Path) -> None:
    git = shutil.which("git")
    if git is None:
        missing("git")
    clone = tmp_path / "clone"
    shutil.copytree(small, clone / "kb")
    run = [git, "-C", str(clone), "-c", "user.name=A. Reed", "-c", "user.email=reed@example.org"]
    for words in (["init", "-q"], ["add", "."], ["commit", "-q", "-m", "first"]):
        subprocess.run([*run, *words], check=True)
    (clone / "kb/species/cercis/cercis-canadensis.yaml").unlink()
    with at_commit(clone / "kb", "HEAD") as folder:
        changes = compared(folder, clone / "kb").changes
    assert ("Cercis canadensis", "removed") in {(c.name, c.what) for c in changes}
    assert not folder.exists()


def test_a_commit_that_is_none_is_told(rousewort) -> None:
    code, _, err = rousewort("entry", "diff", "--since", "no-such-commit")
    assert code == 2 and "no-such-commit" in err


def test_preview_shows_plan_change_and_rules_of_a_new_entry(private) -> None:
    code, out, _ = private.run("entry", "preview", private.plant())
    assert code == 0
    assert "Nick" in out and "What changes" in out and "Rules that fire" in out
    assert "open" in out


def test_preview_of_a_broken_entry_tells_the_mistake(private) -> None:
    code, _, err = private.run("entry", "preview", private.plant(("is: physical", "is: phsical")))
    assert code == 1 and "phsical" in err


def test_preview_as_json_has_plan_change_and_rules(private) -> None:
    code, out, _ = private.run("entry", "preview", private.plant(), "--json")
    made = json.loads(out)
    assert code == 0 and made["plan"]["taxon"]["name"] == "Sallowia pontis" and made["rules"]


def test_preview_can_show_the_page_of_the_handbook(private) -> None:
    code, out, _ = private.run("entry", "preview", private.plant(), "--page")
    assert code == 0 and "Sallowia pontis" in out and "#" in out


def test_an_entry_put_in_lends_to_its_relatives(kb) -> None:
    record = {
        "name": "Sallowia pontis",
        "rank": "species",
        "family": "Fabaceae",
        "traits": {"fruit": [{"is": "fleshy", "held": "demo"}]},
    }
    other = with_entry(kb, record)
    assert other.store.group("genus", "Sallowia")["votes"]["fruit"] == {"fleshy": ["Sallowia pontis"]}
    assert kb.taxon("Sallowia pontis") is None, "the knowledge base itself is unchanged"
