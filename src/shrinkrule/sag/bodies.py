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

from shrinkrule.numerics.arrays import Floats, Ints, connected_components
from shrinkrule.numerics.edges import joined_vertices
from shrinkrule.numerics.triangles import signed_volumes
from shrinkrule.sag.settings import TOUCHING_MM, SagSettings
from shrinkrule.sag.voxels.grid import Grid

_CLEARANCE: Final = 5.0
"""Of a brick: bodies at least this far apart share no brick, not even one twice as large."""

_REACH: Final = 2.0 * TOUCHING_MM
"""mm: vertices farther than this from a body's box cannot touch it, roundoff or not."""


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
    if not len(_near(low, high, clearance)):
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
    pairs = _touching(vertices, faces, shell, _near(low, high, TOUCHING_MM))
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


def _near(low: Floats, high: Floats, clearance: float) -> Ints:
    """Pairs (p, 2) of boxes nearer to each other than a clearance."""
    meet = np.all(
        (low[:, None] < high[None] + clearance) & (low[None] < high[:, None] + clearance), axis=2
    )
    pairs: Ints = np.argwhere(np.triu(meet, 1))
    return pairs


def _touch(points: Floats, faces: Ints, others: Floats, low: Floats, high: Floats) -> bool:
    """Whether any of the others (k, 3) lies on a shell whose box is given."""
    # Farther from the box than that, a vertex is farther from the shell too.
    close = others[np.all((others >= low - _REACH) & (others <= high + _REACH), axis=1)]
    if not len(close):
        return False
    squared, _, _ = igl.point_mesh_squared_distance(close, points, faces)
    return bool(squared.min() <= TOUCHING_MM**2)


def _touching(vertices: Floats, faces: Ints, shell: Ints, near: Ints) -> list[tuple[int, int]]:
    """Those pairs of near shells of which either has a vertex that lies on the other."""
    if not len(near):
        return []
    count = int(shell.max()) + 1
    order = np.argsort(shell, kind="stable")
    points = np.split(vertices[order], np.cumsum(np.bincount(shell, minlength=count))[:-1])
    within = np.empty(len(order), dtype=np.int64)
    starts = np.searchsorted(shell[order], np.arange(count))
    within[order] = np.arange(len(order)) - starts[shell[order]]
    owner = shell[faces[:, 0]]
    by_shell = within[faces[np.argsort(owner, kind="stable")]]
    facets = np.split(by_shell, np.cumsum(np.bincount(owner, minlength=count))[:-1])
    low, high = _boxes(vertices, shell)
    return [
        (int(one), int(other))
        for one, other in near
        if any(
            _touch(points[b], facets[b], points[a], low[b], high[b])
            for a, b in ((one, other), (other, one))
        )
    ]


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
