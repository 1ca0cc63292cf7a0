"""How wide a lost piece is, straight across between faces that face each other.

Two sides of a cross-section may run close together although the faces they are cut from meet at a
blunt edge, which is cut aslant. The lean of the faces shows whether it is an edge or a wall.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import manifold3d
import numpy as np
from manifold3d import CrossSection

from shrinkrule.numerics.arrays import Floats, Mask, ranges
from shrinkrule.walls.layers.outlines import distance_to_edges, lean_at

SEGMENTS: Final = 64
"""Sides of the disk: its chords cut 0.12 % of the radius, under half a micrometre at a bead."""

CORNER_DEGREES: Final = 30.0
"""Two faces that meet at less are a wall that runs thin; at more they are a corner."""

FACING_COSINE: Final = float(np.cos(np.radians(CORNER_DEGREES)))

ON_OUTLINE_MM: Final = 0.003
"""An edge of a lost piece nearer than this to the outline is a part of it, and no arc."""


class Chords(NamedTuple):
    """Chords across a piece from points of its outline.

    Parameters
    ----------
    points, inward : (k, 2) float64
        Where they start, mm, and the unit vectors along them.
    width : (k,) float64
        Their length, mm; inf where nothing lies across.
    cosine : (k,) float64
        Between the inward normals at both ends, in the plane of the cut.
    facing : (k,) bool
        Whether they end, within the limit, at a face within 30 degrees of parallel.
    """

    points: Floats
    inward: Floats
    width: Floats
    cosine: Floats
    facing: Mask


def grown(section: CrossSection, distance_mm: float) -> CrossSection:
    """Offset a section outward (inward if negative) with round joins.

    Parameters
    ----------
    section : CrossSection
        Any section, mm.
    distance_mm : float
        Offset.

    Returns
    -------
    CrossSection
        Empty where the section is too narrow for an inward offset.
    """
    return section.offset(distance_mm, manifold3d.JoinType.Round, 2.0, SEGMENTS)


def disk_fits(section: CrossSection, radius_mm: float) -> bool:
    """Whether a disk fits into a section somewhere.

    Parameters
    ----------
    section : CrossSection
        Any section, mm.
    radius_mm : float
        Radius of the disk.
    """
    # What is smaller than the disk, as most slivers are, needs no offset.
    return section.area() > np.pi * radius_mm**2 and not grown(section, -radius_mm).is_empty()


def segments_of(section: CrossSection) -> tuple[Floats, Floats]:
    """List the edges of a section, material to the left.

    Parameters
    ----------
    section : CrossSection
        Any section, mm.

    Returns
    -------
    (k, 2) float64, (k, 2) float64
        Start and end of every edge, mm.
    """
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


def chords_across(piece: CrossSection, edges: tuple[Floats, Floats], limit_mm: float) -> Chords:
    """Measure chords across a piece of a section.

    Parameters
    ----------
    piece : CrossSection
        The piece, mm.
    edges : ((k, 2) float64, (k, 2) float64)
        Start and end of the section's edges, material to the left.
    limit_mm : float
        Longest chord of interest.

    Returns
    -------
    Chords
        From points of the piece's outline that lie on the section's.
    """
    start, end = _edges_near(piece, *edges, limit_mm)
    points, inward = _outline_points(piece, start, end, limit_mm)
    width, cosine = _chords(points, inward, start, end)
    facing = (cosine < -FACING_COSINE) & (width <= limit_mm)
    return Chords(points, inward, width, cosine, facing)


def facing_in_space(chords: Chords, slopes: tuple[Floats, Floats, Floats]) -> Mask:
    """Find the chords that join faces within 30 degrees of parallel in space, too.

    A face whose outline moves outward by l per height has the normal (n, -l), n the
    outline's; so the cosine between two is ``(n1 n2 + l1 l2)`` over their lengths.

    Parameters
    ----------
    chords : Chords
        As from `chords_across`.
    slopes : ((k, 2) float, (k, 2) float, (k,) float)
        Start, end and lean of the pieces of the layer's outline.

    Returns
    -------
    (n,) bool
        One answer for each chord.
    """
    near = np.flatnonzero(chords.facing)
    points = chords.points[near]
    across = points + chords.inward[near] * chords.width[near, None]
    one, other = lean_at(points, *slopes, ON_OUTLINE_MM), lean_at(across, *slopes, ON_OUTLINE_MM)
    lengths = np.sqrt((1.0 + one**2) * (1.0 + other**2))
    facing = np.zeros(len(chords.facing), dtype=np.bool_)
    facing[near] = (chords.cosine[near] + one * other) / lengths < -FACING_COSINE
    return facing


def narrowest(
    piece: CrossSection, chords: Chords, facing: Mask, limit_mm: float
) -> tuple[float, Floats, Floats]:
    """Measure the least width of a lost piece.

    Where no two faces face each other (a triangular pin), the diameter of the largest
    disk inside is the width.

    Parameters
    ----------
    piece : CrossSection
        Lost piece of a cross-section.
    chords, facing : Chords, (k,) bool
        Chords across it, and those that count.
    limit_mm : float
        Width it failed, mm.

    Returns
    -------
    float, (2,) float64, (2,) float64
        Width, middle, mm, and unit vector across.
    """
    if facing.any():
        at = int(np.argmin(np.where(facing, chords.width, np.inf)))
        width, inward = float(chords.width[at]), chords.inward[at]
        return width, chords.points[at] + inward * width / 2.0, inward
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
    edge, step = ranges(np.zeros_like(count), count)
    # Ends count too (a millionth of the edge inside, so that the ray starts beside the
    # neighbouring edge): a wall that tapers is narrowest at an end.
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
    """Distance across from each point, and the cosine between the inward normals at both ends."""
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
