"""Solid intervals along fine vertical scan lines: what inside a brick is connected, and what not.

The lines (here: columns) stand on a lattice, a few along each side of a brick. Their crossings
with the surface, sorted by height, are where the solid intervals begin and end (dexels);
heights are exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, Mask, ranges
from shrinkrule.sag.voxels.scanlines import lines_across

PLACES: Final = np.linspace(0.02, 0.98, 5)
"""Columns along each side of a brick, in bricks: the outer ones see whatever reaches a face."""

COLUMNS: Final = len(PLACES)

_TOUCHING: Final = 1e-6  # of a brick: intervals nearer than this along a column are one


@dataclass(frozen=True)
class SolidIntervals:
    """Solid intervals along columns.

    Parameters
    ----------
    column : (n, 2) int
        Place of the column on the lattice.
    low, high : (n,) float
        Where the interval begins and ends, in bricks.
    """

    column: Ints
    low: Floats
    high: Floats


def find_solid_intervals(
    corners: Floats, size: Floats, counts: Ints, wanted: Mask
) -> SolidIntervals:
    """Find the solid intervals along the columns of some bricks.

    Parameters
    ----------
    corners : (m, 3, 3) float
        The facets' corners in the grid's frame, mm; the grid's low corner is the origin.
    size : (3,) float
        Sides of a brick, mm.
    counts : (3,) int
        Bricks along each axis.
    wanted : (nx, ny) bool
        Places, seen from above, of the bricks whose columns are wanted.

    Returns
    -------
    SolidIntervals
        The intervals, by column and height.
    """
    along = [
        ((np.arange(count)[:, None] + PLACES) * side).ravel()
        for count, side in zip(counts[:2], size[:2], strict=True)
    ]
    across = lines_across(corners, along[1])
    begin, end = np.searchsorted(along[0], across.left), np.searchsorted(along[0], across.right)
    crossing, x = ranges(begin, end)
    y = across.line[crossing]
    kept = wanted[x // COLUMNS, y // COLUMNS]
    crossing, x, y = crossing[kept], x[kept], y[kept]
    facet = across.facet[crossing]
    normal, base = across.normal[facet], across.corners[facet, 0]
    plan = np.stack([along[0][x], along[1][y]], axis=1)
    slope = normal[:, :2] / normal[:, 2:]
    height = base[:, 2] - ((plan - base[:, :2]) * slope).sum(axis=1)
    tall = across.corners[:, :, 2][facet].T
    height = np.clip(height, np.minimum.reduce(tall), np.maximum.reduce(tall))
    width = len(along[1])
    return _between(x * width + y, height / size[2], normal[:, 2] < 0.0, width)


def _between(column: Ints, level: Floats, enters: Mask, width: int) -> SolidIntervals:
    """Solid intervals between the crossings of columns with the surface.

    Parameters
    ----------
    column : (n,) int
        Column of each crossing, as one number.
    level : (n,) float
        Its height, in bricks.
    enters : (n,) bool
        Whether the column enters the material there, upward.
    width : int
        Columns along the second axis.
    """
    # A column that leaves one body where it enters the next stays inside.
    order = np.lexsort((level + np.where(enters, 0.0, _TOUCHING), column))
    column, level = column[order], level[order]
    rise = np.where(enters[order], 1, -1)
    first = np.flatnonzero(np.r_[True, column[1:] != column[:-1]][: len(column)])
    # A column that grazes an edge may miss a crossing: it is left out.
    sound = np.repeat(np.add.reduceat(rise, first) == 0, np.diff(np.r_[first, len(column)]))
    column, level, depth = column[sound], level[sound], np.cumsum(rise[sound])
    before = np.r_[0, depth[:-1]]
    start = np.flatnonzero((depth > 0) & (before <= 0))
    stop = np.flatnonzero((depth <= 0) & (before > 0))
    return SolidIntervals(
        np.stack(np.divmod(column[start], width), axis=1), level[start], level[stop]
    )
