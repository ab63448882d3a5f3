"""The `rousewort` command: finds the subcommand, runs it, turns trouble into clear words and exit codes.

Exit codes: 0 fine, 1 a check failed, 2 wrong use, 3 our fault, 130 interrupted.
"""

from __future__ import annotations

import argparse
import importlib
import os
import re
import sys
from typing import Any

from rousewort.errors import Trouble

# Each is a module of rousewort.app.commands with HELP, EPILOG (examples), add_arguments(parser) and run(arguments).
# Imported only when asked for, so that a plan does not pay for the rest.
COMMANDS = {
    "plan": "make a plan for a plant",
    "why": "trace a step, or why something is not used, to traits and sources",
    "find": "find plants by name, family, class, treatment or cue",
    "show": "show an entry with its sources",
    "check": "check the knowledge base, or files of it",
    "agreement": "compare plans with sources held back",
    "calibrate": "measure how far relatives can be trusted",
    "calendar": "date plans, forward or backward; as text, iCalendar or CSV",
    "quantities": "from plants wanted to seeds, grams, cells and fridge space",
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
    "completion": "print shell completion",
}


def build_parser(only: str | None = None) -> argparse.ArgumentParser:
    """The parser of every command, or of one (the others are then named but not built)."""
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
    for name, help_text in COMMANDS.items():
        if only in (None, name):
            module = importlib.import_module(f"rousewort.app.commands.{name}")
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


class _Version(argparse.Action):
    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import version

        from rousewort.rules.run import durable_works

        engine = (
            "durable_rules" if durable_works() else "plain (durable_rules is not installed or cannot be imported here)"
        )
        print(f"rousewort {version('rousewort')}, rules engine: {engine}")
        parser.exit()


def layers(arguments: argparse.Namespace) -> list[str]:
    """The private layers: the environment variable first, then --kb."""
    found = [path for path in os.environ.get("ROUSEWORT_KB", "").split(os.pathsep) if path]
    return found + arguments.kb


def main(argv: list[str] | None = None) -> int:
    """Run one command. Returns the exit code; prints results to stdout, all else to stderr."""
    argv = sys.argv[1:] if argv is None else argv
    first = next((word for word in argv if not word.startswith("-")), None)
    parser = build_parser(only=first if first in COMMANDS else None)
    try:
        arguments = parser.parse_args(argv)
    except SystemExit as leaving:
        return int(leaving.code or 0)
    if not arguments.command:
        parser.print_help()
        return 2
    try:
        return arguments.run(arguments) or 0
    except Trouble as trouble:
        print(f"rousewort: {trouble}", file=sys.stderr)
        return trouble.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("rousewort: interrupted", file=sys.stderr)
        return 130
    except Exception as fault:
        return _our_fault(fault, argv)


def _our_fault(fault: Exception, argv: list[str]) -> int:
    """A bug: a short word to the user, the whole trace in a file ready to send."""
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile("w", prefix="rousewort-fault-", suffix=".txt", delete=False) as log:
        log.write(f"arguments: {argv}\n")
        traceback.print_exception(fault, file=log)
    print(f"rousewort: a fault of ours: {fault!r}\nPlease send us this file: {log.name}", file=sys.stderr)
    return 3


def run() -> None:
    sys.exit(main())


if __name__ == "__main__":
    run()
