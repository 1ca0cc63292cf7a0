"""Facets cut along scan lines: what the filling of bricks and the underside are made of.

Shared edges are evaluated from the same two numbers on both sides, so a closed mesh
gives closed columns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import compiled, inner, wait_for_compiled

LINES_PER_OCTANT: Final = 4
"""Scan lines through each half brick: a wall along them is placed to 1/16 of a brick."""

MAX_PARTS: Final = 8
"""A steep piece of scan line is cut so that each part lies in one layer, into at most this many."""


UPRIGHT: Final = 1e-12
"""Facets whose normal is this near to level, seen from above, are lines: nothing lies on them."""


@dataclass(frozen=True)
class Pieces:
    """Pieces of scan line inside one facet and one half brick's column."""

    column: Ints  # (n, 2) place on the grid of half bricks
    height: Floats  # (n,) mean height over the piece
    lowest: Floats  # (n,) lowest height over the piece
    share: Floats  # (n,) signed share of the column's ground plan
    middle: Floats  # (n, 2) middle of the piece in plan, mm


@dataclass(frozen=True)
class ScanChords:
    """Where scan lines cross facets, seen from above.

    Parameters
    ----------
    corners : (m, 3, 3) float
        The facets that are not upright, each with its corners in order of y, mm.
    normal : (m, 3) float
        Their normals, not of unit length.
    facet, line : (n,) int
        The facet and the scan line of each chord.
    left, right : (n,) float
        Where it begins and ends along x, mm.
    """

    corners: Floats
    normal: Floats
    facet: Ints
    line: Ints
    left: Floats
    right: Floats


def lines_across(corners: Floats, lines: Floats) -> ScanChords:
    """Cross facets with scan lines along x.

    Parameters
    ----------
    corners : (m, 3, 3) float
        The facets' corners in the grid's frame, mm.
    lines : (l,) float
        Where the lines are along y, ascending, mm.

    Returns
    -------
    ScanChords
        Where lines and facets cross.
    """
    lines = np.ascontiguousarray(lines, dtype=np.float64)
    wait_for_compiled(chords)
    return ScanChords(*chords(np.ascontiguousarray(corners, dtype=np.float64), lines))


@compiled
def chords(corners: Any, lines: Floats) -> Any:
    """What :class:`ScanChords` holds, counted in a first round over the facets.

    Parameters
    ----------
    corners, lines : (m, 3, 3) float64, (l,) float64
        As in `lines_across`.

    Returns
    -------
    tuple
        Its arrays.
    """
    ends = np.empty((len(corners), 2), np.int32)
    count = found = 0
    for f in range(len(corners)):
        low = min(corners[f, 0, 1], corners[f, 1, 1], corners[f, 2, 1])
        high = max(corners[f, 0, 1], corners[f, 1, 1], corners[f, 2, 1])
        first = _lines_below(lines, low)
        last = first
        while last < len(lines) and lines[last] < high:
            last += 1
        x, y, z = _normal(corners, f)
        if not abs(z) > UPRIGHT * np.sqrt(x * x + y * y + z * z):
            last = first
        ends[f, 0], ends[f, 1] = first, last
        count += last - first
        found += first < last
    shapes, normals = np.empty((found, 3, 3)), np.empty((found, 3))
    facet, line = np.empty(count, np.int64), np.empty(count, np.int64)
    left, right = np.empty(count), np.empty(count)
    n = k = np.int64(0)
    for f in range(len(corners)):
        if ends[f, 0] == ends[f, 1]:
            continue
        normals[n, 0], normals[n, 1], normals[n, 2] = _normal(corners, f)
        low, middle, high = 0, 1, 2
        if corners[f, middle, 1] < corners[f, low, 1]:
            low, middle = middle, low
        if corners[f, high, 1] < corners[f, middle, 1]:
            middle, high = high, middle
            if corners[f, middle, 1] < corners[f, low, 1]:
                low, middle = middle, low
        for axis in range(3):
            shapes[n, 0, axis] = corners[f, low, axis]
            shapes[n, 1, axis] = corners[f, middle, axis]
            shapes[n, 2, axis] = corners[f, high, axis]
        for at in range(ends[f, 0], ends[f, 1]):
            y = lines[at]
            bend = np.int64(0 if y < shapes[n, 1, 1] else 1)
            along = _edge_x(shapes, n, np.int64(0), np.int64(2), y)
            across = _edge_x(shapes, n, bend, bend + 1, y)
            facet[k], line[k] = n, at
            left[k], right[k] = min(along, across), max(along, across)
            k += 1
        n += 1
    return shapes, normals, facet, line, left, right


@inner
def _lines_below(lines: Floats, y: float) -> Any:
    """How many scan lines lie below a height."""
    low, high = np.int64(0), np.int64(len(lines))
    while low < high:
        middle = (low + high) // 2
        if lines[middle] < y:
            low = middle + 1
        else:
            high = middle
    return low


