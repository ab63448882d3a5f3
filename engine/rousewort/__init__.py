"""Rousewort: how to wake a dormant seed, and why.

The API in three names: `load()` opens the knowledge base, `Planner` makes plans from it, `make_grower` says what the
grower has. They are imported when first used, so that `import rousewort` costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rousewort.errors import Trouble
    from rousewort.grower import Grower, make_grower
    from rousewort.knowledge.base import KnowledgeBase, load
    from rousewort.plan import Plan, Planner

_HOMES = {
    "load": "rousewort.knowledge.base",
    "KnowledgeBase": "rousewort.knowledge.base",
    "Planner": "rousewort.plan",
    "Plan": "rousewort.plan",
    "Grower": "rousewort.grower",
    "make_grower": "rousewort.grower",
    "Trouble": "rousewort.errors",
}
__all__ = ["Grower", "KnowledgeBase", "Plan", "Planner", "Trouble", "load", "make_grower"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
