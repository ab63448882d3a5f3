"""rousewort completion SHELL"""

from __future__ import annotations

import argparse

from rousewort.base.errors import UserError
from rousewort.cli.parser import build_parser

HELP = "Print a script that completes rousewort's commands and options in your shell."
EPILOG = """examples:
  rousewort completion bash > ~/.local/share/bash-completion/completions/rousewort
  rousewort completion zsh > ~/.zfunc/_rousewort
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=["bash", "zsh", "tcsh"])


def run(arguments: argparse.Namespace) -> int:
    try:
        import shtab
    except ImportError:
        raise UserError("Completion needs the package shtab: pip install 'rousewort[completion]'") from None
    print(shtab.complete(build_parser(), shell=arguments.shell))
    return 0
