"""Bitangent spheres: empty balls that touch the surface at two opposite points.

A wall between two inward corners, two bores or two tips is thinnest where no facet faces
another straight, so no ball along the normal of a facet is that small. The centre of such a
ball is found by iteration: it moves to the middle between the surface point nearest to it and
the nearest one on its other side, until it stays (docs/theory-walls.md, "Corner to corner").
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import compiled, inner, wait_for_compiled
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.walls.thickness.inscribed import DEPTH, EDGE_ANGLE
from shrinkrule.walls.thickness.nearest import nearest_point
from shrinkrule.walls.thickness.tree import Tree

CENTRINGS: Final = 24
"""Iterations at most; corners take one or two, bores of many flats a few more."""

AT_REST: Final = 1e-6
"""The centre stays when it moves by less than this share of the radius."""

UNTOUCHED: Final = 1e-3
"""Nothing may reach further into the ball than this share of its radius."""

OTHER_SIDE: Final = float(np.cos(EDGE_ANGLE))
"""Largest cosine between the two contacts of a wall, as seen from the centre."""

WELL_ACROSS: Final = float(np.cos(EDGE_ANGLE + np.radians(5.0)))
"""The same for a ball that still has to grow until it touches there: 5 degrees in reserve."""

CHUNK: Final = 2048
"""Starts that one thread follows at a time."""


class BitangentSpheres(NamedTuple):
    """Bitangent spheres, one for each start; a radius of 0 where there is none.

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


@inner
def _faces_out(tree: Tree, f: int, c: Floats, point: Floats) -> bool:
    """Whether the surface at a point of facet ``f`` faces away from ``c``."""
    along = 0.0
    for a in range(3):
        along += tree.normals[f, a] * (point[a] - c[a])
    out: bool = along > 0.0
    return out


@compiled
def centre(
    tree: Tree, starts: Floats, bounds: Any, radius: Any, first: Any, second: Any, facets: Any
) -> None:
    """Loop of `bitangent_spheres` over the starts; fills the last four."""
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


def bitangent_spheres(tree: Tree, starts: Floats, bounds: Floats) -> BitangentSpheres:
    """Follow each start to the bitangent sphere there.

    Parameters
    ----------
    tree : Tree
        The surface.
    starts : (n, 3) float64
        Points inside the part, as the tree has them.
    bounds : (n,) float64
        How far from its centre a contact may be, mm.

    Returns
    -------
    BitangentSpheres
        One row for each start.
    """
    count = len(starts)
    made = BitangentSpheres(
        np.zeros(count), np.zeros((count, 3)), np.zeros((count, 3)), np.empty(count, np.int64)
    )

    def work(part: slice) -> None:
        centre(tree, starts[part], bounds[part], *(values[part] for values in made))

    wait_for_compiled(centre)
    in_chunks(work, count, CHUNK)
    return made


@compiled
def project(
    tree: Tree, points: Floats, bounds: Any, sides: Floats, cosine: float, found: Any, facets: Any
) -> None:
    """Loop of `nearest_across` over the points; fills the last two."""
    room = (np.empty(DEPTH, np.int64), np.empty(3))
    c, away, point = np.empty(3), np.empty(3), np.empty(3)
    for i in range(len(points)):
        for a in range(3):
            c[a], away[a] = points[i, a], sides[i, a]
        _, facets[i] = nearest_point(tree, c, bounds[i], away, cosine, 0.0, point, room)
        for a in range(3):
            found[i, a] = point[a] if facets[i] >= 0 else points[i, a]


def nearest_on_surface(tree: Tree, points: Floats, bounds: Floats) -> tuple[Floats, Ints]:
    """Find the nearest point of the surface to each point.

    Parameters
    ----------
    tree : Tree
        The surface.
    points : (n, 3) float64
        Points, as the tree has them.
    bounds : (n,) float64
        How far to look, mm.

    Returns
    -------
    (n, 3) float64, (n,) int64
        Points and their facets; the given point and -1 where nothing is within the bound.
    """
    return _nearest_points(tree, points, bounds, np.zeros_like(points), 0.0)


def nearest_across(
    tree: Tree, centres: Floats, bounds: Floats, sides: Floats
) -> tuple[Floats, Ints]:
    """Find the nearest point of the surface on the other side of balls.

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

    Returns
    -------
    (n, 3) float64, (n,) int64
        Points and their facets; the centre and -1 where nothing is within the bound.
    """
    return _nearest_points(tree, centres, bounds, sides, WELL_ACROSS)


def _nearest_points(
    tree: Tree, points: Floats, bounds: Floats, sides: Floats, cosine: float
) -> tuple[Floats, Ints]:
    found, facets = np.empty((len(points), 3)), np.empty(len(points), np.int64)

    def work(part: slice) -> None:
        project(tree, points[part], bounds[part], sides[part], cosine, found[part], facets[part])

    wait_for_compiled(project)
    in_chunks(work, len(points), CHUNK)
    return found, facets
