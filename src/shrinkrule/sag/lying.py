"""How a part meets the plate before anything sags: on a face, on a point, or tilted off a face.

Judged on the part's own facets, not on bricks: a degree of tilt is less than a brick.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh
from scipy.spatial import ConvexHull, QhullError

from shrinkrule.numerics.arrays import Floats, box_of
from shrinkrule.numerics.triangles import signed_volume, unit_normals

CROOKED_DEG: Final = 10.0
"""A part that lies farther from its face than this was meant to stand so."""

SHARP_DEG: Final = 20.0
"""A lowest point with every facet steeper than this is a tip; one with flatter facets rolls."""

_SAME: Final = 1e-4
"""Share of a part's size by which two heights or places are one."""


def stands_on_a_point(mesh: trimesh.Trimesh, up: Floats) -> bool:
    """Whether a part touches the plate with a tip alone.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    up : (3,) float
        Upward unit vector.

    Returns
    -------
    bool
        Whether it does; a sphere does not, for it rolls.
    """
    points = np.asarray(mesh.vertices, dtype=np.float64)
    height = points @ up
    below, above = box_of(points)
    size = float((above - below).max())
    low = height <= height.min() + _SAME * size
    if float(np.ptp(points[low], axis=0).max()) > _SAME * size:
        return False
    facets = np.asarray(mesh.faces)
    around = low[facets[:, 0]] | low[facets[:, 1]] | low[facets[:, 2]]
    down = -(unit_normals(points[facets[around]]) @ up)
    return bool(np.all(down < np.cos(np.radians(SHARP_DEG))))


def crooked_deg(mesh: trimesh.Trimesh, up: Floats) -> float | None:
    """Angle between the plate and the face that a part would settle on.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    up : (3,) float
        Upward unit vector.

    Returns
    -------
    float or None
        Degrees; None where no face that holds its centre of mass is within CROOKED_DEG.
    """
    points = np.asarray(mesh.vertices, dtype=np.float64)
    facets = np.asarray(mesh.faces, dtype=np.int64)
    if signed_volume(points, facets) == 0.0:
        # As of a shell and its reverse: nothing has a centre of mass.
        return None
    try:
        hull = ConvexHull(points)
    except QhullError:
        return None
    size = float(np.ptp(points, axis=0).max())
    planes = np.unique(hull.equations.round(9), axis=0)
    down = -(planes[:, :3] @ up)
    for place in np.argsort(-down):
        angle = float(np.degrees(np.arccos(np.clip(down[place], -1.0, 1.0))))
        if angle > CROOKED_DEG:
            return None
        normal, offset = planes[place, :3], planes[place, 3]
        on_it = points[np.abs(points @ normal + offset) <= _SAME * size]
        if _is_over(np.asarray(mesh.center_mass), on_it, normal):
            return angle
    return None


def _is_over(centre: Floats, face: Floats, normal: Floats) -> bool:
    """Whether a centre of mass is over a face, seen along the face's normal."""
    first = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
    first /= np.linalg.norm(first)
    axes = np.stack([first, np.cross(normal, first)])
    try:
        hull = ConvexHull(face @ axes.T)
    except QhullError:
        return False
    return bool(np.all(hull.equations[:, :2] @ (axes @ centre) + hull.equations[:, 2] <= 0.0))
