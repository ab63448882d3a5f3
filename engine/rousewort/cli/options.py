"""What every command shares: how its help is set, and the private layers that it is given."""

from __future__ import annotations

import argparse
import os
import re


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


def layers(arguments: argparse.Namespace) -> list[str]:
    """The private layers: the environment variable first, then --kb."""
    found = [path for path in os.environ.get("ROUSEWORT_KB", "").split(os.pathsep) if path]
    return [*found, *arguments.kb]
