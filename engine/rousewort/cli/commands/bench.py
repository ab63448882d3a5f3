"""rousewort bench serve"""

from __future__ import annotations

import argparse
import os
import re
import sys

from rousewort.base.atomic_write import read_text
from rousewort.base.errors import UserError

HELP = "Pages for a phone at the bench, over the ledger: what is due, check, move, count, labels. Served from this machine."
EPILOG = """examples:
  rousewort bench serve
  rousewort bench serve --host 0.0.0.0 --password-file bench-password.txt

Only this machine can reach the pages unless you say --host; then a password is needed, in a file or in the environment
variable ROUSEWORT_BENCH_PASSWORD. With it a link is shown,
and a code to scan, that lets one phone in; more on the page Devices. The pages are not encrypted: use them in your own network only.
"""

WAIT_S = 4  # for other writers, or for a database that says nothing: shorter than a thumb's patience


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.set_defaults(help=parser.print_help)
    what = parser.add_subparsers(dest="what", metavar="WHAT", prog="rousewort bench")
    serve = what.add_parser("serve", help="serve the pages until interrupted")
    serve.add_argument("--ledger", metavar="WHERE", help="a file, or postgresql://user@host/database")
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1: this machine only)")
    serve.add_argument("--port", type=int, default=8472, help="port to listen on (8472)")
    serve.add_argument(
        "--address", metavar="URL", help="where phones reach the pages, if not found: http://bench.local:8472"
    )
    serve.add_argument("--log", metavar="FILE", help="write down there who asked for what, and how it ended")
    serve.add_argument("--password-file", metavar="FILE", help="a file whose first line is the password")


def run(arguments: argparse.Namespace) -> int:
    if arguments.what is None:
        arguments.help()
        return 2

    try:
        from rousewort.cli import batching
        from rousewort.web import guard, limits, pages, present, server
    except ImportError as error:
        raise UserError(f"The bench pages need {error.name}: pip install 'rousewort[bench]'") from None
    password = _password(arguments.password_file)
    if not guard.is_loopback(arguments.host) and password is None:
        raise UserError(
            f"Others could reach the pages at {arguments.host}, so a password is needed: --password-file FILE, or the "
            "environment variable ROUSEWORT_BENCH_PASSWORD."
        )
    if not 1 <= arguments.port <= 65535:
        raise UserError(f"Cannot listen on {arguments.host}:{arguments.port}: a port is a number from 1 to 65535.")
    open_to_others = not guard.is_loopback(arguments.host)
    address = _address(arguments.address) or (
        present.address_here(arguments.host, arguments.port) if open_to_others else ""
    )
    limits.log_to(arguments.log)
    ledger = batching.open_for(arguments, wait_s=WAIT_S)
    app = pages.make_app(batching.knowledge(arguments), ledger, batching.today, password, address)
    listening = server.listen(app, arguments.host, arguments.port)
    try:
        shown = address or present.address_here(arguments.host, arguments.port)
        print(f"Bench pages: {shown}/  (Ctrl-C ends)", file=sys.stderr, flush=True)
        if address and password is not None:
            _invite(f"{address}/join/{app.extensions['links'].make()}")
        listening.run()
    except KeyboardInterrupt:  # asked to end before the server itself looked out for it
        pass
    finally:
        listening.close()
        ledger.close()
    return 0


def _address(text: str | None) -> str:
    """The address as given, without a path. Raises UserError for what is none."""
    if text is None:
        return ""
    if not re.fullmatch(r"https?://([A-Za-z0-9.-]+|\[[0-9A-Fa-f:.]+\])(:[0-9]{1,5})?/?", text):
        raise UserError(f"'{text}' is no address of the pages. Write it like http://bench.local:8472")
    return text.rstrip("/")


def _invite(link: str) -> None:
    """A link that lets one phone in, to be scanned from the terminal; in words alone where segno is not installed."""
    print(f"Let one phone in, once, within ten minutes: {link}", file=sys.stderr, flush=True)
    try:
        import segno
    except ImportError:
        return
    if sys.stderr.isatty():
        segno.make(link, micro=False, error="m").terminal(out=sys.stderr, compact=True)


def _password(file: str | None) -> str | None:
    password = os.environ.get("ROUSEWORT_BENCH_PASSWORD")
    if file:
        try:
            password = (read_text(file, 4096).splitlines() or [""])[0]
        except (OSError, UnicodeDecodeError) as error:
            raise UserError(f"The password file {file} cannot be read: {error}.") from None
    if password is not None and len(password) < 8:
        raise UserError("The password must have 8 signs or more.")
    return password
