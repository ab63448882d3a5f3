"""What the code must know of a kind of treatment, asked of its file in kb/treatments: no module names a kind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Any

USUAL_RANK = 1000  # of a kind that is only reported, behind all that can be done


class Kinds:
    """Every kind of treatment, and those that only reports name (`reported`), by what their files say of them.

    A stored plan can hold a kind that is no longer there: questions about one kind then have a usual answer.
    """

    def __init__(
        self,
        treatments: Mapping[str, Mapping[str, Any]],
        reported: Mapping[str, Mapping[str, Any]],
        groups: Mapping[str, Mapping[str, Any]],
    ) -> None:
        self._all: dict[str, Mapping[str, Any]] = {**reported, **treatments}
        self._groups = groups

    def _those(self, key: str, value: Any = True) -> tuple[str, ...]:
        return tuple(kind for kind, told in self._all.items() if told.get(key) == value)

    def _told(self, kind: str, key: str, usual: Any = None) -> Any:
        return self._all.get(kind, {}).get(key, usual)

    @cached_property
    def first(self) -> str:
        """With which every plan begins."""
        return self._those("place", "first")[0]

    @cached_property
    def last(self) -> str:
        """With which every plan ends that is not ended outside."""
        return self._those("place", "last")[0]

    @cached_property
    def outdoors(self) -> frozenset[str]:
        """Those that wait for a season; seed once put outside stays there."""
        return frozenset(self._those("waits_for_season"))

    @cached_property
    def given_before(self) -> tuple[str, ...]:
        """Those that a lot can have had before it arrived, and is credited."""
        return self._those("given_before")

    @cached_property
    def claims(self) -> tuple[str, ...]:
        """Groups of which plans are compared with published sources: does this seed need one of them?"""
        return tuple(name for name, group in self._groups.items() if group.get("claim"))

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Every kind, those that only reports name among them."""
        return tuple(self._all)

    def group(self, kind: str) -> str | None:
        group: str | None = self._told(kind, "group")
        return group

    @cached_property
    def _indoors(self) -> dict[str, tuple[str, ...]]:
        """Group → its kinds that do not wait for a season. Asked for every step of every plan."""
        return {
            group: tuple(kind for kind in self._those("group", group) if kind not in self.outdoors)
            for group in self._groups
        }

    def indoors(self, group: str) -> tuple[str, ...]:
        """Those of a group that do not wait for a season."""
        return self._indoors[group]

    def claim(self, kind: str, removes: Iterable[str]) -> str | None:
        """The group for which a step that removes these obstacles counts in comparisons, if it counts there."""
        name = self.group(kind)
        group = self._groups.get(name or "", {})
        counts = group.get("claim") and ("obstacles" not in group or not set(group["obstacles"]).isdisjoint(removes))
        return name if counts else None

    def rank(self, kind: str) -> int:
        """The gentler of two that stand equally has the lower rank."""
        rank: int = self._told(kind, "rank", USUAL_RANK)
        return rank

    def wakes(self, kind: str) -> bool:
        """Whether it does more than prepare or end a plan."""
        wakes: bool = self._groups.get(self.group(kind) or "", {}).get("wakes", True)
        return wakes

    def ways(self, kind: str) -> Mapping[str, Mapping[str, Any]]:
        """The ways in which it can be done, where they differ so much that one says nothing of the other."""
        ways: Mapping[str, Mapping[str, Any]] = self._told(kind, "ways", {})
        return ways

    def container(self, kind: str) -> str:
        """`bag`, `pot` or `none`: what the seed is in meanwhile."""
        container: str = self._told(kind, "container", "none")
        return container

    def drawn(self, kind: str) -> str:
        """The word for its colour along the year."""
        drawn: str = self._told(kind, "drawn", "mark")
        return drawn

    def begun(self, kind: str) -> str:
        """What a label says of the day on which it began."""
        begun: str = self._told(kind, "begun", "begun")
        return begun

    def emergence(self, kind: str) -> str | None:
        """How seedlings are dated from it: `expected` (some days after it), `in_season` (as it lasts), None (not at all)."""
        emergence: str | None = self._told(kind, "emergence")
        return emergence

    def look_every(self, kind: str, usual: int) -> int:
        """Days between two looks."""
        days: int = self._told(kind, "look_every", usual)
        return days

    def takes_moist_volume(self, kind: str) -> bool:
        """Whether its medium takes room, for reckoning bags and fridges."""
        return bool(self._told(kind, "moist_volume"))
