"""Work on several cores comes back in order, whole, and with its mistakes."""

from __future__ import annotations

import os

import pytest
from rousewort.base.errors import UserError
from rousewort.base.parallel import map_on_cores


def doubled(factor: int, number: int) -> tuple[int, int]:
    if number == -1:
        raise UserError("minus one is no number here.")
    return os.getpid(), factor * number


def only_in(process: int, _weight: bytes) -> int:
    if os.getpid() != process:
        os._exit(3)
    return 2


@pytest.mark.parametrize("cores", [1, 2])
def test_results_come_back_in_order_from_as_many_processes_as_there_are_cores(monkeypatch, cores: int) -> None:
    monkeypatch.setattr("rousewort.base.parallel.cores", lambda: cores)
    found = list(map_on_cores(int, ("2",), doubled, range(95), least=10))
    assert [number for _, number in found] == [2 * number for number in range(95)]
    assert (os.getpid() in {process for process, _ in found}) == (cores == 1)


def test_few_things_are_worked_on_here(monkeypatch) -> None:
    monkeypatch.setattr("rousewort.base.parallel.cores", lambda: 2)
    found = map_on_cores(int, ("2",), doubled, range(10), least=10)
    assert {process for process, _ in found} == {os.getpid()}


def test_nothing_to_do_gives_nothing() -> None:
    assert list(map_on_cores(int, ("2",), doubled, [])) == []


def test_trouble_on_another_core_is_trouble_here(monkeypatch) -> None:
    monkeypatch.setattr("rousewort.base.parallel.cores", lambda: 2)
    with pytest.raises(UserError, match="minus one"):
        list(map_on_cores(int, ("2",), doubled, [*range(30), -1], least=10))


def test_what_a_dead_process_leaves_undone_is_done_here_and_nothing_waits_for_it(monkeypatch) -> None:
    monkeypatch.setattr("rousewort.base.parallel.cores", lambda: 2)
    more_than_a_pipe_holds = bytes(2_000_000)
    found = map_on_cores(only_in, (os.getpid(), more_than_a_pipe_holds), doubled, range(95), least=10)
    assert [number for _, number in found] == [2 * number for number in range(95)]
