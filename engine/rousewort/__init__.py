"""Rousewort: how to wake a dormant seed, and why.

The API in three names: `load()` opens the knowledge base, `Planner` makes plans from it, `make_grower` says what the
grower has. They are imported when first used, so that `import rousewort` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rousewort.base.errors import UserError
    from rousewort.knowledge.knowledge_base import KnowledgeBase, load
    from rousewort.planning.grower import Grower, make_grower
    from rousewort.planning.plan import Plan, Planner

_HOMES = {
    "load": "rousewort.knowledge.knowledge_base",
    "KnowledgeBase": "rousewort.knowledge.knowledge_base",
    "Planner": "rousewort.planning.plan",
    "Plan": "rousewort.planning.plan",
    "Grower": "rousewort.planning.grower",
    "make_grower": "rousewort.planning.grower",
    "UserError": "rousewort.base.errors",
}
__all__ = ["Grower", "KnowledgeBase", "Plan", "Planner", "UserError", "load", "make_grower"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
