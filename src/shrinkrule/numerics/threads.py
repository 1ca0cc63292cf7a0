"""Work on many independent rows, or on two things, at the same time."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from typing import Final, TypeVar

Item = TypeVar("Item")
One = TypeVar("One")
Other = TypeVar("Other")

_at_work: Final = threading.local()
"""Of a thread that works on chunks already: it shares no work of its own, lest all wait for all."""

_pools: Final[list[ThreadPoolExecutor]] = []
"""The threads that help, once any were needed."""


def in_chunks(work: Callable[[slice], None], count: int, chunk: int) -> None:
    """Call a function with every slice of some rows.

    Without any row it is not called, so that nothing is compiled in vain.

    Parameters
    ----------
    work : callable
        Of the slice of rows it is to work on; free of the interpreter's lock where it takes long.
    count : int
        Number of rows.
    chunk : int
        Rows for one call. With more than that, threads share them.
    """
    starts = iter(range(0, count, chunk))

    def take() -> None:
        # Taking the next number of a range is one step of the interpreter.
        for low in starts:
            work(slice(low, low + chunk))

    # The thread that asks takes its share, so one chunk starts no other.
    others = min(os.cpu_count() or 1, -(-count // chunk)) - 1
    if others < 1 or getattr(_at_work, "now", False):
        take()
        return
    helping = [_helpers().submit(_alone, take) for _ in range(others)]
    _at_work.now = True
    try:
        take()
    finally:
        _at_work.now = False
        # After a failure or a signal nobody needs the rest.
        for _ in starts:
            pass
        wait(helping)
    for one in helping:
        one.result()


def of_each(work: Callable[[Item], One], items: Sequence[Item]) -> list[One]:
    """Call a function with each of a few things, as far as it is free of the interpreter's lock.

    Parameters
    ----------
    work : callable
        Of one of the things.
    items : sequence
        The things.

    Returns
    -------
    list
        What it gives for each, in their order.
    """
    found: dict[int, One] = {}

    def one(part: slice) -> None:
        found[part.start] = work(items[part.start])

    in_chunks(one, len(items), 1)
    return [found[number] for number in range(len(items))]


def both(one: Callable[[], One], other: Callable[[], Other]) -> tuple[One, Other]:
    """Call two functions at the same time, as far as they are free of the interpreter's lock.

    Parameters
    ----------
    one, other : callable
        Of nothing; the first is called by the thread that asks.

    Returns
    -------
    tuple
        What each gives.
    """
    if getattr(_at_work, "now", False):
        return one(), other()
    beside = _helpers().submit(_alone, other)
    try:
        here = one()
    finally:
        wait([beside])
    return here, beside.result()


def _alone(work: Callable[[], Other]) -> Other:
    """Do work in a thread that helps."""
    _at_work.now = True
    return work()


def _helpers() -> ThreadPoolExecutor:
    """Threads that wait for work; starting some for every step would take longer than many do."""
    if not _pools:
        _pools.append(ThreadPoolExecutor(os.cpu_count()))
    return _pools[0]


if hasattr(os, "register_at_fork"):  # where processes can be forked
    # A forked process has none of its parent's threads.
    os.register_at_fork(after_in_child=_pools.clear)
