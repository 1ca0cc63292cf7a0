"""Hold the closed forms of planted parts, and the soundness of sound ones, against brute force."""

from __future__ import annotations

import math

import numpy as np

from .part import KNIFE_EDGE, SINGLE_BEAD, THIN_FLOOR, THIN_WALL, FloatArray, PlacedPart
from .setting import angle_to_z
from .truth import Facets, depth_lost

#: Balls held wider than this many degrees are walls.
HELD = 150.0
#: And beside a sharp edge, whose own faces hold balls nearly as wide.
EDGE_HELD = 166.0


def doubts(part: PlacedPart, samples: int = 120, places: int = 3) -> list[str]:
    """What brute force finds other than the part says.

    Parameters
    ----------
    part
        Planted or sound.
    samples
        Points of the surface where balls are tried.
    places
        Points of each place where its value is measured.

    Returns
    -------
    list of str
        One sentence for each doubt; none for a part that holds.
    """
    told = [] if part.mesh.is_watertight and part.mesh.volume > 0 else ["not a closed solid"]
    facets = Facets.of(part.mesh)
    rng = np.random.default_rng(part.seed)
    for place in part.expected:
        chosen = place.at[rng.permutation(len(place.at))[:places]]
        if math.isfinite(place.tolerance_mm):
            values = [2 * facets.nearest(at)[0] for at in chosen]
            off = max(abs(value - place.least_mm) for value in values)
            # Faceted shapes differ from place to place; the least one must fit.
            if off > place.tolerance_mm:
                told.append(f"{sorted(place.kinds)} {place.least_mm:.4f}: balls {values}")
        elif place.loss_mm is not None:
            away = [facets.nearest(at)[0] for at in chosen]
            if max(away) > 1e-3:
                told.append(f"edge points are {max(away):.4f} off the surface")
            middle = place.at[len(place.at) // 2]
            lost = depth_lost(facets, middle, part.bead_mm)
            if abs(lost - place.loss_mm) > 0.06 * place.loss_mm + 0.02:
                told.append(f"edge loses {lost:.3f}, said {place.loss_mm:.3f}")
    return told + _thin_elsewhere(part, facets, samples, rng)


def _thin_elsewhere(
    part: PlacedPart, facets: Facets, samples: int, rng: np.random.Generator
) -> list[str]:
    """Walls under their limit that the part does not speak of."""
    if KNIFE_EDGE in part.allowed and part.expected:
        samples //= 2
    areas = part.mesh.area_faces
    chosen = rng.choice(len(areas), samples, p=areas / areas.sum())
    shares = rng.dirichlet((1.0, 1.0, 1.0), samples)
    feet = (facets.corners[chosen] * shares[:, :, None]).sum(axis=1)
    normals = part.mesh.face_normals[chosen]
    limit = 2 * part.bead_mm
    names = {kind for place in part.expected for kind in place.kinds}
    told: list[str] = []
    for foot, normal in zip(feet, normals, strict=True):
        local = facets.near(foot, 2.1 * limit)
        middle, radius = local.ball(foot, normal, limit)
        if 2 * radius > limit * 0.999 or _known(part, middle, radius):
            continue
        spread = local.spread(middle, radius)
        if spread < (EDGE_HELD if KNIFE_EDGE in names else HELD):
            continue
        if angle_to_z(normal) < 30 and 2 * radius > 3 * part.layer_mm * 1.001:
            continue
        if _kind(part, 2 * radius, normal) in part.allowed:
            continue
        told.append(
            f"ball of {2 * radius:.3f} held {spread:.0f} degrees apart at "
            f"{np.round(foot, 2).tolist()}, limit {limit:.3f}"
        )
    return told[:3]


def _kind(part: PlacedPart, ball: float, normal: FloatArray) -> str:
    """Name of a wall by its ball."""
    if angle_to_z(normal) < 30:
        return THIN_FLOOR
    return THIN_WALL if ball < part.bead_mm else SINGLE_BEAD


def _known(part: PlacedPart, middle: FloatArray, radius: float) -> bool:
    """Whether a ball belongs to a place that is expected."""
    for place in part.expected:
        near = float(np.linalg.norm(place.at - middle, axis=1).min())
        if near < 2.5 + 2 * part.bead_mm + radius:
            return True
    return False
