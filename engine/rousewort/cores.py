"""Work spread over the cores of the machine, where there is enough of it to be worth starting them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

SHARES = 4  # that each core takes, so that none is left with the last long one


def on_all_cores(
    prepare: Callable[..., Any],
    arguments: tuple,
    work: Callable[[Any, list], Any],
    things: Sequence,
    least: int = 50,
) -> Iterator[Any]:
    """What `work(prepared, share)` gives for every share of the things, in their order.

    `prepare(*arguments)` is called once on each core, for what `work` needs and cannot be sent. Both are functions of a
    module. Fewer things than two shares of the `least` worth sending are worked on in this process.
    """
    size = max(least, -(-len(things) // (SHARES * _cores())))
    shares = [list(things[i : i + size]) for i in range(0, len(things), size)]
    cores = min(len(shares), _cores())
    if cores < 2:
        prepared = prepare(*arguments)
        yield from (work(prepared, share) for share in shares)
        return
    # Started afresh: a copy of a process with threads (a server, the rule engine's timers) can wait for ever.
    with ProcessPoolExecutor(cores, get_context("spawn"), _begin, (prepare, arguments)) as pool:
        yield from pool.map(_do, [work] * len(shares), shares)


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


_PREPARED: list[Any] = []  # of a process started above: what its shares are worked on with


def _begin(prepare: Callable[..., Any], arguments: tuple) -> None:
    _PREPARED[:] = [prepare(*arguments)]


def _do(work: Callable[[Any, list], Any], share: list) -> Any:
    return work(_PREPARED[0], share)
