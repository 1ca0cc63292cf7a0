"""A box tree over facets, in flat arrays that compiled loops walk without the interpreter.

Long facets get several boxes along them, so that the boxes hold little air. The boxes are halved
about the median of their longest axis until a handful is left, which makes a leaf of a complete
binary tree: node i has the children 2i and 2i + 1. Boxes are float32 rounded outwards, which
halves what has to be read; everything measured is float64.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import compiled, inner

LEAF: Final = 4
"""Boxes per leaf: fewer make a deeper tree, more test facets in vain."""

SLAB_LEVELS: Final = 8
"""Levels above the leaves that get slabs; higher nodes are seldom flat."""

FLAT: Final = 1e-9
"""Height over length below which a facet is degenerate: rounding decides its normal."""

MOST_SLICES: Final = 64
"""Boxes along one facet at most, so that a few long facets do not fill the memory."""


class Tree(NamedTuple):
    """Facets in spatial order with their boxes.

    Parameters
    ----------
    boxes : (2 leaves, 6) float32
        Low and high corner of every node; node 0 is unused, node 1 the root.
    slabs : (2 leaves, 5) float32
        For the lowest levels, a unit vector and the interval along it that holds the
        facets of the node: nearly flat pieces of surface make thin slabs.
    items : (pieces,) int64
        Facet of every box; leaf k of n has those from ``k pieces // n`` on.
    corners : (m, 3, 3) float64
        Corners of the facets, about `middle`.
    normals : (m, 3) float64
        Outward unit normals; zero for a facet without height.
    """

    boxes: NDArray[np.float32]
    slabs: NDArray[np.float32]
    items: Ints
    corners: Floats
    normals: Floats


@inner
def _spread(value: Any) -> Any:
    """Put two empty bits after each of the lower 21 bits of a number."""
    x = np.uint64(value) & np.uint64(0x1FFFFF)
    x = (x | (x << np.uint64(32))) & np.uint64(0x1F00000000FFFF)
    x = (x | (x << np.uint64(16))) & np.uint64(0x1F0000FF0000FF)
    x = (x | (x << np.uint64(8))) & np.uint64(0x100F00F00F00F00F)
    x = (x | (x << np.uint64(4))) & np.uint64(0x10C30C30C30C30C3)
    return (x | (x << np.uint64(2))) & np.uint64(0x1249249249249249)


@compiled
def morton_keys(points: Floats, low: Floats, span: float) -> Any:
    """Place of each point along Morton's curve through a cube of side ``span``."""
    keys = np.empty(len(points), np.uint64)
    scale = 2097151.0 / span
    for i in range(len(points)):
        x = _spread(np.int64((points[i, 0] - low[0]) * scale))
        y = _spread(np.int64((points[i, 1] - low[1]) * scale))
        z = _spread(np.int64((points[i, 2] - low[2]) * scale))
        keys[i] = x | (y << np.uint64(1)) | (z << np.uint64(2))
    return keys


def along_curve(points: Floats, low: Floats, span: float) -> Any:
    """Order points so that neighbours in space are mostly neighbours in the list.

    Parameters
    ----------
    points : (n, 3) float64
        Points in a cube.
    low, span : (3,) float64, float
        Lowest corner and side of the cube.

    Returns
    -------
    (n,) int64
        Indices of the points along Morton's curve.
    """
    # By the upper 32 bits of the keys, in two sorts by counting.
    # A copy can be written to, as where the tree is made: one signature to compile.
    keys = morton_keys(np.ascontiguousarray(points), np.array(low, float), span)
    fine = (keys >> np.uint64(31)).astype(np.uint16)
    coarse = (keys >> np.uint64(47)).astype(np.uint16)
    order = np.argsort(fine, kind="stable")
    return order[np.argsort(coarse[order], kind="stable")]


@compiled
def _slice_counts(corners: Floats, length: float, most: int) -> Any:
    """Number of boxes for each facet: its longest edge over ``length``, at most ``most``."""
    counts = np.zeros(len(corners), np.int64)
    for f in range(len(corners)):
        longest = 0.0
        for k in range(3):
            square = 0.0
            for a in range(3):
                square += (corners[f, (k + 1) % 3, a] - corners[f, k, a]) ** 2
            longest = max(longest, square)
        counts[f] = min(most, max(1, int(np.ceil(np.sqrt(longest) / length))))
    return counts


