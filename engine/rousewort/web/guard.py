"""Who may see the bench pages: on this machine everybody, from elsewhere who has the password.

Forms carry a token (Flask-WTF) against forgery by other sites; on loopback only loopback names are answered, so that a
foreign site cannot reach the pages under a name of its own.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import time
from threading import Lock
from urllib.parse import urlsplit

from flask import Flask, abort, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFProtect

PAUSE_S = 1.0  # between two attempts at the password, whoever makes them


def is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def protect(app: Flask, password: str | None) -> None:
    """Put the guard before every page. Without a password only loopback names are answered."""
    app.secret_key = secrets.token_bytes(32)
    app.config.update(SESSION_COOKIE_HTTPONLY=True, SESSION_COOKIE_SAMESITE="Strict", WTF_CSRF_TIME_LIMIT=None)
    CSRFProtect(app)
    attempts = _Attempts()

    @app.before_request
    def _allowed() -> ResponseReturnValue | None:
        if password is None:
            host = urlsplit(f"//{request.host}").hostname or ""
            return None if is_loopback(host) else abort(403)
        if session.get("in") or request.endpoint in ("login", "static"):
            return None
        return redirect(url_for("login"))

    @app.route("/login", methods=["GET", "POST"])
    def login() -> ResponseReturnValue:
        wrong = False
        if request.method == "POST" and password is not None:
            attempts.wait()
            if hmac.compare_digest(request.form.get("password", "").encode(), password.encode()):
                session["in"] = True
                return redirect(url_for("due"))
            wrong = True
        return render_template("login.html", wrong=wrong), 401 if wrong else 200

    @app.after_request
    def _quiet(response):  # type: ignore[no-untyped-def]
        response.headers["Content-Security-Policy"] = (
            "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cache-Control"] = "no-cache" if request.endpoint == "static" else "no-store"
        return response


class _Attempts:
    """At most one attempt in PAUSE_S seconds: guessing is slow, and the right one is not locked out for long."""

    def __init__(self) -> None:
        self._lock, self._last = Lock(), 0.0

    def wait(self) -> None:
        with self._lock:
            time.sleep(max(0.0, min(PAUSE_S, self._last + PAUSE_S - time.monotonic())))
            self._last = time.monotonic()
