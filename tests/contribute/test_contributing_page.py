"""What the page for contributors says is true: its commands exist, its example is an entry, its files are there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml
from rousewort.app.main import build_parser
from rousewort.contribute.checking import check_files
from rousewort.contribute.layout import all_layers

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "contributing.md").read_text("utf-8")


def test_every_command_on_the_page_is_one_that_can_be_given() -> None:
    import shlex

    found = {" ".join(m[1].split()) for m in re.finditer(r"`(rousewort [^`\n]+)`", PAGE)}
    assert len(found) >= 12
    for command in found:
        words = [w for w in shlex.split(command)[1:] if w != "STEP"]
        if words[0] == "why":
            words.append("nick")
        needs_more = words in (["entry", "fmt"], ["entry", "preview"])
        build_parser(words[0]).parse_args(words + ["FILE"] * needs_more)


def test_the_example_report_passes_its_check(private) -> None:
    (report,) = re.findall(r"\n( {8}reports:\n(?: {8}.*\n)+)", PAGE)
    text = (
        "name: Hibiscus pontis\nrank: species\nfamily: Malvaceae\n"
        + "\n".join(line[8:] for line in report.splitlines())
        + "\n"
    )
    path = private.write("species/hibiscus/hibiscus-pontis.yaml", text)
    assert check_files([path], all_layers([private.folder])).problems == ()


@pytest.mark.parametrize("hook", yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text()), ids=lambda h: h["id"])
def test_a_hook_runs_a_command_that_exists_on_files_that_are_entries(hook: dict) -> None:
    build_parser("entry").parse_args([*hook["entry"].split()[1:], "FILE"])
    for path in ("kb/species/cercis/cercis-canadensis.yaml", "species/a/a-b.yaml", "kb/rules/soak-the-lot-first.yaml"):
        assert re.search(hook["files"], path)
    assert not re.search(hook["files"], "site/mkdocs.yaml")


def test_every_file_that_the_page_points_to_is_there() -> None:
    targets = re.findall(r"\]\(([^)#]+)\)", PAGE)
    assert targets and all((ROOT / "docs" / target).exists() for target in targets)
