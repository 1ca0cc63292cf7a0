"""Where on an outline a disk of given size cannot rest: what is narrow there, or a corner.

A disk that touches the outline at a point from inside, and meets no other edge, shows that nothing
is lost there. Most outlines pass everywhere but at their corners, and need no offset at all.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.jit import compiled, inner
from shrinkrule.walls.layers.outlines import edge_ends

STEP: Final = 0.25
"""Spacing of the points tried, in radii: a neck 2 % too thin between holes is longer."""

CORNER_TURN: Final = 0.2
"""Radians an outline turns at a corner, at least; where it turns less, it is narrow."""

CORNER_SHIFT: Final = 0.45
"""Radii between the disks that rest on either side of a corner, at most: two steps, aslant."""

CORNER_REACH: Final = 0.7
"""Radii by which a corner reaches beyond those disks, at most: a corner of 72 degrees."""


@inner
def _grid_of(start: Floats, end: Floats, cell: float, low: Floats, size: Ints) -> Any:
    """Edges that pass through each cell of a grid, one cell after the other."""
    counts = np.zeros(size[0] * size[1] + 1, np.int64)
    items = np.empty(0, np.int64)
    for fills in range(2):
        if fills:
            total = 0
            for c in range(len(counts)):
                counts[c], total = total, total + counts[c]
            items = np.empty(total, np.int64)
        for e in range(len(start)):
            ax, ay = (start[e, 0] - low[0]) / cell, (start[e, 1] - low[1]) / cell
            bx, by = (end[e, 0] - low[0]) / cell, (end[e, 1] - low[1]) / cell
            if ay > by:
                ax, ay, bx, by = bx, by, ax, ay
            for j in range(int(ay), int(by) + 1):
                t0 = 0.0 if by == ay else min(1.0, max(0.0, (j - ay) / (by - ay)))
                t1 = 1.0 if by == ay else min(1.0, max(0.0, (j + 1 - ay) / (by - ay)))
                one, other = ax + t0 * (bx - ax), ax + t1 * (bx - ax)
                first = max(0, int(min(one, other) - 1e-9))
                for i in range(first, min(size[0] - 1, int(max(one, other) + 1e-9)) + 1):
                    c = j * size[0] + i
                    if fills:
                        items[counts[c]] = e
                    counts[c] += 1
    # Filling moved each cell's beginning to its end.
    for c in range(len(counts) - 1, 0, -1):
        counts[c] = counts[c - 1]
    counts[0] = 0
    return counts, items


@inner
def _rests(
    x: float,
    y: float,
    radius: float,
    start: Floats,
    end: Floats,
    grid: Ints,
    items: Ints,
    cell: float,
    low: Floats,
    size: Ints,
) -> bool:
    """Whether no edge comes nearer to a point than a radius."""
    square = radius * radius
    left = max(0, int((x - radius - low[0]) / cell))
    right = min(size[0] - 1, int((x + radius - low[0]) / cell))
    down = max(0, int((y - radius - low[1]) / cell))
    up = min(size[1] - 1, int((y + radius - low[1]) / cell))
    for j in range(down, up + 1):
        for i in range(left, right + 1):
            for k in range(grid[j * size[0] + i], grid[j * size[0] + i + 1]):
                e = items[k]
                ux, uy = end[e, 0] - start[e, 0], end[e, 1] - start[e, 1]
                px, py = x - start[e, 0], y - start[e, 1]
                length = ux * ux + uy * uy
                t = 0.0 if length == 0.0 else min(1.0, max(0.0, (px * ux + py * uy) / length))
                px -= t * ux
                py -= t * uy
                if px * px + py * py < square:
                    return False
    return True


@inner
def _stations(ring: Floats, step: float, radius: float, side: float) -> Any:
    """Points along an outline where a disk may touch it, and the outline's direction there.

    At a corner that points into the disk's region a disk may touch from many sides.
    """
    count = 0
    where, heading = np.empty((0, 2)), np.empty((0, 2))
    for fills in range(2):
        if fills:
            where, heading = np.empty((count, 2)), np.empty((count, 2))
            count = 0
        for i in range(len(ring)):
            ax, ay = ring[i - 1, 0], ring[i - 1, 1]
            ux, uy = ring[i, 0] - ax, ring[i, 1] - ay
            length = np.sqrt(ux * ux + uy * uy)
            if length == 0.0:
                continue
            ux, uy = ux / length, uy / length
            steps = max(1, int(np.ceil(length / (step * radius))))
            for k in range(steps):
                if fills:
                    t = (k + 0.5) / steps * length
                    where[count, 0], where[count, 1] = ax + t * ux, ay + t * uy
                    heading[count, 0], heading[count, 1] = ux, uy
                count += 1
            after = (i + 1) % len(ring)
            vx, vy = ring[after, 0] - ring[i, 0], ring[after, 1] - ring[i, 1]
            turn = np.arctan2(ux * vy - uy * vx, ux * vx + uy * vy)
            if side * turn >= -step / 2.0:
                continue
            steps = int(np.ceil(abs(turn) / step))
            for k in range(steps):
                if fills:
                    t = (k + 0.5) / steps * turn
                    where[count, 0], where[count, 1] = ring[i, 0], ring[i, 1]
                    heading[count, 0] = np.cos(t) * ux - np.sin(t) * uy
                    heading[count, 1] = np.sin(t) * ux + np.cos(t) * uy
                count += 1
    return where, heading


@compiled
def narrow_outline_points(
    points: Floats, begins: Ints, radius: float, slack: float, side: float
) -> Any:
    """Find outline points at which a disk cannot rest, corners left out.

    Parameters
    ----------
    points, begins : (n, 2) float64, (m + 1,) int64
        Points of closed outlines, mm; the first of each, with their number at the end.
    radius, slack : float
        Radius of the disk, and how far edges may reach into it: outline points are no better.
    side : float
        1 for disks in the material, to the left, and -1 for disks in the air.

    Returns
    -------
    (k, 2) float64
        Points, mm.
    """
    count = len(points)
    end = edge_ends(points, begins)
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for i in range(count):
        for a in range(2):
            low[a], high[a] = min(low[a], points[i, a]), max(high[a], points[i, a])
    # Cells as wide as the disk, but not many more than there are edges.
    cell = max(radius, np.sqrt((high[0] - low[0]) * (high[1] - low[1]) / (4.0 * count + 1000.0)))
    size = np.empty(2, np.int64)
    for a in range(2):
        size[a] = int((high[a] - low[a]) / cell) + 1
    grid, items = _grid_of(points, end, cell, low, size)
    found = np.empty((4, 2))
    kept: Any = np.int64(0)
    for ring in range(len(begins) - 1):
        where, heading = _stations(points[begins[ring] : begins[ring + 1]], STEP, radius, side)
        n = len(where)
        centre, free = np.empty((n, 2)), np.empty(n, np.bool_)
        for s in range(n):
            centre[s, 0] = where[s, 0] - side * radius * heading[s, 1]
            centre[s, 1] = where[s, 1] + side * radius * heading[s, 0]
            free[s] = _rests(
                centre[s, 0], centre[s, 1], radius - slack,
                points, end, grid, items, cell, low, size,
            )  # fmt: skip
        if kept + n > len(found):
            more = np.empty((2 * (kept + n), 2))
            for s in range(kept):
                more[s, 0], more[s, 1] = found[s, 0], found[s, 1]
            found = more
        kept = _add_narrow(n, where, centre, free, heading, radius, side, found, kept)
    return found[:kept]


@inner
def _add_narrow(
    n: int,
    where: Floats,
    centre: Floats,
    free: Mask,
    heading: Floats,
    radius: float,
    side: float,
    found: Floats,
    kept: int,
) -> int:
    """Add the narrow points of one outline to ``found``, corners left out; gives the count."""
    first = 0
    while first < n and not free[first]:
        first += 1
    if first == n:
        for i in range(n):
            found[kept, 0], found[kept, 1] = where[i, 0], where[i, 1]
            kept += 1
        return kept
    i = first
    while i < first + n:
        if free[i % n]:
            i += 1
            continue
        stop = i
        while not free[stop % n]:
            stop += 1
        one, other = (i - 1) % n, stop % n
        turn, reach = 0.0, 0.0
        for k in range(i, stop + 1):
            a, b = (k - 1) % n, k % n
            cross = heading[a, 0] * heading[b, 1] - heading[a, 1] * heading[b, 0]
            dot = heading[a, 0] * heading[b, 0] + heading[a, 1] * heading[b, 1]
            turn += np.arctan2(cross, dot)
            if k < stop:
                near = np.inf
                for c in (one, other):
                    dx, dy = where[b, 0] - centre[c, 0], where[b, 1] - centre[c, 1]
                    near = min(near, np.sqrt(dx * dx + dy * dy))
                reach = max(reach, near)
        shift = np.sqrt(
            (centre[one, 0] - centre[other, 0]) ** 2 + (centre[one, 1] - centre[other, 1]) ** 2
        )
        corner = side * turn >= CORNER_TURN and shift <= CORNER_SHIFT * radius
        # The sample before the tip is up to half a step from it.
        if not (corner and reach <= (1.0 + CORNER_REACH - STEP / 2.0) * radius):
            for k in range(i, stop):
                found[kept, 0], found[kept, 1] = where[k % n, 0], where[k % n, 1]
                kept += 1
        i = stop
    return kept
