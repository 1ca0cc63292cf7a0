"""What a disk as wide as the nozzle's line cannot reach in one cross-section.

The opening of a region by a disk (Serra, *Image Analysis and Mathematical Morphology*,
1982) is all that the disk covers while it stays inside: shrink by the radius, grow by
the radius. It always rounds convex corners; a corner is no thin wall, so what is lost
is told apart here. The thresholds are derived in docs/theory-layers.md.
"""

from __future__ import annotations

from enum import Enum
from typing import Final

import manifold3d
import numpy as np
from manifold3d import CrossSection
from numpy.typing import NDArray

from shrinkrule.walls.layer_disks import (
    distance_to_edges,
    narrow_places,
    spotted,
)
from shrinkrule.walls.layer_stack import SIMPLE_MM

SEGMENTS: Final = 64
"""Sides of the disk: its chords cut 0.12 % of the radius, under half a micrometre at a bead."""

MARGIN_MM: Final = 0.002
"""A wall drawn exactly at its limit passes: 2 micrometres are beyond any printer."""

CORNER_DEGREES: Final = 30.0
"""Two faces that meet at less are a wall that runs thin; at more they are a corner."""

FACING_COSINE: Final = float(np.cos(np.radians(CORNER_DEGREES)))

CORNER_SINE: Final = float(np.sin(np.radians(CORNER_DEGREES) / 2.0))

STUB_REACH: Final = 0.75
"""A lost piece that reaches less than this many radii past the disk is a corner of 70° or more."""

STUB_SIDES: Final = 0.3
"""Radii over which the sides of a stub look at each other, at least."""

LARGEST_CORNER: Final = float(1.0 / np.tan(np.arcsin(CORNER_SINE)) - np.arccos(CORNER_SINE))
"""Area, in radii squared, that the sharpest corner loses: what is larger is no corner."""

CRUMB: Final = 1.0e-3
"""Areas under this share of the radius squared are rounding of the outline, not material."""

MANY_CORNERS: Final = 12
"""With more lost pieces than this, one more offset is cheaper than a look at each."""

Floats = NDArray[np.float64]


class Side(Enum):
    """Which side of an outline a disk is to pass on."""

    MATERIAL = 1.0
    AIR = -1.0


def grown(section: CrossSection, distance_mm: float) -> CrossSection:
    """Offset outward (inward if negative) with round joins."""
    return section.offset(distance_mm, manifold3d.JoinType.Round, 2.0, SEGMENTS)


def disk_radius(limit_mm: float) -> float:
    """Radius of the disk that must pass, mm; a wall drawn exactly at its limit does."""
    return (limit_mm - MARGIN_MM) / 2.0


def outlines(section: CrossSection) -> tuple[Floats, NDArray[np.int64]]:
    """Points of all outlines, (n, 2) mm, and where each begins, with their number at the end."""
    rings = section.to_polygons()
    return np.vstack(rings), np.cumsum([0, *(len(ring) for ring in rings)])


def narrow_spots(section: CrossSection, limit_mm: float, side: Side) -> Floats:
    """Places of an outline, (k, 2) mm, where a disk as wide as the limit cannot rest.

    Plain corners are left out. Where there is no such place, nothing is lost.
    """
    if section.is_empty() or disk_radius(limit_mm) <= 0.0:
        return np.empty((0, 2))
    spots: Floats = narrow_places(*outlines(section), disk_radius(limit_mm), SIMPLE_MM, side.value)
    return spots


def _contours(section: CrossSection) -> tuple[int, int]:
    """Count outer and inner contours."""
    areas = [_signed_area(ring) for ring in section.to_polygons()]
    return sum(area > 0 for area in areas), sum(area < 0 for area in areas)


def _signed_area(ring: Floats) -> float:
    after = np.roll(ring, -1, axis=0)
    return float((ring[:, 0] * after[:, 1] - ring[:, 1] * after[:, 0]).sum() / 2.0)


def segments_of(section: CrossSection) -> tuple[Floats, Floats]:
    """Start and end of every edge, (k, 2) each, material to the left."""
    rings = section.to_polygons()
    if not rings:
        return np.empty((0, 2)), np.empty((0, 2))
    return np.vstack(rings), np.vstack([np.roll(ring, -1, axis=0) for ring in rings])


