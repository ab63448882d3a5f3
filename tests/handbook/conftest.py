"""A handbook of forty species, built once for all tests here, and a browser to read it with."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from must_be_here import missing, needed
from rousewort.handbook.build import Built, build
from rousewort.knowledge.knowledge_base import KnowledgeBase

# Chosen because a test names them; the rest are spread over the alphabet.
NAMED = ["Cercis canadensis", "Viburnum prunifolium", "Trillium grandiflorum", "Prunus avium", "Gleditsia triacanthos"]


@pytest.fixture(scope="session")
def chosen(species: list[str]) -> list[str]:
    rest = [name for name in species if name not in NAMED]
    return sorted([*NAMED, *(rest[i * len(rest) // 35] for i in range(35))])


@pytest.fixture(scope="session")
def handbook(kb: KnowledgeBase, chosen: list[str], tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Built strictly: any warning or finding fails every test that asks for it."""
    needed("mkdocs")
    return build(kb, tmp_path_factory.mktemp("handbook") / "out", only=chosen, strict=True)


@pytest.fixture(scope="session")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where screenshots go, for a person to look at: ROUSEWORT_PICTURES, or a folder that pytest keeps a while."""
    folder = os.environ.get("ROUSEWORT_PICTURES")
    path = Path(folder) if folder else tmp_path_factory.mktemp("pictures")
    path.mkdir(parents=True, exist_ok=True)
    return path


@pytest.fixture(scope="session")
def address(handbook: Built) -> Iterator[str]:
    """The handbook served on this machine, as `rousewort handbook serve` does."""
    from threading import Thread

    from rousewort.cli.commands.handbook import serving

    server = serving(handbook.folder, 0)
    Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    server.server_close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not chromium or not driver:
        missing("Chromium with its driver")
    try:
        from selenium import webdriver
        from selenium.webdriver.chrome.service import Service
    except ImportError:
        missing("selenium")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-dev-shm-usage"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    window = webdriver.Chrome(options=options, service=Service(driver))
    window.set_page_load_timeout(60)
    yield window
    window.quit()
