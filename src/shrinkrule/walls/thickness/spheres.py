"""Wall thickness at a surface point: diameter of the largest ball inside that touches there.

A ray along the inward normal gives a ball that is surely large enough; every facet that reaches
into it makes it smaller, until none does. Facets are the true ones in float64, so the answer does
not depend on how densely the surface is sampled.

Source: Ma, Bae, Choi, "3D medial axis point approximation using nearest neighbors and
the normal field", The Visual Computer 28 (2012) 7-19.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray

from shrinkrule.errors import MeshError
from shrinkrule.mesh import rays_of
from shrinkrule.numerics.arrays import Floats, Ints, Mask, box_of
from shrinkrule.numerics.jit import wait_for_compiled
from shrinkrule.numerics.threads import both, in_chunks
from shrinkrule.numerics.triangles import heights
from shrinkrule.walls.thickness.inscribed import WALL_CHORD, measure
from shrinkrule.walls.thickness.tree import along_curve, pieces_of, tree_of

CHUNK: Final = 4096
"""Samples that one thread measures at a time: enough to outweigh handing them over."""

CLEARLY: Final = 0.05
"""Cosine between two normals above which they are sure to face the same way."""

FACING: Final = float(np.cos(np.radians(40.0)))
"""Cosine between one normal and the other's opposite from which two surfaces face each other."""

ASIDE: Final = 0.0137
"""How far toward `ASIDE_TO` of its facet a doubtful sample is asked again."""

ASIDE_TO: Final = np.array([0.47, 0.32, 0.21])
"""A point inside a facet, as weights of its corners, on none of its lines of symmetry."""

DEGENERATE: Final = 1e-4
"""Height of a facet, in spans of the part, below which a float32 ray may start beside it."""

THIN_FOR_RAYS: Final = 2e-5
"""Thickness of a part, in spans, below which a float32 ray may start beyond it."""


class Status(IntEnum):
    """What became of a sample."""

    MEASURED = 0
    """The ball rests between two faces: a wall thickness."""
    EDGE = 1
    """The contacts are close together, as at a convex edge: the diameter is no wall thickness."""
    OPEN = 2
    """No surface lies opposite: the mesh is open there."""
    CROSSED = 3
    """It lies inside another body, or faces a surface inside its own: there is no wall."""


THIN_SHARE: Final = 0.05
"""This share of a surface may belong to thinner walls than the one that sag is planned for."""


@dataclass(frozen=True)
class ThicknessSamples:
    """Wall thickness at points of a surface.

    Parameters
    ----------
    points : (n, 3) float64
        Where, mm.
    normals : (n, 3) float64
        Outward normals.
    facets : (n,) int64
        On which facet.
    thickness : (n,) float64
        Diameter of the ball, mm; nan where there is none.
    contacts : (n, 3) float64
        Where the ball touches the surface again, mm; nan where it does not.
    status : (n,) int8
        A ``Status`` each.
    area : (n,) float64
        The area that each sample represents, mm2; 0 for samples added at edges.
    reach : (n,) float64
        Upper bound of the distance to the furthest point that it represents, mm; 0 for samples
        that represent none.
    """

    points: Floats
    normals: Floats
    facets: Ints
    thickness: Floats
    contacts: Floats
    status: NDArray[np.int8]
    area: Floats
    reach: Floats

    @property
    def is_wall(self) -> Mask:
        """Where the thickness is that of a wall, (n,) bool."""
        return np.equal(self.status, Status.MEASURED)


class Surface:
    """A mesh made ready to be measured.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface, mm.

    Raises
    ------
    MeshError
        For a mesh without facets or with a coordinate that is no number.
    """

    def __init__(self, mesh: trimesh.Trimesh) -> None:
        vertices = np.asarray(mesh.vertices, dtype=np.float64)
        faces = np.asarray(mesh.faces)
        if len(faces) == 0:
            raise MeshError("the mesh has no facets", hint="export the model again")
        if not np.isfinite(vertices).all():
            raise MeshError("a coordinate is not a number", hint="export the model again")
        low, high = box_of(vertices)
        middle = 0.5 * (low + high)
        pieces = pieces_of((vertices - middle)[faces])
        # Making rays holds the interpreter's lock for long, the tree's one loop does not.
        self.tree, self.rays = both(lambda: tree_of(pieces), lambda: rays_of(mesh))
        self.middle, self.span = self.rays.middle, self.rays.span


