"""Taps without a signal: kept on the device, sent in order when it is back, each recorded once, conflicts shown."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from bench_forms import keep, token  # type: ignore[import-not-found]
from flask.testing import FlaskClient
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger
from rousewort.web.pages import make_app
from selenium.webdriver.support.ui import WebDriverWait

NET = {"latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}


def act(client: FlaskClient, path: str, token: str, seen: int, **data: str) -> Any:
    csrf = client.get("/pass").get_json()["csrf_token"]
    fields = {
        "csrf_token": csrf,
        "once": token,
        "turn": str(seen),
        "day": "2025-03-10",
        "time": "14:05",
        "device": "tablet",
    }
    return client.post(path, data=fields | data)


def test_kept_act_is_recorded_once_however_often_it_comes(client: FlaskClient, ledger: Ledger) -> None:
    turn = ledger.batch("3").turn
    for _ in range(5):
        assert act(client, "/batch/3G/count/kept", "aaaaaaaa1", turn, new="5").get_json() == {"state": "done"}
    assert ledger.batch("3").germinated == 16
    assert "tapped at 14:05, tablet" in str(ledger.batch("3").events[-1].data)


def test_kept_act_on_a_batch_that_went_on_is_a_choice_and_records_nothing(client: FlaskClient, ledger: Ledger) -> None:
    turn = ledger.batch("3").turn
    ledger.record("3", "count", new=2)
    said = act(client, "/batch/3G/count/kept", "aaaaaaaa2", turn, new="5").get_json()
    assert said["state"] == "conflict" and said["turn"] == ledger.batch("3").turn and ledger.batch("3").germinated == 13
    assert act(client, "/batch/3G/count/kept", "aaaaaaaa2", said["turn"], new="5").get_json()["state"] == "done"
    assert ledger.batch("3").germinated == 18


@pytest.mark.parametrize(
    ("path", "data"),
    [
        ("/batch/3G/count/kept", {"new": "999"}),
        ("/batch/3G/count/kept", {"new": "1", "day": "x"}),
        ("/batch/3G/count/kept", {"new": "1", "once": ""}),
        ("/batch/3G/split/kept", {"seeds": "1"}),
        ("/batch/99Z/count/kept", {"new": "1"}),
    ],
)
def test_kept_act_that_cannot_be_is_refused_in_words(
    client: FlaskClient, ledger: Ledger, path: str, data: dict[str, str]
) -> None:
    before = ledger.batches(ended=None)
    said = act(client, path, "aaaaaaaa3", ledger.batch("3").turn, **data).get_json()
    assert said["state"] == "refused" and said["text"] and ledger.batches(ended=None) == before


def test_kept_act_needs_the_token_of_the_pages_and_a_device_that_is_in(
    kb: KnowledgeBase, client: FlaskClient, ledger: Ledger
) -> None:
    turn = str(ledger.batch("3").turn)
    form = {"new": "5", "once": "aaaaaaaa4", "turn": turn, "day": "2025-03-10"}
    assert client.post("/batch/3G/count/kept", data=form).status_code == 400
    outside = make_app(kb, ledger, lambda: date(2025, 3, 10), "correct horse").test_client()
    form |= token(outside.get("/login").get_data(True))
    assert outside.post("/batch/3G/count/kept", data=form).status_code == 302
    assert outside.get("/pass").status_code == 302
    assert ledger.batch("3").germinated == 11


@pytest.fixture
def cut(chromium: Any) -> Iterator[Any]:
    """Cuts the browser's network, or joins it again."""
    chromium.execute_cdp_cmd("Network.enable", {})
    yield lambda off: chromium.execute_cdp_cmd("Network.emulateNetworkConditions", {"offline": off, **NET})
    chromium.execute_cdp_cmd("Network.emulateNetworkConditions", {"offline": False, **NET})


def count(chromium: Any, button: str) -> None:
    chromium.find_element("css selector", f"button[aria-label='{button}']").click()


def waiting(chromium: Any) -> int:
    return chromium.execute_script("return JSON.parse(localStorage.getItem('rousewort-waiting') || '[]').length")


def until(chromium: Any, number: int) -> None:
    WebDriverWait(chromium, 20).until(lambda _: waiting(chromium) == number)


