"""How full each brick is: vertical columns through the part, integrated exactly along their length.

The part's volume over a column is the sum over its crossings of (height, counted up
where the column leaves the part and down where it enters): the divergence theorem in
one direction. Columns stand on scan lines; along the line and along the height the
integration is exact for flat facets, across the lines it is the midpoint rule.
Shared edges are evaluated from the same two numbers on both sides, so a closed mesh
gives closed columns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.compensation.sag.material import FloatArray, IntArray

LINES_PER_OCTANT: Final = 4
"""Scan lines through each half brick: a wall along them is placed to 1/16 of a brick."""

MAX_PARTS: Final = 8
"""A steep piece of scan line is cut so that each part lies in one layer, into at most this many."""

_ROUNDING: Final = 1e-9  # a half brick this nearly full is full


@dataclass(frozen=True)
class Filling:
    """The bricks that hold material.

    Parameters
    ----------
    cells : (n, 3) int
        Place of each brick in the grid, sorted.
    octants : (n, 8) float
        Filled fraction of each of its octants, in the order of the brick's corners.
    underside : (2 nx, 2 ny) float
        Lowest material over each half brick of the floor, mm above it; infinite if none.
    """

    cells: IntArray
    octants: FloatArray
    underside: FloatArray


@dataclass(frozen=True)
class _Segments:
    """Pieces of scan line inside one facet and one half brick's column."""

    column: IntArray  # (n, 2) place on the grid of half bricks
    height: FloatArray  # (n,) mean height over the piece
    lowest: FloatArray  # (n,) lowest height over the piece
    share: FloatArray  # (n,) signed share of the column's ground plan


def _spread(first: IntArray, last: IntArray) -> tuple[IntArray, IntArray]:
    """List the owners and the members of many ranges ``first .. last - 1``, end to end."""
    count = np.maximum(last - first, 0)
    owner = np.repeat(np.arange(len(count)), count)
    start = np.cumsum(count) - count
    return owner, np.arange(len(owner)) - start[owner] + first[owner]


def _edge_x(low: FloatArray, high: FloatArray, y: FloatArray) -> FloatArray:
    """Where edges from ``low`` to ``high`` (by y) cross the height y."""
    rise = high[:, 1] - low[:, 1]
    return low[:, 0] + (y - low[:, 1]) / np.where(rise == 0.0, 1.0, rise) * (high[:, 0] - low[:, 0])


