"""What a part comes down onto when it sags: its own faces below, across a gap.

The solve lets faces pass through each other: only the plate and supports hold. So the gap
under each overhang is looked at afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh

from shrinkrule.mesh.rays import Rays
from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag.bodies import TOUCHING_MM
from shrinkrule.sag.fem.field import SagField
from shrinkrule.walls import sample_surface

_SAMPLES: Final = 6000
_DOWNWARD: Final = 0.2  # steeper faces than this share of downward slide past what is below


@dataclass(frozen=True)
class Fall:
    """The gap below an overhang that closes most, for its height.

    Parameters
    ----------
    gap_mm : float
        Its height before anything sags, mm.
    closes_mm : float
        By how much less it is when the part has sagged, mm.
    at : (3,) float
        Where the overhang is, in the mesh's frame, mm.
    """

    gap_mm: float
    closes_mm: float
    at: Floats

    @property
    def share(self) -> float:
        """Share of the gap that closes; 1 and more is a touch."""
        return self.closes_mm / self.gap_mm


def nearest_fall(mesh: trimesh.Trimesh, field: SagField) -> Fall | None:
    """Find the gap that closes most for its height; none if no face hangs over another.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part before it sags, mm.
    field : SagField
        Its sag.
    """
    up = field.grid.turn[2]
    samples = sample_surface(mesh, float(np.sqrt(mesh.area / _SAMPLES)))
    normals = np.asarray(mesh.face_normals)[samples.facets]
    over = np.flatnonzero(normals @ up < -_DOWNWARD)
    if not len(over):
        return None
    points = samples.points[over]
    rays = Rays(mesh)
    gap, facet = rays.opposite(points - rays.middle, np.tile(-up, (len(points), 1)), np.inf)
    hit = np.flatnonzero((facet >= 0) & (gap > TOUCHING_MM))
    if not len(hit):
        return None
    points, gap = points[hit], gap[hit]
    apart = (field.at(points - gap[:, None] * up) - field.at(points)) @ up
    worst = int(np.argmax(apart / gap))
    return Fall(float(gap[worst]), float(apart[worst]), points[worst])
