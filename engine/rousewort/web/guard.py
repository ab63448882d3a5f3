"""Who may see the bench pages: on this machine everybody, from elsewhere who has the password.

Forms carry a token (Flask-WTF) against forgery by other sites; on loopback only loopback names are answered, so that a
foreign site cannot reach the pages under a name of its own. Nobody is made to wait inside a worker: who tries passwords
too fast is told so at once.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import time
from threading import Lock
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFProtect

PAUSE_S = 1.0  # after a few wrong tries from one address; doubled with each more
FREE = 3  # wrong tries before the first pause
LONGEST_S = 60.0
A_MINUTE = 60  # wrong tries of all addresses together; then only those that were in before may try
MOST_KNOWN = 4096  # addresses, and people who are in
MOST_FORM = 256 * 1024  # bytes of a form without a picture


def is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def protect(app: Flask, password: str | None) -> Attempts:
    """Put the guard before every page. Without a password only loopback names are answered."""
    app.secret_key = secrets.token_bytes(32)
    app.config.update(SESSION_COOKIE_HTTPONLY=True, SESSION_COOKIE_SAMESITE="Strict", WTF_CSRF_TIME_LIMIT=None)
    attempts, present = Attempts(), _Present()

    @app.before_request
    def _small() -> ResponseReturnValue | None:
        too_large = request.endpoint != "scan" and (request.content_length or 0) > MOST_FORM
        return abort(413) if too_large else None

    CSRFProtect(app)

    @app.before_request
    def _allowed() -> ResponseReturnValue | None:
        if password is None:
            host = urlsplit(f"//{request.host}").hostname or ""
            return None if is_loopback(host) else abort(403)
        if present.has(session.get("in")) or request.endpoint in ("login", "static"):
            return None
        return redirect(url_for("login"))

    @app.route("/login", methods=["GET", "POST"])
    def login() -> ResponseReturnValue:
        if request.method == "GET" or password is None:
            return render_template("login.html", wrong="")
        address = request.remote_addr or ""
        wait = attempts.wait(address)
        if wait > 0:
            said = f"Too many tries. Try again in {max(1, round(wait))} s."
            return render_template("login.html", wrong=said), 429, {"Retry-After": str(max(1, round(wait)))}
        right = hmac.compare_digest(request.form.get("password", "").encode(), password.encode())
        attempts.told(address, right)
        if not right:
            return render_template("login.html", wrong="That was not it."), 401
        session.clear()
        session["in"] = present.enter()
        return redirect(url_for("due"))

    @app.post("/logout")
    def logout() -> ResponseReturnValue:
        present.leave(session.get("in"))
        session.clear()
        return redirect(url_for("login" if password is not None else "due"))

    @app.context_processor
    def _who() -> dict[str, bool]:
        return {"signed_in": password is not None and present.has(session.get("in"))}

    @app.after_request
    def _quiet(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = (
            "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cache-Control"] = "no-cache" if request.endpoint == "static" else "no-store"
        return response

    return attempts


class _Present:
    """Who is in: known here, so that a cookie kept somewhere is worth nothing after signing out."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._in: dict[str, None] = {}  # in order of coming

    def enter(self) -> str:
        ticket = secrets.token_urlsafe(16)
        with self._lock:
            while len(self._in) >= MOST_KNOWN:
                del self._in[next(iter(self._in))]
            self._in[ticket] = None
        return ticket

    def has(self, ticket: object) -> bool:
        return isinstance(ticket, str) and ticket in self._in

    def leave(self, ticket: object) -> None:
        with self._lock:
            if isinstance(ticket, str):
                self._in.pop(ticket, None)


class Attempts:
    """How soon an address may try a password again: guessing is slow for who guesses, and for nobody else."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._wrong: dict[str, tuple[int, float]] = {}  # wrong tries in a row, and the last one's time
        self._known: dict[str, None] = {}  # addresses that were in
        self._lately: list[float] = []

    def wait(self, address: str) -> float:
        """Seconds until this address may try; 0 or less: now."""
        now, key = time.monotonic(), _network(address)
        with self._lock:
            times, last = self._wrong.get(key, (0, 0.0))
            pause = 0.0 if times < FREE else min(LONGEST_S, PAUSE_S * 2 ** (times - FREE))
            own = last + pause - now if times else 0.0
            self._lately = [t for t in self._lately if now - t < 60]
            if len(self._lately) >= A_MINUTE and key not in self._known:
                return max(own, self._lately[0] + 60 - now)
            return own

    def told(self, address: str, right: bool) -> None:
        now, key = time.monotonic(), _network(address)
        with self._lock:
            if right:
                self._wrong.pop(key, None)
                self._known[key] = None
            else:
                times, _ = self._wrong.pop(key, (0, 0.0))
                self._wrong[key] = (times + 1, now)
                self._lately.append(now)
            for known in (self._wrong, self._known):
                while len(known) > MOST_KNOWN:
                    del known[next(iter(known))]


def _network(address: str) -> str:
    """One device: an address, of IPv6 the /64 that it can move in at will."""
    try:
        found = ipaddress.ip_address(address.split("%")[0])
    except ValueError:
        return address
    return str(ipaddress.ip_network((found, 64), strict=False)) if found.version == 6 else str(found)
