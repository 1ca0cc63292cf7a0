"""Projected views of a piece: what an eye far away along an axis sees, as flat outlines.

Faces turned toward the eye are joined plane by plane and painted from far to near;
for a body of upright and level faces that is exact hidden-line removal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh
from manifold3d import CrossSection, FillRule

from shrinkrule.coupon.piece import Point
from shrinkrule.numerics.arrays import Floats

_FACING: Final = 0.3
"""Cosine to the eye above which a face is drawn; edge-on faces are lines already."""


@dataclass(frozen=True)
class View:
    """Where the eye stands: unit vectors that point right, up and toward it on the page.

    Parameters
    ----------
    name : str
        Words under the drawing.
    right, up, toward : tuple of 3 float
        Unit vectors in the piece's frame.
    """

    name: str
    right: Point
    up: Point
    toward: Point

    def flat(self, points: Floats) -> Floats:
        """Points (n, 3) as the page shows them, (n, 2) in mm, y downward as in SVG."""
        page: Floats = points @ np.array([self.right, [-u for u in self.up]]).T
        return page

    def at(self, point: Point) -> tuple[float, float]:
        """One point as the page shows it."""
        x, y = self.flat(np.array([point], dtype=np.float64))[0]
        return float(x), float(y)


ABOVE: Final = View("from above", (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
FRONT: Final = View("from the front", (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0))
LEFT: Final = View("from the left", (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), (-1.0, 0.0, 0.0))
BACK: Final = View("from the free ends", (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))
STANDING: Final = View("standing, as fired", (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True)
class Patch:
    """One visible plane of a piece.

    Parameters
    ----------
    rings : tuple of (n, 2) float
        Outlines and holes on the page, mm.
    nearness : float
        0 for the farthest plane of the piece, 1 for the nearest.
    """

    rings: tuple[Floats, ...]
    nearness: float


def patches(mesh: trimesh.Trimesh, view: View) -> list[Patch]:
    """Visible planes of a mesh, far ones first.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Any closed mesh, mm.
    view : View
        From where it is seen.

    Returns
    -------
    list of Patch
        In the order in which they are drawn.
    """
    toward = np.array(view.toward)
    normals = np.asarray(mesh.face_normals)
    triangles = np.asarray(mesh.triangles)
    shown = normals @ toward > _FACING
    normals, triangles = normals[shown], triangles[shown]
    offsets = np.sum(normals * triangles[:, 0], axis=1)
    planes, which = np.unique(
        np.round(np.column_stack([normals, offsets]), 5), axis=0, return_inverse=True
    )
    depth = triangles.mean(axis=1) @ toward
    depths = np.array([depth[which == i].mean() for i in range(len(planes))])
    span = np.ptp(np.asarray(mesh.vertices) @ toward)
    lowest = float(np.min(np.asarray(mesh.vertices) @ toward))
    return [
        Patch(_joined(triangles[which == i], view), float((depths[i] - lowest) / span))
        for i in np.argsort(depths, kind="stable")
    ]


def _joined(triangles: Floats, view: View) -> tuple[Floats, ...]:
    flat = view.flat(triangles.reshape(-1, 3)).reshape(-1, 3, 2)
    joined = CrossSection(list(flat), FillRule.NonZero).simplify(1e-4)
    return tuple(np.asarray(ring) for ring in joined.to_polygons())