@compiled
def _slice_boxes(corners: Floats, starts: Ints, lows: Floats, highs: Floats, owner: Any) -> None:
    """Boxes of the pieces of each facet between cuts across its longest edge."""
    for f in range(len(corners)):
        pieces = starts[f + 1] - starts[f]
        first, longest = 0, -1.0
        for k in range(3):
            square = 0.0
            for a in range(3):
                square += (corners[f, (k + 1) % 3, a] - corners[f, k, a]) ** 2
            if square > longest:
                first, longest = k, square
        a0 = corners[f, first]
        b0 = corners[f, (first + 1) % 3]
        c0 = corners[f, (first + 2) % 3]
        foot = 0.0
        if longest > 0.0:
            for a in range(3):
                foot += (c0[a] - a0[a]) * (b0[a] - a0[a])
            foot = min(1.0, max(0.0, foot / longest))
        for i in range(pieces):
            low, high = lows[starts[f] + i], highs[starts[f] + i]
            owner[starts[f] + i] = f
            for a in range(3):
                low[a] = np.inf
                high[a] = -np.inf
            for side in range(2):
                t = (i + side) / pieces
                for a in range(3):
                    base = a0[a] + t * (b0[a] - a0[a])
                    if t <= foot:
                        share = t / foot if foot > 0.0 else 1.0
                        top = a0[a] + share * (c0[a] - a0[a])
                    else:
                        share = (t - foot) / (1.0 - foot)
                        top = c0[a] + share * (b0[a] - c0[a])
                    low[a] = min(low[a], min(base, top))
                    high[a] = max(high[a], max(base, top))
            if i / pieces <= foot and foot <= (i + 1) / pieces:
                for a in range(3):
                    low[a] = min(low[a], c0[a])
                    high[a] = max(high[a], c0[a])


