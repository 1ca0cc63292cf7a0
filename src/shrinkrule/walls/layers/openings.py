"""What a disk as wide as the nozzle's line cannot reach in one cross-section.

The opening of a region by a disk (Serra, *Image Analysis and Mathematical Morphology*,
1982) is all that the disk covers while it stays inside: shrink by the radius, grow by the radius.
It always rounds convex corners. A corner is no thin wall, so lost pieces that are corners are left
out here. The thresholds are derived in docs/theory-layers.md.
"""

from __future__ import annotations

from enum import Enum
from typing import Final

import manifold3d
import numpy as np
from manifold3d import CrossSection

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import wait_for_compiled
from shrinkrule.walls.layers.disks import narrow_outline_points
from shrinkrule.walls.layers.outlines import boxes_with_points, distance_to_edges
from shrinkrule.walls.layers.stack import SIMPLE_MM
from shrinkrule.walls.layers.widths import CORNER_DEGREES, chords_across, grown, segments_of
from shrinkrule.walls.limits import MARGIN_MM

CORNER_SINE: Final = float(np.sin(np.radians(CORNER_DEGREES) / 2.0))

STUB_REACH: Final = 0.75
"""A lost piece that reaches less than this many radii past the disk is a corner of 70° or more."""

STUB_SIDES: Final = 0.3
"""Radii over which the sides of a stub face each other, at least."""

LARGEST_CORNER: Final = float(1.0 / np.tan(np.arcsin(CORNER_SINE)) - np.arccos(CORNER_SINE))
"""Area, in radii squared, that the sharpest corner loses: what is larger is no corner."""

ROUNDING_AREA: Final = 1.0e-3
"""Areas under this share of the radius squared are rounding of the outline: isolated fragments."""

MANY_CORNERS: Final = 12
"""With more lost pieces than this, one more offset is cheaper than a test of each."""


MANY_EDGES: Final = 60
"""A region with more edges than this is looked at about its narrow points alone."""

WINDOW: Final = 8.0
"""Radii about a narrow point that are looked at, at least."""

CLEAR: Final = 6.0
"""Radii from the window's rim within which its cut may change what is found: an opening by 2, the
corner tests by 4 more (a corner of 30 degrees reaches 2.9 past the disk)."""


class Side(Enum):
    """Which side of an outline a disk is to pass on."""

    MATERIAL = 1.0
    AIR = -1.0


def disk_radius(limit_mm: float) -> float:
    """Radius of the disk that must pass, so that a wall drawn exactly at its limit does.

    Parameters
    ----------
    limit_mm : float
        Limit of the width, mm.

    Returns
    -------
    float
        Radius, mm.
    """
    return (limit_mm - MARGIN_MM) / 2.0


def outlines(section: CrossSection) -> tuple[Floats, Ints]:
    """List the points of all outlines of a section.

    Parameters
    ----------
    section : CrossSection
        One layer or a part of it, mm; not empty.

    Returns
    -------
    (n, 2) float64, (m + 1,) int64
        Points, mm, and the first point of each outline, with the number of points at the end.
    """
    rings = section.to_polygons()
    return np.vstack(rings), np.cumsum([0, *(len(ring) for ring in rings)])


def narrow_points(section: CrossSection, limit_mm: float, side: Side) -> Floats:
    """Find outline points where a disk as wide as the limit cannot rest, corners left out.

    Parameters
    ----------
    section : CrossSection
        One layer, mm.
    limit_mm : float
        Width that passes, mm.
    side : Side
        Which side of the outline the disk is to pass on.

    Returns
    -------
    (k, 2) float64
        Points, mm; where there is none, nothing is lost.
    """
    if section.is_empty() or disk_radius(limit_mm) <= 0.0:
        return np.empty((0, 2))
    wait_for_compiled(narrow_outline_points)
    points: Floats = narrow_outline_points(
        *outlines(section), disk_radius(limit_mm) + SIMPLE_MM, SIMPLE_MM, side.value
    )
    return points


def _contours(section: CrossSection) -> tuple[int, int]:
    """Count outer and inner contours."""
    areas = [_signed_area(ring) for ring in section.to_polygons()]
    return sum(area > 0 for area in areas), sum(area < 0 for area in areas)


def _signed_area(ring: Floats) -> float:
    after = np.roll(ring, -1, axis=0)
    return float((ring[:, 0] * after[:, 1] - ring[:, 1] * after[:, 0]).sum() / 2.0)


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
        # Two corners that only touch are no neck.
        parts = grown(piece, -MARGIN_MM).decompose()
        return len(parts) < 2 or any(
            _is_wall(part, core_edges, own_edges, radius) for part in parts
        )
    reach = float(distance_to_edges(np.vstack(rings), *core_edges).max()) / radius - 1.0
    if reach > 1.0 / CORNER_SINE - 1.0:
        return True
    return reach >= STUB_REACH and _has_sides(piece, own_edges, radius)


