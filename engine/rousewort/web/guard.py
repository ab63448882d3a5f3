"""Who may see the bench pages: on this machine everybody, from elsewhere who has the password.

Forms carry a token (Flask-WTF) against forgery by other sites; on loopback only loopback names are answered, so that a
foreign site cannot reach the pages under a name of its own. Nobody is made to wait inside a worker: who tries passwords
too fast is told so at once.
"""

from __future__ import annotations

import hmac
import ipaddress
import re
import secrets
import time
from collections.abc import Callable
from threading import Lock
from urllib.parse import urlsplit

from flask import Flask, Response, abort, flash, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFProtect

from rousewort.web.marks import mark
from rousewort.web.present import Links, Present

PAUSE_S = 1.0  # after a few wrong tries from one address; doubled with each more
FREE = 3  # wrong tries before the first pause
LONGEST_S = 60.0
A_MINUTE = 60  # wrong tries of all addresses together; then only those that were in before may try
MOST_KNOWN = 4096  # addresses
MOST_FORM = 256 * 1024  # bytes of a form without a picture


def is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def protect(app: Flask, password: str | None, address: str = "") -> Links:
    """Put the guard before every page. Without a password only loopback names are answered.

    `address`: where others reach the bench, for links that let a device in. Returns the maker of such links.
    """
    app.secret_key = secrets.token_bytes(32)
    app.config.update(SESSION_COOKIE_HTTPONLY=True, SESSION_COOKIE_SAMESITE="Strict", WTF_CSRF_TIME_LIMIT=None)
    attempts, present, links = Attempts(), Present(), Links()

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
        if present.has(session.get("in")) or request.endpoint in ("login", "join", "static"):
            return None
        return redirect(url_for("login", next=_asked_for()))

    @app.route("/login", methods=["GET", "POST"])
    def login() -> ResponseReturnValue:
        if request.method == "GET" or password is None:
            return render_template("login.html", wrong="")
        return _enter(
            "login.html", lambda: hmac.compare_digest(request.form.get("password", "").encode(), password.encode())
        )

    @app.route("/join/<word>", methods=["GET", "POST"])
    def join(word: str) -> ResponseReturnValue:
        """Looking at a link does not use it up, so that a preview of it cannot; the button does."""
        if request.method == "GET" or password is None:
            return render_template("join.html", wrong="")
        return _enter("join.html", lambda: links.use(word))

    def _enter(page: str, is_right: Callable[[], bool]) -> ResponseReturnValue:
        """Let the device in, or say why not. Links are tried as slowly as passwords."""
        here = request.remote_addr or ""
        wait = attempts.wait(here)
        if wait > 0:
            said = f"Too many tries. Try again in {max(1, round(wait))} s."
            return render_template(page, wrong=said), 429, {"Retry-After": str(max(1, round(wait)))}
        right = is_right()
        attempts.told(here, right)
        if not right:
            said = (
                "This link was used already, or its ten minutes are over. Ask for a new one."
                if page == "join.html"
                else "That was not it."
            )
            return render_template(page, wrong=said), 401
        present.leave(session.get("in"))
        session.clear()
        session["in"] = present.enter(request.form.get("device", ""))
        return redirect(_inside(request.args.get("next", "")) or url_for("due"))

    @app.route("/devices", methods=["GET", "POST"])
    def devices() -> ResponseReturnValue:
        """Who is in; a button strikes one off, another shows a link that lets one more in."""
        if password is None:
            return abort(404)
        link = ""
        if request.method == "POST" and "invite" in request.form:
            link = (address or request.url_root.rstrip("/")) + url_for("join", word=links.make())
        elif request.method == "POST":
            gone = present.strike(request.form.get("strike", ""))
            flash(f"Struck off: {gone.name}." if gone else "That device is gone already.")
            return redirect(url_for("devices"))
        shown = {"devices": present.all(), "own": present.device(session.get("in"))}
        return render_template("devices.html", link=link, mark=mark(link) if link else None, **shown)

    @app.post("/logout")
    def logout() -> ResponseReturnValue:
        present.leave(session.get("in"))
        session.clear()
        return redirect(url_for("login" if password is not None else "due"))

    @app.context_processor
    def _who() -> dict[str, object]:
        device = present.device(session.get("in"))
        return {"signed_in": password is not None and device is not None, "device": device.name if device else ""}

    @app.after_request
    def _quiet(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = (
            "default-src 'none'; script-src 'self'; connect-src 'self'; "
            "style-src 'self'; img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cache-Control"] = "no-cache" if request.endpoint == "static" else "no-store"
        return response

    return links


def _asked_for() -> str | None:
    """The page that was asked for before signing in; nothing for the first page, or for what was to change something."""
    asked = request.full_path.rstrip("?")
    return asked if request.method == "GET" and asked != "/" else None


def _inside(path: str) -> str:
    """The path where it is one of these pages, never an address elsewhere."""
    return path if re.fullmatch(r"/(?![/\\])[!-~]{0,500}", path) and "\\" not in path else ""


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