def _edges_near(
    piece: CrossSection, start: Floats, end: Floats, reach_mm: float
) -> tuple[Floats, Floats]:
    """Edges whose box comes within a distance of the piece's box."""
    box = np.array(piece.bounds())
    low, high = box[:2] - reach_mm, box[2:] + reach_mm
    near = (np.minimum(start, end) <= high).all(1) & (np.maximum(start, end) >= low).all(1)
    return start[near], end[near]


def _is_wall(
    piece: CrossSection,
    core_edges: tuple[Floats, Floats],
    own_edges: tuple[Floats, Floats],
    radius: float,
) -> bool:
    """Whether a lost piece is more than a corner: too large, a neck, or a stub."""
    if piece.area() > LARGEST_CORNER * radius**2:
        return True
    rings = piece.to_polygons()
    middles = [(ring + np.roll(ring, -1, axis=0)) / 2.0 for ring in rings]
    if sum(_arcs(distance_to_edges(ring, *core_edges) - radius) for ring in middles) > 1:
        return True
    reach = float(distance_to_edges(np.vstack(rings), *core_edges).max()) / radius - 1.0
    if reach > 1.0 / CORNER_SINE - 1.0:
        return True
    return reach >= STUB_REACH and _has_sides(piece, own_edges, radius)


def _has_sides(piece: CrossSection, own_edges: tuple[Floats, Floats], radius: float) -> bool:
    """Whether two faces of a piece look at each other, as those of a rib do and a corner's not."""
    start, end = _edges_near(piece, *own_edges, 2.0 * radius)
    points, inward = _outline_points(piece, start, end, radius)
    width, exit_cosine = _chords(points, inward, start, end)
    facing = points[(exit_cosine < -FACING_COSINE) & (width < 2.0 * radius)]
    return len(facing) > 1 and float(np.ptp(facing, axis=0).max()) > STUB_SIDES * radius


def _arcs(beyond_disk: Floats) -> int:
    """Separate stretches of a ring along which the disk touched it; a corner has one."""
    touched = beyond_disk < MARGIN_MM
    return int(touched.all()) or int((touched & ~np.roll(touched, 1)).sum())


def _lost_in(component: CrossSection, radius: float, spots: Floats) -> list[CrossSection]:
    """Lost walls of one region; a piece without a narrow spot is a plain corner."""
    crumb = CRUMB * radius**2
    core = grown(component, -radius)
    if core.is_empty():
        return [component] if component.area() > crumb else []
    # Arcs drawn finer than the margin only cost time.
    core = core.simplify(SIMPLE_MM)
    lost = (component - grown(core, radius + MARGIN_MM / 2.0)).decompose()
    lost = [piece for piece in lost if piece.area() > crumb]
    # Shrinking can only split a region or open a hole, never the reverse, so equal
    # counts prove that no neck was cut, and one offset clears all corners together.
    if len(lost) > MANY_CORNERS and _contours(core) == _contours(component):
        far = component - grown(core, (1.0 + STUB_REACH) * radius)
        if far.area() <= crumb:
            return []
    edges, own = segments_of(core), segments_of(component)
    boxes = np.array([piece.bounds() for piece in lost]).reshape(-1, 4)
    narrow = spotted(boxes, spots, MARGIN_MM)
    return [
        piece
        for piece, is_narrow in zip(lost, narrow, strict=True)
        if is_narrow and _is_wall(piece, edges, own, radius)
    ]


def lost_pieces(
    region: CrossSection, limit_mm: float, spots: Floats
) -> list[tuple[CrossSection, bool]]:
    """Find what is narrower than a limit, corners left out; True for a whole region.

    Parameters
    ----------
    region : CrossSection
        Material for walls; the space around it for gaps, mm.
    limit_mm : float
        Width that passes, mm.
    spots : (k, 2) float64
        Where it may be narrow, mm: regions without such a place are passed over.
    """
    walls: list[tuple[CrossSection, bool]] = []
    if not len(spots):
        return walls
    for part in region.decompose() if _contours(region)[0] > 1 else [region]:
        if spotted(np.array([part.bounds()]), spots, MARGIN_MM).any():
            lost = _lost_in(part, disk_radius(limit_mm), spots)
            walls += [(piece, piece is part) for piece in lost]
    return walls