def _segments(corners: FloatArray, step: FloatArray, counts: IntArray) -> _Segments:
    """Cut facets (m, 3, 3), in grid coordinates, along the scan lines."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    corners, normal = corners[normal[:, 2] != 0.0], normal[normal[:, 2] != 0.0]
    order = np.argsort(corners[:, :, 1], axis=1, kind="stable")
    low, middle, high = np.moveaxis(np.take_along_axis(corners, order[:, :, None], axis=1), 1, 0)

    pitch = step[1] / LINES_PER_OCTANT
    first = np.ceil(low[:, 1] / pitch - 0.5).astype(np.int64)
    last = np.ceil(high[:, 1] / pitch - 0.5).astype(np.int64)
    lines = counts[1] * LINES_PER_OCTANT
    facet, line = _spread(np.maximum(first, 0), np.minimum(last, lines))
    y = (line + 0.5) * pitch
    lower_half = y < middle[facet, 1]
    along = _edge_x(low[facet], high[facet], y)
    across = np.where(
        lower_half,
        _edge_x(low[facet], middle[facet], y),
        _edge_x(middle[facet], high[facet], y),
    )
    left, right = np.minimum(along, across), np.maximum(along, across)

    begin = np.clip(np.floor(left / step[0]).astype(np.int64), 0, counts[0] - 1)
    end = np.clip(np.ceil(right / step[0]).astype(np.int64), begin + 1, counts[0])
    piece, i = _spread(begin, end)
    x0 = np.maximum(left[piece], i * step[0])
    x1 = np.minimum(right[piece], (i + 1) * step[0])
    facet, line, y = facet[piece], line[piece], y[piece]

    slope = normal[facet, :2] / normal[facet, 2:]
    base, top, foot = low[facet], corners[facet, :, 2].max(axis=1), corners[facet, :, 2].min(axis=1)
    at_y = base[:, 2] - slope[:, 1] * (y - base[:, 1]) + slope[:, 0] * base[:, 0]
    left_z, right_z = np.clip(at_y - slope[:, 0] * np.stack([x0, x1]), foot, top)
    width = np.maximum(x1 - x0, 0.0) / (step[0] * LINES_PER_OCTANT)

    parts = np.ceil(np.abs(right_z - left_z) / step[2]).astype(np.int64)
    parts = np.clip(parts, 1, MAX_PARTS)
    whole, part = _spread(np.zeros_like(parts), parts)
    rise = (right_z - left_z)[whole] / parts[whole]
    middle_z = left_z[whole] + (part + 0.5) * rise
    return _Segments(
        column=np.stack([i, line // LINES_PER_OCTANT], axis=1)[whole],
        height=middle_z,
        lowest=middle_z - 0.5 * np.abs(rise),
        share=(width * np.sign(normal[facet, 2]) / parts)[whole],
    )


def fill_bricks(
    corners: FloatArray, size: FloatArray, counts: IntArray, least: float, slab_bytes: int
) -> Filling:
    """Fill a grid of bricks with a closed part.

    Parameters
    ----------
    corners : (m, 3, 3) float
        The facets' corners in the grid's frame, mm; the grid's low corner is the origin.
    size : (3,) float
        Sides of a brick, mm.
    counts : (3,) int
        Bricks along each axis.
    least : float
        Bricks filled less than this fraction are left out.
    slab_bytes : int
        Memory for one slab of the dense grid, bytes.
    """
    step, halves = size / 2.0, 2 * counts
    pieces = _segments(corners, step, halves)
    underside = np.full((halves[0], halves[1]), np.inf)
    entering = pieces.share < 0.0
    np.minimum.at(underside, tuple(pieces.column[entering].T), pieces.lowest[entering])

    order = np.argsort(pieces.column[:, 0], kind="stable")
    column, height, share = pieces.column[order], pieces.height[order], pieces.share[order]
    plane_bytes = 2 * 16 * int(halves[1]) * int(halves[2])
    planes = max(1, slab_bytes // plane_bytes)
    cells, octants = [], []
    for start in range(0, int(counts[0]), planes):
        stop = min(start + planes, int(counts[0]))
        a, b = np.searchsorted(column[:, 0], [2 * start, 2 * stop])
        shape = (2 * (stop - start), int(halves[1]), int(halves[2]))
        fill = _integrate(
            column[a:b] - np.array([2 * start, 0]), height[a:b] / step[2], share[a:b], shape
        )
        split = fill.reshape(stop - start, 2, int(counts[1]), 2, int(counts[2]), 2)
        eighths = split.transpose(0, 2, 4, 1, 3, 5).reshape(-1, 8)
        eighths[eighths > 1.0 - _ROUNDING] = 1.0
        kept = np.flatnonzero(eighths.mean(axis=1) >= least)
        place = np.unravel_index(kept, (stop - start, int(counts[1]), int(counts[2])))
        cells.append(np.stack(place, axis=1) + np.array([start, 0, 0]))
        octants.append(eighths[kept])
    return Filling(np.concatenate(cells), np.concatenate(octants), underside)


def _integrate(
    column: IntArray, level: FloatArray, share: FloatArray, shape: tuple[int, int, int]
) -> FloatArray:
    """Filled fraction of each half brick of a slab, from the crossings of its columns."""
    layer = np.clip(np.floor(level).astype(np.int64), 0, shape[2] - 1)
    flat = (column[:, 0] * shape[1] + column[:, 1]) * shape[2] + layer
    total = int(np.prod(shape))
    whole = np.bincount(flat, weights=share, minlength=total).reshape(shape)
    part = np.bincount(flat, weights=share * (level - layer), minlength=total).reshape(shape)
    below = np.cumsum(whole[:, :, ::-1], axis=2)[:, :, ::-1] - whole
    return np.clip(below + part, 0.0, 1.0)