def test_taps_without_signal_wait_and_go_over_once_in_order(
    chromium: Any, cut: Any, address: str, ledger: Ledger
) -> None:
    stays = chromium.current_window_handle
    chromium.switch_to.new_window("tab")
    chromium.get(address + "/batch/3")
    before = len(ledger.batch("3").events)
    cut(True)
    for n, button in enumerate(("1 new", "2 new", "5 new"), 1):
        count(chromium, button)
        until(chromium, n)
    assert "3 waiting on this device" in chromium.find_element("id", "waiting").text
    keep(chromium, "waiting")
    assert len(ledger.batch("3").events) == before
    chromium.close()  # closing the page loses nothing
    chromium.switch_to.window(stays)
    chromium.get(address + "/")
    until(chromium, 0)
    assert [event.data["new"] for event in ledger.batch("3").events[before:]] == [1, 2, 5]


def start(where: str, port: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "rousewort.cli.main", "bench", "serve", "--ledger", where, "--port", str(port)]
    environment = {**os.environ, "ROUSEWORT_BENCH_PASSWORD": "correct horse"}
    serving = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
    for _ in range(600):
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return serving
        time.sleep(0.05)
    raise AssertionError("the pages were not served")


def sign_in(chromium: Any, port: int) -> None:
    chromium.get(f"http://bench.example:{port}/login?next=/batch/3")
    chromium.find_element("id", "password").send_keys("correct horse\n")
    WebDriverWait(chromium, 20).until(lambda _: chromium.current_url.endswith("/batch/3"))


def test_server_killed_again_and_again_loses_and_doubles_nothing(
    far_chromium: Any, ledger: Ledger, tmp_path: Path
) -> None:
    """On a host name that is no secure context: taps without signal, then a server that dies while they go over."""
    ledger.start(ledger.batch("3").plan, seeds=5000, held="demo")
    ledger.record("5", "sow")
    before = len(ledger.batch("5").events)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    far_chromium.execute_cdp_cmd("Network.enable", {})
    serving = start(str(tmp_path / "ledger.sqlite"), port)
    try:
        sign_in(far_chromium, port)
        far_chromium.get(f"http://bench.example:{port}/batch/5")
        assert far_chromium.execute_script("return window.isSecureContext") is False
        far_chromium.execute_cdp_cmd("Network.emulateNetworkConditions", {"offline": True, **NET})
        taps = [(1, 2, 5, 10)[n % 4] for n in range(40)]
        for n, new in enumerate(taps, 1):
            count(far_chromium, f"{new} new")
            until(far_chromium, n)
        far_chromium.execute_cdp_cmd("Network.emulateNetworkConditions", {"offline": False, **NET})
        for n in range(6):
            serving.send_signal(signal.SIGKILL)
            serving.wait()
            serving = start(str(tmp_path / "ledger.sqlite"), port)
            sign_in(far_chromium, port)  # and the queue begins to go over
            time.sleep(0.05 * n)
        WebDriverWait(far_chromium, 60).until(lambda _: waiting(far_chromium) == 0)
    finally:
        serving.kill()
        serving.wait()
    assert [event.data["new"] for event in ledger.batch("5").events[before:]] == taps


def test_other_device_meanwhile_is_a_choice(chromium: Any, cut: Any, address: str, ledger: Ledger) -> None:
    chromium.get(address + "/batch/3")
    cut(True)
    count(chromium, "5 new")
    until(chromium, 1)
    ledger.record("3", "count", new=2)
    cut(False)
    WebDriverWait(chromium, 20).until(lambda _: "Meanwhile" in chromium.find_element("id", "waiting").text)
    keep(chromium, "conflict")
    assert ledger.batch("3").germinated == 13
    chromium.find_element("xpath", "//button[. = 'Record mine too']").click()
    until(chromium, 0)
    assert ledger.batch("3").germinated == 18


def test_with_a_signal_nothing_is_left_waiting(chromium: Any, address: str, ledger: Ledger) -> None:
    chromium.get(address + "/batch/3")
    count(chromium, "5 new")
    WebDriverWait(chromium, 20).until(lambda _: ledger.batch("3").germinated == 16)
    until(chromium, 0)
    time.sleep(0.5)
    assert ledger.batch("3").germinated == 16
