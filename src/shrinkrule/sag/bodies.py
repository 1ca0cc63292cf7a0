"""Separation of bodies that stand close together in one file.

Bodies that do not touch carry no load for each other: each sags as if it were alone. On one
grid, though, two bodies closer than a brick would share bricks and hold each other. So the
bodies are moved apart on the plate, into a row, and the results are moved back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import igl
import numpy as np
import trimesh

from shrinkrule.mesh.repair import near_boxes
from shrinkrule.numerics.arrays import Floats, Ints, connected_components
from shrinkrule.numerics.edges import joined_vertices
from shrinkrule.numerics.triangles import signed_volumes
from shrinkrule.sag.settings import TOUCHING_MM, SagSettings
from shrinkrule.sag.voxels.grid import Grid

_CLEARANCE: Final = 5.0
"""Of a brick: bodies at least this far apart share no brick, not even one twice as large."""


@dataclass(frozen=True)
class SeparatedBodies:
    """A mesh whose bodies have been moved apart on the plate.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The moved mesh.
    shift : (n, 3) float
        How far each of its vertices was moved, mm.
    """

    mesh: trimesh.Trimesh
    shift: Floats

    def shift_of(self, refined: trimesh.Trimesh) -> Floats:
        """How far each vertex (k, 3) was moved, of a refinement that keeps the mesh's own first."""
        body = _shells(refined)
        first = np.unique(body, return_index=True)[1]
        shift: Floats = self.shift[first][body]
        return shift

    def back(self, place: Floats) -> Floats:
        """Where a place (3,) of the separated part is in the part as given, mm."""
        nearest = np.linalg.norm(np.asarray(self.mesh.vertices) - place, axis=1).argmin()
        home: Floats = place - self.shift[nearest]
        return home

    def put_back(self, moved: trimesh.Trimesh) -> trimesh.Trimesh:
        """A refinement of the mesh, or a mesh bent from one, with its bodies where they were."""
        vertices = np.asarray(moved.vertices) - self.shift_of(moved)
        return trimesh.Trimesh(vertices, moved.faces, process=False)


def separate_bodies(mesh: trimesh.Trimesh, grid: Grid, settings: SagSettings) -> SeparatedBodies:
    """Move bodies apart that stand closer than the bricks allow.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    grid : Grid
        The grid of bricks around it.
    settings : SagSettings
        How it lies; a part with supports is left as it is, because these stay in place.

    Returns
    -------
    SeparatedBodies
        The moved mesh, or the mesh itself if nothing has to move.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    as_given = SeparatedBodies(mesh, np.zeros_like(vertices))
    if settings.supports or _shells(mesh).max() == 0:
        return as_given
    body = body_of_vertices(mesh)
    clearance = _CLEARANCE * float(grid.size.max())
    plan_view = vertices @ grid.turn[:2].T
    low, high = _boxes(plan_view, body)
    if not len(near_boxes(low, high, clearance)):
        return as_given
    widths = high[:, 0] - low[:, 0] + clearance
    start = np.stack([np.cumsum(widths) - widths, np.zeros(len(widths))], axis=1)
    shift = ((start - low) @ grid.turn[:2])[body]
    moved = trimesh.Trimesh(vertices + shift, mesh.faces, process=False)
    return SeparatedBodies(moved, shift)


def body_of_vertices(mesh: trimesh.Trimesh) -> Ints:
    """Label the body of each vertex (n,).

    A cavity belongs to the body around it, and bodies that touch are one.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.

    Returns
    -------
    (n,) int
        Number of the body of each vertex.
    """
    vertices, faces = np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces)
    shell = _shells(mesh)
    low, high = _boxes(vertices, shell)
    pairs = [
        (one, other)
        for one, other in near_boxes(low, high, TOUCHING_MM)
        if _touch(vertices, faces, shell, one, other)
    ]
    pairs += _cavities(mesh, shell, low, high)
    joined = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    body: Ints = connected_components(len(low), joined)[shell]
    return body


def _shells(mesh: trimesh.Trimesh) -> Ints:
    """Label (n,) of the vertices that facets join."""
    label: Ints = joined_vertices(np.asarray(mesh.faces, dtype=np.int64), len(mesh.vertices))
    return label


def _boxes(points: Floats, label: Ints) -> tuple[Floats, Floats]:
    """Low and high corners (b, d) of the boxes around labelled points (n, d)."""
    count = int(label.max()) + 1
    low = np.full((count, points.shape[1]), np.inf)
    high = -low
    np.minimum.at(low, label, points)
    np.maximum.at(high, label, points)
    return low, high


def _touch(vertices: Floats, faces: Ints, shell: Ints, one: int, other: int) -> bool:
    """Whether a vertex of either shell lies on the other."""
    return any(
        _reaches(vertices[shell == a], vertices, faces[shell[faces[:, 0]] == b])
        for a, b in ((one, other), (other, one))
    )


def _reaches(points: Floats, vertices: Floats, facets: Ints) -> bool:
    """Whether a point lies on facets; only those are looked at that could meet one."""
    corners = vertices[facets]
    low, high = corners.min(axis=1) - TOUCHING_MM, corners.max(axis=1) + TOUCHING_MM
    points = points[((points >= low.min(axis=0)) & (points <= high.max(axis=0))).all(axis=1)]
    if not len(points):
        return False
    near = ((low <= points.max(axis=0)) & (high >= points.min(axis=0))).all(axis=1)
    if not near.any():
        return False
    squared = igl.point_mesh_squared_distance(points, vertices, facets[near])[0]
    return bool(squared.min() <= TOUCHING_MM**2)


def _cavities(
    mesh: trimesh.Trimesh, shell: Ints, low: Floats, high: Floats
) -> list[tuple[int, int]]:
    """Pairs of each cavity and the smallest body whose box holds it."""
    faces = np.asarray(mesh.faces, dtype=np.int64)
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    volume = signed_volumes(vertices, faces, shell[faces[:, 0]])
    size = (high - low).prod(axis=1)
    found = []
    for cavity in np.flatnonzero(volume < 0.0):
        holds = np.all((low <= low[cavity]) & (high >= high[cavity]), axis=1) & (volume > 0.0)
        if holds.any():
            around = np.flatnonzero(holds)
            found.append((int(cavity), int(around[size[around].argmin()])))
    return found
