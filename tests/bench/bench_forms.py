"""What the tests of the bench pages share: their day, and the hidden fields of a form."""

from __future__ import annotations

import base64
import os
import re
from datetime import date
from pathlib import Path
from typing import Any

DAY = date(2025, 3, 10)
SHOTS = Path(__file__).parents[2] / "shots"


def token(page: str) -> dict[str, str]:
    """The hidden fields of a page's first form."""
    found = {"csrf_token": re.search(r'name="csrf_token" value="([^"]+)"', page)[1]}  # type: ignore[index]
    if once := re.search(r'name="once" value="([^"]+)"', page):
        found["once"] = once[1]
    turn = re.search(r'name="turn" value="([0-9]+)"', page)
    return found | ({"turn": turn[1]} if turn else {})


def keep(chromium: Any, name: str) -> None:
    """With ROUSEWORT_SHOTS=1 the page is kept as a picture, to be looked at."""
    if os.environ.get("ROUSEWORT_SHOTS"):
        SHOTS.mkdir(exist_ok=True)
        shot = chromium.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True, "format": "png"})
        (SHOTS / f"bench-{name}.png").write_bytes(base64.b64decode(shot["data"]))


def press(chromium: Any, text: str, within: str = "main") -> None:
    """Press the first button of that name, as a thumb would, and wait for the page that follows."""
    follow(
        chromium, chromium.find_element("xpath", f"//{within}//button[contains(., '{text}') or @aria-label='{text}']")
    )


def follow(chromium: Any, button: Any, key: str = "") -> None:
    """Press what leads to another page (or a key on it), and wait for that page."""
    from selenium.common.exceptions import WebDriverException
    from selenium.webdriver.support.ui import WebDriverWait

    before = chromium.find_element("tag name", "html")

    def gone(_: Any) -> bool:
        try:
            return not before.is_enabled()
        except WebDriverException:  # stale, or its document is being taken down
            return True

    button.send_keys(key) if key else button.click()
    WebDriverWait(chromium, 20, poll_frequency=0.02).until(gone)


def unfold(chromium: Any) -> None:
    for closed in chromium.find_elements("css selector", "details:not([open]) > summary"):
        closed.click()


def tab_to(chromium: Any, what: str) -> None:
    """Press the tabulator until what bears that name has the focus."""
    for _ in range(60):
        chromium.switch_to.active_element.send_keys("\ue004")
        focused = chromium.switch_to.active_element
        if what in (focused.accessible_name or focused.text):
            return
    raise AssertionError(f"the keyboard does not reach {what}")
