"""The pages on a network that others share: nobody holds up the bench, nothing counts twice, nothing secret is written down."""

from __future__ import annotations

import http.client
import io
import logging
import os
import random
import re
import signal
import sqlite3
import struct
import threading
import time
import urllib.parse
import zlib
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import pytest
from bench_forms import DAY, token  # type: ignore[import-not-found]
from flask import Flask
from flask.testing import FlaskClient
from rousewort.base.errors import UserError
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger
from rousewort.ledger.opening import open_ledger
from rousewort.web import guard, limits
from rousewort.web.pages import make_app

PASSWORD = "correct horse"
Serve = Callable[[Flask], AbstractContextManager[str]]


@pytest.fixture
def locked(kb: KnowledgeBase, ledger: Ledger) -> Flask:
    return make_app(kb, ledger, lambda: DAY, PASSWORD)


def enter(client: FlaskClient, password: str = PASSWORD, **more: Any) -> Any:
    return client.post("/login", data={**token(client.get("/login").get_data(True)), "password": password}, **more)


class Visitor:
    """A browser of one connection."""

    def __init__(self, address: str) -> None:
        self.line = http.client.HTTPConnection(urllib.parse.urlsplit(address).netloc, timeout=60)
        self.cookie = ""

    def ask(self, path: str, **form: str) -> tuple[int, str, float]:
        began = time.monotonic()
        head = {"Cookie": self.cookie, "Content-Type": "application/x-www-form-urlencoded"}
        self.line.request("POST" if form else "GET", path, urllib.parse.urlencode(form) if form else None, head)
        answer = self.line.getresponse()
        text = answer.read().decode()
        if said := answer.getheader("Set-Cookie"):
            self.cookie = said.split(";")[0]
        return answer.status, text, time.monotonic() - began


def test_wrong_passwords_hold_nobody_up(locked: Flask, serve: Serve) -> None:
    with serve(locked) as address:
        inside = Visitor(address)
        form = token(inside.ask("/login")[1])
        assert inside.ask("/login", **form, password=PASSWORD)[0] == 302
        quiet = min(inside.ask("/")[2] for _ in range(3))
        stop, answers = threading.Event(), []

        def guess() -> None:
            visitor = Visitor(address)
            form = token(visitor.ask("/login")[1])
            while not stop.is_set():
                answers.append(visitor.ask("/login", **form, password="guess"))

        guessers = [threading.Thread(target=guess, daemon=True) for _ in range(8)]
        for one in guessers:
            one.start()
        time.sleep(0.5)
        times = [inside.ask("/") for _ in range(5)]
        stop.set()
        for one in guessers:
            one.join(30)
    assert all(status == 200 for status, _, _ in times)
    assert sorted(took for _, _, took in times)[2] < max(2.0, 20 * quiet)
    statuses = [status for status, _, _ in answers]
    assert set(statuses) <= {401, 429} and statuses.count(401) <= guard.FREE + 6  # the rest were not even compared
    assert max(took for _, _, took in answers) < 5


def test_each_address_waits_for_its_own_mistakes(locked: Flask) -> None:
    client = locked.test_client()
    theirs, ours = {"REMOTE_ADDR": "192.0.2.7"}, {"REMOTE_ADDR": "192.0.2.8"}
    for _ in range(guard.FREE):
        assert enter(client, "wrong", environ_base=theirs).status_code == 401
    refused = enter(client, PASSWORD, environ_base=theirs)
    assert refused.status_code == 429 and int(refused.headers["Retry-After"]) >= 1
    assert "Try again in" in refused.get_data(True)
    assert enter(client, PASSWORD, environ_base=ours).status_code == 302


