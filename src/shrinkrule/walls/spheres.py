"""Wall thickness at a surface point: diameter of the largest ball inside that touches there.

A ray shot inwards gives a ball that is surely large enough; asking for the nearest
point of the surface to its centre shows whether something is inside it, and if so
the ball through that point replaces it, until nothing is. The nearest point is
taken on the true facets in float64, so the answer does not depend on how densely
the surface is sampled.

Source: Ma, Bae, Choi, "3D medial axis point approximation using nearest neighbors and
the normal field", The Visual Computer 28 (2012) 7-19.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import Final

import igl
import numpy as np
import trimesh
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from shrinkrule.errors import MeshError

EDGE_ANGLE: Final = np.radians(110.0)
"""Contacts closer together than this, seen from the ball's centre, are an edge, no wall.

Where two faces meet at an angle a, the contacts are pi - a apart: 90 degrees at a
square edge, 180 degrees in a wall with parallel faces.
"""

STOP: Final = 1e-6
"""A ball is settled when nothing reaches into it by more than this share of its radius."""

MOST_ROUNDS: Final = 60
"""Rounds of shrinking; each takes the ball to a nearer contact, few need more than ten."""

RAY_THREADS: Final = 2
"""One ray call is single-threaded but releases the interpreter lock; two fill two cores."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Status(IntEnum):
    """What became of a sample."""

    MEASURED = 0
    """The ball rests between two faces: a wall thickness."""
    EDGE = 1
    """The ball is caught in a convex edge: its diameter is no wall thickness."""
    OPEN = 2
    """No surface lies opposite: the mesh is open there."""
    UNSETTLED = 3
    """The ball still shrank when the rounds ran out."""


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
        The area each sample stands for, mm2.
    """

    points: Floats
    normals: Floats
    facets: Ints
    thickness: Floats
    contacts: Floats
    status: NDArray[np.int8]
    area: Floats

    @property
    def is_wall(self) -> NDArray[np.bool_]:
        """Where the thickness is that of a wall, (n,) bool."""
        return np.equal(self.status, Status.MEASURED)


class Surface:
    """A mesh made ready for rays and nearest points.

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
        self.vertices = np.ascontiguousarray(mesh.vertices, dtype=np.float64)
        self.faces = np.ascontiguousarray(mesh.faces, dtype=np.int64)
        if len(self.faces) == 0:
            raise MeshError("the mesh has no facets", mend="export the model again")
        if not np.isfinite(self.vertices).all():
            raise MeshError("a coordinate is not a number", mend="export the model again")
        self.middle = self.vertices.mean(axis=0)
        self.span = float(np.linalg.norm(np.ptp(self.vertices, axis=0)))
        self._scene = EmbreeScene()
        self._parts = TriangleMesh(
            self._scene,
            (self.vertices - self.middle).astype(np.float32),
            self.faces.astype(np.int32),
        )
        self._tree = igl.AABB()
        self._tree.init(self.vertices, self.faces)

    def ray_lengths(self, origins: Floats, directions: Floats) -> Floats:
        """Distance to the first facet along each ray, inf where there is none."""
        start = (origins - self.middle).astype(np.float32)
        heading = directions.astype(np.float32)
        cuts = np.linspace(0, len(start), RAY_THREADS + 1).astype(np.int64)

        def shoot(part: tuple[np.int64, np.int64]) -> Floats:
            low, high = part
            hits = self._scene.run(start[low:high], heading[low:high], output=True)
            lengths = np.asarray(hits["tfar"], dtype=np.float64)
            return np.where(np.asarray(hits["primID"]) < 0, np.inf, lengths)

        with ThreadPoolExecutor(RAY_THREADS) as pool:
            return np.concatenate(list(pool.map(shoot, pairwise(cuts))))

    def nearest(self, points: Floats) -> tuple[Floats, Floats]:
        """Distance to the surface and the nearest point on it."""
        squared, _, spots = self._tree.squared_distance(self.vertices, self.faces, points)
        return np.sqrt(squared), np.asarray(spots)


