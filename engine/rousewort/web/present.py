"""Who is in: devices that gave the password or came by a link, each by a name, and the links that let a device in once."""

from __future__ import annotations

import secrets
import socket
import time
from datetime import datetime
from threading import Lock
from typing import NamedTuple

MOST_KNOWN = 4096  # devices that are in
MOST_LINKS = 64  # links that wait for a device
LINK_S = 600.0  # a link that nobody followed ends by itself
MOST_NAME = 40  # signs


class Device(NamedTuple):
    """A device that is in. `id` is for pages to speak of it; the ticket that its cookie holds is never shown."""

    id: str
    name: str
    since: datetime


class Present:
    """Known here and nowhere else, so that a cookie kept somewhere is worth nothing after signing out."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._in: dict[str, Device] = {}  # by ticket, in order of coming

    def enter(self, name: str = "") -> str:
        ticket = secrets.token_urlsafe(16)
        shown = " ".join(name.split())[:MOST_NAME] or "a device without a name"
        with self._lock:
            while len(self._in) >= MOST_KNOWN:
                del self._in[next(iter(self._in))]
            self._in[ticket] = Device(secrets.token_hex(6), shown, datetime.now())
        return ticket

    def has(self, ticket: object) -> bool:
        return isinstance(ticket, str) and ticket in self._in

    def device(self, ticket: object) -> Device | None:
        return self._in.get(ticket) if isinstance(ticket, str) else None

    def all(self) -> list[Device]:
        with self._lock:
            return list(self._in.values())

    def leave(self, ticket: object) -> None:
        with self._lock:
            if isinstance(ticket, str):
                self._in.pop(ticket, None)

    def strike(self, id: str) -> Device | None:
        """Put out the device of that id: what it asks from now on leads to the password."""
        with self._lock:
            for ticket, device in self._in.items():
                if device.id == id:
                    return self._in.pop(ticket)
        return None


class Links:
    """Words that let one device in, once, within ten minutes."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._ends: dict[str, float] = {}

    def make(self) -> str:
        word = secrets.token_urlsafe(16)
        with self._lock:
            while len(self._ends) >= MOST_LINKS:
                del self._ends[next(iter(self._ends))]
            self._ends[word] = time.monotonic() + LINK_S
        return word

    def use(self, word: str) -> bool:
        """True once for a link that stands; it is used up by that."""
        with self._lock:
            return self._ends.pop(word, 0.0) > time.monotonic()


def address_here(host: str, port: int) -> str:
    """The address under which this network reaches a server that listens at `host`; no packet is sent to find it."""
    if host in ("0.0.0.0", "::", ""):
        family, far = (socket.AF_INET6, "2001:db8::1") if host == "::" else (socket.AF_INET, "192.0.2.1")
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as asked:
                asked.connect((far, 9))
                host = asked.getsockname()[0]
        except OSError:  # no way out: the machine's name is the best there is
            host = socket.gethostname()
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"