@inner
def _normal(corners: Any, f: int) -> Any:
    """Normal of a facet, twice its area long."""
    ux, uy, uz = (
        corners[f, 1, 0] - corners[f, 0, 0],
        corners[f, 1, 1] - corners[f, 0, 1],
        corners[f, 1, 2] - corners[f, 0, 2],
    )
    vx, vy, vz = (
        corners[f, 2, 0] - corners[f, 0, 0],
        corners[f, 2, 1] - corners[f, 0, 1],
        corners[f, 2, 2] - corners[f, 0, 2],
    )
    return uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx


@inner
def _edge_x(shapes: Any, n: Any, low: Any, high: Any, y: float) -> Any:
    """Where the edge between two corners (by y) of a facet crosses the height y."""
    rise = shapes[n, high, 1] - shapes[n, low, 1]
    share = (y - shapes[n, low, 1]) / (1.0 if rise == 0.0 else rise)
    return shapes[n, low, 0] + share * (shapes[n, high, 0] - shapes[n, low, 0])


def cut_along_lines(corners: Floats, step: Floats, counts: Ints) -> Pieces:
    """Cut facets (m, 3, 3), in grid coordinates, along the scan lines.

    Parameters
    ----------
    corners : (m, 3, 3) float
        The facets' corners in the grid's frame, mm; the grid's low corner is the origin.
    step : (3,) float
        Sides of a half brick, mm.
    counts : (3,) int
        Half bricks along each axis.

    Returns
    -------
    Pieces
        Pieces of facets, each in one column of half bricks.
    """
    pitch = step[1] / LINES_PER_OCTANT
    lines = (np.arange(counts[1] * LINES_PER_OCTANT) + 0.5) * pitch
    across = lines_across(corners, lines)
    wait_for_compiled(pieces)
    found = pieces(
        across.corners,
        across.normal,
        across.facet,
        across.left,
        across.right,
        lines[across.line],
        across.line // LINES_PER_OCTANT,
        np.asarray(step, dtype=np.float64),
        int(counts[0]),
    )
    return Pieces(*found)


@compiled
def pieces(
    corners: Any,
    normal: Any,
    facet: Ints,
    left: Floats,
    right: Floats,
    y: Floats,
    row: Ints,
    step: Any,
    columns: int,
) -> Any:
    """What :class:`Pieces` holds, counted in a first round over the chords.

    Parameters
    ----------
    corners, normal, facet, left, right : arrays
        As in `ScanChords`.
    y, row : (n,) float64, (n,) int64
        Where the line of each chord is, mm, and in which row of octants.
    step : (3,) float64
        Sides of an octant, mm.
    columns : int
        How many octants lie in a row.

    Returns
    -------
    tuple
        Its arrays.
    """
    count = 0
    for k in range(len(facet)):
        first, last = _passed(left[k], right[k], step[0], columns)
        for i in range(first, last):
            x0, x1 = max(left[k], i * step[0]), min(right[k], (i + 1) * step[0])
            one = _height(corners, normal, facet[k], x0, y[k])
            count += _parts(_height(corners, normal, facet[k], x1, y[k]) - one, step[2])
    column, middle = np.empty((count, 2), np.int64), np.empty((count, 2))
    height, lowest, share = np.empty(count), np.empty(count), np.empty(count)
    n = 0
    for k in range(len(facet)):
        first, last = _passed(left[k], right[k], step[0], columns)
        up = 1.0 if normal[facet[k], 2] > 0.0 else -1.0
        for i in range(first, last):
            x0, x1 = max(left[k], i * step[0]), min(right[k], (i + 1) * step[0])
            one = _height(corners, normal, facet[k], x0, y[k])
            rise = _height(corners, normal, facet[k], x1, y[k]) - one
            parts = _parts(rise, step[2])
            rise /= parts
            width = max(x1 - x0, 0.0) / (step[0] * LINES_PER_OCTANT)
            for part in range(parts):
                column[n, 0], column[n, 1] = i, row[k]
                height[n] = one + (part + 0.5) * rise
                lowest[n] = height[n] - 0.5 * abs(rise)
                share[n] = width * up / parts
                middle[n, 0], middle[n, 1] = 0.5 * (x0 + x1), y[k]
                n += 1
    return column, height, lowest, share, middle


@inner
def _passed(left: Any, right: Any, side: Any, columns: Any) -> Any:
    """Columns that a chord passes, as a range of at least one."""
    first = min(max(np.int64(np.floor(left / side)), 0), columns - 1)
    return first, min(max(np.int64(np.ceil(right / side)), first + 1), columns)


@inner
def _height(corners: Any, normal: Any, f: int, x: float, y: float) -> Any:
    """Height of a facet over a place in plan."""
    along, across = normal[f, 0] / normal[f, 2], normal[f, 1] / normal[f, 2]
    at_y = corners[f, 0, 2] - across * (y - corners[f, 0, 1]) + along * corners[f, 0, 0]
    foot = min(corners[f, 0, 2], corners[f, 1, 2], corners[f, 2, 2])
    top = max(corners[f, 0, 2], corners[f, 1, 2], corners[f, 2, 2])
    return min(max(at_y - along * x, foot), top)


@inner
def _parts(rise: float, layer: float) -> Any:
    """Parts into which a piece is cut that rises so far."""
    return min(max(np.int64(np.ceil(abs(rise) / layer)), 1), MAX_PARTS)
