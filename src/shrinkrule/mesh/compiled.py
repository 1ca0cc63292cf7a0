"""Loops over facets that are compiled, where whole-array steps would sort or copy too much."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

MIX: Final = np.uint64(0x9E3779B97F4A7C15)
"""2^64 over the golden ratio: a product with it spreads what is alike (Knuth, TAOCP 3, 6.4)."""

CORNERS_ON_A_VERTEX: Final = 6
"""Corners of facets that meet in a vertex of a closed surface, on average (Euler)."""

RECENT: Final = 1 << 14
"""Rows that are looked at before all others; a power of two."""

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile a loop over plain numbers, kept on disk and free of the interpreter lock.

    It is kept beside the source, or in the user's folder of caches where nothing can be written
    there (an installation for all users). With neither, every run compiles anew.
    """
    settings = {"nogil": True, "error_model": "numpy"}
    try:
        faster: Function = njit(cache=True, **settings)(function)
    except RuntimeError:
        # What numba raises where it finds no folder to write to.
        faster = njit(**settings)(function)
    return faster


@compiled
def _mixed(rows: NDArray[Any], row: int) -> Any:
    """Number of 31 bits that equal rows share and others hardly do."""
    mixed = np.uint64(0)
    for a in range(rows.shape[1]):
        mixed = (mixed ^ np.uint64(rows[row, a]) ^ (mixed >> np.uint64(29))) * MIX
    return np.int64(mixed >> np.uint64(33))


@compiled
def _equal(rows: NDArray[Any], one: int, other: int) -> Any:
    """Whether two rows are the same."""
    same = True
    for a in range(rows.shape[1]):
        same = same and rows[one, a] == rows[other, a]
    return same


@compiled
def number_equal(rows: NDArray[Any]) -> Any:
    """Number rows (n, k) of unsigned integers so that equal ones share a number.

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


@compiled
def number_sides(facets: NDArray[np.int64], count: int) -> Any:
    """Number the undirected edges of facets (m, 3) on ``count`` vertices, in order of first use.

    Each edge hangs in a list at that end which fewer facets share, so that a fan of any
    size is searched from its rim; neighbours in the file stay neighbours in memory.

    Returns
    -------
    edge_of : (3 m,) int64
        Edge of each side.
    forward : (3 m,) bool
        Whether the side runs from the lower vertex to the higher.
    uses, balance : (e,) int64
        Sides on each edge; those forward less those backward.
    ends : (e, 2) int64
        Lower and higher vertex of each edge.
    """
    sides = 3 * len(facets)
    shared = np.zeros(count, np.int32)
    for f in range(len(facets)):
        for k in range(3):
            shared[facets[f, k]] += 1
    newest = np.empty(count, np.int32)
    newest[:] = -1
    older = np.empty(sides, np.int32)
    edge_of = np.empty(sides, np.int64)
    forward = np.empty(sides, np.bool_)
    uses = np.empty(sides, np.int64)
    balance = np.empty(sides, np.int64)
    ends = np.empty((sides, 2), np.int64)
    found = 0
    for f in range(len(facets)):
        for k in range(3):
            start, end = facets[f, k], facets[f, (k + 1) % 3]
            low, high = min(start, end), max(start, end)
            home = high if shared[high] < shared[low] else low
            edge = np.int64(newest[home])
            while edge >= 0 and not (ends[edge, 0] == low and ends[edge, 1] == high):
                edge = np.int64(older[edge])
            if edge < 0:
                edge = np.int64(found)
                found += 1
                older[edge] = newest[home]
                newest[home] = edge
                uses[edge] = 0
                balance[edge] = 0
                ends[edge, 0] = low
                ends[edge, 1] = high
            side = 3 * f + k
            edge_of[side] = edge
            forward[side] = start < end
            uses[edge] += 1
            balance[edge] += 1 if start < end else -1
    # Views: what was not written to takes no memory.
    return edge_of, forward, uses[:found], balance[:found], ends[:found]


@compiled
def number_bodies(edge_of: NDArray[np.int64], uses: NDArray[np.int64]) -> Any:
    """Number of the body of each facet, (m,), joined where two facets alone share an edge.

    Source: union-find with path halving, R. E. Tarjan and J. van Leeuwen (1984).
    """
    facets = len(edge_of) // 3
    first = np.empty(len(uses), np.int32)
    first[:] = -1
    above = np.arange(facets)
    for side in range(len(edge_of)):
        edge = edge_of[side]
        if uses[edge] != 2:
            continue
        if first[edge] < 0:
            first[edge] = side // 3
            continue
        one, other = np.int64(first[edge]), np.int64(side // 3)
        while above[one] != one:
            above[one] = above[above[one]]
            one = above[one]
        while above[other] != other:
            above[other] = above[above[other]]
            other = above[other]
        above[max(one, other)] = min(one, other)
    found = 0
    for f in range(facets):
        # The lowest facet of a body is its root, so that what lies above is numbered already.
        if above[f] == f:
            above[f] = found
            found += 1
        else:
            above[f] = above[above[f]]
    return above


@compiled
def six_fold_volumes(
    vertices: NDArray[np.float64], facets: NDArray[np.int64], labels: Any, middle: Any, count: int
) -> Any:
    """Six times the signed volume between the facets of each label and ``middle``, (count,)."""
    volumes = np.zeros(count)
    for f in range(len(facets)):
        a, b, c = facets[f, 0], facets[f, 1], facets[f, 2]
        ax, ay, az = (
            vertices[a, 0] - middle[0],
            vertices[a, 1] - middle[1],
            vertices[a, 2] - middle[2],
        )
        bx, by, bz = (
            vertices[b, 0] - middle[0],
            vertices[b, 1] - middle[1],
            vertices[b, 2] - middle[2],
        )
        cx, cy, cz = (
            vertices[c, 0] - middle[0],
            vertices[c, 1] - middle[1],
            vertices[c, 2] - middle[2],
        )
        volumes[labels[f]] += (
            ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
        )
    return volumes


@compiled
def count_lower_than(vertices: NDArray[np.float64], facets: NDArray[np.int64], share: float) -> int:
    """Facets whose twice area is at most ``share`` of the square of their longest side."""
    count = 0
    for f in range(len(facets)):
        a, b, c = facets[f, 0], facets[f, 1], facets[f, 2]
        ux = vertices[b, 0] - vertices[a, 0]
        uy = vertices[b, 1] - vertices[a, 1]
        uz = vertices[b, 2] - vertices[a, 2]
        vx = vertices[c, 0] - vertices[a, 0]
        vy = vertices[c, 1] - vertices[a, 1]
        vz = vertices[c, 2] - vertices[a, 2]
        wx, wy, wz = vx - ux, vy - uy, vz - uz
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        longest = max(
            ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, wx * wx + wy * wy + wz * wz
        )
        if x * x + y * y + z * z <= (share * longest) ** 2:
            count += 1
    return count
