"""What `rousewort --version` says."""

from __future__ import annotations

from importlib.metadata import version

from rousewort.planning.rules import run


def version_text() -> str:
    """The version, and the rules engine for what makes many plans."""
    engine = (
        "durable_rules" if run.durable_works() else "plain (durable_rules is not installed or cannot be imported here)"
    )
    return f"rousewort {version('rousewort')}, rules engine: {engine}"
