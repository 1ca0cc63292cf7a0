"""Vertical columns through the part: how much material stands over each point of the plan.

Facets are drawn onto a grid in plan. A column through a grid point enters the material where a
facet faces down and leaves it where one faces up. The heights are those of the facets' planes, so
they do not depend on where the layers are cut.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import compiled
from shrinkrule.numerics.triangles import area_normals

ROWS_AT_ONCE: Final = 1_000_000
"""Columns looked at together; each takes some fifty bytes."""


@compiled
def _left_of(points: Floats, one: int, other: int, x: float, y: float) -> bool:
    """Whether a place is left of an edge; both facets of the edge get opposite answers."""
    low, high = (one, other) if one < other else (other, one)
    ax, ay = points[low, 0], points[low, 1]
    dx, dy = points[high, 0] - ax, points[high, 1] - ay
    cross = dx * (y - ay) - dy * (x - ax)
    # Symbolic perturbation: a point on the line counts as moved right by an infinitesimal
    # distance, and up by a still smaller one.
    left = cross > 0.0 or (cross == 0.0 and (dy < 0.0 or (dy == 0.0 and dx > 0.0)))
    answer: bool = left == (one < other)
    return answer


@compiled
def _row_reach(points: Floats, facets: Ints, f: int, y: float) -> Any:
    """Lowest and highest x that a facet has at a y."""
    low, high = np.inf, -np.inf
    for k in range(3):
        one, other = facets[f, k], facets[f, (k + 1) % 3]
        ya, yb = points[one, 1], points[other, 1]
        if min(ya, yb) <= y <= max(ya, yb):
            t = 0.0 if ya == yb else (y - ya) / (yb - ya)
            x = points[one, 0] + t * (points[other, 0] - points[one, 0])
            low, high = min(low, x), max(high, x)
            if ya == yb:
                low, high = min(low, points[other, 0]), max(high, points[other, 0])
    return low, high


def facing(points: Floats, facets: Ints) -> Floats:
    """Unit normals of facets, (m, 3); zero where a facet has no area in plan."""
    corners = points[facets]
    normals = area_normals(corners)
    length = np.linalg.norm(normals, axis=1)
    flat = np.abs(normals[:, 2]) <= 1e-12 * length
    normals[flat] = 0.0
    unit: Floats = normals / np.where(flat, 1.0, length)[:, None]
    return unit


@compiled
def _height_at(points: Floats, a: int, b: int, c: int, normal: Floats, x: float, y: float) -> float:
    """Height of a facet's plane over a place, within the facet's own heights if it is steep."""
    low = min(points[a, 2], points[b, 2], points[c, 2])
    high = max(points[a, 2], points[b, 2], points[c, 2])
    if normal[2] == 0.0:
        middle: float = 0.5 * (low + high)
        return middle
    rise = normal[0] * (x - points[a, 0]) + normal[1] * (y - points[a, 1])
    height: float = min(high, max(low, points[a, 2] - rise / normal[2]))
    return height


@compiled
def _spread(
    points: Floats,
    facets: Ints,
    normals: Floats,
    at: Floats,
    cell: float,
    size: Any,
    rows: Any,
    offsets: Ints,
    hits: Ints,
    heights: Floats,
) -> Any:
    """Count the hits per column of some rows or, once offsets are known, store them."""
    width, fills = size[0], len(hits) > 0
    filled = offsets[:-1].copy()
    for f in range(len(facets)):
        a, b, c = facets[f, 0], facets[f, 1], facets[f, 2]
        low = min(points[a, 1], points[b, 1], points[c, 1])
        high = max(points[a, 1], points[b, 1], points[c, 1])
        # A little more on either side, so that the test by edges alone decides.
        below = max(rows[0], int(np.ceil((low - at[1]) / cell - 1e-6)))
        for j in range(below, min(rows[1], int(np.floor((high - at[1]) / cell + 1e-6)) + 1)):
            y = at[1] + cell * j
            left, right = _row_reach(points, facets, f, min(high, max(low, y)))
            begin = max(0, int(np.floor((left - at[0]) / cell)))
            for i in range(begin, min(width, int(np.ceil((right - at[0]) / cell)) + 1)):
                x = at[0] + cell * i
                side = _left_of(points, a, b, x, y)
                if side != _left_of(points, b, c, x, y) or side != _left_of(points, c, a, x, y):
                    continue
                column = (j - rows[0]) * width + i
                if fills:
                    # Anticlockwise in plan faces up; a facet that faces down is kept as -1 - f.
                    hits[filled[column]] = f if side else -1 - f
                    heights[filled[column]] = _height_at(points, a, b, c, normals[f], x, y)
                filled[column] += 1
    return filled


@compiled
def _thin_spans(
    offsets: Ints,
    hits: Ints,
    heights: Floats,
    normals: Floats,
    limit: float,
    touch: float,
    level: float,
    parallel: float,
    first: int,
    found_at: Ints,
    found: Floats,
) -> Any:
    """Count spans under a limit between level, parallel faces, and columns left undecided."""
    count, opened = 0, 0
    for column in range(len(offsets) - 1):
        low, high = offsets[column], offsets[column + 1]
        # Few hits: put them in order by height, entries before exits.
        for i in range(low + 1, high):
            f, z = hits[i], heights[i]
            j = i - 1
            while j >= low and (heights[j] > z or (heights[j] == z and hits[j] > f)):
                hits[j + 1], heights[j + 1] = hits[j], heights[j]
                j -= 1
            hits[j + 1], heights[j + 1] = f, z
        wound = 0
        for i in range(low, high):
            wound += 1 if hits[i] < 0 else -1
        if wound != 0:
            opened += 1
            continue
        enter = -1
        for i in range(low, high):
            before = wound
            wound += 1 if hits[i] < 0 else -1
            if before <= 0 and wound > 0:
                # Without a gap to the last span it is the same span.
                if enter < 0:
                    enter = i
            elif before > 0 and wound <= 0:
                above = i + 1
                enters = wound == 0 and above < high and hits[above] < 0
                if enters and heights[above] - heights[i] < touch:
                    continue
                under, over = -1 - hits[enter], hits[i]
                tall = heights[i] - heights[enter]
                dot = 0.0
                for k in range(3):
                    dot += normals[under, k] * normals[over, k]
                flat = -normals[under, 2] >= level and normals[over, 2] >= level
                if touch < tall < limit and flat and dot <= -parallel and count < len(found_at):
                    found_at[count] = first + column
                    found[count, 0], found[count, 1] = heights[enter], heights[i]
                    count += 1
                enter = -1
    return count, opened


def thin_columns(
    points: Floats,
    facets: Ints,
    at: Floats,
    cell: float,
    size: tuple[int, int],
    limit: float,
    touch: float,
    level: float,
    parallel: float,
) -> tuple[Ints, Floats, int]:
    """Find the columns that hold a thin span.

    Parameters
    ----------
    points, facets : (n, 3) float64, (m, 3) int64
        The surface, mm.
    at, cell, size : (2,) float64, float, (int, int)
        First grid place, spacing, places along x and y.
    limit, touch : float
        Spans under ``limit`` are thin; gaps and spans under ``touch`` are none, mm.
    level, parallel : float
        Least cosine of the faces' tilt, and of the angle between them.

    Returns
    -------
    (k,) int64, (k, 2) float64, int
        Column ``j * size[0] + i`` and foot and top, mm, of each span; and the number of columns
        that an open surface leaves undecided.
    """
    normals = facing(points, facets)
    none = np.empty(0, np.int64)
    places, spans, opened = [], [], 0
    step = max(1, min(size[1], ROWS_AT_ONCE // max(size[0], 1)))
    for row in range(0, size[1], step):
        rows = (row, min(row + step, size[1]))
        blank = np.zeros((rows[1] - rows[0]) * size[0] + 1, np.int64)
        args = (points, facets, normals, at, cell, size, rows)
        counts = _spread(*args, blank, none, np.empty(0))
        offsets = np.concatenate([[0], np.cumsum(counts)])
        if not offsets[-1]:
            continue
        hits, heights = np.empty(offsets[-1], np.int64), np.empty(offsets[-1])
        _spread(*args, offsets, hits, heights)
        # A thin span takes two hits.
        place, span = np.empty(offsets[-1] // 2, np.int64), np.empty((offsets[-1] // 2, 2))
        count, missed = _thin_spans(
            offsets, hits, heights, normals, limit, touch, level, parallel,
            row * size[0], place, span,
        )  # fmt: skip
        places.append(place[:count])
        spans.append(span[:count])
        opened += missed
    if not places:
        return none, np.empty((0, 2)), opened
    return np.concatenate(places), np.concatenate(spans), opened


@compiled
def join_spans(places: Ints, spans: Floats, width: int, rise: float) -> Any:
    """Number connected regions of spans: those of neighbouring columns that overlap.

    Parameters
    ----------
    places, spans : (k,) int64, (k, 2) float64
        As from `thin_columns`, in order.
    width : int
        Columns in a row.
    rise : float
        Gap between spans that still counts as overlap: faces may climb so far per column, mm.

    Returns
    -------
    (k,) int64
        Region of each span.
    """
    count = len(places)
    parent = np.arange(count)
    reach = np.array([1, width - 1, width, width + 1])
    for k in range(4):
        other = 0
        for one in range(count):
            goal = places[one] + reach[k]
            # A row's end has no neighbour on the other side of the grid.
            column = places[one] % width
            if (k == 0 or k == 3) and column == width - 1:
                continue
            if k == 1 and column == 0:
                continue
            while other < count and places[other] < goal:
                other += 1
            near = other
            while near < count and places[near] == goal:
                gap = max(spans[near, 0] - spans[one, 1], spans[one, 0] - spans[near, 1])
                if gap <= rise:
                    a, b = one, near
                    while parent[a] != a:
                        parent[a] = parent[parent[a]]
                        a = parent[a]
                    while parent[b] != b:
                        parent[b] = parent[parent[b]]
                        b = parent[b]
                    parent[max(a, b)] = min(a, b)
                near += 1
    label = np.empty(count, np.int64)
    for i in range(count):
        a = i
        while parent[a] != a:
            a = parent[a]
        label[i] = a
    return label
