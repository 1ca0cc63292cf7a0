"""Sound solids for the coupon: prisms with a chamfered foot, and their way to a mesh.

The first layers of a print are squeezed wider than the rest, so every upright face
that will be measured stands on a 45-degree chamfer, which prints without support.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import Final

import numpy as np
import trimesh
from manifold3d import Error, Manifold, Mesh64, triangulate

from shrinkrule.errors import MeshError
from shrinkrule.numerics.arrays import Floats

Ring = Floats
"""Closed outline, (n, 2) in mm, material on its left: outer rings turn left, holes right."""

CIRCLE_SEGMENTS: Final = 96
"""A multiple of four, so that a hole is exactly its diameter across both axes."""

FOOT_MM: Final = 0.5
"""Height over which first layers are squeezed wider (common practice, no source)."""


def foot_chamfer(layer_height: float) -> float:
    """Chamfer at the foot of measured faces: whole layers, as high as the squeezed ones.

    Parameters
    ----------
    layer_height : float
        mm.

    Returns
    -------
    float
        Height and depth of the chamfer, mm.

    Examples
    --------
    >>> foot_chamfer(0.3)
    0.6
    """
    return ceil(FOOT_MM / layer_height - 1e-9) * layer_height


def rectangle(x0: float, x1: float, y0: float, y1: float) -> Ring:
    """Outer ring of a rectangle.

    Parameters
    ----------
    x0, x1, y0, y1 : float
        Its sides, mm.

    Returns
    -------
    (4, 2) float64
        Corners turning left, mm.
    """
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=np.float64)


def circle(x: float, y: float, diameter: float) -> Ring:
    """Outer ring of a circle with corners on both axes.

    Parameters
    ----------
    x, y, diameter : float
        Centre and diameter, mm.

    Returns
    -------
    (n, 2) float64
        Corners on the circle, turning left, mm.
    """
    turn = np.arange(CIRCLE_SEGMENTS) * (2.0 * np.pi / CIRCLE_SEGMENTS)
    return np.array([x, y]) + 0.5 * diameter * np.column_stack([np.cos(turn), np.sin(turn)])


def as_hole(ring: Ring) -> Ring:
    """Turn an outer ring into the ring of a hole.

    Parameters
    ----------
    ring : (n, 2) float64
        Corners turning left, mm.

    Returns
    -------
    (n, 2) float64
        The same corners turning right.
    """
    return ring[::-1].copy()


def box(x0: float, x1: float, y0: float, y1: float, z0: float, z1: float) -> Manifold:
    """Box between corners, in mm.

    Parameters
    ----------
    x0, x1, y0, y1, z0, z1 : float
        Its faces, mm.

    Returns
    -------
    Manifold
        Of eight corners.
    """
    return Manifold.cube((x1 - x0, y1 - y0, z1 - z0)).translate((x0, y0, z0))


def chamfered_prism(rings: Sequence[Ring], height: float, chamfer: float) -> Manifold:
    """Stand rings up from z = 0, each edge of the foot chamfered at 45 degrees into the material.

    Parameters
    ----------
    rings : sequence of (n, 2) float
        Outer rings turning left and holes turning right, mm.
    height, chamfer : float
        Height of the prism and of its chamfer, mm.

    Returns
    -------
    Manifold
        One sound solid on z = 0.

    Raises
    ------
    MeshError
        When the chamfer eats the outline, so that no sound solid is left.
    """
    foot = [_inset(ring, chamfer) for ring in rings]
    lower = [np.column_stack([ring, np.zeros(len(ring))]) for ring in foot]
    middle = [np.column_stack([ring, np.full(len(ring), chamfer)]) for ring in rings]
    upper = [np.column_stack([ring, np.full(len(ring), height)]) for ring in rings]
    count = sum(len(ring) for ring in rings)
    faces = [triangulate(foot)[:, ::-1], triangulate(list(rings)) + 2 * count]
    start = 0
    for ring in rings:
        here = start + np.arange(len(ring))
        after = np.roll(here, -1)
        for level in (0, count):
            a, b, c, d = here + level, after + level, after + level + count, here + level + count
            faces += [np.column_stack([a, b, c]), np.column_stack([a, c, d])]
        start += len(ring)
    corners = np.vstack([*lower, *middle, *upper])
    return _checked(Manifold(Mesh64(corners, np.vstack(faces).astype(np.uint64))))


def union(parts: Sequence[Manifold]) -> Manifold:
    """One solid of overlapping solids.

    Parameters
    ----------
    parts : sequence of Manifold
        At least one; each shares space or a face with another.

    Returns
    -------
    Manifold
        One body without seams.

    Raises
    ------
    MeshError
        When the solids do not join into one sound body.
    """
    whole = parts[0]
    for part in parts[1:]:
        whole = whole + part
    if len(whole.decompose()) != 1:
        raise MeshError("the coupon falls apart", hint="give a larger furnace or a finer nozzle")
    # As an original, coplanar faces of different parts are one, and seams between them go.
    return _checked(whole.as_original().simplify(0.0))


def to_mesh(solid: Manifold) -> trimesh.Trimesh:
    """Mesh of a solid, corners merged as the solid has them.

    Parameters
    ----------
    solid : Manifold
        Any solid, mm.

    Returns
    -------
    trimesh.Trimesh
        float64, mm.
    """
    raw = solid.to_mesh64()
    # Copies, so that the mesh does not keep the solid's own memory alive.
    return trimesh.Trimesh(
        vertices=np.array(raw.vert_properties[:, :3], dtype=np.float64),
        faces=np.array(raw.tri_verts, dtype=np.int64),
        process=False,
    )


def _inset(ring: Ring, distance: float) -> Ring:
    """Move every edge of a ring to its left; corners stay mitred."""
    ahead = np.roll(ring, -1, axis=0) - ring
    ahead /= np.linalg.norm(ahead, axis=1)[:, None]
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    before = np.roll(left, 1, axis=0)
    miter = (left + before) / (1.0 + np.sum(left * before, axis=1))[:, None]
    inset: Ring = ring + distance * miter
    if np.any(np.sum((np.roll(inset, -1, axis=0) - inset) * ahead, axis=1) <= 0.0):
        raise MeshError(
            f"a chamfer of {distance:g} mm leaves nothing of an outline", hint="give lower layers"
        )
    return inset


def _checked(solid: Manifold) -> Manifold:
    if solid.status() != Error.NoError or solid.is_empty():
        raise MeshError(
            f"the coupon's solid is not sound ({solid.status().name})",
            hint="give a larger furnace or a finer nozzle",
        )
    return solid
