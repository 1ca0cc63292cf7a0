"""Chunks of rows: each is worked on once, by any thread, and a failure is told."""

from __future__ import annotations

import os
import signal
import threading
import warnings

import numpy as np
import pytest

from shrinkrule.numerics.threads import both, in_chunks


@pytest.mark.parametrize(("count", "chunk"), [(0, 4), (1, 4), (4, 4), (5, 4), (1003, 7)])
def test_every_row_is_worked_on_once(count: int, chunk: int) -> None:
    times = np.zeros(count, dtype=np.int64)

    def work(part: slice) -> None:
        assert part.start < count
        times[part] += 1

    in_chunks(work, count, chunk)
    assert (times == 1).all()


def test_chunks_within_chunks_end() -> None:
    times = np.zeros((40, 40), dtype=np.int64)

    def outer(rows: slice) -> None:
        def inside(columns: slice) -> None:
            times[rows, columns] += 1

        in_chunks(inside, 40, 3)

    in_chunks(outer, 40, 1)
    assert (times == 1).all()


@pytest.mark.parametrize("bad", [0, 17, 99])
def test_a_failure_in_any_chunk_is_told_and_the_next_call_works(bad: int) -> None:
    def work(part: slice) -> None:
        if part.start <= bad < part.stop:
            raise ValueError(f"row {bad}")

    with pytest.raises(ValueError, match=f"row {bad}"):
        in_chunks(work, 100, 5)
    seen: list[int] = []
    in_chunks(lambda part: seen.append(part.start), 100, 5)
    assert sorted(seen) == list(range(0, 100, 5))


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core shares nothing")
def test_threads_share_the_work() -> None:
    both = threading.Barrier(2, timeout=20.0)

    def meet(_: slice) -> None:
        both.wait()

    in_chunks(meet, 2, 1)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes cannot be forked here")
def test_a_forked_process_shares_among_threads_of_its_own() -> None:
    in_chunks(lambda _: None, 100, 1)  # the parent has threads by now
    done: list[int] = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the warning of later versions fears is tried here
        child = os.fork()
    if child == 0:
        signal.alarm(20)
        try:
            in_chunks(lambda part: done.append(part.start), 100, 1)
        finally:
            os._exit(0 if len(done) == 100 else 1)
    assert os.waitpid(child, 0)[1] == 0


def test_two_things_are_done_and_told_apart() -> None:
    assert both(lambda: 1, lambda: "two") == (1, "two")
    assert both(lambda: both(lambda: 1, lambda: 2), lambda: both(lambda: 3, lambda: 4)) == (
        (1, 2),
        (3, 4),
    )


@pytest.mark.parametrize("failing", [0, 1])
def test_a_failure_of_either_is_told_after_both_have_ended(failing: int) -> None:
    ended: list[int] = []

    def work(number: int) -> None:
        if number == failing:
            raise ValueError("no")
        ended.append(number)

    with pytest.raises(ValueError, match="no"):
        both(lambda: work(0), lambda: work(1))
    assert ended == [1 - failing]


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core shares nothing")
def test_two_things_go_on_at_the_same_time() -> None:
    meet = threading.Barrier(2, timeout=20.0)
    assert set(both(meet.wait, meet.wait)) == {0, 1}