def joined(parts: list[ThicknessSamples]) -> ThicknessSamples:
    """Put samples one after the other.

    Parameters
    ----------
    parts : list of ThicknessSamples
        One or more sets of samples.

    Returns
    -------
    ThicknessSamples
        All of them, in that order.
    """
    return ThicknessSamples(
        np.concatenate([part.points for part in parts]),
        np.concatenate([part.normals for part in parts]),
        np.concatenate([part.facets for part in parts]),
        np.concatenate([part.thickness for part in parts]),
        np.concatenate([part.contacts for part in parts]),
        np.concatenate([part.status for part in parts]),
        np.concatenate([part.area for part in parts]),
        np.concatenate([part.reach for part in parts]),
    )


def largest_balls(
    surface: Surface, points: Floats, normals: Floats, facets: Ints, reach: float = math.inf
) -> tuple[Floats, Floats, NDArray[np.int8]]:
    """Find the largest ball inside that touches each point.

    Parameters
    ----------
    surface : Surface
        The part.
    points : (n, 3) float64
        Points on its surface, mm.
    normals : (n, 3) float64
        Unit normals there, away from the side where the balls lie.
    facets : (n,) int64
        The facet each point lies on.
    reach : float
        Largest diameter of interest, mm.

    Returns
    -------
    (n,) float64, (n, 3) float64, (n,) int8
        Radius, mm, other contact and `Status`.
    """
    reach = min(reach, surface.span)
    # Neighbours on the surface walk the same part of the tree, which then stays in the cache.
    low = surface.middle - 0.5 * surface.span
    order = along_curve(points, low, surface.span)
    radius, contacts = np.empty(len(points)), np.empty((len(points), 3))
    status = np.empty(len(points), dtype=np.int8)

    wait_for_compiled(measure)

    def work(part: slice) -> None:
        at = order[part]
        here, away, own = points[at] - surface.middle, normals[at], facets[at].astype(np.int64)
        size, touched = np.empty(len(at)), np.empty((len(at), 3))
        chords, opposite = surface.rays.opposite(here, -away, reach)
        measure(surface.tree, here, away, own, chords, opposite, reach, size, touched)
        # The chord between the contacts is 2 r sin(angle / 2).
        chord = np.linalg.norm(here - touched, axis=1)
        radius[at], contacts[at] = size, touched + surface.middle
        status[at] = np.where(chord < WALL_CHORD * 2.0 * size, Status.EDGE, Status.MEASURED)
        status[at[np.isnan(size)]] = Status.OPEN

    in_chunks(work, len(points), CHUNK)
    return radius, contacts, status


def thickness_on(
    surface: Surface, points: Floats, facets: Ints, area: Floats, reach: Floats
) -> ThicknessSamples:
    """Measure the wall thickness at points of a prepared surface.

    Parameters
    ----------
    surface : Surface
        The part.
    points : (n, 3) float64
        Points on its surface, mm.
    facets : (n,) int64
        The facet each point lies on.
    area : (n,) float64
        The area that each represents, mm2.
    reach : (n,) float64
        Upper bound of the distance to the furthest point that each represents, mm.

    Returns
    -------
    ThicknessSamples
        One row for each point.
    """
    normals = surface.tree.normals[facets]
    radius, contacts, status = largest_balls(surface, points, normals, facets)
    return ThicknessSamples(points, normals, facets, 2.0 * radius, contacts, status, area, reach)


