"""Where two hollows come closest: the ball that both of them pinch.

A wall between two inward corners, two bores or two tips is thinnest where no facet faces
the other straight, so no ball about a facet's normal is that small. The centre of the
pinched ball is found by itself: the middle between the surface point nearest to it and
the nearest one on its other side, again and again until it stays.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final, NamedTuple

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import compiled
from shrinkrule.walls.thickness.inscribed import DEPTH, EDGE_ANGLE
from shrinkrule.walls.thickness.nearest import nearest_point
from shrinkrule.walls.thickness.tree import Tree

CENTRINGS: Final = 24
"""Moves of the centre at most; corners take one or two, bores of many flats a few more."""

AT_REST: Final = 1e-6
"""The centre stays when it moves by less than this share of the radius."""

UNTOUCHED: Final = 1e-3
"""Nothing may reach further into the ball than this share of its radius."""

OTHER_SIDE: Final = float(np.cos(EDGE_ANGLE))
"""Cosine between two contacts of a wall at most, as seen from the centre."""

WELL_ACROSS: Final = float(np.cos(EDGE_ANGLE + np.radians(5.0)))
"""The same for a ball that is to grow until it touches there, and must be held then."""

CHUNK: Final = 2048
"""Starts that one thread follows in a go."""


class Pinched(NamedTuple):
    """Balls held between two nearest points; a radius of 0 where there is none.

    Parameters
    ----------
    radius : (n,) float64
        Radius, mm.
    first, second : (n, 3) float64
        The two contacts.
    facets : (n,) int64
        The facet of the first.
    """

    radius: Floats
    first: Floats
    second: Floats
    facets: Ints


@compiled
def _faces_out(tree: Tree, f: int, c: Floats, spot: Floats) -> bool:
    """Whether the surface at a point of facet ``f`` looks away from ``c``."""
    along = 0.0
    for a in range(3):
        along += tree.normals[f, a] * (spot[a] - c[a])
    out: bool = along > 0.0
    return out


@compiled
def _pinch(
    tree: Tree, starts: Floats, bounds: Any, radius: Any, first: Any, second: Any, facets: Any
) -> None:
    room = (np.empty(DEPTH, np.int64), np.empty(3))
    c, away, nowhere = np.empty(3), np.empty(3), np.zeros(3)
    one, other = np.empty(3), np.empty(3)
    for i in range(len(starts)):
        radius[i], facets[i] = 0.0, -1
        for a in range(3):
            c[a] = starts[i, a]
        bound = bounds[i]
        for _ in range(CENTRINGS):
            near, f = nearest_point(tree, c, bound, nowhere, 0.0, 0.0, one, room)
            if f < 0 or near == 0.0 or not _faces_out(tree, f, c, one):
                break
            for a in range(3):
                away[a] = (one[a] - c[a]) / near
            _, g = nearest_point(tree, c, bound, away, OTHER_SIDE, 0.0, other, room)
            if g < 0 or not _faces_out(tree, g, c, other):
                break
            moved, width = 0.0, 0.0
            for a in range(3):
                middle = 0.5 * (one[a] + other[a])
                moved += (middle - c[a]) ** 2
                width += (one[a] - other[a]) ** 2
                c[a] = middle
            half = 0.5 * np.sqrt(width)
            if moved <= (UNTOUCHED * half) ** 2 and near >= half * (1.0 - UNTOUCHED):
                radius[i], facets[i] = half, f
                for a in range(3):
                    first[i, a], second[i, a] = one[a], other[a]
            else:
                radius[i] = 0.0
            if moved <= (AT_REST * half) ** 2:
                break


def _in_chunks(work: Callable[[int], None], count: int) -> None:
    """Call ``work`` with the first of every chunk, beside each other where there are several.

    Not at all for none, so that nothing is compiled to do nothing.
    """
    if not count:
        return
    if count <= CHUNK:
        work(0)
        return
    with ThreadPoolExecutor() as pool:
        list(pool.map(work, range(0, count, CHUNK)))


def pinched_balls(tree: Tree, starts: Floats, bounds: Floats) -> Pinched:
    """Follow each start to the ball that is pinched there.

    Parameters
    ----------
    tree : Tree
        The surface.
    starts : (n, 3) float64
        Points inside the part, as the tree has them.
    bounds : (n,) float64
        How far from its centre a contact may be, mm.
    """
    count = len(starts)
    made = Pinched(
        np.zeros(count), np.zeros((count, 3)), np.zeros((count, 3)), np.empty(count, np.int64)
    )

    def work(low: int) -> None:
        part = slice(low, low + CHUNK)
        _pinch(tree, starts[part], bounds[part], *(values[part] for values in made))

    _in_chunks(work, count)
    return made


@compiled
def _project(
    tree: Tree, points: Floats, bounds: Any, sides: Floats, cosine: float, spots: Any, facets: Any
) -> None:
    room = (np.empty(DEPTH, np.int64), np.empty(3))
    c, away, spot = np.empty(3), np.empty(3), np.empty(3)
    for i in range(len(points)):
        for a in range(3):
            c[a], away[a] = points[i, a], sides[i, a]
        _, facets[i] = nearest_point(tree, c, bounds[i], away, cosine, 0.0, spot, room)
        for a in range(3):
            spots[i, a] = spot[a] if facets[i] >= 0 else points[i, a]


def nearest_on_surface(tree: Tree, points: Floats, bounds: Floats) -> tuple[Floats, Ints]:
    """Nearest point of the surface to each point, and its facet.

    Beyond its bound it is the point itself, and -1.

    Parameters
    ----------
    tree : Tree
        The surface.
    points : (n, 3) float64
        Points, as the tree has them.
    bounds : (n,) float64
        How far to look, mm.
    """
    return _nearest_spots(tree, points, bounds, np.zeros_like(points), 0.0)


def nearest_across(
    tree: Tree, centres: Floats, bounds: Floats, sides: Floats
) -> tuple[Floats, Ints]:
    """Nearest point of the surface on the other side of balls, and its facet.

    Where there is none it is the centre itself, and -1.

    Parameters
    ----------
    tree : Tree
        The surface.
    centres : (n, 3) float64
        Centres of the balls, as the tree has them.
    bounds : (n,) float64
        How far to look, mm.
    sides : (n, 3) float64
        Unit vectors to this side; the other one is 115 degrees or more away.
    """
    return _nearest_spots(tree, centres, bounds, sides, WELL_ACROSS)


def _nearest_spots(
    tree: Tree, points: Floats, bounds: Floats, sides: Floats, cosine: float
) -> tuple[Floats, Ints]:
    spots, facets = np.empty((len(points), 3)), np.empty(len(points), np.int64)

    def work(low: int) -> None:
        part = slice(low, low + CHUNK)
        _project(tree, points[part], bounds[part], sides[part], cosine, spots[part], facets[part])

    _in_chunks(work, len(points))
    return spots, facets
