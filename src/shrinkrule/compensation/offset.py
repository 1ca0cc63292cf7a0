"""Outlines moved in the mesh itself, to take off what the beads will spread.

A bead spreads in its layer, so every cut of the part by a layer must move along its own
outline's normal, by the same amount all round; floors and roofs stay. A facet with unit
normal ``n`` moves horizontally by the offset, which is ``offset |n_xy|`` along its normal.
A corner must therefore move by a ``d`` with ``n . d = offset |n_xy|`` for every facet there:
at the corner of a box three equations for three unknowns, on a curved surface many that
agree to the second order of the facets' turn, on a flat one fewer, and then the shortest
``d`` is taken. It is least squares weighted by corner angle. A corner where the equations
contradict each other has no such move, and the mesh is refused there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import manifold3d
import numpy as np
import trimesh

from shrinkrule.errors import MeshError, Option
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.triangles import heights, unit_normals

MISS_SHARE: Final = 0.1
"""Corners may miss the offset by this share: a tenth of a bead's spread is not measurable."""


SAME_NORMAL: Final = 1e-5
"""Share of the largest eigenvalue under which a direction is left alone.

It is about the square of the angle between normals: below 0.2 degrees two facets are one
plane, and a corner is not sent far along their common line for the rounding between them.
"""


@dataclass(frozen=True)
class OffsetMesh:
    """A mesh with moved outlines.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Same facets, moved vertices.
    largest_miss_mm : float
        Largest difference between a facet corner's move and the offset asked for.
    """

    mesh: trimesh.Trimesh
    largest_miss_mm: float


def offset_outlines(mesh: trimesh.Trimesh, offset_mm: float, where: str = "mesh") -> OffsetMesh:
    """Move all upright and slanted surfaces in XY so that every layer's outline moves alike.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Sound, print frame, mm.
    offset_mm : float
        Positive moves outlines out of the metal, negative into it; holes follow.
    where : str
        Name of the part, for messages.

    Returns
    -------
    OffsetMesh
        The moved mesh, and by how much it misses the offset at most.

    Raises
    ------
    MeshError
        Where the surfaces at a corner cannot all move by the offset, or a facet would
        turn over.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    facets = np.asarray(mesh.faces, dtype=np.int64)
    normals = unit_normals(vertices[facets])
    shifts = offset_mm * np.linalg.norm(normals[:, :2], axis=1)
    weights = _corner_angles(vertices[facets])
    moves = _moves(len(vertices), facets, normals, shifts, weights)
    miss = np.abs(np.einsum("fcj,fj->fc", moves[facets], normals) - shifts[:, None])
    worst = float(miss.max(initial=0.0))
    if worst > MISS_SHARE * abs(offset_mm):
        facet, corner = np.unravel_index(np.argmax(miss), miss.shape)
        x, y, z = vertices[facets[facet, corner]]
        raise MeshError(
            f"the surfaces that meet at x {x:z.2f}, y {y:z.2f}, z {z:z.2f} mm of the green part "
            "cannot all move by the outline offset",
            where=where,
            hint="set the offset when slicing instead of moving the mesh",
            options=(Option.OUTLINE,),
        )
    moved = vertices + moves
    facets, normals = _faces_cut_anew(mesh, moved, normals)
    # A degenerate facet may fold by less than a miss that is allowed anyway.
    folded = _turned(moved, facets, normals)
    folded &= heights(moved[facets]) > MISS_SHARE * abs(offset_mm)
    if folded.any():
        x, y, z = moved[facets[int(np.argmax(folded))]].mean(axis=0)
        raise MeshError(
            f"a detail at x {x:z.2f}, y {y:z.2f}, z {z:z.2f} mm of the green part is finer than "
            "the outline offset",
            where=where,
            hint="set the offset when slicing instead of moving the mesh",
            options=(Option.OUTLINE,),
        )
    return OffsetMesh(trimesh.Trimesh(moved, facets, process=False, validate=False), worst)


def _moves(count: int, facets: Ints, normals: Floats, shifts: Floats, weights: Floats) -> Floats:
    """Moves (n, 3) of vertices, by weighted least squares of ``n . d = shift``."""
    corners = facets.ravel()
    normal = np.repeat(normals, 3, axis=0)
    weight = weights.ravel()

    def summed(values: Floats) -> Floats:
        return np.bincount(corners, weight * values, count).astype(np.float64)

    matrices = np.empty((count, 3, 3))
    for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)):
        matrices[:, i, j] = matrices[:, j, i] = summed(normal[:, i] * normal[:, j])
    shift = np.repeat(shifts, 3)
    right = np.column_stack([summed(normal[:, i] * shift) for i in range(3)])
    inverse = np.linalg.pinv(matrices, rcond=SAME_NORMAL, hermitian=True)
    return np.asarray(np.einsum("nij,nj->ni", inverse, right), dtype=np.float64)


def _turned(vertices: Floats, facets: Ints, normals: Floats) -> Mask:
    turned: Mask = np.einsum("ij,ij->i", unit_normals(vertices[facets]), normals) < 0.0
    return turned


def _faces_cut_anew(mesh: trimesh.Trimesh, moved: Floats, normals: Floats) -> tuple[Ints, Floats]:
    """Facets and their former normals, with flat faces triangulated anew where they folded.

    A flat face keeps its plane and its outline may move a little, but the triangles that
    happened to fill it may then overlap. Only the filling changes, so the mesh stays closed.
    """
    facets = np.asarray(mesh.faces, dtype=np.int64)
    turned = _turned(moved, facets, normals)
    if not turned.any():
        return facets, normals
    kept = np.ones(len(facets), dtype=np.bool_)
    filled, facing = [], []
    for face in mesh.facets:
        if not turned[face].any():
            continue
        normal = normals[face].mean(axis=0)
        triangles = _filled(moved, facets[face], normal / np.linalg.norm(normal))
        kept[face] = False
        filled.append(triangles)
        facing.append(np.tile(normal, (len(triangles), 1)))
    return np.vstack([facets[kept], *filled]), np.vstack([normals[kept], *facing])


def _filled(vertices: Floats, facets: Ints, normal: Floats) -> Ints:
    """Triangles (k, 3) that fill the outline of a flat face."""
    loops = _outline(facets)
    across = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    across /= np.linalg.norm(across)
    plane = np.column_stack([across, np.cross(normal, across)])
    cut = manifold3d.triangulate([vertices[loop] @ plane for loop in loops])
    return np.concatenate(loops)[np.asarray(cut, dtype=np.int64)]


def _outline(facets: Ints) -> list[Ints]:
    """Closed loops of vertex numbers around a set of facets, metal on the left."""
    edges = facets[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    there = {(int(a), int(b)) for a, b in edges}
    follows: dict[int, list[int]] = {}
    for a, b in there:
        if (b, a) not in there:
            follows.setdefault(a, []).append(b)
    loops = []
    while follows:
        start = min(follows)
        loop = [start]
        while True:
            onward = follows[loop[-1]]
            after = onward.pop()
            if not onward:
                del follows[loop[-1]]
            if after == start:
                break
            loop.append(after)
        loops.append(np.array(loop, dtype=np.int64))
    return loops


def _corner_angles(corners: Floats) -> Floats:
    """Angles (m, 3) in radians at the corners of facets (m, 3, 3)."""
    ahead = np.roll(corners, -1, axis=1) - corners
    behind = np.roll(corners, 1, axis=1) - corners
    cross = np.linalg.norm(np.cross(ahead, behind), axis=2)
    along = np.einsum("fcj,fcj->fc", ahead, behind)
    return np.asarray(np.arctan2(cross, along), dtype=np.float64)
