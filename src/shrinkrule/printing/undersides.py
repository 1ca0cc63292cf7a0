"""Undersides that nothing holds, and spans that are long to bridge.

Facets flatter than 45 degrees that share edges are one underside. Along its border either a wall
goes down (an edge that is concave in the material), which holds it, or nothing does. How far it
reaches is the way in plan from its points to what holds them; what is held on two opposite sides
is bridged, and the span is the shortest such way across.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components
from shrinkrule.printer import Printer
from shrinkrule.printing.findings import (
    BEADS_CARRIED,
    LEAST_AREA_BEADS,
    LONG_SPAN_MM,
    STEEPEST_DEG,
    PrintFinding,
    PrintKind,
)
from shrinkrule.printing.surface import PrintSurface, box_about, vector
from shrinkrule.walls import sample_surface

_SAMPLES: Final = 20_000  # of all undersides together, a second's work
_WAYS: Final = 8  # directions in which a span is looked for
_CONCAVE: Final = 1e-6  # sine from which an edge is concave, and not flat by rounding


def undersides(surface: PrintSurface, printer: Printer) -> tuple[PrintFinding, ...]:
    """Undersides that reach out too far and spans that are too long, the largest first.

    Parameters
    ----------
    surface : PrintSurface
        The green part.
    printer : Printer
        Bead and layer.

    Returns
    -------
    tuple of PrintFinding
        At most one of each kind for each underside.
    """
    height = surface.points[:, 2]
    low = np.maximum.reduce([height[corner] for corner in surface.facets.T])
    flat = surface.normals[:, 2] < -np.cos(np.radians(STEEPEST_DEG))
    flat &= low > surface.layer_mm
    if not flat.any():
        return ()
    which = np.flatnonzero(flat)
    region = _regions(surface, flat, which)
    bead = printer.bead_width_mm
    below = trimesh.Trimesh(surface.points, surface.facets[which], process=False, validate=False)
    spacing = max(0.5 * bead, float(np.sqrt(surface.areas[which].sum() / _SAMPLES)))
    samples = sample_surface(below, spacing)
    label = region[samples.facets]
    rests = surface.rests(samples.points)
    side, is_held = _border(surface, flat, which)
    label_of_side = np.full(len(flat), -1, dtype=np.int64)
    label_of_side[which] = region
    label_of_side = label_of_side[side // 3]
    ends = surface.points[surface.edges.ends[surface.edges.edge_of[side]]]
    held = _along(ends[is_held], label_of_side[is_held], spacing)
    held = (
        np.concatenate([held[0], samples.points[rests]]),
        np.concatenate([held[1], label[rests]]),
    )
    reach = _reach(samples.points, label, held, surface.rays.span)
    carried = BEADS_CARRIED * bead
    # An underside that nothing at all holds begins in the air, and is told as that.
    far = np.flatnonzero(~rests & np.isfinite(reach) & (reach > carried + 0.5 * spacing))
    if not len(far):
        return ()
    span = _spans(samples.points[far], label[far], ends, label_of_side, is_held)
    area = samples.area[far] * -surface.normals[which[samples.facets[far]], 2]
    least = LEAST_AREA_BEADS * bead**2
    found = []
    for kind, chosen, measure, limit in (
        (PrintKind.UNHELD_UNDERSIDE, np.isinf(span), reach[far], carried),
        (PrintKind.LONG_SPAN, np.isfinite(span) & (span > LONG_SPAN_MM), span, LONG_SPAN_MM),
    ):
        for one in np.unique(label[far[chosen]]):
            mine = np.flatnonzero(chosen & (label[far] == one))
            if area[mine].sum() < least:
                continue
            worst = mine[np.argmax(measure[mine])]
            found.append(
                PrintFinding(
                    kind,
                    float(measure[worst]),
                    limit,
                    vector(samples.points[far[worst]]),
                    box_about(samples.points[far[mine]]),
                    float(area[mine].sum()),
                )
            )
    return tuple(sorted(found, key=lambda finding: -finding.area_mm2))


def _regions(surface: PrintSurface, flat: Mask, which: Ints) -> Ints:
    """Number of the underside of each flat facet, (k,)."""
    sides = (3 * which[:, None] + np.arange(3)).ravel()
    other = surface.partner[sides]
    joined = (other >= 0) & flat[other // 3]
    rank = np.full(len(flat), -1, dtype=np.int64)
    rank[which] = np.arange(len(which))
    pairs = np.column_stack([rank[sides[joined] // 3], rank[other[joined] // 3]])
    return connected_components(len(which), pairs)


def _border(surface: PrintSurface, flat: Mask, which: Ints) -> tuple[Ints, Mask]:
    """Sides (b,) along the borders of undersides, and whether something holds them there."""
    sides = (3 * which[:, None] + np.arange(3)).ravel()
    other = surface.partner[sides]
    sides, other = sides[(other < 0) | ~flat[other // 3]], other[(other < 0) | ~flat[other // 3]]
    facet, beyond = sides // 3, other // 3
    start = surface.points[surface.facets[facet, sides % 3]]
    # The corner of the neighbour that is not on the edge, seen from the facet's plane.
    tip = surface.points[surface.facets[beyond, (other % 3 + 2) % 3]] - start
    depth = np.einsum("ij,ij->i", tip, surface.normals[facet])
    concave = depth > _CONCAVE * np.linalg.norm(tip, axis=1)
    on_plate = surface.points[surface.facets[beyond]][:, :, 2].max(axis=1) <= surface.layer_mm
    # Where more than two facets meet, another body touches.
    return sides, (other < 0) | concave | on_plate


def _along(ends: Floats, label: Ints, spacing: float) -> tuple[Floats, Ints]:
    """Points along edges (b, 2, 3) a quarter of a spacing apart, and the underside of each."""
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    count = np.minimum(np.ceil(length / (0.25 * spacing)).astype(np.int64) + 1, 2000)
    edge = np.repeat(np.arange(len(ends)), count)
    first = np.cumsum(count) - count
    share = (np.arange(len(edge)) - first[edge]) / np.maximum(count[edge] - 1, 1)
    points = ends[edge, 0] + share[:, None] * (ends[edge, 1] - ends[edge, 0])
    return points, label[edge]


def _reach(points: Floats, label: Ints, held: tuple[Floats, Ints], span: float) -> Floats:
    """Way in plan (n,) from points to what holds their underside; inf where nothing does."""
    if not len(held[0]):
        return np.full(len(points), np.inf)
    apart = 4.0 * span  # undersides are set one above the other, too far apart to be mixed up
    tree = cKDTree(np.column_stack([held[0][:, :2], apart * held[1]]))
    reach, _ = tree.query(np.column_stack([points[:, :2], apart * label]))
    return np.where(reach < 2.0 * span, reach, np.inf)


def _spans(points: Floats, label: Ints, ends: Floats, label_of_side: Ints, is_held: Mask) -> Floats:
    """Shortest way (n,) across points, between two held borders of their undersides; else inf.

    Borders are curtains, each underside on a storey of its own, and rays go along the storey.
    """
    low, high = ends.copy(), ends.copy()
    low[:, :, 2] = label_of_side[:, None] - 0.4
    high[:, :, 2] = label_of_side[:, None] + 0.4
    corners = np.concatenate([low, high], axis=1).reshape(-1, 3)
    first = 4 * np.arange(len(ends))[:, None]
    facets = np.concatenate([first + np.array([0, 1, 3]), first + np.array([0, 3, 2])])
    curtains = Rays(trimesh.Trimesh(corners, facets, process=False, validate=False))
    start = np.column_stack([points[:, :2], label]) - curtains.middle
    shortest = np.full(len(points), np.inf)
    for angle in np.pi * np.arange(_WAYS) / _WAYS:
        across = np.zeros(len(points))
        for sign in (1.0, -1.0):
            way = np.tile([sign * np.cos(angle), sign * np.sin(angle), 0.0], (len(points), 1))
            distance, hit = curtains.cast(start, way)
            stops = (hit >= 0) & is_held[hit % len(ends)]
            across += np.where(stops, distance, np.inf)
        shortest = np.minimum(shortest, across)
    return shortest
