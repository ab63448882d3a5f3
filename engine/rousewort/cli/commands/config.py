"""rousewort config"""

from __future__ import annotations

import argparse
from typing import Any

from rousewort.base.errors import UserError
from rousewort.cli import settings
from rousewort.cli.grower_options import split_words
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load
from rousewort.planning.grower import make_grower

HELP = """What you set once for all commands: units (metric, us), hemisphere (north, south), paper (A4, letter), what you have
beyond the usual, what usual things you are without. Options of a command go before it; what is dangerous is never set here."""
EPILOG = """examples:
  rousewort config
  rousewort config units us
  rousewort config have smoke,nitrate
  rousewort config without fridge
  rousewort config --unset without
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("setting", nargs="?", choices=[*settings.CHOICES], help="which; none: all are shown")
    parser.add_argument("value", nargs="*", help="what it is to be; none: it is shown")
    parser.add_argument("--unset", choices=[*settings.CHOICES], help="take a setting out again")


def run(arguments: argparse.Namespace) -> int:
    if arguments.unset:
        if arguments.setting:
            raise UserError("Either set or --unset, one at a time.")
        settings.change(arguments.unset, None)
    elif arguments.setting and arguments.value:
        _set(arguments)
    now = settings.settings()
    for key in (arguments.setting,) if arguments.setting else settings.CHOICES:
        value = getattr(now, key)
        print(f"{key:<11}{value if isinstance(value, str) else ', '.join(value) or '-'}")
    if not arguments.setting:
        print(f"({settings.path()})")
    return 0


def _set(arguments: argparse.Namespace) -> None:
    key, words = arguments.setting, split_words(arguments.value)
    if settings.CHOICES[key]:
        value = " ".join(arguments.value)
        named = {word.lower(): word for word in settings.CHOICES[key]}
        if value.lower() not in named:
            raise UserError(f"{key} is one of: {', '.join(settings.CHOICES[key])}, not '{value}'.")
        settings.change(key, named[value.lower()])
        return
    vocabulary, now = load(layers(arguments)).vocabulary, settings.settings()
    changed: dict[str, Any] = {key: tuple(words)}
    new = now._replace(**changed)
    # says what is no thing, contradicts or must be allowed anew each time
    make_grower(vocabulary, have=new.have, without=new.without)
    settings.change(key, words)