def narrowest(
    piece: CrossSection, edges: tuple[Floats, Floats], limit_mm: float
) -> tuple[float, Floats, Floats]:
    """Least width of a lost piece between two faces that look at each other.

    Chords run from points of the outline straight across to the outline; those count
    that meet a face within 30 degrees of parallel. Where no two faces do (a triangular
    pin), the diameter of the largest disk inside is the width.

    Parameters
    ----------
    piece : CrossSection
        Lost piece of a cross-section.
    edges : ((k, 2) float, (k, 2) float)
        Starts and ends of that section's edges, material to the left.
    limit_mm : float
        Width it failed, mm.

    Returns
    -------
    (float, (2,) float, (2,) float)
        Width mm, middle of it, unit vector across.
    """
    start, end = _edges_near(piece, *edges, limit_mm)
    points, inward = _outline_points(piece, start, end, limit_mm)
    width, exit_cosine = _chords(points, inward, start, end)
    facing = exit_cosine < -FACING_COSINE
    facing &= width <= limit_mm
    if facing.any():
        at = int(np.argmin(np.where(facing, width, np.inf)))
        return float(width[at]), points[at] + inward[at] * width[at] / 2.0, inward[at]
    return _largest_disk(piece, limit_mm)


def _outline_points(
    piece: CrossSection, start: Floats, end: Floats, limit_mm: float
) -> tuple[Floats, Floats]:
    """Points on the piece's own walls and the direction into it; arcs of the disk left out."""
    first, last = segments_of(piece)
    along = last - first
    length = np.linalg.norm(along, axis=1)
    keep = length > 1e-9
    first, along, length = first[keep], along[keep], length[keep]
    count = np.clip(np.ceil(length / (limit_mm / 4.0)), 1, 16).astype(np.int64)
    edge = np.repeat(np.arange(len(first)), count)
    step = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    # Ends count too (a hair inside, so that the ray starts beside the neighbouring edge):
    # a wall that tapers is narrowest at an end.
    share = np.where(
        count[edge] == 1, 0.5, 1e-6 + (1.0 - 2e-6) * step / np.maximum(count[edge] - 1, 1)
    )
    if len(edge) > 400:
        chosen = np.linspace(0, len(edge) - 1, 400).astype(np.int64)
        edge, share = edge[chosen], share[chosen]
    points = first[edge] + share[:, None] * along[edge]
    inward = np.column_stack([-along[:, 1], along[:, 0]])[edge] / length[edge, None]
    own = distance_to_edges(points, start, end) < 1e-6
    return points[own], inward[own]


def _chords(points: Floats, inward: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Distance across from each point, and the cosine between its way in and the way out's."""
    if not len(points):
        return np.empty(0), np.empty(0)
    along = end - start
    offset = start[None] - points[:, None]
    cross = inward[:, None, 0] * along[None, :, 1] - inward[:, None, 1] * along[None, :, 0]
    safe = np.where(np.abs(cross) > 1e-300, cross, np.inf)
    ray = (offset[..., 0] * along[None, :, 1] - offset[..., 1] * along[None, :, 0]) / safe
    edge = (offset[..., 0] * inward[:, None, 1] - offset[..., 1] * inward[:, None, 0]) / safe
    ray = np.where((ray > 1e-6) & (edge >= 0.0) & (edge <= 1.0) & (cross != 0.0), ray, np.inf)
    hit = ray.argmin(axis=1)
    row = np.arange(len(points))
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-300)
    into = np.column_stack([-along[:, 1], along[:, 0]]) / length[:, None]
    return ray[row, hit], np.einsum("ij,ij->i", inward, into[hit])


def _largest_disk(piece: CrossSection, limit_mm: float) -> tuple[float, Floats, Floats]:
    low, high, core = 0.0, limit_mm, piece
    while high - low > 1e-4 * limit_mm:
        middle = (low + high) / 2.0
        inner = grown(piece, -middle)
        if inner.is_empty():
            high = middle
        else:
            low, core = middle, inner
    return 2.0 * low, np.vstack(core.to_polygons()).mean(axis=0), np.array([1.0, 0.0])
