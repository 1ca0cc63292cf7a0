"""Nodes in copies, so that material on both sides of a gap may move apart.

Elements around a node share it if their material is connected through the faces of the
bricks there. Otherwise the node comes in copies at the same place, one for each connected
group of elements: phantom nodes.

Source: A. Hansbo, P. Hansbo, Comput. Methods Appl. Mech. Eng. 193 (2004) 3523-3540.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.sag.voxels.brick_intervals import _AT_FACE, BrickIndex, BrickIntervals, at_face
from shrinkrule.sag.voxels.corners import CORNERS, shared_nodes

_SLIVER_FACING: Final = (
    0.5  # of its mean filling: a sliver along a face fills the octants there so far
)


@dataclass(frozen=True)
class Elements:
    """Components of cut bricks, then the bricks that no solid interval describes, in one list."""

    brick: Ints  # (e,) brick of each element
    brick_of: Ints  # (c,) brick of each component, ascending
    alone: Ints  # (n,) element of each brick without solid intervals, else -1
    whole: Ints  # (n,) the same for those that are full, else -1
    unsampled: Ints  # (k,) cut bricks in which no column meets material
    several: Mask  # (n,) bricks of several components


def list_elements(intervals: BrickIntervals, component: Ints, cut: Mask, counts: Mask) -> Elements:
    """List the elements of all bricks.

    Parameters
    ----------
    intervals : BrickIntervals
        Solid intervals of the cut bricks.
    component : (s,) int
        Component of each interval.
    cut : (n,) bool
        Bricks that are not full.
    counts : (n,) bool
        Bricks that are elements even if no column meets their material.

    Returns
    -------
    Elements
        The elements.
    """
    brick_of = np.zeros(int(component.max(initial=-1)) + 1, dtype=np.int64)
    brick_of[component] = intervals.brick
    each = np.bincount(brick_of, minlength=len(cut))
    rest = np.flatnonzero(~cut | (counts & (each == 0)))
    alone = np.full(len(cut), -1, dtype=np.int64)
    alone[rest] = len(brick_of) + np.arange(len(rest))
    whole, unsampled = np.where(cut, -1, alone), np.flatnonzero(cut & (alone >= 0))
    return Elements(np.concatenate([brick_of, rest]), brick_of, alone, whole, unsampled, each > 1)


def face_links(
    intervals: BrickIntervals,
    component: Ints,
    elements: Elements,
    index: BrickIndex,
    octants: Floats,
) -> Ints:
    """Pairs (k, 2) of elements connected through a face of their bricks, but for two full ones.

    Parameters
    ----------
    intervals : BrickIntervals
        Solid intervals of the cut bricks.
    component : (s,) int
        Component of each interval.
    elements : Elements
        The elements.
    index : BrickIndex
        Bricks by their place.
    octants : (n, 8) float
        Filled fraction of each octant of the bricks.

    Returns
    -------
    (k, 2) int
        The pairs.
    """
    found = [_sliver_links(elements, index, octants)]
    for axis in range(3):
        for side in (1, -1):
            mine = at_face(intervals, axis, side)
            other = index.beside(intervals.brick[mine], axis, side)
            mine, other = mine[other >= 0], other[other >= 0]
            whole = elements.whole[other]
            found.append(np.stack([component[mine], whole], axis=1)[whole >= 0])
            if side == -1:
                continue
            column = intervals.column[mine]
            if axis == 2:
                met = intervals.meeting(mine, other, column)
                met = met[intervals.low[met[:, 1]] <= _AT_FACE]
            else:
                column[:, axis] = 0
                met = intervals.overlapping(intervals.meeting(mine, other, column))
            found.append(component[met])
    low, high = np.sort(np.concatenate(found), axis=1).T
    count = len(elements.brick)
    return np.stack(np.divmod(np.unique(low * count + high), count), axis=1)


def _sliver_links(elements: Elements, index: BrickIndex, octants: Floats) -> Ints:
    """Pairs (k, 2): unsampled slivers, each with the element beyond a face along which it lies."""
    found = [np.empty((0, 2), dtype=np.int64)]
    slivers = octants[elements.unsampled]
    for axis in range(3):
        for side in (1, -1):
            facing = slivers[:, CORNERS[:, axis] == (side + 1) // 2].mean(axis=1)
            mine = elements.unsampled[facing >= _SLIVER_FACING * slivers.mean(axis=1)]
            beside = index.beside(mine, axis, side)
            kept = (beside >= 0) & ~elements.several[beside]
            mine, beside = mine[kept], beside[kept]
            only = np.minimum(
                np.searchsorted(elements.brick_of, beside), max(len(elements.brick_of) - 1, 0)
            )
            other = np.where(elements.alone[beside] < 0, only, elements.alone[beside])
            found.append(np.stack([elements.alone[mine], other], axis=1))
    return np.concatenate(found)


def _doubtful_nodes(elements: Elements, links: Ints, index: BrickIndex) -> Mask:
    """Places of nodes, (nodes of the grid,), around which the material may not be connected."""
    doubtful = np.zeros(index.node_count, dtype=bool)
    doubtful[index.nodes(np.flatnonzero(elements.several))] = True
    cut = np.flatnonzero(elements.whole < 0)
    one, other = elements.brick[links].T
    shift = index.cells[other] - index.cells[one]
    lower, along = np.where(shift.sum(axis=1) > 0, one, other), np.abs(shift).argmax(axis=1)
    for axis in range(3):
        above, below = index.beside(cut, axis, 1), index.beside(cut, axis, -1)
        faces = np.unique(np.concatenate([cut[above >= 0], below[below >= 0]]))
        open_faces = np.setdiff1d(faces, lower[along == axis])
        doubtful[index.nodes(open_faces)[:, CORNERS[:, axis] == 1]] = True
    return doubtful


def phantom_nodes(elements: Elements, links: Ints, index: BrickIndex, kept: Mask) -> Ints:
    """Number the phantom nodes at the corners of the elements.

    Parameters
    ----------
    elements : Elements
        The elements.
    links : (k, 2) int
        Pairs of elements that are connected.
    index : BrickIndex
        Their bricks by place.
    kept : (e,) bool
        Elements that have nodes at all.

    Returns
    -------
    (e, 8) int
        Phantom node at each corner; 0 is the node itself.
    """
    doubtful = _doubtful_nodes(elements, links, index)
    phantom = np.zeros((len(elements.brick), 8), dtype=np.int64)
    if not doubtful.any():
        return phantom
    nodes = index.nodes(np.arange(len(index.cells)))
    near: Mask = np.asarray(doubtful[nodes].any(axis=1))
    mine = np.flatnonzero(near[elements.brick])
    row = np.full(len(phantom), -1, dtype=np.int64)
    row[mine] = np.arange(len(mine))
    pairs = row[np.concatenate([links, _whole_links(elements, index, near)])]
    label = shared_nodes(index.cells[elements.brick[mine]], pairs[(pairs >= 0).all(axis=1)])
    element, corner = np.nonzero(doubtful[nodes[elements.brick[mine]]] & kept[mine, None])
    node = nodes[elements.brick[mine[element]], corner]
    groups, group = np.unique(node * label.size + label[element, corner], return_inverse=True)
    brick_of = groups // label.size
    first = np.searchsorted(brick_of, brick_of)
    phantom[mine[element], corner] = (np.arange(len(groups)) - first)[group]
    return phantom


def _whole_links(elements: Elements, index: BrickIndex, near: Mask) -> Ints:
    """Pairs (k, 2) of full bricks side by side, among the bricks ``near`` (n,)."""
    found = []
    whole = np.flatnonzero(near & (elements.whole >= 0))
    for axis in range(3):
        beside = index.beside(whole, axis, 1)
        both = (beside >= 0) & (elements.whole[beside] >= 0)
        found.append(elements.whole[np.stack([whole[both], beside[both]], axis=1)])
    return np.concatenate(found)