@inner
def _part_about(order: Ints, middles: Floats, axis: int, low: int, high: int, at: int) -> None:
    """Reorder ``order[low:high]`` so that all before ``at`` are no further along the axis."""
    high -= 1
    while low < high:
        pivot = middles[order[(low + high) // 2], axis]
        i, j = low, high
        while i <= j:
            while middles[order[i], axis] < pivot:
                i += 1
            while middles[order[j], axis] > pivot:
                j -= 1
            if i <= j:
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if at <= j:
            high = j
        elif at >= i:
            low = i
        else:
            return


@inner
def _halve(order: Ints, middles: Floats, leaves: int) -> None:
    """Order pieces so that every node's halves lie on two sides of its longest axis."""
    pieces = len(order)
    width = leaves
    while width > 1:
        for first in range(0, leaves, width):
            low, high = first * pieces // leaves, (first + width) * pieces // leaves
            longest = -1.0
            axis: Any = np.int64(0)
            for a in range(3):
                least, most = np.inf, -np.inf
                for place in range(low, high):
                    x = middles[order[place], a]
                    least, most = min(least, x), max(most, x)
                if most - least > longest:
                    longest, axis = most - least, a
            at = (first + width // 2) * pieces // leaves
            _part_about(order, middles, axis, low, high, at)
        width //= 2


@inner
def _fill_nodes(low: Floats, high: Floats, order: Any, nodes: NDArray[np.float32]) -> None:
    """Bounds of leaves from their pieces, rounded outwards, and of nodes from their children."""
    leaves = len(nodes) // 2
    nodes[0] = 0.0
    for leaf in range(leaves):
        for a in range(3):
            least, most = np.inf, -np.inf
            for place in range(leaf * len(order) // leaves, (leaf + 1) * len(order) // leaves):
                least = min(least, low[order[place], a])
                most = max(most, high[order[place], a])
            nodes[leaves + leaf, a] = np.nextafter(np.float32(least), np.float32(-np.inf))
            nodes[leaves + leaf, 3 + a] = np.nextafter(np.float32(most), np.float32(np.inf))
    for i in range(leaves - 1, 0, -1):
        for a in range(3):
            nodes[i, a] = min(nodes[2 * i, a], nodes[2 * i + 1, a])
            nodes[i, 3 + a] = max(nodes[2 * i, 3 + a], nodes[2 * i + 1, 3 + a])


@compiled
def facet_normals(corners: Floats) -> Any:
    """Unit normals of triangles, zero where a triangle has no area."""
    normals = np.zeros((len(corners), 3))
    for f in range(len(corners)):
        a, b, c = corners[f, 0], corners[f, 1], corners[f, 2]
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = np.sqrt(x * x + y * y + z * z)
        wx, wy, wz = vx - ux, vy - uy, vz - uz
        longest = max(ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz)
        longest = max(longest, wx * wx + wy * wy + wz * wz)
        # Rounding of its corners decides which way a lower facet faces.
        if length > FLAT * longest:
            normals[f, 0], normals[f, 1], normals[f, 2] = x / length, y / length, z / length
    return normals


@inner
def _fill_slabs(facing: NDArray[np.float32], items: Ints, corners: Floats, slabs: Any) -> None:
    """Slab of every node of the lowest levels, along the middle of its facets' normals."""
    leaves, pieces = len(facing) // 2, len(items)
    for node in range(2 * leaves):
        first, last = node, node + 1
        while 0 < first < leaves:
            first, last = 2 * first, 2 * last
        slabs[node, 0], slabs[node, 1], slabs[node, 2] = 1.0, 0.0, 0.0
        slabs[node, 3], slabs[node, 4] = -np.inf, np.inf
        if node == 0 or last - first > 1 << SLAB_LEVELS:
            continue
        x = 0.5 * (facing[node, 0] + facing[node, 3])
        y = 0.5 * (facing[node, 1] + facing[node, 4])
        z = 0.5 * (facing[node, 2] + facing[node, 5])
        length = np.sqrt(x * x + y * y + z * z)
        if length < 0.5:
            continue
        slabs[node, 0], slabs[node, 1], slabs[node, 2] = x / length, y / length, z / length
        low, high = np.inf, -np.inf
        square = 0.0
        for a in range(3):
            square += np.float64(slabs[node, a]) ** 2
        for place in range((first - leaves) * pieces // leaves, (last - leaves) * pieces // leaves):
            for k in range(3):
                along = 0.0
                for a in range(3):
                    along += np.float64(slabs[node, a]) * corners[items[place], k, a]
                low, high = min(low, along), max(high, along)
        # Rounded to float32 outward by more than half a step.
        slabs[node, 3] = low - 1.2e-7 * abs(low)
        slabs[node, 4] = high + 1.2e-7 * abs(high)


@compiled
def _area(corners: Floats) -> float:
    """Area of all triangles together."""
    total = 0.0
    for f in range(len(corners)):
        a, b, c = corners[f, 0], corners[f, 1], corners[f, 2]
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        total += 0.5 * np.sqrt(x * x + y * y + z * z)
    return total


@compiled
def _build(
    order: Ints,
    middles: Floats,
    owner: Any,
    lows: Floats,
    highs: Floats,
    corners: Floats,
    normals: Floats,
    items: Ints,
    boxes: NDArray[np.float32],
    slabs: NDArray[np.float32],
) -> None:
    """Put pieces into a tree: their order, the facet of each, boxes and slabs of all nodes."""
    _halve(order, middles, len(boxes) // 2)
    for place in range(len(order)):
        items[place] = owner[order[place]]
    _fill_nodes(lows, highs, order, boxes)
    facing = np.empty_like(boxes)
    _fill_nodes(normals, normals, items, facing)
    _fill_slabs(facing, items, corners, slabs)


class Pieces(NamedTuple):
    """Facets cut into pieces, of which a tree is made.

    Parameters
    ----------
    corners, normals : (m, 3, 3) float64, (m, 3) float64
        As in `Tree`.
    lows, highs : (n, 3) float64
        Box of each piece.
    owner : (n,) int64
        Its facet.
    middles : (n, 3) float64
        Middle of its box.
    order : (n,) int64
        The pieces along Morton's curve.
    """

    corners: Floats
    normals: Floats
    lows: Floats
    highs: Floats
    owner: Ints
    middles: Floats
    order: Ints


def pieces_of(corners: Floats) -> Pieces:
    """Cut facets into pieces: most are one, long ones several.

    Parameters
    ----------
    corners : (m, 3, 3) float64
        Corners of the facets, best given about their middle.

    Returns
    -------
    Pieces
        The pieces.
    """
    count = len(corners)
    normals = facet_normals(corners)
    # A box per four typical facet widths.
    length = max(4.0 * np.sqrt(_area(corners) / (count + 1024.0)), np.finfo(np.float64).tiny)
    slices = _slice_counts(corners, float(length), MOST_SLICES)
    starts = np.concatenate([[0], np.cumsum(slices)]).astype(np.int64)
    lows, highs = np.empty((starts[-1], 3)), np.empty((starts[-1], 3))
    owner = np.empty(starts[-1], np.int64)
    _slice_boxes(corners, starts, lows, highs, owner)
    middles = 0.5 * (lows + highs)
    low = middles.min(axis=0)
    span = max(float((middles.max(axis=0) - low).max()), np.finfo(np.float64).tiny)
    order = np.argsort(morton_keys(middles, low, span), kind="stable").astype(np.int64)
    return Pieces(corners, normals, lows, highs, owner, middles, order)


def tree_of(pieces: Pieces) -> Tree:
    """Build the box tree of pieces, outside the interpreter's lock. It takes over their order.

    Parameters
    ----------
    pieces : Pieces
        As from `pieces_of`.

    Returns
    -------
    Tree
        Boxes, slabs and normals of the facets.
    """
    corners, normals, lows, highs, owner, middles, order = pieces
    leaves = 1
    while leaves * LEAF < len(order):
        leaves *= 2
    items = np.empty(len(order), np.int64)
    boxes, slabs = np.empty((2 * leaves, 6), np.float32), np.empty((2 * leaves, 5), np.float32)
    _build(order, middles, owner, lows, highs, corners, normals, items, boxes, slabs)
    return Tree(boxes, slabs, items, corners, normals)
