"""Every test of the ledger runs on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from ledger_places import fresh, place_of, server  # type: ignore[import-not-found]
from rousewort.knowledge.knowledge_base import KnowledgeBase
from rousewort.ledger.book import Ledger, open_ledger
from rousewort.ledger.due import Diary

DAY = date(2025, 3, 10)
__all__ = ["fresh", "place_of", "server"]


@pytest.fixture
def where(fresh: Callable[[], str]) -> str:
    return fresh()


@pytest.fixture
def ledger(where: str) -> Iterator[Ledger]:
    with open_ledger(where, today=lambda: DAY) as opened:
        yield opened


@pytest.fixture(scope="session")
def diary(kb: KnowledgeBase) -> Diary:
    return Diary(kb.vocabulary.calendar, kb.vocabulary.files["bench"])


@pytest.fixture(scope="session")
def redbud(kb: KnowledgeBase) -> dict[str, Any]:
    """A plan as it is kept: inspect, soak, nick, cold, sow."""
    from rousewort.ledger.service import plan_to_keep

    return plan_to_keep(kb, "Cercis canadensis", engine="plain")
