"""So that nobody holds up the others: reads, writes and pictures each have places of their own, and each request its line
in the log.

A request that finds no place waits a moment, and is then told to come again; it never takes the place of another kind.
From elsewhere than this machine, an address may only ask so often a minute.
"""

from __future__ import annotations

import logging
import time
from collections import defaultdict, deque
from pathlib import Path
from threading import BoundedSemaphore, Lock
from urllib.parse import quote

from flask import Flask, Response, abort, g, request
from flask.typing import ResponseReturnValue

from rousewort.base.atomic_write import refuse_what_is_no_file
from rousewort.base.errors import UserError
from rousewort.base.secrets import masked
from rousewort.web.guard import is_loopback

PLACES = {"read": 4, "write": 2, "picture": 1}  # at the same time
THREADS = sum(PLACES.values()) + 3  # there is always one left for signing in, styles and a word of refusal
WAIT_S = {"read": 2.0, "write": 2.0, "picture": 0.5}  # for a place
A_MINUTE = {"read": 600, "write": 120, "picture": 20}  # from one address
MOST_KNOWN = 4096  # addresses
LOG = logging.getLogger("rousewort.bench")


def limit(app: Flask) -> None:
    """Give each kind of request its places. To be called before the guard, so that a refusal costs nothing."""
    places = {kind: BoundedSemaphore(number) for kind, number in PLACES.items()}
    often = _Often()

    @app.before_request
    def _place() -> ResponseReturnValue | None:
        g.began, kind = time.monotonic(), _kind()
        if kind is None:
            return None
        address = request.remote_addr or ""
        if not is_loopback(address) and not often.may(address, kind):
            abort(429)
        if not places[kind].acquire(timeout=WAIT_S[kind]):
            abort(503)
        g.place = places[kind]
        return None

    @app.teardown_request
    def _free(_: BaseException | None) -> None:
        place = g.pop("place", None)
        if place is not None:
            place.release()

    @app.after_request
    def _log(response: Response) -> Response:
        if response.status_code in (429, 503):
            response.headers.setdefault("Retry-After", "3")
        LOG.info(log_line(response.status_code))
        if request.endpoint in ("login", "join") and response.status_code in (401, 429):
            LOG.warning("%s: a try to sign in was refused", request.remote_addr)
        return response


def log_line(status: int) -> str:
    """Who asked for what, how it ended, and the milliseconds it took: nothing that was typed, no cookie, no query."""
    took = (time.monotonic() - g.get("began", time.monotonic())) * 1000
    asked = "/join/*" if request.path.startswith("/join/") else request.path[:200]  # such a link lets in who has it
    path = masked(quote(asked, safe="/-._~*"))
    return f"{request.remote_addr} {request.method[:10]} {path} {status} {took:.0f}"


def _kind() -> str | None:
    if request.endpoint in ("login", "join", "logout", "static", None):
        return None
    if request.endpoint == "scan":
        return "picture"
    return "read" if request.method in ("GET", "HEAD", "OPTIONS") else "write"


class _Often:
    def __init__(self) -> None:
        self._lock = Lock()
        self._times: defaultdict[tuple[str, str], deque[float]] = defaultdict(deque)

    def may(self, address: str, kind: str) -> bool:
        now = time.monotonic()
        with self._lock:
            if len(self._times) > MOST_KNOWN:
                self._times.clear()
            times = self._times[address, kind]
            while times and now - times[0] > 60:
                times.popleft()
            if len(times) >= A_MINUTE[kind]:
                return False
            times.append(now)
            return True


def log_to(file: str | None) -> None:
    """The log into a file, each line with its time; without one, only refused tries to sign in, on standard error."""
    form = logging.Formatter("%(asctime)s %(message)s", "%Y-%m-%dT%H:%M:%S")
    for old in list(LOG.handlers):
        LOG.removeHandler(old)
    here = logging.StreamHandler()
    here.setLevel(logging.WARNING)
    handlers: list[logging.Handler] = [here]
    if file:
        refuse_what_is_no_file(Path(file))
        try:
            handlers.append(logging.FileHandler(file, encoding="utf-8"))
        except OSError as error:
            raise UserError(f"The log {file} cannot be written: {error.strerror}.") from None
    for handler in handlers:
        handler.setFormatter(form)
        LOG.addHandler(handler)
    LOG.setLevel(logging.INFO)
    LOG.propagate = False
