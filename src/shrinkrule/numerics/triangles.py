"""Measures of triangles, over arrays of their corners."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, box_of
from shrinkrule.numerics.jit import compiled, inner
from shrinkrule.numerics.threads import in_chunks

AT_ONCE: Final = 1 << 14
"""Facets that a step takes at a time: the processor's caches hold what lies between."""


@inner
def twice_area_normal(vertices: Floats, facets: Ints, f: int) -> Any:
    """Normal of a facet, twice its area long, for compiled loops.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface.
    f : int
        The facet.

    Returns
    -------
    float, float, float
        The normal.
    """
    a, b, c = facets[f, 0], facets[f, 1], facets[f, 2]
    ux, uy, uz = (
        vertices[b, 0] - vertices[a, 0],
        vertices[b, 1] - vertices[a, 1],
        vertices[b, 2] - vertices[a, 2],
    )
    vx, vy, vz = (
        vertices[c, 0] - vertices[a, 0],
        vertices[c, 1] - vertices[a, 1],
        vertices[c, 2] - vertices[a, 2],
    )
    return uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx


@compiled
def normals_and_areas(vertices: Floats, facets: Ints) -> Any:
    """Unit normals of facets, axis by axis, and their areas.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.

    Returns
    -------
    normals : (3, m) float64
        Outward; zero for a degenerate facet.
    areas : (m,) float64
        mm2.
    """
    normals, areas = np.empty((3, len(facets))), np.empty(len(facets))
    for f in range(len(facets)):
        x, y, z = twice_area_normal(vertices, facets, f)
        length = np.sqrt(x * x + y * y + z * z)
        areas[f] = 0.5 * length
        if length == 0.0:
            length = 1.0
        normals[0, f], normals[1, f], normals[2, f] = x / length, y / length, z / length
    return normals, areas


def area_normals(corners: Floats) -> Floats:
    """Normals of triangles, twice their area long.

    Parameters
    ----------
    corners : (m, 3, 3) float
        Their corners, counter-clockwise seen from outside.

    Returns
    -------
    (m, 3) float
        The normals, outward.

    Examples
    --------
    >>> area_normals(np.array([[[0.0, 0, 0], [2, 0, 0], [0, 3, 0]]])).tolist()
    [[0.0, 0.0, 6.0]]
    """
    normals = np.empty((len(corners), 3), corners.dtype)

    def work(part: slice) -> None:
        a, b, c = np.moveaxis(corners[part], 1, 0)
        normals[part] = np.cross(b - a, c - a)

    in_chunks(work, len(corners), AT_ONCE)
    return normals


def normals_of(vertices: Floats, facets: Ints) -> Floats:
    """Outward unit normals (m, 3) of facets; zero for a degenerate one.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface; the corners of all its facets are never held at once.

    Returns
    -------
    (m, 3) float64
        The normals.
    """
    normals = np.empty((len(facets), 3))

    def work(part: slice) -> None:
        normals[part] = unit_normals(vertices[facets[part]])

    in_chunks(work, len(facets), AT_ONCE)
    return normals


def unit_normals(corners: Floats) -> Floats:
    """Outward unit normals (m, 3) of triangles (m, 3, 3); zero for a degenerate one.

    Parameters
    ----------
    corners : (m, 3, 3) float
        Their corners, counter-clockwise seen from outside.

    Returns
    -------
    (m, 3) float
        The normals.
    """
    normals = area_normals(corners)
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    unit = np.divide(normals, lengths, out=np.zeros_like(normals), where=lengths > 0)
    return np.asarray(unit, dtype=np.float64)


def surface_area(vertices: Floats, facets: Ints) -> float:
    """Area of a surface, computed piece by piece, so that no corners of all facets are held.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.

    Returns
    -------
    float
        The area, mm2.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [2, 0, 0], [0, 3, 0]])
    >>> surface_area(corners, np.array([[0, 1, 2]]))
    3.0
    """
    return float(areas_of(vertices, facets).sum())


def areas_of(vertices: Floats, facets: Ints) -> Floats:
    """Areas (m,) of the facets of a surface, mm2.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.

    Returns
    -------
    (m,) float64
        The areas.
    """
    areas = np.empty(len(facets))

    def work(part: slice) -> None:
        a, b, c = (vertices[corner] for corner in facets[part].T)
        areas[part] = np.sqrt((np.cross(b - a, c - b) ** 2).sum(axis=1)) / 2.0

    in_chunks(work, len(facets), AT_ONCE)
    return areas


def heights(corners: Floats) -> Floats:
    """Smallest heights of triangles, which stand on the longest side.

    Parameters
    ----------
    corners : (m, 3, 3) float
        Their corners.

    Returns
    -------
    (m,) float
        The heights; zero for a degenerate triangle.

    Examples
    --------
    >>> heights(np.array([[[0.0, 0, 0], [4, 0, 0], [1, 1, 0]]])).tolist()
    [1.0]
    """
    sides = np.roll(corners, -1, axis=1) - corners
    longest = np.linalg.norm(sides, axis=2).max(axis=1)
    twice_area = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    return np.asarray(twice_area / np.maximum(longest, np.finfo(np.float64).tiny))


def signed_volume(vertices: Floats, facets: Ints) -> float:
    """Signed volume of a closed surface, negative where it faces inward.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.

    Returns
    -------
    float
        The volume, mm3; 0 without any facet.
    """
    if not len(facets):
        return 0.0
    return float(signed_volumes(vertices, facets, np.zeros(len(facets), np.int64))[0])


def signed_volumes(vertices: Floats, facets: Ints, labels: Ints) -> Floats:
    """Signed volumes of the bodies of a mesh, negative where facets face inward.

    Parameters
    ----------
    vertices : (n, 3) float
        Vertices.
    facets : (m, 3) int
        Facets.
    labels : (m,) int
        Body of each facet, numbered from 0.

    Returns
    -------
    (b,) float
        Volume of each body; it means something where its surface is closed.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 6]])
    >>> facets = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    >>> np.round(signed_volumes(corners, facets, np.zeros(4, dtype=np.int64)), 9).tolist()
    [1.0]
    """
    # From the middle of the box: far from the origin, differences of large terms lose digits.
    low, high = box_of(vertices)
    middle = 0.5 * (low + high)
    count = int(labels.max()) + 1
    volumes: Floats = _six_fold_volumes(vertices, facets, labels, middle, count) / 6.0
    return volumes


@compiled
def _six_fold_volumes(vertices: Floats, facets: Ints, labels: Any, middle: Any, count: int) -> Any:
    """Six times the signed volume between the facets of each label and ``middle``, (count,)."""
    volumes = np.zeros(count)
    for f in range(len(facets)):
        a, b, c = facets[f, 0], facets[f, 1], facets[f, 2]
        ax, ay, az = (
            vertices[a, 0] - middle[0],
            vertices[a, 1] - middle[1],
            vertices[a, 2] - middle[2],
        )
        bx, by, bz = (
            vertices[b, 0] - middle[0],
            vertices[b, 1] - middle[1],
            vertices[b, 2] - middle[2],
        )
        cx, cy, cz = (
            vertices[c, 0] - middle[0],
            vertices[c, 1] - middle[1],
            vertices[c, 2] - middle[2],
        )
        volumes[labels[f]] += (
            ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
        )
    return volumes
