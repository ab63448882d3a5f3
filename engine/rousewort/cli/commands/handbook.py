"""rousewort handbook build | serve"""

from __future__ import annotations

import argparse
import sys
import tempfile
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING

from rousewort.base.errors import UserError
from rousewort.base.output import needed
from rousewort.cli.options import layers
from rousewort.knowledge.knowledge_base import load

if TYPE_CHECKING:
    from http.server import ThreadingHTTPServer
    from pathlib import Path

HELP = "Build the handbook: a page for every species, with its plan, reasons and sources, and many ways in; or look at it in a browser."
EPILOG = """examples:
  rousewort handbook build --out handbook
  rousewort handbook build --out handbook --strict      (any warning is a failure)
  rousewort handbook build --out ours --kb ~/my-nursery-kb
  rousewort handbook serve                              (builds into a temporary folder and shows it)
  rousewort handbook serve --out handbook               (shows one that is built)
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("do", choices=["build", "serve"], help="build the handbook, or show it on this machine")
    parser.add_argument(
        "--out",
        metavar="DIR",
        help="the folder of the handbook; build replaces an earlier one when the new one is finished",
    )
    parser.add_argument(
        "--strict", action="store_true", help="build: fail on any warning, broken link or suspicious element"
    )
    parser.add_argument("--force", action="store_true", help="build: replace a folder that is no earlier handbook")
    parser.add_argument(
        "--only", action="append", default=[], metavar="SPECIES", help="build: only this species (may be said again)"
    )
    parser.add_argument(
        "--builder",
        default="mkdocs",
        metavar="MODULE",
        help="build: what turns the pages into HTML: mkdocs, or a drop-in successor of it that is installed",
    )
    parser.add_argument("--port", type=int, default=8000, help="serve: the port on this machine (8000)")


def run(arguments: argparse.Namespace) -> int:
    if arguments.do == "build":
        return _build(arguments)
    return _serve(arguments)


def _build(arguments: argparse.Namespace, out: str | None = None) -> int:
    out = out or arguments.out
    if not out:
        raise UserError("Say where the handbook goes: rousewort handbook build --out DIR")
    with needed("jinja2", "handbook"), needed("markupsafe", "handbook"):
        from rousewort.handbook.build import build
    built = build(
        load(layers(arguments)),
        Path(out).resolve(),
        only=arguments.only or None,
        strict=arguments.strict,
        force=arguments.force,
        builder=arguments.builder,
        tell=lambda text: print(text, file=sys.stderr),
    )
    for problem in built.problems:
        print(f"warning: {problem}", file=sys.stderr)
    print(f"{built.pages} pages, {built.size / 1e6:.1f} MB: {Path(out) / 'index.html'}")
    return 0


def _serve(arguments: argparse.Namespace) -> int:
    if arguments.out:
        if not (Path(arguments.out) / "index.html").is_file():
            raise UserError(
                f"There is no handbook at {arguments.out}. Build it: rousewort handbook build --out {arguments.out}"
            )
        return _show(Path(arguments.out), arguments.port)
    with tempfile.TemporaryDirectory(prefix="rousewort-handbook-") as folder:
        out = Path(folder) / "handbook"
        _build(arguments, str(out))
        return _show(out, arguments.port)


def serving(folder: Path, port: int) -> ThreadingHTTPServer:
    """A server of a built handbook on this machine only. Raises UserError where the port cannot be had."""

    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, format: str, *args: object) -> None:
            """Not every request is worth a line."""

        def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
            """The handbook's own page for what is not there."""
            page = folder / "404.html"
            if code != 404 or not page.is_file():
                return super().send_error(code, message, explain)
            body = page.read_bytes()
            self.send_response(404)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            if self.command != "HEAD":
                self.wfile.write(body)

    try:
        return ThreadingHTTPServer(("127.0.0.1", port), partial(Quiet, directory=str(folder)))
    except (OSError, OverflowError) as error:
        raise UserError(f"Port {port} cannot be used ({error}). Choose another with --port.") from error


def _show(folder: Path, port: int) -> int:
    server = serving(folder, port)
    print(f"The handbook is at http://127.0.0.1:{server.server_address[1]}/  (Ctrl-C ends it)", flush=True)
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        return 130
    finally:
        server.server_close()
    return 0
