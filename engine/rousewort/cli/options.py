"""What every command shares: how its help is set, and the private layers that it is given."""

from __future__ import annotations

import argparse
import os
import re

from rousewort.base.errors import UserError


class Help(argparse.RawDescriptionHelpFormatter):
    """80 columns, whatever the terminal: asking for its width would import a module that nothing else needs."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, width=80)

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        """Wrap what stands at the margin; indented lines are examples, and stay as they are."""
        import textwrap

        filled: list[str] = []
        for block in re.split(r"\n(?=\s)|(?<=:)\n|\n\n", text.strip()):
            filled.append(block if block.startswith(" ") else textwrap.fill(" ".join(block.split()), width))
        return "\n".join(filled)


def share(option: str, text: str | None) -> float | None:
    """`0.7` or `70%`, above 0 and up to 1. Raises UserError for anything else."""
    if text is None:
        return None
    try:
        value = float(text.strip().removesuffix("%")) / (100 if text.strip().endswith("%") else 1)
    except ValueError:
        value = 0.0
    if not 0 < value <= 1:
        raise UserError(f"{option} {text}: write a share above 0 and up to 1, as 0.7 or 70%.")
    return value


def layers(arguments: argparse.Namespace) -> list[str]:
    """The private layers: the environment variable first, then --kb."""
    found = [path for path in os.environ.get("ROUSEWORT_KB", "").split(os.pathsep) if path]
    return [*found, *arguments.kb]
