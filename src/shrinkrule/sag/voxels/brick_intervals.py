"""Solid intervals cut to single bricks, and which of them touch inside their brick.

Two intervals in neighbouring columns touch where they share a height: what they mark is
then one connected component of the brick's material.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, connected_components, ranges
from shrinkrule.sag.voxels.corners import CORNERS
from shrinkrule.sag.voxels.intervals import COLUMNS, PLACES, SolidIntervals

_NEIGHBOURS: Final = ((0, 1), (1, 0), (1, 1), (1, -1))


_AT_FACE: Final = 1e-9  # of a brick: an interval this near a brick's face reaches it


POINTS_EACH: Final = 5
"""Points laid along an interval, by which the component around a place is found again."""


@dataclass(frozen=True)
class BrickIntervals:
    """Solid intervals cut to single bricks, sorted by brick and column."""

    brick: Ints  # (s,)
    column: Ints  # (s, 2) inside the brick
    low: Floats  # (s,) in bricks, from the brick's floor
    high: Floats  # (s,)

    def meeting(self, mine: Ints, brick: Ints, column: Ints) -> Ints:
        """Pairs (p, 2): intervals ``mine``, each with all in the brick and column given for it."""
        key = _key(self.brick, self.column)
        wanted = _key(brick, column)
        one, other = ranges(np.searchsorted(key, wanted), np.searchsorted(key, wanted + 1))
        return np.stack([mine[one], other], axis=1)

    def overlapping(self, pairs: Ints) -> Ints:
        """Those of the pairs (p, 2) of intervals that share a height."""
        low, high = self.low[pairs].max(axis=1), self.high[pairs].min(axis=1)
        shared: Ints = pairs[high > low]
        return shared


def _key(brick: Ints, column: Ints) -> Ints:
    """Brick (n,) and column (n, 2) as one number that sorts by both."""
    key: Ints = (brick * COLUMNS + column[:, 0]) * COLUMNS + column[:, 1]
    return key


class BrickIndex:
    """Looks up bricks by their place, and the nodes at their corners."""

    def __init__(self, cells: Ints, counts: Ints) -> None:
        self.cells, self.counts = cells, counts
        self._number = np.full(tuple(counts + 2), -1, dtype=np.int32)
        self._number[tuple((cells + 1).T)] = np.arange(len(cells), dtype=np.int32)
        self._strides = np.array([(counts[1] + 1) * (counts[2] + 1), counts[2] + 1, 1])

    def at(self, place: Ints) -> Ints:
        """Brick (n,) at each place (n, 3), up to one beyond the grid; -1 where there is none."""
        number: Ints = self._number[tuple((place + 1).T)].astype(np.int64)
        return number

    def beside(self, brick: Ints, axis: int, side: int) -> Ints:
        """Brick (n,) next to each brick along an axis, -1 where there is none."""
        place = self.cells[brick]
        place[:, axis] += side
        return self.at(place)

    def nodes(self, brick: Ints) -> Ints:
        """Place of the node at each corner of the bricks, (n, 8) as one number."""
        nodes: Ints = (self.cells[brick] @ self._strides)[:, None] + CORNERS @ self._strides
        return nodes

    @property
    def node_count(self) -> int:
        """Places of nodes in the grid."""
        return int(np.prod(self.counts + 1))


def cut_to_bricks(solid: SolidIntervals, index: BrickIndex, cut: Ints) -> BrickIntervals:
    """Cut solid intervals to the bricks ``cut`` (n,) that they pass.

    Parameters
    ----------
    solid : SolidIntervals
        Intervals along columns.
    index : BrickIndex
        Bricks by their place.
    cut : (n,) int
        The bricks.

    Returns
    -------
    BrickIntervals
        The pieces, sorted by brick and column.
    """
    lattice = np.stack(np.divmod(np.arange(COLUMNS**2), COLUMNS), axis=1)
    brick, inside = np.repeat(cut, len(lattice)), np.tile(lattice, (len(cut), 1))
    width, tall = COLUMNS * index.counts[1], index.counts[2] + 2
    along = (solid.column[:, 0] * width + solid.column[:, 1]) * tall
    column = COLUMNS * index.cells[brick, :2] + inside
    floor = (column[:, 0] * width + column[:, 1]) * tall + index.cells[brick, 2]
    one, interval = ranges(
        np.searchsorted(along + solid.high, floor, side="right"),
        np.searchsorted(along + solid.low, floor + 1, side="left"),
    )
    layer = index.cells[brick[one], 2]
    low = np.maximum(solid.low[interval] - layer, 0.0)
    high = np.minimum(solid.high[interval] - layer, 1.0)
    kept = high - low > _AT_FACE
    return BrickIntervals(brick[one[kept]], inside[one[kept]], low[kept], high[kept])


def component_of_intervals(intervals: BrickIntervals) -> Ints:
    """Component (s,) of each interval, numbered in the bricks' order.

    Intervals of one brick that touch belong to one component.

    Parameters
    ----------
    intervals : BrickIntervals
        The intervals.

    Returns
    -------
    (s,) int
        Component of each.
    """
    pairs = [np.empty((0, 2), dtype=np.int64)]
    for step in _NEIGHBOURS:
        column = intervals.column + step
        mine = np.flatnonzero(np.all((column >= 0) & (column < COLUMNS), axis=1))
        met = intervals.meeting(mine, intervals.brick[mine], column[mine])
        pairs.append(intervals.overlapping(met))
    label = connected_components(len(intervals.brick), np.concatenate(pairs))
    first = np.unique(label, return_index=True)[1]
    rank = np.empty_like(first)
    rank[np.argsort(first)] = np.arange(len(first))
    component: Ints = rank[label]
    return component


def at_face(intervals: BrickIntervals, axis: int, side: int) -> Ints:
    """Intervals (k,) that reach a face of their brick.

    Parameters
    ----------
    intervals : BrickIntervals
        The intervals.
    axis, side : int
        The face: 0 to 2, and 1 or -1.

    Returns
    -------
    (k,) int
        Those that reach it.
    """
    if axis == 2:
        reaches = intervals.high >= 1.0 - _AT_FACE if side == 1 else intervals.low <= _AT_FACE
    else:
        reaches = intervals.column[:, axis] == (COLUMNS - 1 if side == 1 else 0)
    return np.flatnonzero(reaches)


def points_inside(intervals: BrickIntervals, cells: Ints, chosen: Ints) -> Floats:
    """Points (c * POINTS_EACH, 3) along chosen intervals (c,), in bricks.

    Parameters
    ----------
    intervals : BrickIntervals
        The intervals.
    cells : (n, 3) int
        Place of each brick.
    chosen : (c,) int
        Intervals to lay points on.

    Returns
    -------
    (c * POINTS_EACH, 3) float
        The points, in bricks.
    """
    plan = cells[intervals.brick[chosen], :2] + PLACES[intervals.column[chosen]]
    low, high = intervals.low[chosen], intervals.high[chosen]
    height = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, POINTS_EACH)
    height += cells[intervals.brick[chosen], 2][:, None]
    points: Floats = np.column_stack([np.repeat(plan, POINTS_EACH, axis=0), height.ravel()])
    return points
