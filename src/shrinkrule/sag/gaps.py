"""Gaps too narrow for the bricks, which would bridge them unnoticed."""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh

from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.triangles import surface_area
from shrinkrule.sag.bodies import SeparatedBodies
from shrinkrule.walls import Status, sample_surface, thickness_at

SEEN_GAP: Final = 0.4
"""Of a brick: walls with a wider gap between them are separate, however they lie (see theory)."""

_SAMPLES: Final = 4000
_LEAST_SHARE: Final = 0.003  # of the surface: less is an engraving, which carries nothing


def bridged_gap(mesh: trimesh.Trimesh, brick_mm: float) -> tuple[float, Floats] | None:
    """Width (mm) and place (3,) of a typical gap that the bricks do not see, if there is any.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    brick_mm : float
        Side of a brick, mm.

    Returns
    -------
    tuple of float and (3,) float, or None
        Width and place of the gap.
    """
    area = surface_area(mesh.vertices, mesh.faces)
    samples = sample_surface(mesh, float(np.sqrt(area / _SAMPLES)))
    turned = trimesh.Trimesh(mesh.vertices, np.asarray(mesh.faces)[:, ::-1], process=False)
    outside = thickness_at(turned, samples.points, samples.facets)
    bridged = (outside.status == Status.MEASURED) & (outside.thickness < SEEN_GAP * brick_mm)
    if samples.area[bridged].sum() < _LEAST_SHARE * area:
        return None
    # The tip of a notch is narrower than anything: the median of the bridged places is reported.
    order = np.flatnonzero(bridged)[np.argsort(outside.thickness[bridged], kind="stable")]
    typical = order[len(order) // 2]
    return float(outside.thickness[typical]), samples.points[typical]


def gap_notes(bodies: SeparatedBodies, brick_mm: float) -> tuple[str, ...]:
    """Note for the maker if the bricks of a part bridge a gap, else nothing.

    Parameters
    ----------
    bodies : SeparatedBodies
        The part.
    brick_mm : float
        Side of a brick, mm.

    Returns
    -------
    tuple of str
        One note, or none.
    """
    found = bridged_gap(bodies.mesh, brick_mm)
    if found is None:
        return ()
    width, place = found
    x, y, z = bodies.back(place)
    return (
        f"a gap of about {width:.2g} mm at {x:.1f}, {y:.1f}, {z:.1f} is too narrow for bricks of "
        f"{brick_mm:.2g} mm and solved as if closed: allow more unknowns",
    )
