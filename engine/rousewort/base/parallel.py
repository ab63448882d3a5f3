"""Work spread over the cores of the machine, where there is enough of it to be worth starting them."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

SHARES = 16  # that each core takes, so that none is left with the last long one


def map_on_cores(
    prepare: Callable[..., Any],
    arguments: tuple[Any, ...],
    work: Callable[[Any, Any], Any],
    things: Sequence[Any],
    least: int = 50,
) -> Iterator[Any]:
    """What `work(prepared, thing)` gives for each of the things, in their order.

    `prepare(*arguments)` is called once on each core, for what `work` needs and cannot be sent. Both are functions of a
    module. Fewer things than two shares of the `least` worth sending are worked on in this process.
    """
    size = max(least, -(-len(things) // (SHARES * cores())))
    count = min(-(-len(things) // size), cores())
    if count < 2:
        prepared = prepare(*arguments)
        yield from (work(prepared, thing) for thing in things)
        return
    done = 0
    with TemporaryDirectory() as folder:
        # In a file: Python writes what a new process is told into a pipe, and waits for ever if the process has died.
        given = Path(folder, "given")
        given.write_bytes(pickle.dumps((prepare, arguments)))
        try:
            # Started afresh: a copy of a process with threads (a server, the rule engine's timers) can wait for ever.
            with ProcessPoolExecutor(count, get_context("spawn"), _begin, (given,)) as pool:
                for result in pool.map(partial(_do, work), things, chunksize=size):
                    yield result
                    done += 1
        except BrokenProcessPool:  # one could not start, or was ended from outside: the rest is done here
            prepared = prepare(*arguments)
            yield from (work(prepared, thing) for thing in things[done:])


def cores() -> int:
    """Of this machine, that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


_PREPARED: list[Any] = []  # of a process started above: what its things are worked on with


def _begin(given: Path) -> None:
    prepare, arguments = pickle.loads(given.read_bytes())
    _PREPARED[:] = [prepare(*arguments)]


def _do(work: Callable[[Any, Any], Any], thing: Any) -> Any:
    return work(_PREPARED[0], thing)
