"""The largest ball inside a part that touches its surface at a point.

A ball that touches the surface at p with outward normal n and passes through x has the radius
``rho(x) = |p - x|^2 / (2 n.(p - x))``. The radius of the largest empty ball is the smallest rho
over the surface. On a flat facet rho has one minimum, in closed form: where the ball touches the
facet's plane, if that lies inside the facet, else on one of its edges. The tree is walked with the
best ball so far: a box that it does not reach cannot make it smaller.

Inside the loops single numbers are read, never rows: a view of a row counts references to its
array, and two threads that count on one array wait for each other.

Source: tangent ball through a point: Ma, Bae, Choi, "3D medial axis point approximation
using nearest neighbors and the normal field", The Visual Computer 28 (2012) 7-19; the
minimum over a facet is derived in docs/theory-walls.md.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.jit import compiled, inner
from shrinkrule.walls.thickness.nearest import beside_slab, box_distance, nearest_on_facet
from shrinkrule.walls.thickness.spanning import (
    MEMORY,
    NEARLY,
    REACH_IN,
    ROUGHLY,
    ROUND,
    SPANS,
    remember,
    remembered,
    spanning_ball,
)
from shrinkrule.walls.thickness.tree import Tree

GRAZING: Final = 1e-7
"""Cosine to the normal below which a chord runs along the surface and crosses no wall."""

STEEP: Final = 0.01
"""Cosine to a facet's normal above which a chord meets the facet's plane at a well determined
place."""

CHORD_ERROR: Final = 0.5
"""Relative error of a ray's distance from which on it is not believed."""

EDGE_ANGLE: Final = float(np.radians(110.0))
"""A ball whose contacts are closer together than this, seen from its centre, lies at an edge.

Where two faces meet at an angle a, the contacts are pi - a apart: 90 degrees at a
square edge, 180 degrees in a wall with parallel faces.
"""

WALL_CHORD: Final = float(np.sin(EDGE_ANGLE / 2.0))
"""Least chord over diameter of a ball that measures a wall: its contacts are that far apart."""

DEPTH: Final = 128
"""Room for nodes waiting to be visited: two per level, and no tree is 64 levels deep."""


@inner
def _touch_segment(
    zx: float,
    zy: float,
    zz: float,
    bx: float,
    by: float,
    bz: float,
    nx: float,
    ny: float,
    nz: float,
) -> tuple[float, float]:
    """Least rho over the segment z + t b (relative to p), and its t."""
    square = zx * zx + zy * zy + zz * zz
    along = zx * bx + zy * by + zz * bz
    length = bx * bx + by * by + bz * bz
    height = nx * zx + ny * zy + nz * zz
    slope = nx * bx + ny * by + nz * bz
    if length == 0.0:
        return np.inf, 0.0
    root = np.sqrt(
        max(height * height + slope * (square * slope - 2.0 * along * height) / length, 0.0)
    )
    if height < 0.0:
        t = (2.0 * along * height - square * slope) / (length * (root - height))
    elif slope == 0.0:
        return np.inf, 0.0
    else:
        t = -(height + root) / slope
    t = min(1.0, max(0.0, t))
    below = -(height + slope * t)
    chord = square + t * (2.0 * along + t * length)
    if below <= 0.0 or below * below <= GRAZING * GRAZING * chord:
        return np.inf, t
    return chord / (2.0 * below), t


