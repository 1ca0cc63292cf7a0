"""The ball that spans a round part behind a facet.

On the facets of something round, the largest ball that touches one facet is caught by the
next, though the part is thick behind both. The ball about the middle of the chord is the
one that tells the wall there; neighbours share it.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.jit import compiled
from shrinkrule.walls.thickness.tree import Tree, beside_slab, box_distance

REACH_IN: Final = 1e-3
"""A facet that reaches into the ball by less than this share of the radius touches it.

In a round part all facets of a ring do, and looking at each of them again for the last
thousandth would take a hundred times as long.
"""

NEARLY: Final = 0.998
"""A known ball of this share of half the chord or more fills the chord: it tells the wall."""

SPANS: Final = 0.98
"""A ball of this share of the chord or more spans the wall: it is told to 2 % at worst."""

ROUGHLY: Final = 0.8
"""A middle with less room than this share of half the chord is no middle of a round part."""

MEMORY: Final = 16
"""Spanning balls that are remembered: in a round part one serves many samples."""

ALIKE: Final = 2e-3
"""A remembered ball that misses a sample by this share of its radius touches it too."""

SQUARE: Final = 0.06
"""Sine of the angle to the normal at which such a ball may meet the surface there."""

CENTRINGS: Final = 4
"""Moves of the centre to the middle of a round part; one or two suffice."""


@compiled
def nearest_on_facet(f: int, corners: Floats, x: Any, y: Any, z: Any, q: Floats) -> float:
    """Squared distance from a point to a facet; the nearest point goes into ``q``.

    Source: Ericson, Real-Time Collision Detection (2005), section 5.1.5.
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


@compiled
def _clearance(
    tree: Tree, c: Floats, bound: float, q: Floats, nearest: Floats, stack: Any
) -> float:
    """Distance from ``c`` to the surface, at most ``bound``, to a thousandth.

    The nearest point goes into ``nearest``; it stays as it is when nothing is within ``bound``.
    """
    square = bound * bound
    near = bound * (1.0 - REACH_IN)
    leaves, pieces = len(tree.boxes) // 2, len(tree.items)
    stack[0] = 1
    waiting = 1
    while waiting > 0:
        waiting -= 1
        node = stack[waiting]
        if box_distance(tree.boxes, node, c[0], c[1], c[2]) >= near * near:
            continue
        if beside_slab(tree, node, c[0], c[1], c[2], near):
            continue
        if node < leaves:
            left = box_distance(tree.boxes, 2 * node, c[0], c[1], c[2])
            right = box_distance(tree.boxes, 2 * node + 1, c[0], c[1], c[2])
            nearer = 2 * node if left <= right else 2 * node + 1
            stack[waiting] = 4 * node + 1 - nearer
            stack[waiting + 1] = nearer
            waiting += 2
            continue
        leaf = node - leaves
        for place in range(leaf * pieces // leaves, (leaf + 1) * pieces // leaves):
            far = nearest_on_facet(tree.items[place], tree.corners, c[0], c[1], c[2], q)
            if far < square:
                square = far
                nearest[0], nearest[1], nearest[2] = q[0], q[1], q[2]
                near = np.sqrt(far) * (1.0 - REACH_IN)
    clearance: float = np.sqrt(square)
    return clearance


@compiled
def spanning_ball(
    tree: Tree,
    p: Floats,
    n: Floats,
    half: float,
    c: Floats,
    q: Floats,
    nearest: Floats,
    stack: Any,
) -> float:
    """Radius of the ball about the middle of the chord behind p if it spans the chord, else 0.

    ``half`` is half the chord; the ball's centre goes into ``c``. In a round part the ball at a
    sample is caught between its own facet and the next, and the ball that spans the part is
    this one. A chord of a facet passes the middle of a round part by up to half a facet, so the
    centre is moved away from what is nearest first.
    """
    for a in range(3):
        c[a] = p[a] - half * n[a]
    best = 0.0
    for _ in range(CENTRINGS):
        clear = _clearance(tree, c, half, q, nearest, stack)
        if clear <= best:
            break
        best = clear
        if clear < half * ROUGHLY or clear >= half * (1.0 - REACH_IN):
            break
        for a in range(3):
            c[a] += (c[a] - nearest[a]) / clear * (half - clear)
    return best if best >= half * SPANS else 0.0


@compiled
def remember(known: Floats, turn: int, c: Floats, radius: float) -> int:
    """Put a ball in place ``turn`` of those known, and tell the next place."""
    known[turn, 0], known[turn, 1], known[turn, 2] = c[0], c[1], c[2]
    known[turn, 3] = radius
    return (turn + 1) % len(known)


@compiled
def remembered(known: Floats, p: Floats, n: Floats, half: float, share: float) -> float:
    """Radius of a ball found lately that touches square at p and spans the chord there, or 0.

    It spans the chord when its radius is ``share`` of half the chord or more.
    """
    for k in range(len(known)):
        radius = known[k, 3]
        if radius < half * share:
            continue
        square, along = 0.0, 0.0
        for a in range(3):
            way = p[a] - known[k, a]
            square += way * way
            along += way * n[a]
        if along > 0.0 and abs(np.sqrt(square) - radius) <= ALIKE * radius:
            slant = square - along * along
            if slant <= SQUARE * SQUARE * square:
                found: float = min(radius, half)
                return found
    return 0.0
