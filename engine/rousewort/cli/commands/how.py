"""rousewort how KIND"""

from __future__ import annotations

import argparse
import sys

from rousewort.base.errors import UserError
from rousewort.cli.options import layers
from rousewort.cli.settings import settings
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.units import UNITS, converted
from rousewort.render import how_text, terminal

HELP = """How a kind of treatment is done in general: what it takes, how, for how long, cautions, sources. A sheet of
`rousewort plan` says only what differs for its plant."""
EPILOG = """examples:
  rousewort how
  rousewort how cold_moist
  rousewort how nick --units us
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", nargs="*", help="the kind, as `rousewort plan --json` names it; none: a list of all")
    parser.add_argument("--units", choices=[*UNITS], help="us: °F and inches")


def run(arguments: argparse.Namespace) -> int:
    kb = load(layers(arguments))
    page = terminal.page_for(fit=True)
    text = how_text.how(kb, _kind(kb.treatments, arguments.kind), page) if arguments.kind else how_text.kinds(kb, page)
    sys.stdout.write(converted(text, arguments.units or settings().units))
    return 0


def _kind(treatments: dict[str, dict[str, str]], words: list[str]) -> str:
    """The kind that is meant: by its word, or by what people call it. Raises UserError where there is none."""
    asked = " ".join(words).strip().lower().replace("-", "_").replace("_", " ")
    for kind, told in treatments.items():
        if asked in (kind.replace("_", " "), told["label"].lower()):
            return kind
    near = [kind for kind, told in treatments.items() if asked in f"{kind.replace('_', ' ')} {told['label']}".lower()]
    if len(near) == 1:
        return near[0]
    raise UserError(f"'{' '.join(words)}' is no kind of treatment. Known: {', '.join(treatments)}.")
