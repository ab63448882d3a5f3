"""What the tests of the bench pages share: their day, and the hidden fields of a form."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

DAY = date(2025, 3, 10)
SHOTS = Path(__file__).parents[2] / "shots"


def token(page: str) -> dict[str, str]:
    """The hidden fields of a page's first form."""
    found = {"csrf_token": re.search(r'name="csrf_token" value="([^"]+)"', page)[1]}  # type: ignore[index]
    turn = re.search(r'name="turn" value="([0-9]+)"', page)
    return found | ({"turn": turn[1]} if turn else {})