@inner
def _touch_facet(
    f: int,
    corners: Floats,
    normals: Floats,
    px: float,
    py: float,
    pz: float,
    nx: float,
    ny: float,
    nz: float,
    radius: float,
) -> tuple[float, float, float, float]:
    """Least rho over facet ``f`` and where, when it is less than ``radius``; inf otherwise."""
    mx, my, mz = normals[f, 0], normals[f, 1], normals[f, 2]
    ax, ay, az = corners[f, 0, 0] - px, corners[f, 0, 1] - py, corners[f, 0, 2] - pz
    ahead = mx * ax + my * ay + mz * az
    cosine = nx * mx + ny * my + nz * mz
    gap = ahead + radius * cosine
    size = radius * (1.0 - REACH_IN)
    if abs(gap) >= size:
        return np.inf, 0.0, 0.0, 0.0
    # The ball cuts the plane in a disc; most facets lie beside it.
    disc = size * size - gap * gap
    sx, sy, sz = gap * mx - radius * nx, gap * my - radius * ny, gap * mz - radius * nz
    for k in range(3):
        j = k + 1 if k < 2 else 0
        ex = corners[f, j, 0] - corners[f, k, 0]
        ey = corners[f, j, 1] - corners[f, k, 1]
        ez = corners[f, j, 2] - corners[f, k, 2]
        wx = sx - (corners[f, k, 0] - px)
        wy = sy - (corners[f, k, 1] - py)
        wz = sz - (corners[f, k, 2] - pz)
        turn = mx * (ey * wz - ez * wy) + my * (ez * wx - ex * wz) + mz * (ex * wy - ey * wx)
        if turn < 0.0 and turn * turn >= disc * (ex * ex + ey * ey + ez * ez):
            return np.inf, 0.0, 0.0, 0.0
    # The ball inside the plane touches it along m, the one beyond it along -m.
    side = 1.0 if ahead > 0.0 else -1.0
    reach = 1.0 - side * cosine
    if reach <= 0.0:
        return np.inf, 0.0, 0.0, 0.0
    rho = side * ahead / reach
    if rho >= radius:
        return np.inf, 0.0, 0.0, 0.0
    x, y, z = rho * (side * mx - nx), rho * (side * my - ny), rho * (side * mz - nz)
    inside = True
    for k in range(3):
        j = k + 1 if k < 2 else 0
        ex = corners[f, j, 0] - corners[f, k, 0]
        ey = corners[f, j, 1] - corners[f, k, 1]
        ez = corners[f, j, 2] - corners[f, k, 2]
        wx = x - (corners[f, k, 0] - px)
        wy = y - (corners[f, k, 1] - py)
        wz = z - (corners[f, k, 2] - pz)
        turn = mx * (ey * wz - ez * wy) + my * (ez * wx - ex * wz) + mz * (ex * wy - ey * wx)
        if turn < 0.0:
            inside = False
    if inside and rho > 0.0:
        return rho, x + px, y + py, z + pz
    least, lx, ly, lz = np.inf, 0.0, 0.0, 0.0
    for k in range(3):
        j = k + 1 if k < 2 else 0
        ax, ay, az = corners[f, k, 0], corners[f, k, 1], corners[f, k, 2]
        bx, by, bz = corners[f, j, 0] - ax, corners[f, j, 1] - ay, corners[f, j, 2] - az
        rho, t = _touch_segment(ax - px, ay - py, az - pz, bx, by, bz, nx, ny, nz)
        if rho < least:
            least, lx, ly, lz = rho, ax + t * bx, ay + t * by, az + t * bz
    return least, lx, ly, lz


