"""Where the pieces lie: close together on the bed, and together on the furnace floor.

Both are small packing questions over outlines made of rectangles: each piece goes to
the first free corner, lowest first. That is good enough for half a dozen pieces, uses
the hollow of the block's stair, and gives the same answer every time.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Final

import numpy as np

from shrinkrule.furnace import BoxFurnace, Furnace
from shrinkrule.numerics.arrays import Floats

GAP_MM: Final = 3.0
"""Room between pieces: a bead's spread, a skirt of ballast and fingertips."""

Size = tuple[float, float]
Rectangle = tuple[float, float, float, float]
"""Corner x, y and size along x, y of a piece on a floor, mm."""
Rectangles = tuple[Rectangle, ...]
"""Rectangles that cover a piece's plan, its own corner at the origin."""

_ROUNDING: Final = 1e-9


def turned(outline: Rectangles) -> Rectangles:
    """Outline after its x and y are exchanged, which is a quarter turn for a rectangle.

    Parameters
    ----------
    outline : tuple of (x, y, dx, dy)
        Corner and sides of each rectangle, mm.

    Returns
    -------
    tuple of (x, y, dx, dy)
        The same number of rectangles, mm.
    """
    return tuple((y, x, dy, dx) for x, y, dx, dy in outline)


def pack(outlines: Sequence[Rectangles], room: Size) -> tuple[Rectangle, ...]:
    """Place outlines in a room in the order given; empty when one does not fit.

    Parameters
    ----------
    outlines : sequence of Rectangles
        Plans in mm, not turned.
    room : (length, width)
        The floor in mm.
    """
    placed: list[Rectangle] = []
    taken = np.empty((0, 4))
    for outline in outlines:
        parts = np.array(outline)
        size = (parts[:, :2] + parts[:, 2:]).max(axis=0)
        free = _free_corners(parts, taken, np.array(room) - size)
        if len(free) == 0:
            return ()
        x, y = free[np.lexsort((free[:, 0], free[:, 1]))[0]]
        placed.append((float(x), float(y), float(size[0]), float(size[1])))
        taken = np.vstack([taken, parts + np.array([x, y, 0.0, 0.0])])
    return tuple(placed)


def floor_places(outlines: Sequence[Rectangles], furnace: Furnace) -> tuple[Rectangle, ...]:
    """Place pieces together on a furnace floor; empty when they need more than one load.

    The first keeps its turn; the last, and all between alike, are tried both ways.

    Parameters
    ----------
    outlines : sequence of tuple of (x, y, dx, dy)
        Rectangles of each piece as fired, mm.
    furnace : Furnace
        A box or a crucible.

    Returns
    -------
    tuple of (x, y, dx, dy)
        Place of each piece, mm.
    """
    first, *between = outlines[:-1]
    last = outlines[-1]
    area = sum(dx * dy for outline in (*between, last) for _, _, dx, dy in outline)
    for turn_between, turn_last in product((False, True), repeat=2):
        tried = [
            first,
            *(turned(outline) if turn_between else outline for outline in between),
            turned(last) if turn_last else last,
        ]
        for room in _rooms(furnace):
            placed = pack(tried, room) if area < room[0] * room[1] else ()
            if placed and furnace.floor_takes(corners(tried, placed)):
                return placed
    return ()


def corners(outlines: Sequence[Rectangles], places: Sequence[Rectangle]) -> Floats:
    """Corners (n, 2) of every rectangle of outlines at their places, mm.

    Parameters
    ----------
    outlines : sequence of tuple of (x, y, dx, dy)
        Rectangles of each piece, mm.
    places : sequence of (x, y, dx, dy)
        Place of each piece, mm.

    Returns
    -------
    (n, 2) float64
        Four for each rectangle, mm.
    """
    parts = np.array(
        [
            (place[0] + x, place[1] + y, dx, dy)
            for outline, place in zip(outlines, places, strict=True)
            for x, y, dx, dy in outline
        ]
    )
    low, high = parts[:, :2], parts[:, :2] + parts[:, 2:]
    ends = np.stack([low, high])
    return np.vstack([np.column_stack([ends[i, :, 0], ends[j, :, 1]]) for i, j in np.ndindex(2, 2)])


def bed_places(outlines: Sequence[Rectangles]) -> tuple[Rectangle, ...]:
    """Place pieces on the bed, about as wide as they are deep.

    Parameters
    ----------
    outlines : sequence of tuple of (x, y, dx, dy)
        Rectangles of each piece as printed, mm.

    Returns
    -------
    tuple of (x, y, dx, dy)
        Place of each piece, mm.
    """
    side = max(max(x + dx, y + dy) for outline in outlines for x, y, dx, dy in outline)
    while not (placed := pack(outlines, (side, side))):
        side += GAP_MM
    return placed


def _free_corners(parts: Floats, taken: Floats, last: Floats) -> Floats:
    """Corners, up to ``last``, at which all parts keep their gap to everything taken."""
    reach = taken[:, :2] + taken[:, 2:] + GAP_MM
    xs, ys = np.append(0.0, reach[:, 0]), np.append(0.0, reach[:, 1])
    found = np.array(np.meshgrid(xs, ys)).reshape(2, -1).T
    found = found[np.all(found <= last + _ROUNDING, axis=1)]
    low = found[:, None, None, :] + parts[None, :, None, :2]
    high = low + parts[None, :, None, 2:]
    clash = np.all(
        (low < reach[None, None] - _ROUNDING)
        & (high > taken[None, None, :, :2] - GAP_MM + _ROUNDING),
        axis=3,
    )
    free: Floats = found[~clash.any(axis=(1, 2))]
    return free


def _rooms(furnace: Furnace) -> list[Size]:
    """Rectangles to pack in: the floor both ways, or strips around which a round one may lie."""
    longest = furnace.longest_mm
    if isinstance(furnace, BoxFurnace):
        return [(longest, furnace.shortest_mm), (furnace.shortest_mm, longest)]
    return [(share * longest, longest) for share in (0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95)]
