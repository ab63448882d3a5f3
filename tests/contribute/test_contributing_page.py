"""What the page for contributors says is true: its commands exist, its example is an entry, its files are there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import yaml
from rousewort.cli.parser import build_parser
from rousewort.contribute.checking import check_files
from rousewort.contribute.layout import all_layers
from rousewort.knowledge.strict_yaml import read

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "contributing.md").read_text("utf-8")


def test_every_command_on_the_page_is_one_that_can_be_given() -> None:
    found = {" ".join(m[1].split()) for m in re.finditer(r"`(rousewort [^`\n]+)`", PAGE)}
    assert len(found) >= 12
    for command in found:
        words = [w for w in shlex.split(command)[1:] if w != "STEP"]
        if words[0] == "why" and len(words) < 3:
            words.append("nick")
        needs_more = words in (["entry", "fmt"], ["entry", "preview"])
        build_parser(words[0]).parse_args(words + ["FILE"] * needs_more)


def shown_protocols() -> str:
    (shown,) = re.findall(r"\n( {8}protocols:\n(?: {8}.*\n)+)", PAGE)
    return "".join(f"{line[8:]}\n" for line in shown.splitlines())


def test_the_example_protocol_passes_its_check(private) -> None:
    text = "name: Hovenia pontis\nrank: species\nfamily: Rhamnaceae\n" + shown_protocols()
    path = private.write("species/hovenia/hovenia-pontis.yaml", text)
    assert check_files([path], all_layers([private.folder])).problems == ()


def test_the_example_commands_make_the_entry_that_the_page_shows(private) -> None:
    (new,) = re.findall(r"\n {8}(rousewort entry new 'Hovenia dulcis' --family(?:.*\\\n)+.*\n)", PAGE)
    words = [word for word in shlex.split(new.replace("\\\n", " "))[1:]]
    code, out, err = private.run(*words, "--no-ask")
    assert code == 0, err
    assert read(Path(out.strip()).read_bytes(), "f").data["protocols"] == yaml.safe_load(shown_protocols())["protocols"]


def test_the_example_rule_passes_its_check(private) -> None:
    (rule,) = [m[1] for m in re.finditer(r"```yaml\n(id: bridge-.*?)```", PAGE, re.DOTALL)]
    path = private.write("rules/bridge-keeps-parts-apart.yaml", rule)
    assert check_files([path], all_layers([private.folder])).problems == ()


@pytest.mark.parametrize("hook", yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text()), ids=lambda h: h["id"])
def test_a_hook_runs_a_command_that_exists_on_files_that_are_entries(hook: dict) -> None:
    build_parser("entry").parse_args([*hook["entry"].split()[1:], "FILE"])
    for path in (
        "kb/species/cercis/cercis-canadensis.yaml",
        "species/a/a-b.yaml",
        "kb/rules/soak-the-lot-first.yaml",
        "sources.yaml",
    ):
        assert re.search(hook["files"], path)
    assert not re.search(hook["files"], "site/mkdocs.yaml")


def test_every_file_that_the_page_points_to_is_there() -> None:
    targets = re.findall(r"\]\(([^)#]+)\)", PAGE)
    assert targets and all((ROOT / "docs" / target).exists() for target in targets)
