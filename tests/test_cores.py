"""Work on several cores comes back in order, whole, and with its mistakes."""

from __future__ import annotations

import os

import pytest
from rousewort.cores import on_all_cores
from rousewort.errors import Trouble


def doubled(factor: int, share: list[int]) -> list[tuple[int, int]]:
    if -1 in share:
        raise Trouble("minus one is no number here.")
    return [(os.getpid(), factor * number) for number in share]


@pytest.mark.parametrize("cores", [1, 2])
def test_shares_come_back_in_order_from_as_many_processes_as_there_are_cores(monkeypatch, cores: int) -> None:
    monkeypatch.setattr("rousewort.cores._cores", lambda: cores)
    found = [item for share in on_all_cores(int, ("2",), doubled, range(95), least=10) for item in share]
    assert [number for _, number in found] == [2 * number for number in range(95)]
    assert (os.getpid() in {process for process, _ in found}) == (cores == 1)


def test_few_things_are_worked_on_here(monkeypatch) -> None:
    monkeypatch.setattr("rousewort.cores._cores", lambda: 2)
    (share,) = on_all_cores(int, ("2",), doubled, range(10), least=10)
    assert {process for process, _ in share} == {os.getpid()}


def test_nothing_to_do_gives_nothing() -> None:
    assert list(on_all_cores(int, ("2",), doubled, [])) == []


def test_trouble_on_another_core_is_trouble_here(monkeypatch) -> None:
    monkeypatch.setattr("rousewort.cores._cores", lambda: 2)
    with pytest.raises(Trouble, match="minus one"):
        list(on_all_cores(int, ("2",), doubled, [*range(30), -1], least=10))