def gaps_on(
    surface: Surface,
    points: Floats,
    facets: Ints,
    area: Floats,
    reach: Floats,
    widest_mm: float,
) -> ThicknessSamples:
    """Measure the air in front of points of a surface, where it is less wide than ``widest_mm``.

    Parameters
    ----------
    surface : Surface
        The part.
    points : (n, 3) float64
        Points on its surface, mm.
    facets : (n,) int64
        The facet each point lies on.
    area : (n,) float64
        The area that each represents, mm2.
    reach : (n,) float64
        Upper bound of the distance to the furthest point that each represents, mm.
    widest_mm : float
        The width of wider air is nan, its status OPEN.

    Returns
    -------
    ThicknessSamples
        As for a wall, with the normals turned: they point away from the air. Where the ball lies
        in a corner, as most do in a square hole, the width is the distance straight across.
    """
    away = -surface.tree.normals[facets]
    radius, contacts, status = largest_balls(surface, points, away, facets, widest_mm)
    width = 2.0 * radius
    in_corner = np.flatnonzero(status == Status.EDGE)
    chords, opposite = surface.rays.opposite(
        points[in_corner] - surface.middle, -away[in_corner], widest_mm
    )
    facing = np.einsum("ij,ij->i", surface.tree.normals[opposite], away[in_corner])
    crossed = (opposite >= 0) & (facing > FACING)
    across = in_corner[crossed]
    width[across], status[across] = chords[crossed], Status.MEASURED
    contacts[across] = points[across] - chords[crossed, None] * away[across]
    return ThicknessSamples(points, away, facets, width, contacts, status, area, reach)


def is_crossed(surface: Surface, samples: ThicknessSamples) -> Mask:
    """Find where a closed surface lies in its own inside or faces a piece that does.

    Along the inward normal a ray must leave the part through the next facet; along the outward
    normal it must meet none, or enter the part again. Anything else is a surface that passes
    through another.

    Parameters
    ----------
    surface : Surface
        The part, closed.
    samples : ThicknessSamples
        Its measured samples.

    Returns
    -------
    (n,) bool
        Whether each sample is such a place.
    """
    normals, facets = samples.normals, samples.facets
    local = samples.points - surface.middle

    def is_wrong(points: Floats, normals: Floats) -> Mask:
        def wrong(side: float) -> Mask:
            _, next_facet = surface.rays.opposite(points, side * normals, math.inf)
            facing = np.einsum("ij,ij->i", surface.tree.normals[next_facet], normals)
            wrong_way: Mask = (next_facet >= 0) & (facing > CLEARLY)
            return wrong_way

        inward, outward = both(lambda: wrong(-1.0), lambda: wrong(1.0))
        return inward | outward

    crossed = is_wrong(local, normals)
    # A ray that meets an edge exactly may slip in beside it: it is asked again a little aside.
    doubtful = np.flatnonzero(crossed)
    aside = np.einsum("ijk,j->ik", surface.tree.corners[facets[doubtful]], ASIDE_TO)
    beside = local[doubtful] + ASIDE * (aside - local[doubtful])
    crossed[doubtful] = is_wrong(beside, normals[doubtful])
    # On a degenerate facet the rays, which are float32, may start beyond the facet's own edge.
    doubtful = np.flatnonzero(crossed)
    broad = heights(surface.tree.corners[facets[doubtful]]) > DEGENERATE * surface.span
    # Where the part is thinner than float32 can hold, they may start beyond it.
    deep = ~(samples.thickness[doubtful] < THIN_FOR_RAYS * surface.span)
    crossed[doubtful] = broad & deep
    return crossed


def thickness_at(mesh: trimesh.Trimesh, points: Floats, facets: Ints) -> ThicknessSamples:
    """Measure the wall thickness at given points of a part's surface.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm, normals outward.
    points : (n, 3) float64
        Points on its surface, mm.
    facets : (n,) int64
        The facet each point lies on.

    Returns
    -------
    ThicknessSamples
        One row for each point, with an area and a reach of 0.

    Raises
    ------
    MeshError
        For a mesh without facets or with a coordinate that is no number.
    """
    points = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
    facets = np.asarray(facets, dtype=np.int64)
    surface = Surface(mesh)
    nothing = np.zeros(len(points))
    return thickness_on(surface, points, facets, nothing, nothing)


def thin_twentieth(thickness: Floats, area: Floats) -> float:
    """Thickness that walls of all but a twentieth of an area exceed.

    Parameters
    ----------
    thickness : (n,) float64
        Measured at samples of the surface, mm.
    area : (n,) float64
        What each of them stands for, mm2.

    Returns
    -------
    float
        The thickness, mm.
    """
    order = np.argsort(thickness)
    share = np.cumsum(area[order]) / area.sum()
    return float(thickness[order][np.searchsorted(share, THIN_SHARE)])
