"""The words that the `rousewort` command understands."""

from __future__ import annotations

import argparse
import importlib
from typing import Any

from rousewort.cli.options import Help

# Each is a module of rousewort.cli.commands with HELP, EPILOG (examples), add_arguments(parser) and run(arguments).
# Imported only when asked for, so that a plan does not pay for the rest.
COMMANDS = {
    "plan": "make a plan for a plant",
    "how": "how a kind of treatment is done in general",
    "why": "trace a step, or why something is not used, to traits and sources",
    "find": "find plants by name, family, class, treatment or cue",
    "show": "show an entry with its sources",
    "check": "check the knowledge base, or files of it",
    "agreement": "compare plans with sources held back",
    "audit": "hold every plan against its own entry, for every grower and lot",
    "calibrate": "measure how far relatives can be trusted",
    "calendar": "date plans, forward or backward; as text, iCalendar or CSV",
    "quantities": "from plants wanted to seeds, grams, cells and fridge space",
    "order": "a whole order from a spreadsheet: plans, seed to get, days, labels; and start it",
    "labels": "print labels for bags, pots and trays as PDF",
    "observe": "from weights, lengths and counts of your own seed to its dormancy",
    "trial": "design a germination trial, or read one",
    "winter": "would a winter outside give the chilling that a plan needs",
    "batch": "the ledger of real batches: start, due, check, move, sow, count, results",
    "bench": "pages for a phone at the bench: due, check, move, count",
    "handbook": "build the handbook, or show it",
    "entry": "start, check, tidy, preview an entry; compare all plans",
    "source": "add a work to cite, or show what rests on one",
    "layer": "what your own layer replaces and adds",
    "table": "traits and protocols as tables, out and in",
    "gaps": "where help is worth most",
    "config": "units, hemisphere, paper, what you have: set once",
    "completion": "print shell completion",
}


def build_parser(only: str | None = None) -> argparse.ArgumentParser:
    """The parser of every command, or of one alone; for "" all are named and none is built."""
    parser = argparse.ArgumentParser(
        prog="rousewort",
        description="How to wake a dormant seed, and why.",
        epilog="examples:\n  rousewort plan 'black haw'\n  rousewort plan 'Cercis canadensis' --without fridge --allow acid\n"
        "  rousewort why 'Cercis canadensis' cold_moist\n  rousewort find --family Fabaceae\n",
        formatter_class=Help,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="show the version and which rules engine runs")
    # `prog` given: argparse would otherwise format its own usage here, and import half a dozen modules to do it.
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands", prog="rousewort")
    for name, help_text in [(only, COMMANDS[only])] if only else COMMANDS.items():
        if only is None or only == name:
            module = importlib.import_module(f"rousewort.cli.commands.{name}")
            child = commands.add_parser(
                name,
                help=help_text,
                description=module.HELP,
                epilog=module.EPILOG,
                formatter_class=Help,
            )
            child.add_argument(
                "--kb", action="append", default=[], metavar="DIR", help="a private knowledge base laid over ours"
            )
            module.add_arguments(child)
            child.set_defaults(run=module.run)
        else:
            commands.add_parser(name, help=help_text, add_help=False)
    return parser


class _Version(argparse.Action):
    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from rousewort.cli.version import version_text

        print(version_text())
        parser.exit()
