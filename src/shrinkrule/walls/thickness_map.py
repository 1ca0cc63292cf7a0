"""Wall thickness at the vertices of a surface fine enough to show it.

A box of twelve facets has vertices at its corners only, where no wall can be told, so facets
are split where the thickness changes and nowhere else. A vertex on a crease belongs to
several faces and gets one value for each, so that colours do not run round the edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from shrinkrule.mesh.refine import split_where
from shrinkrule.walls.balls.spheres import (
    Status,
    Surface,
    ThicknessSamples,
    is_crossed,
    thickness_on,
)
from shrinkrule.walls.thickness_scale import ThicknessScale

MOST_LONG_EDGES: Final = 150_000
"""No facet is split once so many edges are still longer than wanted: the file stays small."""

MOST_MEASURED: Final = 150_000
"""Balls that are worth waiting for; of more vertices, those within one spacing share one."""

CHANGE: Final = 1.1
"""Facets are split where thickness changes by more than this ratio within ``FINEST`` spacings."""

FINEST: Final = 2.0
"""Spacings to which a change is told, and below which no edge is split: as a rule one bead."""

CREASE_COSINE: Final = np.cos(np.radians(30.0))
"""Facets that meet at less than 30 degrees are one smooth face."""

STEP_IN: Final = 0.05
"""Share of the sample spacing, and of the way to its facet's middle, by which a vertex is
measured inside its facet: on the edge itself every ball has no size."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class ThicknessMap:
    """A surface with its wall thickness at each vertex.

    Parameters
    ----------
    vertices : (n, 3) float64
        Where, mm, print frame; a vertex on a crease stands here once for each of its faces.
    faces : (m, 3) int64
        Facets.
    thickness : (n,) float64
        Ball thickness of the GREEN part, mm; nan where the part is open or shares
        space with another body.
    """

    vertices: Floats
    faces: Ints
    thickness: Floats


def thickness_map(
    mesh: trimesh.Trimesh, samples: ThicknessSamples, spacing_mm: float, scale: ThicknessScale
) -> ThicknessMap:
    """Wall thickness at each vertex of a part, its facets split where thickness changes.

    Thickness is measured at the vertex, on the side of the wall its face is on. Where the ball
    is caught in a convex edge, the nearest ball of a wall speaks for it.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The GREEN part, print frame, mm.
    samples : ThicknessSamples
        Its measured samples.
    spacing_mm : float
        Spacing of the samples.
    scale : ThicknessScale
        Limits at which colours change.

    Raises
    ------
    MeshError
        For a mesh without facets or with a coordinate that is no number.
    """
    walls = _Walls(samples)
    fine = _split_where_thickness_changes(mesh, samples, walls, spacing_mm, scale)
    vertices, faces, facet_of = _split_at_creases(fine)
    chosen = shared = np.arange(len(vertices))
    if len(vertices) > MOST_MEASURED:
        cell = max(spacing_mm, float(np.sqrt(fine.area / MOST_MEASURED)))
        normals = np.asarray(fine.face_normals)[facet_of]
        chosen, shared = _one_of_each_cell(vertices, normals, cell)
    surface = Surface(fine)
    measured = _measured_inside(surface, fine, vertices[chosen], facet_of[chosen], spacing_mm)
    thickness = walls.told(measured)
    if (samples.status == Status.CROSSED).any():
        thickness[is_crossed(surface, measured.points, measured.facets)] = np.nan
    return ThicknessMap(vertices, faces, thickness[shared])


def wall_thickness(samples: ThicknessSamples) -> Floats:
    """Wall thickness (n,) of samples, mm, by the nearest ball of a wall where an edge catches it.

    Parameters
    ----------
    samples : ThicknessSamples
        Measured samples of a whole part.
    """
    return _Walls(samples).told(samples)


class _Walls:
    """Balls of walls, to speak for places whose own ball is caught in a convex edge.

    The ball nearest by the power of the place, ``d^2 - r^2``, speaks: for the rim of a plate
    that of the plate beside it, across an edge or not. With ``R`` the largest radius this is the
    nearest point among ``(c, sqrt(R^2 - r^2))`` in four dimensions.

    Source: F. Aurenhammer, "Power diagrams", SIAM J. Comput. 16 (1987) 78-96.
    """

    def __init__(self, samples: ThicknessSamples) -> None:
        walls = samples.is_wall
        self.thickness = samples.thickness[walls]
        radius = 0.5 * self.thickness
        centres = samples.points[walls] - radius[:, None] * samples.normals[walls]
        away = np.sqrt(np.maximum(radius.max(initial=0.0) ** 2 - radius**2, 0.0))
        self.lifted = np.column_stack([centres, away])

    @cached_property
    def tree(self) -> cKDTree:
        return cKDTree(self.lifted)

    def told(self, samples: ThicknessSamples) -> Floats:
        """Thickness (n,) of samples, those caught in an edge spoken for; nan where open."""
        values = samples.thickness.copy()
        caught = samples.status == Status.EDGE
        values[caught] = np.nan
        if len(self.thickness) and caught.any():
            places = np.column_stack([samples.points[caught], np.zeros(int(caught.sum()))])
            _, nearest = self.tree.query(places, workers=-1)
            values[caught] = self.thickness[nearest]
        return values


