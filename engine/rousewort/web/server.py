"""The server of the bench pages (waitress)."""

from __future__ import annotations

from flask import Flask
from waitress.server import BaseWSGIServer, MultiSocketServer, create_server

from rousewort.base.errors import UserError
from rousewort.web.limits import THREADS


def listen(app: Flask, host: str, port: int) -> MultiSocketServer | BaseWSGIServer:
    """A server that listens and does not answer yet: `run()` does. Raises UserError where it cannot listen there."""
    try:
        return create_server(app, host=host, port=port, threads=THREADS)
    except (OSError, ValueError) as error:
        raise UserError(f"Cannot listen on {host}:{port}: {error}.") from None
