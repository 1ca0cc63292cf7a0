"""Parts whose wall thickness is known in closed form, built facet by facet."""

from __future__ import annotations

import numpy as np
import trimesh
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def box(x: float, y: float, z: float) -> trimesh.Trimesh:
    """Twelve facets."""
    return trimesh.creation.box(extents=(x, y, z))


def extruded(outline: Floats, height: float) -> trimesh.Trimesh:
    """Pull a convex outline (counter-clockwise) up along Z and cap it with fans."""
    count = len(outline)
    low = np.column_stack([outline, np.zeros(count)])
    high = np.column_stack([outline, np.full(count, height)])
    i = np.arange(count)
    j = (i + 1) % count
    sides = np.vstack(
        [np.column_stack([i, j, j + count]), np.column_stack([i, j + count, i + count])]
    )
    k = np.arange(1, count - 1)
    floor = np.column_stack([np.zeros_like(k), k + 1, k])
    roof = np.column_stack([np.full_like(k, count), k + count, k + 1 + count])
    return trimesh.Trimesh(np.vstack([low, high]), np.vstack([sides, floor, roof]), process=False)


def wedge(angle: float, length: float, width: float) -> trimesh.Trimesh:
    """Two faces meeting at ``angle`` (radians) along the y axis; the lower one lies in z = 0."""
    rise = length * np.tan(angle)
    profile = np.array([[0.0, 0.0], [length, 0.0], [length, rise]])
    solid = extruded(profile, width)
    # (x, z, y) turns the extruded profile's second axis up; swapping two axes mirrors.
    solid.vertices = solid.vertices[:, [0, 2, 1]]
    solid.faces = solid.faces[:, ::-1]
    return solid


def tube(inner: float, wall: float, height: float, around: int, along: int = 1) -> trimesh.Trimesh:
    """Build a tube of ``around`` flats whose flats (not corners) are ``wall`` apart, exactly."""
    turn = 2.0 * np.pi * np.arange(around) / around
    levels = np.linspace(0.0, height, along + 1)
    circle = np.column_stack([np.cos(turn), np.sin(turn)]) / np.cos(np.pi / around)

    def barrel(apothem: float) -> Floats:
        flat = np.tile(apothem * circle, (along + 1, 1))
        return np.column_stack([flat, np.repeat(levels, around)])

    vertices = np.vstack([barrel(inner + wall), barrel(inner)])
    i = np.arange(around)
    j = (i + 1) % around
    step = (np.arange(along) * around)[:, None]
    a, b = (i + step).ravel(), (j + step).ravel()
    c, d = a + around, b + around
    inside = (along + 1) * around
    top = along * around
    faces = np.vstack(
        [
            np.column_stack([a, b, d]),
            np.column_stack([a, d, c]),
            np.column_stack([a, d, b]) + inside,
            np.column_stack([a, c, d]) + inside,
            np.column_stack([i, j + inside, j]),
            np.column_stack([i, i + inside, j + inside]),
            np.column_stack([i, j, j + inside]) + top,
            np.column_stack([i, j + inside, i + inside]) + top,
        ]
    )
    return trimesh.Trimesh(vertices, faces, process=False)


def shell(inner: float, wall: float, subdivisions: int) -> trimesh.Trimesh:
    """Build a hollow ball: two icospheres with the same facets, one inside out."""
    outer = trimesh.creation.icosphere(subdivisions=subdivisions, radius=inner + wall)
    hollow = trimesh.creation.icosphere(subdivisions=subdivisions, radius=inner)
    hollow.invert()
    return trimesh.util.concatenate([outer, hollow])


def turned(mesh: trimesh.Trimesh, seed: int) -> trimesh.Trimesh:
    """Turn a part to an arbitrary rotation."""
    turn = trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))
    return mesh.copy().apply_transform(turn)
