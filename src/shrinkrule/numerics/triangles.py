"""Measures of triangles, over arrays of their corners."""

from __future__ import annotations

import numpy as np

from shrinkrule.numerics.arrays import Floats


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
    normals: Floats = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return normals


def unit_normals(corners: Floats) -> Floats:
    """Outward unit normals (m, 3) of triangles (m, 3, 3); zero for a degenerate one."""
    normals = area_normals(corners)
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    unit = np.divide(normals, lengths, out=np.zeros_like(normals), where=lengths > 0)
    return np.asarray(unit, dtype=np.float64)


def signed_volumes(corners: Floats) -> Floats:
    """Six-fold signed volumes (m,) between triangles (m, 3, 3) and the origin."""
    a, b, c = np.moveaxis(corners, 1, 0)
    volumes: Floats = (a * np.cross(b, c)).sum(axis=1)
    return volumes
