"""The README shows what the commands print."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from rousewort.cli.main import main

README = Path(__file__).parents[1] / "README.md"
BLOCK = re.compile(r"(<!-- plan: .*? -->\n```text\n)(.*?)(```\n)", re.S)


def test_plan_printed_in_the_readme_is_what_the_command_prints(capsys: pytest.CaptureFixture[str]) -> None:
    """With ROUSEWORT_UPDATE=1 the block is rewritten, to be looked at in the diff."""
    text = README.read_text("utf-8")
    (name,) = re.search(r"^bin/rousewort plan '(.*)'$", text, re.M).groups()  # type: ignore[union-attr]
    assert main(["plan", name]) == 0
    printed = capsys.readouterr().out
    if os.environ.get("ROUSEWORT_UPDATE"):
        README.write_text(BLOCK.sub(lambda m: m[1] + printed + m[3], text), "utf-8")
        text = README.read_text("utf-8")
    match = BLOCK.search(text)
    assert match and match[2] == printed


def test_every_command_in_the_readme_exists_and_works(capsys: pytest.CaptureFixture[str]) -> None:
    commands = re.findall(r"^bin/rousewort (.*?)(?:\s+#.*)?$", README.read_text("utf-8"), re.M)
    assert len(commands) >= 8
    import shlex

    for line in commands:
        if not line.startswith("agreement"):  # minutes on a slow machine, and run by CI on its own
            assert main(shlex.split(line)) == 0, line


def test_what_a_newcomer_reads_first_fits_two_screens() -> None:
    """What it is for, the first command and its sheet; long lines as a terminal wraps them."""
    first = README.read_text("utf-8").partition("\nMore to try")[0].splitlines()
    assert sum(max(1, -(-len(line) // 80)) for line in first) <= 2 * 45


def test_its_first_paragraph_states_the_whole_job() -> None:
    """Whose seed it is, and what they find out, decide, carry out, record and pass on."""
    paragraph = README.read_text("utf-8").split("\n\n")[1]
    for part in (
        "seed before them",
        "find out",
        "decide",
        "carry it out over weeks or months",
        "record",
        "pass that on",
    ):
        assert part in " ".join(paragraph.split()), part