def largest_balls(
    surface: Surface, points: Floats, normals: Floats
) -> tuple[Floats, Floats, NDArray[np.int8]]:
    """Radius, other contact and status of the largest ball inside that touches each point.

    Parameters
    ----------
    surface : Surface
        The part.
    points : (n, 3) float64
        Points on its surface, mm.
    normals : (n, 3) float64
        Outward unit normals there.
    """
    count = len(points)
    # The start must leave the facet in float32, and may pass a nearer wall in doing so:
    # the seed only has to be large enough, the nearest-point rounds do the measuring.
    nudge = 4.0 * surface.span * np.finfo(np.float32).eps
    seed = surface.ray_lengths(points - nudge * normals, -normals) + 4.0 * nudge
    is_open = ~np.isfinite(seed)
    radius = np.where(is_open, surface.span, seed / 2.0)
    contacts = points - normals * (2.0 * radius)[:, None]
    contacts[is_open] = np.nan
    status = np.full(count, Status.UNSETTLED, dtype=np.int8)
    moving = np.arange(count)
    for _ in range(MOST_ROUNDS):
        centre = points[moving] - normals[moving] * radius[moving, None]
        distance, spot = surface.nearest(centre)
        chord = points[moving] - spot
        depth = np.einsum("ij,ij->i", chord, normals[moving])
        squared = np.einsum("ij,ij->i", chord, chord)
        intrudes = (distance < radius[moving] * (1.0 - STOP)) & (depth > 0.0)
        status[moving[~intrudes]] = Status.MEASURED
        moving = moving[intrudes]
        if len(moving) == 0:
            break
        radius[moving] = squared[intrudes] / (2.0 * depth[intrudes])
        contacts[moving] = spot[intrudes]
    untouched = np.isnan(contacts[:, 0])
    status[untouched] = Status.OPEN
    # The chord between the contacts is 2 r sin(angle / 2).
    chord_share = np.linalg.norm(points - contacts, axis=1) / (2.0 * radius)
    edge = (status == Status.MEASURED) & (chord_share < np.sin(EDGE_ANGLE / 2.0))
    status[edge] = Status.EDGE
    radius[untouched] = np.nan
    return radius, contacts, status


def thickness_on(
    surface: Surface, points: Floats, normals: Floats, facets: Ints, area: Floats
) -> ThicknessSamples:
    """Wall thickness at points of a surface made ready before.

    Parameters
    ----------
    surface : Surface
        The part.
    points, normals : (n, 3) float64
        Points on its surface, mm, and outward unit normals.
    facets : (n,) int64
        The facet each point lies on.
    area : (n,) float64
        The area each stands for, mm2.
    """
    radius, contacts, status = largest_balls(surface, points, normals)
    return ThicknessSamples(points, normals, facets, 2.0 * radius, contacts, status, area)


def thickness_at(mesh: trimesh.Trimesh, points: Floats, facets: Ints) -> ThicknessSamples:
    """Wall thickness at given points of a part's surface.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm, normals outward.
    points : (n, 3) float64
        Points on its surface, mm.
    facets : (n,) int64
        The facet each point lies on.

    Raises
    ------
    MeshError
        For a mesh without facets or with a coordinate that is no number.
    """
    points = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
    facets = np.asarray(facets, dtype=np.int64)
    surface = Surface(mesh)
    normals = np.asarray(mesh.face_normals, dtype=np.float64)[facets]
    return thickness_on(surface, points, normals, facets, np.zeros(len(points)))


def vertex_thickness(mesh: trimesh.Trimesh, samples: ThicknessSamples) -> Floats:
    """Wall thickness at each vertex, from the samples around it.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    samples : ThicknessSamples
        Its measured samples.

    Returns
    -------
    (n_vertices,) float64
        Thickness in mm; nan throughout when no sample is a wall.
    """
    walls = samples.is_wall
    if not walls.any():
        return np.full(len(mesh.vertices), np.nan)
    count = min(3, int(walls.sum()))
    tree = cKDTree(samples.points[walls])
    distance, index = tree.query(np.asarray(mesh.vertices), k=range(1, count + 1))
    weight = 1.0 / np.maximum(distance, 1e-9 * max(float(mesh.scale), 1e-9))
    values = samples.thickness[walls][index]
    return np.asarray((weight * values).sum(axis=1) / weight.sum(axis=1), dtype=np.float64)
