"""The `rousewort` command: finds the subcommand, runs it, turns trouble into clear words and exit codes.

Exit codes: 0 fine, 1 a check failed, 2 wrong use, 3 our fault, 130 interrupted.
"""

from __future__ import annotations

import os
import sys

from rousewort.base.errors import UserError
from rousewort.cli.parser import COMMANDS, build_parser


def main(argv: list[str] | None = None) -> int:
    """Run one command. Returns the exit code; prints results to stdout, all else to stderr."""
    argv = sys.argv[1:] if argv is None else argv
    first = next((word for word in argv if not word.startswith("-")), None)
    parser = build_parser(only=first if first in COMMANDS else "")
    try:
        arguments = parser.parse_args(argv)
    except SystemExit as leaving:
        return int(leaving.code or 0)
    if not arguments.command:
        parser.print_help()
        return 2
    try:
        return arguments.run(arguments) or 0
    except UserError as trouble:
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
