"""Equal rows of a table found by hashing: sorting them would take many times as long."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shrinkrule.numerics.jit import compiled, inner

MIX: Final = np.uint64(0x9E3779B97F4A7C15)
"""2^64 over the golden ratio: a product with it spreads what is alike (Knuth, TAOCP 3, 6.4)."""

CORNERS_ON_A_VERTEX: Final = 6
"""Corners of facets that meet in a vertex of a closed surface, on average (Euler)."""

RECENT: Final = 1 << 14
"""Rows that are looked at before all others; a power of two."""


@inner
def _mixed(rows: NDArray[Any], row: int) -> Any:
    """Number of 31 bits that equal rows share and others hardly do."""
    mixed = np.uint64(0)
    for a in range(rows.shape[1]):
        mixed = (mixed ^ np.uint64(rows[row, a]) ^ (mixed >> np.uint64(29))) * MIX
    return np.int64(mixed >> np.uint64(33))


@inner
def _equal(rows: NDArray[Any], one: int, other: int) -> Any:
    """Whether two rows are the same."""
    same = True
    for a in range(rows.shape[1]):
        same = same and rows[one, a] == rows[other, a]
    return same


@compiled
def number_equal(rows: NDArray[Any]) -> Any:
    """Number rows (n, k) of unsigned integers so that equal ones share a number.

    Parameters
    ----------
    rows : (n, k) uint
        The rows.

    Returns
    -------
    first : (k,) int64
        First row with each number, in order of first use.
    numbers : (n,) int64
        Number of each row.
    """
    places = 1024
    while CORNERS_ON_A_VERTEX * places < 2 * len(rows):
        places *= 2
    # Emptied by hand: np.full would be one more function to compile, for a tenth of a second.
    table = np.empty(places, np.int32)
    table[:] = -1
    # Corners of neighbouring facets stand close together in most files. Most are found here,
    # in the processor's caches; a look into the table of all fetches from memory.
    recent = np.empty(RECENT, np.int32)
    recent[:] = -1
    first = np.empty(len(rows), np.int64)
    numbers = np.empty(len(rows), np.int64)
    found = 0
    for i in range(len(rows)):
        mixed = _mixed(rows, i)
        number: Any = np.int64(recent[mixed & (RECENT - 1)])
        if number < 0 or not _equal(rows, first[number], i):
            place = mixed & (places - 1)
            number = np.int64(table[place])
            while number >= 0 and not _equal(rows, first[number], i):
                place = (place + 1) & (places - 1)
                number = np.int64(table[place])
            if number < 0:
                number = np.int64(found)
                table[place] = number
                first[found] = i
                found += 1
            recent[mixed & (RECENT - 1)] = number
        numbers[i] = number
        if 2 * found > places:
            places *= 2
            table = np.empty(places, np.int32)
            table[:] = -1
            for known in range(found):
                place = _mixed(rows, first[known]) & (places - 1)
                while table[place] >= 0:
                    place = (place + 1) & (places - 1)
                table[place] = known
    return first[:found], numbers
