"""What a test does without a program or library that it needs."""

from __future__ import annotations

import os

import pytest

ON_CI = bool(os.environ.get("CI"))


def missing(what: str) -> None:
    """Skips, loudly; on CI, where everything must be there, fails."""
    if ON_CI:
        pytest.fail(f"{what} must be here on CI, and is not")
    pytest.skip(f"{what} is not here: nothing was tested with it")
