"""Walking the box tree: which nodes a ball reaches, and the nearest point of a surface."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.jit import inner
from shrinkrule.walls.thickness.tree import Tree


@inner
def box_distance(boxes: NDArray[np.float32], i: int, x: float, y: float, z: float) -> float:
    """Squared distance from the point x, y, z to a box.

    Parameters
    ----------
    boxes : (2 leaves, 6) float32
        As in `Tree`.
    i : int
        Node of the box.
    x, y, z : float
        The point.

    Returns
    -------
    float
        0 inside the box.
    """
    dx = max(max(boxes[i, 0] - x, x - boxes[i, 3]), 0.0)
    dy = max(max(boxes[i, 1] - y, y - boxes[i, 4]), 0.0)
    dz = max(max(boxes[i, 2] - z, z - boxes[i, 5]), 0.0)
    square: float = dx * dx + dy * dy + dz * dz
    return square


@inner
def beside_slab(tree: Tree, i: int, x: float, y: float, z: float, radius: float) -> bool:
    """Whether a ball misses the slab, cut to a disc, that holds the facets of a node.

    Parameters
    ----------
    tree : Tree
        The surface.
    i : int
        The node.
    x, y, z, radius : float
        Centre and radius of the ball.

    Returns
    -------
    bool
        False where the node has no slab, too.
    """
    if tree.slabs[i, 4] == np.inf:
        return False
    sx, sy, sz = tree.slabs[i, 0], tree.slabs[i, 1], tree.slabs[i, 2]
    along = sx * x + sy * y + sz * z
    gap = max(max(tree.slabs[i, 3] - along, along - tree.slabs[i, 4]), 0.0)
    if gap >= radius:
        return True
    hx = 0.5 * (tree.boxes[i, 3] - tree.boxes[i, 0])
    hy = 0.5 * (tree.boxes[i, 4] - tree.boxes[i, 1])
    hz = 0.5 * (tree.boxes[i, 5] - tree.boxes[i, 2])
    bx = x - tree.boxes[i, 0] - hx
    by = y - tree.boxes[i, 1] - hy
    bz = z - tree.boxes[i, 2] - hz
    off = sx * bx + sy * by + sz * bz
    aside = bx * bx + by * by + bz * bz - off * off
    reach = np.sqrt(hx * hx + hy * hy + hz * hz) + np.sqrt(radius * radius - gap * gap)
    # The unit vector is one to float32 only.
    beside: bool = aside > 1.000001 * reach * reach
    return beside


@inner
def nearest_on_facet(f: int, corners: Floats, x: Any, y: Any, z: Any, q: Floats) -> float:
    """Find the point of a facet nearest to the point x, y, z.

    Source: Ericson, Real-Time Collision Detection (2005), section 5.1.5.

    Parameters
    ----------
    f : int
        The facet.
    corners : (m, 3, 3) float64
        Corners of all facets.
    x, y, z : float
        The point.
    q : (3,) float64
        Takes the nearest point.

    Returns
    -------
    float
        Squared distance.
    """
    ax, ay, az = corners[f, 0, 0], corners[f, 0, 1], corners[f, 0, 2]
    bx, by, bz = corners[f, 1, 0] - ax, corners[f, 1, 1] - ay, corners[f, 1, 2] - az
    cx, cy, cz = corners[f, 2, 0] - ax, corners[f, 2, 1] - ay, corners[f, 2, 2] - az
    px, py, pz = x - ax, y - ay, z - az
    bp = bx * px + by * py + bz * pz
    cp = cx * px + cy * py + cz * pz
    bb = bx * bx + by * by + bz * bz
    bc = bx * cx + by * cy + bz * cz
    cc = cx * cx + cy * cy + cz * cz
    # Distances along AB and AC as seen from A, B and C.
    d1, d2, d3, d4, d5, d6 = bp, cp, bp - bb, cp - bc, bp - bc, cp - cc
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    if d1 <= 0.0 and d2 <= 0.0:
        v, w = 0.0, 0.0
    elif d3 >= 0.0 and d4 <= d3:
        v, w = 1.0, 0.0
    elif d6 >= 0.0 and d5 <= d6:
        v, w = 0.0, 1.0
    elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        v, w = d1 / (d1 - d3), 0.0
    elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        v, w = 0.0, d2 / (d2 - d6)
    elif va <= 0.0 and d4 >= d3 and d5 >= d6:
        w = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        v = 1.0 - w
    else:
        whole = va + vb + vc
        v, w = vb / whole, vc / whole
    qx, qy, qz = v * bx + w * cx, v * by + w * cy, v * bz + w * cz
    q[0], q[1], q[2] = ax + qx, ay + qy, az + qz
    square: float = (px - qx) ** 2 + (py - qy) ** 2 + (pz - qz) ** 2
    return square


@inner
def next_leaf(
    tree: Tree, stack: Any, waiting: int, x: float, y: float, z: float, reach: float
) -> tuple[int, int]:
    """Go on down the tree to the next leaf that a ball reaches, the nearer child first.

    Parameters
    ----------
    tree : Tree
        The surface.
    stack : (DEPTH,) int64
        Nodes to visit: 1, the root, before the first call. The last one is visited first.
    waiting : int
        How many nodes there are on the stack.
    x, y, z, reach : float
        Centre and radius of the ball, which may shrink from call to call.

    Returns
    -------
    int, int
        How many nodes are on the stack now, and the leaf: -1 when none is left.
    """
    leaves = len(tree.boxes) // 2
    while waiting > 0:
        waiting -= 1
        node = stack[waiting]
        if box_distance(tree.boxes, node, x, y, z) >= reach * reach:
            continue
        if beside_slab(tree, node, x, y, z, reach):
            continue
        if node >= leaves:
            return waiting, node - leaves
        left = box_distance(tree.boxes, 2 * node, x, y, z)
        right = box_distance(tree.boxes, 2 * node + 1, x, y, z)
        nearer = 2 * node if left <= right else 2 * node + 1
        stack[waiting] = 4 * node + 1 - nearer
        stack[waiting + 1] = nearer
        waiting += 2
    return 0, -1


@inner
def nearest_point(
    tree: Tree,
    c: Floats,
    bound: float,
    away: Floats,
    cosine: float,
    slack: float,
    point: Floats,
    room: Any,
) -> tuple[float, int]:
    """Distance from ``c`` to the nearest point of a surface, and the point's facet.

    Parameters
    ----------
    tree : Tree
        The surface.
    c : (3,) float64
        Where to look from.
    bound : float
        How far to look.
    away : (3,) float64
        A unit vector; with ``cosine`` 0 and a zero vector every point counts.
    cosine : float
        Only points whose direction from ``c`` has this cosine to ``away`` or less count.
    slack : float
        Share by which the distance may be too large: seen from the middle of something round,
        all facets are about equally near.
    point : (3,) float64
        Takes the point.
    room : (DEPTH,) int64, (3,) float64
        Scratch.

    Returns
    -------
    float, int
        Distance and facet; ``bound`` and -1 where no point counts. A facet is represented by its
        own nearest point. Degenerate facets do not count: their neighbours hold the same points.
    """
    stack, trial = room
    found, near = -1, bound
    leaves, pieces = len(tree.boxes) // 2, len(tree.items)
    stack[0] = 1
    waiting: Any = np.int64(1)
    while True:
        waiting, leaf = next_leaf(tree, stack, waiting, c[0], c[1], c[2], near * (1.0 - slack))
        if leaf < 0:
            break
        for place in range(leaf * pieces // leaves, (leaf + 1) * pieces // leaves):
            f = tree.items[place]
            if (
                tree.normals[f, 0] == 0.0
                and tree.normals[f, 1] == 0.0
                and tree.normals[f, 2] == 0.0
            ):
                continue
            far = np.sqrt(nearest_on_facet(f, tree.corners, c[0], c[1], c[2], trial))
            if far >= near:
                continue
            along = 0.0
            for a in range(3):
                along += (trial[a] - c[a]) * away[a]
            if along <= cosine * far:
                near, found = far, f
                for a in range(3):
                    point[a] = trial[a]
    return near, found
