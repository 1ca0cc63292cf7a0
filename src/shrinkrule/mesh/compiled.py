"""Loops over facets that are compiled, where whole-array steps would sort or copy too much."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

MIX: Final = np.uint64(0x9E3779B97F4A7C15)
"""2^64 over the golden ratio: a product with it spreads what is alike (Knuth, TAOCP 3, 6.4)."""

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile a loop over plain numbers, kept on disk and free of the interpreter lock."""
    faster: Function = njit(cache=True, nogil=True, error_model="numpy")(function)
    return faster


@compiled
def number_equal(rows: NDArray[np.uint64]) -> Any:
    """Number rows (n, k) so that equal ones share a number, in order of first use.

    Returns
    -------
    first : (k,) int64
        First row with each number.
    numbers : (n,) int64
        Number of each row.
    """
    places = 16
    while places < 2 * len(rows):
        places *= 2
    table = np.full(places, -1, np.int32)
    first = np.empty(len(rows), np.int64)
    numbers = np.empty(len(rows), np.int64)
    found = 0
    for i in range(len(rows)):
        mixed = np.uint64(0)
        for a in range(rows.shape[1]):
            mixed = (mixed ^ rows[i, a] ^ (mixed >> np.uint64(29))) * MIX
        place = np.int64((mixed >> np.uint64(32)) & np.uint64(places - 1))
        while True:
            number = table[place]
            if number < 0:
                table[place] = found
                first[found] = i
                numbers[i] = found
                found += 1
                break
            same = True
            for a in range(rows.shape[1]):
                same = same and rows[first[number], a] == rows[i, a]
            if same:
                numbers[i] = number
                break
            place = (place + 1) & (places - 1)
    return first[:found].copy(), numbers


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