def _split_where_thickness_changes(
    mesh: trimesh.Trimesh,
    samples: ThicknessSamples,
    walls: _Walls,
    spacing_mm: float,
    scale: ThicknessScale,
) -> trimesh.Trimesh:
    """Mesh whose edges are no longer than two spacings, or than their way to the next change."""
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    ends = vertices[faces]
    sides = np.linalg.norm(np.roll(ends, -1, axis=1) - ends, axis=2)
    finest = FINEST * spacing_mm
    # An edge to be split has all its facets in this part of the mesh.
    coarse = (sides > finest).any(axis=1)
    if not coarse.any():
        return mesh
    changes = _where_thickness_changes(samples, walls.told(samples), finest, scale)
    if len(changes) == 0:
        return mesh
    tree = cKDTree(changes)

    def near_a_change(edges: Floats) -> NDArray[np.bool_]:
        length = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)
        long = np.flatnonzero(length > finest)
        split = np.zeros(len(edges), dtype=np.bool_)
        if len(long) <= MOST_LONG_EDGES:
            away, _ = tree.query(edges[long].mean(axis=1), workers=-1)
            split[long] = length[long] > away
        return split

    fine = split_where(trimesh.Trimesh(vertices, faces[coarse], process=False), near_a_change)
    whole = np.concatenate([faces[~coarse], np.asarray(fine.faces)])
    return trimesh.Trimesh(fine.vertices, whole, process=False)


def _where_thickness_changes(
    samples: ThicknessSamples, thickness: Floats, cell_mm: float, scale: ThicknessScale
) -> Floats:
    """Samples (k, 3) beside which the thickness (n,) differs, or has another colour.

    Samples are compared in cells in which they face one way, and again in cells moved by half,
    so that no change falls between two cells unseen.
    """
    band = scale.band(thickness)
    # What is not known differs from all that is.
    known = np.where(np.isnan(thickness), -1.0, thickness)
    changes = []
    for shift in (0.0, 0.5):
        key = _cell_keys(samples.points, samples.normals, cell_mm, shift)
        order = np.argsort(key, kind="stable")
        starts = np.flatnonzero(np.diff(key[order], prepend=-1))
        thin, thick = _least_and_most(known[order], starts)
        first, last = _least_and_most(band[order], starts)
        changed = (first < last) | (thick > CHANGE * thin)
        changes.append(samples.points[order[starts[changed & (thick > 0.0)]]])
    return np.concatenate(changes)


def _least_and_most(values: NDArray[Any], starts: Ints) -> tuple[NDArray[Any], NDArray[Any]]:
    """Least and largest value of each run that begins at ``starts``."""
    return np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)


def _cell_keys(points: Floats, normals: Floats, cell_mm: float, shift: float = 0.0) -> Ints:
    """Key (n,) of the cube each point lies in and of the axis direction it faces most."""
    cube = np.floor((points - points.min(axis=0)) / cell_mm + shift).astype(np.int64)
    counts = cube.max(axis=0) + 1
    most = np.abs(normals).argmax(axis=1)
    facing = 2 * most + (np.take_along_axis(normals, most[:, None], axis=1)[:, 0] > 0.0)
    keys: Ints = ((cube[:, 0] * counts[1] + cube[:, 1]) * counts[2] + cube[:, 2]) * 6 + facing
    return keys


def _split_at_creases(mesh: trimesh.Trimesh) -> tuple[Floats, Ints, Ints]:
    """Vertices once for each smooth face they lie on, facets, and each vertex's largest facet."""
    faces = np.asarray(mesh.faces, dtype=np.int64)
    normals = np.asarray(mesh.face_normals)
    pair, ends = np.asarray(mesh.face_adjacency), np.asarray(mesh.face_adjacency_edges)
    smooth = np.einsum("ij,ij->i", normals[pair[:, 0]], normals[pair[:, 1]]) > CREASE_COSINE
    pair, ends = pair[smooth], ends[smooth]
    # Corners (facet, corner) of two facets are one vertex where a smooth edge ends in both.
    corner = [
        3 * pair[:, side] + (faces[pair[:, side]] == ends[:, [end]]).argmax(axis=1)
        for end in (0, 1)
        for side in (0, 1)
    ]
    one, other = np.concatenate(corner[0::2]), np.concatenate(corner[1::2])
    count = faces.size
    links = coo_array((np.ones(len(one), dtype=np.int8), (one, other)), shape=(count, count))
    total, vertex = connected_components(links, directed=False)
    facet_of = np.empty(total, dtype=np.int64)
    by_size = np.argsort(np.repeat(mesh.area_faces, 3), kind="stable")
    # Where a vertex stands several times, the last and largest facet is kept.
    facet_of[vertex[by_size]] = by_size // 3
    vertices = np.empty((total, 3))
    vertices[vertex] = np.asarray(mesh.vertices, dtype=np.float64)[faces.ravel()]
    return vertices, vertex.reshape(-1, 3).astype(np.int64), facet_of


def _one_of_each_cell(points: Floats, normals: Floats, cell_mm: float) -> tuple[Ints, Ints]:
    """One point of each cell and facing, and for each point (n,) which of these stands for it."""
    _, chosen, shared = np.unique(
        _cell_keys(points, normals, cell_mm), return_index=True, return_inverse=True
    )
    return chosen, shared


def _measured_inside(
    surface: Surface, mesh: trimesh.Trimesh, vertices: Floats, facets: Ints, spacing_mm: float
) -> ThicknessSamples:
    """Ball thickness at vertices, each measured a little inside its facet."""
    corners = np.asarray(mesh.vertices, dtype=np.float64)[np.asarray(mesh.faces)[facets]]
    way = corners.mean(axis=1) - vertices
    length = np.linalg.norm(way, axis=1)
    step = np.minimum(STEP_IN, STEP_IN * spacing_mm / np.maximum(length, 1e-300))
    inside = vertices + step[:, None] * way
    return thickness_on(surface, inside, facets, np.zeros(len(facets)))
