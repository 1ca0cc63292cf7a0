"""Self-contact: whether a part that sags touches its own faces below, across a gap.

In the solve the faces of a part may pass through each other; only the plate and supports
are contact. So the gap under each overhang is checked afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh

from shrinkrule.mesh.rays import rays_of
from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.triangles import surface_area, unit_normals
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.settings import TOUCHING_MM
from shrinkrule.walls import sample_surface

_SAMPLES: Final = 6000
_DOWNWARD: Final = 0.2  # steeper faces than this share of downward slide past what is below


@dataclass(frozen=True)
class SelfContactGap:
    """A gap between an overhang and the part's own faces below it.

    Parameters
    ----------
    gap_mm : float
        Its height before anything sags, mm.
    closes_mm : float
        By how much the sag reduces it, mm.
    at : (3,) float
        Where the overhang is, in the mesh's frame, mm.
    """

    gap_mm: float
    closes_mm: float
    at: Floats

    @property
    def share(self) -> float:
        """Share of the gap that closes; from 1 on the faces touch."""
        return self.closes_mm / self.gap_mm


def most_closed_gap(mesh: trimesh.Trimesh, field: SagField) -> SelfContactGap | None:
    """Find the gap that closes by the largest share; none if no face hangs over another.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part before it sags, mm.
    field : SagField
        Its sag.

    Returns
    -------
    SelfContactGap or None
        The gap.
    """
    up = field.grid.turn[2]
    vertices, facets = np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces)
    samples = sample_surface(mesh, float(np.sqrt(surface_area(vertices, facets) / _SAMPLES)))
    normals = unit_normals(vertices[facets[samples.facets]])
    over = np.flatnonzero(normals @ up < -_DOWNWARD)
    if not len(over):
        return None
    points = samples.points[over]
    rays = rays_of(mesh)
    gap, facet = rays.opposite(points - rays.middle, np.tile(-up, (len(points), 1)), np.inf)
    hit = np.flatnonzero((facet >= 0) & (gap > TOUCHING_MM))
    if not len(hit):
        return None
    points, gap = points[hit], gap[hit]
    closing = (field.at(points - gap[:, None] * up) - field.at(points)) @ up
    worst = int(np.argmax(closing / gap))
    return SelfContactGap(float(gap[worst]), float(closing[worst]), points[worst])
