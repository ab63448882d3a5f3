"""The `rousewort` command: finds the subcommand, runs it, turns trouble into clear words and exit codes.

Exit codes: 0 fine, 1 a check failed, 2 wrong use, 3 our fault, 130 interrupted.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys

from rousewort.base.errors import CacheDamaged, UserError
from rousewort.base.secrets import masked
from rousewort.cli.console import CannotPrint, prepare
from rousewort.cli.parser import COMMANDS, build_parser
from rousewort.knowledge.knowledge_base import drop_damaged


def main(argv: list[str] | None = None, again: bool = False) -> int:
    """Run one command. Returns the exit code; prints results to stdout, all else to stderr.

    `again`: it is run once more, since a cache was damaged.
    """
    argv = sys.argv[1:] if argv is None else argv
    first = next((word for word in argv if not word.startswith("-")), None)
    parser = build_parser(only=first if first in COMMANDS else "")
    try:
        arguments = parser.parse_args(argv)
    except SystemExit as leaving:
        return _after_help(int(leaving.code or 0), argv)
    except OSError as error:  # --version, with nowhere to print it
        return _ended_by(error, argv)
    if not arguments.command:
        parser.print_help()
        return 2
    try:
        status = arguments.run(arguments) or 0
        sys.stdout.flush()
        return status
    except (Exception, KeyboardInterrupt) as error:
        if not again and not getattr(arguments, "recorded", False) and _cache_was_damaged(error):
            return main(argv, again=True)
        status = _ended_by(error, argv)
    if status and status != 130 and getattr(arguments, "recorded", False):
        print("rousewort: What was to be recorded is recorded. Do not repeat it.", file=sys.stderr)
        return 0
    return status


def _after_help(status: int, argv: list[str]) -> int:
    """Help, version or wrong use: told as done only where it could be printed."""
    try:
        sys.stdout.flush()
    except OSError as error:
        return _ended_by(error, argv)
    return status


def _ended_by(error: BaseException, argv: list[str]) -> int:
    """One plain line for whatever went wrong, and the exit code of it."""
    if isinstance(error, UserError):
        print(f"rousewort: {error}", file=sys.stderr)
        return error.exit_code
    if isinstance(error, BrokenPipeError):
        _print_no_more()
        return 0
    if isinstance(error, KeyboardInterrupt):
        print("rousewort: interrupted", file=sys.stderr)
        return 130
    if isinstance(error, CannotPrint):
        _print_no_more()
        print(f"rousewort: standard output cannot be written: {error.strerror}", file=sys.stderr)
        return 2
    if isinstance(error, OSError) and error.strerror:
        where = f"{error.filename}: " if error.filename else ""
        print(f"rousewort: {where}{error.strerror}", file=sys.stderr)
        return 2
    return _our_fault(error, argv)


def _cache_was_damaged(error: BaseException) -> bool:
    """Whether that rests on a damaged cache, and so is no fault of ours. Damaged caches are removed."""
    if isinstance(error, (UserError, OSError, KeyboardInterrupt)):
        return False
    with contextlib.suppress(OSError):
        return drop_damaged() or isinstance(error, CacheDamaged)
    return False


def _print_no_more() -> None:
    """What is still to be printed goes nowhere: the end of the program would try once more."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _our_fault(fault: BaseException, argv: list[str]) -> int:
    """A bug: a short word to the user, the whole trace in a file ready to send, without passwords."""
    import tempfile
    import traceback

    trace = masked(f"arguments: {argv}\n" + "".join(traceback.format_exception(fault)))
    said = f"rousewort: a fault of ours: {masked(repr(fault))[:500]}"
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="rousewort-fault-", suffix=".txt", delete=False, encoding="utf-8", errors="replace"
        ) as log:
            log.write(trace)
    except OSError as error:
        print(f"{said}\nIts trace could not be written: {error.strerror or error}", file=sys.stderr)
        return 3
    print(f"{said}\nPlease send us this file: {log.name}", file=sys.stderr)
    return 3


def run() -> None:
    _end_orderly()
    prepare(sys.argv[1:])
    status = main()
    try:
        sys.stdout.flush()
    except OSError:
        _print_no_more()
    sys.exit(status)


def _end_orderly() -> None:
    """Asked to end (SIGTERM, or its terminal is closed) it does what it does for Ctrl-C: whatever is open is closed."""
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)


if __name__ == "__main__":
    run()