def test_many_addresses_together_guess_no_faster(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [1000.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    attempts = guard.Attempts()
    attempts.told("192.0.2.1", True)
    tried = 0
    for n in range(100_000):
        now[0] += 0.01  # 100 a second for some 17 minutes
        address = f"2001:db8:{n % 7000:x}::{n:x}" if n % 2 else f"10.{n % 250}.{n // 250 % 250}.7"
        if attempts.wait(address) <= 0:
            attempts.told(address, False)
            tried += 1
    assert tried <= guard.A_MINUTE * 18
    assert attempts.wait("192.0.2.1") <= 0  # who was in before is not locked out
    assert len(attempts._wrong) <= guard.MOST_KNOWN


def test_signing_out_ends_the_session_even_for_a_kept_cookie(locked: Flask) -> None:
    client = locked.test_client()
    assert enter(client).status_code == 302
    page = client.get("/").get_data(True)
    assert "Sign out" in page
    kept = client.get_cookie("session")
    assert kept is not None
    assert client.get("/logout").status_code == 405  # looking changes nothing
    assert client.post("/logout", data=token(page)).headers["Location"].endswith("/login")
    assert client.get("/").status_code == 302
    client.set_cookie("session", kept.value)
    assert client.get("/").headers["Location"].endswith("/login")


def test_without_a_password_there_is_nothing_to_sign_out_of(client: FlaskClient) -> None:
    assert "Sign out" not in client.get("/").get_data(True)


# --- each once


def test_start_form_sent_twice_begins_one_batch(client: FlaskClient, ledger: Ledger) -> None:
    fields = token(client.get("/start").get_data(True))
    answers = [client.post("/start", data={**fields, "name": "eastern redbud", "seeds": "7"}) for _ in range(3)]
    assert {a.headers["Location"] for a in answers} == {"/batch/5L"}
    assert len(ledger.batches(ended=None)) == 5
    assert "noted already" in client.get("/batch/5").get_data(True)
    fields = token(client.get("/start").get_data(True))
    client.post("/start", data={**fields, "name": "eastern redbud", "seeds": "7"})
    assert len(ledger.batches(ended=None)) == 6  # another form is another lot


def test_start_form_sent_by_two_taps_at_once_begins_one_batch(app: Flask, client: FlaskClient, ledger: Ledger) -> None:
    fields = token(client.get("/start").get_data(True))
    cookie = client.get_cookie("session")
    assert cookie is not None
    answers: list[int] = []

    def tap() -> None:
        other = app.test_client()
        other.set_cookie("session", cookie.value)
        answers.append(other.post("/start", data={**fields, "name": "eastern redbud", "seeds": "7"}).status_code)

    taps = [threading.Thread(target=tap) for _ in range(6)]
    for one in taps:
        one.start()
    for one in taps:
        one.join(60)
    assert len(ledger.batches(ended=None)) == 5 and set(answers) <= {302, 503} and 302 in answers


def test_form_that_was_refused_may_be_sent_again(client: FlaskClient, ledger: Ledger) -> None:
    fields = token(client.get("/start").get_data(True))
    assert client.post("/start", data={**fields, "name": "Nonesuch plantus"}).status_code == 400
    assert client.post("/start", data={**fields, "name": "eastern redbud"}).status_code == 302
    assert len(ledger.batches(ended=None)) == 5


# --- nobody holds up the others


def test_writers_that_wait_leave_room_for_readers(
    kb: KnowledgeBase, tmp_path: Path, redbud: dict[str, Any], serve: Serve, filled: Callable[..., None]
) -> None:
    """Somebody keeps the ledger to himself; four taps wait for him."""
    where = tmp_path / "shared.sqlite"
    with open_ledger(where, today=lambda: DAY, wait_s=4) as ledger:
        filled(ledger, redbud)
        with serve(make_app(kb, ledger, lambda: DAY)) as address:
            page = Visitor(address)
            form = token(page.ask("/batch/2")[1])
            other = sqlite3.connect(where, isolation_level=None)
            other.execute("BEGIN IMMEDIATE")
            answers: list[tuple[int, str, float]] = []

            def tap(n: int) -> None:
                visitor = Visitor(address)
                visitor.cookie = page.cookie
                answers.append(visitor.ask("/batch/2E/note", **{**form, "once": f"token-{n:04d}"}, note="x"))

            taps = [threading.Thread(target=tap, args=(n,)) for n in range(6)]
            for one in taps:
                one.start()
            time.sleep(0.3)
            reads = [page.ask("/")[2] for _ in range(3)]
            for one in taps:
                one.join(60)
            other.execute("ROLLBACK")
            other.close()
    assert max(reads) < 3 and max(took for _, _, took in answers) < 9
    assert {status for status, _, _ in answers} <= {400, 503}
    assert any("Somebody else has been writing" in text for _, text, _ in answers)


def test_frozen_database_server_is_given_up_soon(
    kb: KnowledgeBase, place_of: Callable[[str], str], redbud: dict[str, Any]
) -> None:
    where = place_of("postgresql")
    with open_ledger(where, today=lambda: DAY, wait_s=2) as ledger:
        ledger.start(redbud, seeds=5)
        client = make_app(kb, ledger, lambda: DAY).test_client()
        assert client.get("/").status_code == 200
        with ledger.store.read() as connection:
            backend = connection.exec_driver_sql("SELECT pg_backend_pid()").scalar()
        os.kill(backend, signal.SIGSTOP)
        try:
            began = time.monotonic()
            answer = client.get("/")
            took = time.monotonic() - began
        finally:
            os.kill(backend, signal.SIGCONT)
        assert answer.status_code in (400, 500) and took < 9, (answer.status_code, took)
        assert client.get("/").status_code == 200  # with a fresh connection, work goes on


def test_waiting_for_a_lock_of_postgresql_ends(place_of: Callable[[str], str], redbud: dict[str, Any]) -> None:
    where = place_of("postgresql")
    with open_ledger(where, today=lambda: DAY, wait_s=1) as one, open_ledger(where, today=lambda: DAY, wait_s=1) as two:
        one.start(redbud, seeds=5)
        with one.store.write():
            began = time.monotonic()
            with pytest.raises(UserError):
                two.record("1", "note", note="x")
            assert time.monotonic() - began < 4
        assert two.record("1", "note", note="x").turn == 2


def test_pictures_have_one_place_and_take_none_of_the_others(
    app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    began, go_on = threading.Event(), threading.Event()

    def slow(_: Any) -> str:
        began.set()
        go_on.wait(20)
        return "1C"

    monkeypatch.setattr("rousewort.web.pages.read_mark", slow)
    page = client.get("/").get_data(True)
    cookie = client.get_cookie("session")
    assert cookie is not None

    def scan(answers: list[int]) -> None:
        other = app.test_client()
        other.set_cookie("session", cookie.value)
        answers.append(other.post("/scan", data={**token(page), "picture": (io.BytesIO(b"x"), "x.png")}).status_code)

    first: list[int] = []
    thread = threading.Thread(target=scan, args=(first,))
    thread.start()
    assert began.wait(20)
    second: list[int] = []
    scan(second)
    assert second == [503] and client.get("/").status_code == 200
    go_on.set()
    thread.join(20)
    assert first == [302]


def test_one_device_may_ask_only_so_often_and_this_machine_as_it_likes(
    locked: Flask, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(limits.A_MINUTE, "read", 5)
    client = locked.test_client()
    far = {"REMOTE_ADDR": "192.0.2.7"}
    assert [client.get("/", environ_base=far).status_code for _ in range(7)] == [302] * 5 + [429] * 2
    assert client.get("/", environ_base={"REMOTE_ADDR": "192.0.2.8"}).status_code == 302
    assert [client.get("/").status_code for _ in range(7)] == [302] * 7


def test_form_without_a_picture_is_small(client: FlaskClient) -> None:
    assert client.post("/batch/1C/note", data={"note": "x" * 300_000}).status_code == 413


# --- what is written down


def test_log_says_who_and_what_and_never_what_was_typed(locked: Flask, tmp_path: Path) -> None:
    log = tmp_path / "bench.log"
    limits.log_to(str(log))
    try:
        client = locked.test_client()
        enter(client, "wrong horse")
        enter(client)
        client.get("/find?code=1C&password=hunter22")
        client.get("/batch/%0aFAKE%20127.0.0.1%20GET%20/%20200")
        fields = token(client.get("/batch/1").get_data(True))
        client.post("/batch/1C/note", data={**fields, "note": "a private note"})
    finally:
        for handler in list(limits.LOG.handlers):
            limits.LOG.removeHandler(handler)
            handler.close()
        logging.getLogger("rousewort.bench").propagate = True
    text = log.read_text()
    assert (
        "POST /login 401" in text and "a try to sign in was refused" in text and "POST /batch/1C/note 302" in text
    )
    for secret in ("horse", "hunter22", "private", "session", fields["csrf_token"], fields["once"]):
        assert secret not in text
    assert all(re.match(r"\d{4}-\d\d-\d\dT[\d:]{8} 127\.0\.0\.1", line) for line in text.splitlines())


# --- pictures


def png(width: int, height: int, rows: bytes = b"") -> bytes:
    def part(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", zlib.compress(rows)) + part(b"IEND", b"")


EPS = b"%!PS-Adobe-3.0 3G.0\n%%BoundingBox: 0 0 20 20\n%%EndComments\n(touched) print\nshowpage\n"


def scan(client: FlaskClient, data: bytes) -> Any:
    return client.post("/scan", data={**token(client.get("/").get_data(True)), "picture": (io.BytesIO(data), "x.png")})


@pytest.mark.parametrize(
    ("width", "height"), [(1, 39_000_000), (39_000_000, 1), (12_001, 3), (9_000, 9_000), (2**31 - 1, 2**31 - 1)]
)
def test_picture_of_monstrous_size_is_refused_before_it_is_unpacked(
    client: FlaskClient, width: int, height: int
) -> None:
    import tracemalloc

    tracemalloc.start()
    answer = scan(client, png(width, height, b"\x00" * 40_000))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert answer.status_code == 400 and peak < 60_000_000


def test_only_jpeg_png_and_webp_are_opened(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    import subprocess

    from PIL import Image

    monkeypatch.setattr(subprocess, "check_call", lambda *_, **__: pytest.fail("a program was started"))
    monkeypatch.setattr(subprocess, "Popen", lambda *_, **__: pytest.fail("a program was started"))
    assert scan(client, EPS).status_code == 400
    for kind in ("BMP", "TIFF", "GIF", "PPM", "ICO"):
        out = io.BytesIO()
        Image.new("L", (64, 64), 255).save(out, kind)
        answer = scan(client, out.getvalue())
        assert answer.status_code == 400 and "JPEG, PNG or WebP" in answer.get_data(True)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP"])
def test_photograph_of_a_label_is_read_in_each_kind_also_a_large_one_lying_on_its_side(
    client: FlaskClient, kind: str
) -> None:
    import segno
    from PIL import Image

    small = io.BytesIO()
    segno.make("3G", micro=False, error="m").save(small, kind="png", scale=20, border=4)
    whole = Image.new("L", (4000, 3000), 200)
    whole.paste(Image.open(small), (1200, 900))
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6
    whole.save(out, kind, exif=exif)
    assert scan(client, out.getvalue()).headers.get("Location", "").endswith("/batch/3G")


def test_damaged_pictures_are_answered_in_words(client: FlaskClient) -> None:
    import segno
    from PIL import Image

    picture = io.BytesIO()
    segno.make("3G", micro=False, error="m").save(picture, kind="png", scale=6, border=4)
    chance = random.Random(7)
    fields = token(client.get("/").get_data(True))
    seen: dict[int, int] = {}
    for kind in ("PNG", "JPEG", "WEBP", "TIFF", "GIF"):
        out = io.BytesIO()
        Image.open(picture).convert("L").save(out, kind)
        for _ in range(60):
            data = bytearray(out.getvalue())
            for _ in range(chance.choice((1, 4, 30))):
                data[chance.randrange(len(data))] = chance.randrange(256)
            if chance.random() < 0.3:
                del data[chance.randrange(len(data)) :]
            status = client.post("/scan", data={**fields, "picture": (io.BytesIO(bytes(data)), "x")}).status_code
            seen[status] = seen.get(status, 0) + 1
    assert set(seen) <= {302, 400, 404}, seen