@inner
def _largest_ball(
    tree: Tree, p: Floats, n: Floats, own: int, radius: float, guess: int, q: Floats, stack: Any
) -> tuple[float, int]:
    """Radius of the largest empty ball at p up to ``radius``, and the facet it touches.

    ``guess`` is a facet likely to touch, or -1. The contact goes into ``q``; both stay as they
    are, and the facet is -1, when nothing is nearer than ``radius``.
    """
    px, py, pz = p[0], p[1], p[2]
    nx, ny, nz = n[0], n[1], n[2]
    found = -1
    if guess >= 0 and guess != own:
        rho, x, y, z = _touch_facet(
            guess, tree.corners, tree.normals, px, py, pz, nx, ny, nz, radius
        )
        if rho < radius:
            radius, found = rho, guess
            q[0], q[1], q[2] = x, y, z
    leaves, pieces = len(tree.boxes) // 2, len(tree.items)
    cx, cy, cz = px - radius * nx, py - radius * ny, pz - radius * nz
    size = radius * (1.0 - REACH_IN)
    asked = size
    stack[0] = 1
    waiting = 1
    while waiting > 0:
        waiting -= 1
        node = stack[waiting]
        # A smaller ball lies in the larger one, so only waiting nodes are asked again.
        if size < asked and box_distance(tree.boxes, node, cx, cy, cz) >= size * size:
            continue
        if node < leaves:
            left = box_distance(tree.boxes, 2 * node, cx, cy, cz)
            right = box_distance(tree.boxes, 2 * node + 1, cx, cy, cz)
            nearer = 2 * node if left <= right else 2 * node + 1
            farther = 4 * node + 1 - nearer
            if max(left, right) < size * size and not beside_slab(tree, farther, cx, cy, cz, size):
                stack[waiting] = farther
                waiting += 1
            if min(left, right) < size * size and not beside_slab(tree, nearer, cx, cy, cz, size):
                stack[waiting] = nearer
                waiting += 1
            continue
        leaf = node - leaves
        for place in range(leaf * pieces // leaves, (leaf + 1) * pieces // leaves):
            f = tree.items[place]
            if f == own:
                continue
            rho, x, y, z = _touch_facet(
                f, tree.corners, tree.normals, px, py, pz, nx, ny, nz, radius
            )
            if rho < radius:
                radius, found = rho, f
                q[0], q[1], q[2] = x, y, z
                cx, cy, cz = px - radius * nx, py - radius * ny, pz - radius * nz
                size = radius * (1.0 - REACH_IN)
    return radius, found


@inner
def _chord(tree: Tree, p: Floats, n: Floats, f: int, about: float) -> float:
    """Distance along the inward normal from p to the plane of facet ``f``; 0 if ``about`` is wrong.

    ``about`` is the ray's distance, and the result where the plane runs along the normal. On
    degenerate facets the ray may be far off, and may hit one that lies beside p in its own plane.
    """
    slope, ahead, faces = 0.0, 0.0, 0.0
    for a in range(3):
        slope -= tree.normals[f, a] * n[a]
        ahead += tree.normals[f, a] * (tree.corners[f, 0, a] - p[a])
        faces += tree.normals[f, a] ** 2
    if faces == 0.0:
        return 0.0
    if abs(slope) <= STEEP:
        return about
    chord = ahead / slope
    return chord if abs(chord - about) < CHORD_ERROR * about else 0.0


@inner
def _leaves_room(tree: Tree, p: Floats, n: Floats, half: float, f: int, point: Floats) -> bool:
    """Whether facet ``f``, which the ball touches, leaves room for one that spans the chord."""
    x, y, z = p[0] - half * n[0], p[1] - half * n[1], p[2] - half * n[2]
    square = nearest_on_facet(f, tree.corners, x, y, z, point)
    roomy: bool = square >= (ROUGHLY * half) ** 2
    return roomy


@compiled
def measure(
    tree: Tree,
    points: Floats,
    normals: Floats,
    own: Any,
    chords: Floats,
    opposite: Any,
    reach: float,
    radius: Any,
    contacts: Any,
) -> None:
    """Measure the ball at each point; nan where nothing lies opposite.

    Where the contacts of the ball are close together but another ball spans the part behind, as on
    the facets of something round, the spanning ball is taken.

    Parameters
    ----------
    tree : Tree
        The surface.
    points, normals : (n, 3) float64
        Points on it, as the tree has them, and unit normals away from the balls.
    own : (n,) int64
        Facet of each point.
    chords, opposite : (n,) float64, (n,) int64
        Distance along the inward normal to the next facet, by ray, and that facet; -1 where it is
        further than ``reach``.
    reach : float
        Largest diameter of interest.
    radius, contacts : (n,) float64, (n, 3) float64
        Take the results.
    """
    stack = np.empty(DEPTH, np.int64)
    c, q = np.empty(3), np.empty(3)
    point, nearest, nowhere = np.empty(3), np.empty(3), np.zeros(3)
    known = np.zeros((MEMORY, 4))
    turn: Any = np.int64(0)
    last = turn - 1
    for i in range(len(points)):
        p, n = points[i], normals[i]
        chord = _chord(tree, p, n, opposite[i], chords[i]) if opposite[i] >= 0 else 0.0
        faced = chord > 0.0
        half = 0.5 * chord if faced else 0.5 * reach
        for a in range(3):
            q[a] = p[a] - 2.0 * half * n[a]
        if faced and remembered(known, p, n, half, NEARLY, 1.0) > 0.0:
            radius[i] = half
            for a in range(3):
                contacts[i, a] = q[a]
            continue
        ball, touched = _largest_ball(tree, p, n, own[i], half, last, q, stack)
        if touched >= 0:
            last = touched
        elif not faced:
            radius[i], contacts[i] = np.nan, np.nan
            continue
        square = 0.0
        for a in range(3):
            c[a] = p[a] - ball * n[a]
            square += (q[a] - p[a]) ** 2
        if square >= (2.0 * ball * WALL_CHORD) ** 2:
            turn = remember(known, turn, c, ball)
        elif faced and _leaves_room(tree, p, n, half, touched, point):
            spanning = remembered(known, p, n, half, SPANS, ROUND)
            if spanning == 0.0:
                spanning = spanning_ball(tree, p, n, half, c, point, nearest, nowhere, stack)
                if spanning > 0.0:
                    turn = remember(known, turn, c, spanning)
            if spanning > 0.0:
                ball = spanning
                for a in range(3):
                    q[a] = p[a] - 2.0 * spanning * n[a]
        radius[i] = ball
        for a in range(3):
            contacts[i, a] = q[a]
