"""A ledger with a few invented batches, its pages, and Chromium the size of a phone."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from bench_forms import DAY  # type: ignore[import-not-found]
from flask import Flask
from flask.testing import FlaskClient
from ledger_places import fresh, place_of, server  # type: ignore[import-not-found]
from must_be_here import missing  # type: ignore[import-not-found]
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger
from rousewort.ledger.opening import open_ledger
from rousewort.ledger.service import plan_to_keep
from rousewort.web.limits import THREADS
from rousewort.web.pages import make_app

__all__ = ["fresh", "place_of", "server"]


@pytest.fixture(scope="session")
def redbud(kb: KnowledgeBase) -> dict[str, Any]:
    return plan_to_keep(kb, "Cercis canadensis", engine="plain")


@pytest.fixture
def ledger(tmp_path: Path, redbud: dict[str, Any]) -> Iterator[Ledger]:
    """1C late in the cold, 2E at its beginning, 3G sown, 4J closed."""
    with open_ledger(tmp_path / "ledger.sqlite", today=lambda: DAY) as opened:
        fill(opened, redbud)
        yield opened


@pytest.fixture(scope="session")
def filled() -> Callable[[Ledger, dict[str, Any]], None]:
    return fill


def fill(ledger: Ledger, redbud: dict[str, Any]) -> None:
    lot = {"held": "demo", "lot": "Sallow Bridge 7", "provenance": "Otter Lane"}
    first = ledger.start(redbud, seeds=120, day=DAY - timedelta(50), **lot).code
    ledger.record(first, "move", step="cold_moist-1", day=DAY - timedelta(50))
    ledger.record(first, "check", finds=["fine"], day=DAY - timedelta(12))
    ledger.start(redbud, seeds=40, **lot)
    for days, end in ((20, False), (60, True)):
        code = ledger.start(redbud, seeds=50, day=DAY - timedelta(days), **lot).code
        ledger.record(code, "sow", day=DAY - timedelta(days))
        ledger.record(code, "count", new=11, day=DAY - timedelta(days - 10))
        if end:
            ledger.record(code, "close", plants=9)


@pytest.fixture
def app(kb: KnowledgeBase, ledger: Ledger) -> Flask:
    return make_app(kb, ledger, lambda: DAY)


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def address(app: Flask) -> Iterator[str]:
    with served(app) as at:
        yield at


@contextmanager
def served(app: Flask) -> Iterator[str]:
    """The pages, served as `rousewort bench serve` serves them."""
    import waitress

    pages = waitress.create_server(app, host="127.0.0.1", port=0, threads=THREADS)
    thread = threading.Thread(target=pages.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{pages.effective_port}"
    pages.task_dispatcher.shutdown()
    pages.close()
    thread.join(0.2)  # the browser keeps its connections; the thread ends with them


@pytest.fixture(scope="session")
def serve() -> Callable[[Flask], AbstractContextManager[str]]:
    return served


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Chromium at 360 x 740, which also writes down what it asks of the net. Missing: skips aloud, and fails on CI."""
    with phone({"performance": "ALL", "browser": "ALL"}) as opened:
        yield opened


@pytest.fixture
def far_chromium() -> Iterator[Any]:
    """A browser to which the pages are another machine's: bench.example is no secure context."""
    with phone({}, "--host-resolver-rules=MAP bench.example 127.0.0.1") as opened:
        yield opened


@pytest.fixture(scope="module")
def quick_chromium() -> Iterator[Any]:
    """The same, for thousands of pages: it writes nothing down."""
    with phone({}) as opened:
        yield opened


@contextmanager
def phone(logged: dict[str, str], *flags: str) -> Iterator[Any]:
    browser, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not browser or not driver:
        missing("Chromium with its driver")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for flag in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--no-proxy-server",
        *flags,
    ):
        options.add_argument(flag)
    if logged:
        options.set_capability("goog:loggingPrefs", logged)
    opened = webdriver.Chrome(options, Service(driver))
    size = {"width": 360, "height": 740, "deviceScaleFactor": 2 if logged else 1, "mobile": True}
    opened.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    yield opened
    opened.quit()
