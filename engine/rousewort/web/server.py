"""The server of the bench pages (waitress)."""

from __future__ import annotations

import waitress
from flask import Flask
from waitress.server import BaseWSGIServer, MultiSocketServer

from rousewort.base.errors import UserError

THREADS = 4


def listen(app: Flask, host: str, port: int) -> MultiSocketServer | BaseWSGIServer:
    """A server that listens and does not answer yet: `run()` does. Raises UserError where it cannot listen there."""
    try:
        return waitress.create_server(app, host=host, port=port, threads=THREADS)
    except (OSError, ValueError) as error:
        raise UserError(f"Cannot listen on {host}:{port}: {error}.") from None
