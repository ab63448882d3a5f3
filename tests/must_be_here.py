"""What a test does without a program or library that it needs."""

from __future__ import annotations

import importlib
import importlib.util
import os
from pathlib import Path
from typing import Any

import pytest

ON_CI = bool(os.environ.get("CI"))


def missing(what: str) -> None:
    """Skips, loudly; on CI, where everything must be there, fails."""
    if ON_CI:
        pytest.fail(f"{what} must be here on CI, and is not")
    pytest.skip(f"{what} is not here: nothing was tested with it")


def needed(module: str) -> Any:
    """A module that a whole file of tests is about; without it they skip, but on CI they fail."""
    return importlib.import_module(module) if ON_CI else pytest.importorskip(module)


def axe_finds(browser: Any) -> list[tuple[str, str, str]]:
    """What axe holds against the page that is open, every fold opened: rule, element, what to mend."""
    spec = importlib.util.find_spec("axe_core_python")
    if spec is None or spec.origin is None:
        missing("axe-core-python, which tests accessibility,")
        raise AssertionError
    browser.execute_script((Path(spec.origin).parent / "axe.min.js").read_text("utf-8"))
    browser.execute_script("document.querySelectorAll('details').forEach(function (d) { d.open = true; })")
    result = browser.execute_async_script("axe.run().then(arguments[0])")
    return [(v["id"], v["nodes"][0]["html"][:120], v["nodes"][0]["failureSummary"][:200]) for v in result["violations"]]
