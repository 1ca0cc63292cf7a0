"""Facets cut along scan lines: what the filling of bricks and the underside are made of.

Shared edges are evaluated from the same two numbers on both sides, so a closed mesh
gives closed columns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, ranges
from shrinkrule.numerics.triangles import area_normals

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


def _edge_x(low: Floats, high: Floats, y: Floats) -> Floats:
    """Where edges from ``low`` to ``high`` (by y) cross the height y."""
    rise = high[:, 1] - low[:, 1]
    return low[:, 0] + (y - low[:, 1]) / np.where(rise == 0.0, 1.0, rise) * (high[:, 0] - low[:, 0])


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
    normal = area_normals(corners)
    level = np.abs(normal[:, 2]) > UPRIGHT * np.linalg.norm(normal, axis=1)
    corners, normal = corners[level], normal[level]
    order = np.argsort(corners[:, :, 1], axis=1, kind="stable")
    corners = np.take_along_axis(corners, order[:, :, None], axis=1)
    low, middle, high = np.moveaxis(corners, 1, 0)
    facet, line = ranges(np.searchsorted(lines, low[:, 1]), np.searchsorted(lines, high[:, 1]))
    y = lines[line]
    along = _edge_x(low[facet], high[facet], y)
    below = (y < middle[facet, 1])[:, None]
    across = _edge_x(
        np.where(below, low[facet], middle[facet]), np.where(below, middle[facet], high[facet]), y
    )
    left, right = np.minimum(along, across), np.maximum(along, across)
    return ScanChords(corners, normal, facet, line, left, right)


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
    left, right = across.left, across.right
    begin = np.clip(np.floor(left / step[0]).astype(np.int64), 0, counts[0] - 1)
    end = np.clip(np.ceil(right / step[0]).astype(np.int64), begin + 1, counts[0])
    piece, i = ranges(begin, end)
    x0 = np.maximum(left[piece], i * step[0])
    x1 = np.minimum(right[piece], (i + 1) * step[0])
    facet, line = across.facet[piece], across.line[piece]
    y = lines[line]

    normal, shape = across.normal[facet], across.corners[facet]
    slope = normal[:, :2] / normal[:, 2:]
    base, top, foot = shape[:, 0], shape[:, :, 2].max(axis=1), shape[:, :, 2].min(axis=1)
    at_y = base[:, 2] - slope[:, 1] * (y - base[:, 1]) + slope[:, 0] * base[:, 0]
    left_z, right_z = np.clip(at_y - slope[:, 0] * np.stack([x0, x1]), foot, top)
    width = np.maximum(x1 - x0, 0.0) / (step[0] * LINES_PER_OCTANT)

    parts = np.ceil(np.abs(right_z - left_z) / step[2]).astype(np.int64)
    parts = np.clip(parts, 1, MAX_PARTS)
    whole, part = ranges(np.zeros_like(parts), parts)
    rise = (right_z - left_z)[whole] / parts[whole]
    middle_z = left_z[whole] + (part + 0.5) * rise
    return Pieces(
        column=np.stack([i, line // LINES_PER_OCTANT], axis=1)[whole],
        height=middle_z,
        lowest=middle_z - 0.5 * np.abs(rise),
        share=(width * np.sign(normal[:, 2]) / parts)[whole],
        middle=np.stack([0.5 * (x0 + x1), y], axis=1)[whole],
    )