def _has_sides(piece: CrossSection, own_edges: tuple[Floats, Floats], radius: float) -> bool:
    """Whether two faces of a piece face each other, as those of a rib do and a corner's do not."""
    across = chords_across(piece, own_edges, 2.0 * radius)
    facing = across.points[across.facing]
    return len(facing) > 1 and float(np.ptp(facing, axis=0).max()) > STUB_SIDES * radius


def _arcs(beyond_disk: Floats) -> int:
    """Number of separate arcs of a ring along which the disk touched it; a corner has one."""
    touched = beyond_disk < MARGIN_MM
    return int(touched.all()) or int((touched & ~np.roll(touched, 1)).sum())


def _lost_in(component: CrossSection, radius: float, points: Floats) -> list[CrossSection]:
    """Lost walls of one region; a piece without a narrow point is a plain corner."""
    rounding = ROUNDING_AREA * radius**2
    core = grown(component, -radius)
    if core.is_empty():
        return [component] if component.area() > rounding else []
    # Arcs drawn finer than the margin only cost time.
    core = core.simplify(SIMPLE_MM)
    lost = (component - grown(core, radius + MARGIN_MM / 2.0)).decompose()
    lost = [piece for piece in lost if piece.area() > rounding]
    # Shrinking can only split a region or open a hole, never the reverse, so equal
    # counts prove that no neck was cut, and one offset clears all corners together.
    if len(lost) > MANY_CORNERS and _contours(core) == _contours(component):
        far = component - grown(core, (1.0 + STUB_REACH) * radius)
        if far.area() <= rounding:
            return []
    edges, own = segments_of(core), segments_of(component)
    boxes = np.array([piece.bounds() for piece in lost]).reshape(-1, 4)
    narrow = boxes_with_points(boxes, points, MARGIN_MM)
    return [
        piece
        for piece, is_narrow in zip(lost, narrow, strict=True)
        if is_narrow and _is_wall(piece, edges, own, radius)
    ]


def _window(part: CrossSection, radius: float, points: Floats) -> CrossSection | None:
    """Squares about the narrow points; None where they would not spare much."""
    side = WINDOW * radius
    low_x, low_y, high_x, high_y = part.bounds()
    most = 0.5 * (high_x - low_x) * (high_y - low_y)
    if part.num_vert() <= MANY_EDGES or (3.0 * side) ** 2 > most:
        return None
    cells = np.unique(np.floor(points / side).astype(np.int64), axis=0)
    if len(cells) * side**2 > most:
        return None
    square = CrossSection.square((3.0 * side, 3.0 * side))
    squares = [square.translate(tuple((cell - 1.0) * side)) for cell in cells]
    return CrossSection.batch_boolean(squares, manifold3d.OpType.Add)


def _lost_near(part: CrossSection, radius: float, points: Floats) -> list[CrossSection]:
    """Lost walls of one region, of which only what lies about the narrow points is opened."""
    window = _window(part, radius, points)
    if window is None:
        return _lost_in(part, radius, points)
    lost = []
    for piece in (part ^ window).decompose():
        if boxes_with_points(np.array([piece.bounds()]), points, MARGIN_MM).any():
            lost += _lost_in(piece, radius, points)
    rim = segments_of(window)
    for piece in lost:
        if distance_to_edges(np.vstack(piece.to_polygons()), *rim).min() < CLEAR * radius:
            return _lost_in(part, radius, points)
    return lost


def lost_pieces(
    region: CrossSection, limit_mm: float, points: Floats
) -> list[tuple[CrossSection, bool]]:
    """Find what is narrower than a limit, corners left out.

    Parameters
    ----------
    region : CrossSection
        Material for walls; the space around it for gaps, mm.
    limit_mm : float
        Width that passes, mm.
    points : (k, 2) float64
        Where it may be narrow, mm, as from `narrow_points`: other regions are not looked at.

    Returns
    -------
    list of (CrossSection, bool)
        Each lost piece, and whether it is a whole region.
    """
    walls: list[tuple[CrossSection, bool]] = []
    if not len(points):
        return walls
    for part in region.decompose() if _contours(region)[0] > 1 else [region]:
        if boxes_with_points(np.array([part.bounds()]), points, MARGIN_MM).any():
            lost = _lost_near(part, disk_radius(limit_mm), points)
            walls += [(piece, piece is part) for piece in lost]
    return walls
