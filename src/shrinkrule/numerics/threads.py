"""Work on many independent rows, in threads where there are many."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor


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
    slices = [slice(low, low + chunk) for low in range(0, count, chunk)]
    if len(slices) > 1:
        with ThreadPoolExecutor() as pool:
            list(pool.map(work, slices))
    elif slices:
        work(slices[0])
