"""Balls on facets: patches of small facets whose corners all lie on one sphere.

The sphere is fitted by linear least squares, which is exact where the corners are (I. D. Coope,
J. Optim. Theory Appl. 76 (1993) 381-388); corners off by more than rounding are left out, or
refuse it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.dimensions.recognition.creases import Creases
from shrinkrule.dimensions.recognition.regions import Regions
from shrinkrule.dimensions.recognition.surface import Surface
from shrinkrule.dimensions.recognition.zigzag import patches
from shrinkrule.numerics.arrays import Floats, Mask, ranges

FEWEST: Final = 40
"""Facets of a ball, at least."""

ON_BALL: Final = 2.0
"""Distance of a corner from its ball, in steps of noise, that rounding may make."""

MOST: Final = 0.5
"""Share of the corners of a patch that must lie on its ball."""

STRAYS: Final = 10
"""Times that corners off the ball are left out."""

HALF: Final = 0.45
"""Share of a sphere that must be there: half, less what flat facets lack."""


@dataclass(frozen=True)
class Ball:
    """A sphere, or half of one at least.

    Parameters
    ----------
    centre : (3,) float64
        mm.
    radius_mm : float
        Of the sphere through the corners.
    is_solid : bool
        Whether metal is inside; a hollow otherwise.
    area_mm2 : float
        What is there of it.
    """

    centre: Floats
    radius_mm: float
    is_solid: bool
    area_mm2: float


def balls_of(surface: Surface, regions: Regions, creases: Creases, taken: Mask) -> list[Ball]:
    """Find the balls of a surface.

    Parameters
    ----------
    surface : Surface
        Facets and their neighbours.
    regions : Regions
        Its flat regions.
    creases : Creases
        Where these meet.
    taken : (r,) bool
        Regions that are strips of a cylinder.

    Returns
    -------
    list of Ball
        Those of which half is there.
    """
    found = []
    for mine, _ in patches(regions, creases, taken):
        if len(mine) < FEWEST:
            continue
        _, place = ranges(regions.start[mine], regions.start[mine] + regions.sizes[mine])
        fit = _fitted(surface.vertices[np.unique(regions.corner[place])], surface.noise_mm)
        if fit is None:
            continue
        centre, radius = fit
        area = float(regions.areas[mine].sum())
        if area < HALF * 4.0 * np.pi * radius**2:
            continue
        outward = regions.levels[mine] - regions.normals[mine] @ centre
        found.append(Ball(centre, radius, bool(np.median(outward) > 0.0), area))
    return found


def _fitted(points: Floats, noise_mm: float) -> tuple[Floats, float] | None:
    """Centre and radius of a sphere through most of some points (n, 3); None where there is none.

    Where a plane cuts the ball, the corners of the cut lie on its facets, inside the sphere.
    """
    least = MOST * len(points)
    for _ in range(STRAYS):
        middle = points.mean(axis=0)
        lhs = np.column_stack([2.0 * (points - middle), np.ones(len(points))])
        solved = np.linalg.lstsq(lhs, ((points - middle) ** 2).sum(axis=1), rcond=None)[0]
        centre = middle + solved[:3]
        far = np.linalg.norm(points - centre, axis=1)
        radius = float(np.median(far))
        off = float(np.abs(far - radius).max())
        if off <= ON_BALL * noise_mm:
            return centre, radius
        points = points[far - radius > -0.5 * off]
        if len(points) < least:
            break
    return None
