"""Commands with actions of their own (`rousewort entry check`): each action is declared and run alike."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from typing import NamedTuple

from rousewort.cli.options import Help


class Action(NamedTuple):
    """One word after a command: what it does in a few words, examples, its arguments, and what runs it."""

    name: str
    help: str
    epilog: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


def add_actions(parser: argparse.ArgumentParser, actions: Iterable[Action]) -> None:
    """Declare the actions of a command; every one takes --kb, before or after its other words."""
    # `prog` given: see main.build_parser.
    choices = parser.add_subparsers(dest="action", metavar="ACTION", required=True, prog=parser.prog)
    for action in actions:
        text = f"{action.help[:1].upper()}{action.help[1:]}."
        child = choices.add_parser(
            action.name, help=action.help, description=text, epilog=action.epilog, formatter_class=Help
        )
        # SUPPRESS: the parent command has --kb too, and a default here would undo what was given there.
        child.add_argument(
            "--kb",
            action="append",
            default=argparse.SUPPRESS,
            metavar="DIR",
            help="a private knowledge base laid over ours",
        )
        action.add_arguments(child)
        child.set_defaults(act=action.run)


def run_action(arguments: argparse.Namespace) -> int:
    code: int = arguments.act(arguments)
    return code
