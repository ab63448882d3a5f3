"""rousewort completion SHELL"""

from __future__ import annotations

import argparse

HELP = "Print a script that completes rousewort's commands and options in your shell."
EPILOG = """examples:
  rousewort completion bash > ~/.local/share/bash-completion/completions/rousewort
  rousewort completion zsh > ~/.zfunc/_rousewort
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=["bash", "zsh", "tcsh"])


def run(arguments: argparse.Namespace) -> int:
    from rousewort.app.main import build_parser
    from rousewort.errors import Trouble

    try:
        import shtab
    except ImportError:
        raise Trouble("Completion needs the package shtab: pip install 'rousewort[completion]'") from None
    print(shtab.complete(build_parser(), shell=arguments.shell))
    return 0
