"""Floors and roofs too few layers thick, found in the stack of cross-sections.

A run of consecutive layers with air below and above is a floor seen from the side. A
run of k whole layers is a thickness between k - 1 and k + 1 layers, so runs are only
suspects: vertical rays through the solid tell the true thickness, and whether the
faces above and below are flat.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import manifold3d
import numpy as np
from manifold3d import CrossSection
from numpy.typing import NDArray

from shrinkrule.walls.layer_openings import MARGIN_MM, grown

FLAT_DEGREES: Final = 10.0
"""Faces tilted more are a slope, whose edge runs thin without being a floor."""

PROBES: Final = 24
"""Vertical rays per suspect region."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ThinFloor:
    """One floor region: first layer, plan, thickness at its thinnest and mean, where, z range."""

    layer: int
    plan: CrossSection
    thickness_mm: float
    mean_mm: float
    position: Floats
    low_mm: float
    high_mm: float


def thin_floors(
    solid: manifold3d.Manifold,
    sections: Sequence[CrossSection],
    bead_mm: float,
    limit_mm: float,
    step_mm: float,
) -> Iterator[ThinFloor]:
    """Floors thinner than a limit, wider than a bead, flat above and below.

    Parameters
    ----------
    solid : Manifold
        The green part.
    sections : sequence of CrossSection
        Material of each layer, from the bed up.
    bead_mm : float
        Bead width.
    limit_mm : float
        Thinnest floor that closes, mm.
    step_mm : float
        Height between sections, mm.
    """
    # A floor just under the limit can hold one section more than its whole layers.
    longest = int(np.ceil(limit_mm / step_mm - 1e-9))
    box = solid.bounding_box()
    below = CrossSection()
    for layer, section in enumerate(sections):
        fresh = section if below.is_empty() else section - below
        below = section
        plan = _open(fresh, bead_mm)
        top = layer + longest
        if not plan.is_empty() and top < len(sections):
            plan = plan - _still_solid(sections[layer + 1 : top + 1])
        if plan.is_empty():
            continue
        for region in _open(plan, bead_mm).decompose():
            floor = _measured(solid, region, layer, bead_mm, limit_mm, (box[2], box[5]), step_mm)
            if floor is not None:
                yield floor


def _still_solid(sections: Sequence[CrossSection]) -> CrossSection:
    solid = sections[0]
    for section in sections[1:]:
        solid = solid ^ section
    return solid


def _open(region: CrossSection, width_mm: float) -> CrossSection:
    radius = (width_mm - MARGIN_MM) / 2.0
    core = grown(region, -radius)
    return core if core.is_empty() else grown(core, radius)


def _measured(
    solid: manifold3d.Manifold,
    region: CrossSection,
    layer: int,
    bead_mm: float,
    limit_mm: float,
    heights: tuple[float, float],
    step_mm: float,
) -> ThinFloor | None:
    core = grown(region, -(bead_mm - MARGIN_MM) / 2.0 * 0.98)
    if core.is_empty():
        return None
    points = np.vstack(core.to_polygons())
    points = points[np.linspace(0, len(points) - 1, min(PROBES, len(points))).astype(np.int64)]
    middle = heights[0] + (layer + 0.5) * step_mm
    spans = [_through(solid, point, middle, heights) for point in points]
    flat = [
        (high - low, low, high, point)
        for point, span in zip(points, spans, strict=True)
        if span is not None
        for low, high in [span]
        if high - low < limit_mm - MARGIN_MM
    ]
    if 2 * len(flat) < len(points):
        return None
    thickness, low, high, point = min(flat, key=lambda probe: probe[0])
    return ThinFloor(
        layer,
        region,
        thickness,
        float(np.mean([probe[0] for probe in flat])),
        np.array([point[0], point[1], (low + high) / 2.0]),
        min(probe[1] for probe in flat),
        max(probe[2] for probe in flat),
    )


def _through(
    solid: manifold3d.Manifold, point: Floats, height_mm: float, heights: tuple[float, float]
) -> tuple[float, float] | None:
    """Lowest and highest z of the material that holds a height, if both faces are flat."""
    x, y = float(point[0]), float(point[1])
    start, end = heights[0] - 1.0, heights[1] + 1.0
    hits = solid.ray_cast((x, y, start), (x, y, end))
    z = np.array([hit.position[2] for hit in hits])
    tilt = np.array([hit.normal[2] for hit in hits])
    under = np.flatnonzero((z <= height_mm) & (tilt < 0.0))
    over = np.flatnonzero((z > height_mm) & (tilt > 0.0))
    if not len(under) or not len(over):
        return None
    low, high = under[z[under].argmax()], over[z[over].argmin()]
    if min(-tilt[low], tilt[high]) < np.cos(np.radians(FLAT_DEGREES)):
        return None
    return float(z[low]), float(z[high])
