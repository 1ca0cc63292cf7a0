"""Lost pieces of single layers joined into places and measured; ridges left out.

A ridge or the tip of a cone is a corner standing up: its last layers are narrower than a bead, and
that is no thin wall. The taper of its faces shows it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from manifold3d import CrossSection

from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components, ranges
from shrinkrule.walls.findings import Axis, Finding, FindingKind, Rule, Vector, as_vector
from shrinkrule.walls.layers.openings import CORNER_SINE, STUB_REACH
from shrinkrule.walls.layers.outlines import any_within, distance_to_edges, lean_at, outline_length
from shrinkrule.walls.layers.stack import Stack
from shrinkrule.walls.layers.widths import (
    ON_OUTLINE_MM,
    Chords,
    chords_across,
    facing_in_space,
    narrowest,
    segments_of,
)

MEASURED_LAYERS: Final = 6
"""Layers of a place measured for its narrowest width, besides the two of least mean width."""

TAPERED_LAYERS: Final = 12
"""Layers of a place tested for taper; one that stands upright makes it a wall."""

POINT_LAYERS: Final = 24
"""Layers of a place at which the balls' findings are looked up."""

POINTS_A_LAYER: Final = 40
"""Points at which they are looked up in each of its pieces."""

MAX_LEAN: Final = 1.8
"""A wall leans at most this far per height: 60 degrees from upright; more is a floor."""

ALIKE: Final = 3.0
"""Pieces that a lean joins without overlap differ in area at most by this factor."""

BLUNT: Final = 0.8
"""The blunt end of a taper is at least this share of its limit wide; a narrower one is thin."""

TAN_HALF_CORNER: Final = CORNER_SINE / float(np.sqrt(1.0 - CORNER_SINE**2))

VOID: Final = (FindingKind.NARROW_GAP, FindingKind.CLOSING_HOLE)


Across = tuple[Chords, Mask]
"""Chords across a piece, and which of them join faces that face each other in space."""


@dataclass(frozen=True)
class LayerPlace:
    """A place that the layers found.

    Parameters
    ----------
    finding : Finding
        By rule LAYERS.
    points : (k, 3) float64
        Points spread over all of it, mm, at which the balls' findings are looked up.
    """

    finding: Finding
    points: Floats


@dataclass(frozen=True)
class LostPiece:
    """A connected piece of one layer, narrower than its limit."""

    kind: FindingKind
    layer: int
    plan: CrossSection


def joined_places(
    pieces: Sequence[LostPiece], stack: Stack, limits_mm: dict[FindingKind, float]
) -> list[LayerPlace]:
    """Join pieces that overlap in plan from layer to layer into places.

    Parameters
    ----------
    pieces : sequence of LostPiece
        In order of layers.
    stack : Stack
        What they were cut from.
    limits_mm : dict
        Limit of each kind, mm.

    Returns
    -------
    list of LayerPlace
        Without ridges and blunt ends.
    """
    found = []
    for kind, limit in limits_mm.items():
        own = [piece for piece in pieces if piece.kind is kind]
        for place in _connected(own, stack.step_mm):
            if _is_ridge(place, stack, limit):
                continue
            finding = _finding(place, stack, limit)
            if not _is_blunt_end(place, finding, stack):
                found.append(LayerPlace(finding, _points_of(place, stack)))
    return found


def _points_of(place: Sequence[LostPiece], stack: Stack) -> Floats:
    """Points (k, 3) along the outlines of some of the pieces of a place."""
    some = np.unique(np.linspace(0, len(place) - 1, POINT_LAYERS).astype(np.int64))
    found = []
    for piece in (place[i] for i in some):
        points = np.vstack(piece.plan.to_polygons())
        points = points[:: 1 + len(points) // POINTS_A_LAYER]
        found.append(np.column_stack([points, np.full(len(points), stack.heights[piece.layer])]))
    return np.vstack(found)


def _is_blunt_end(place: Sequence[LostPiece], finding: Finding, stack: Stack) -> bool:
    """Whether a place is the low, blunt end of something that widens to its limit at once.

    As in a corner of the plane, a ball as wide as the limit reaches nearly all of it.
    """
    limit, low = finding.limit_mm, len(place) * stack.step_mm
    if low > (1.0 + STUB_REACH) * limit / 2.0:
        return False
    growth = min(
        abs(_growth(piece, stack, limit)) / piece.plan.area() for piece in (place[0], place[-1])
    )
    widest = finding.smallest_mm * (1.0 + growth * (low + stack.step_mm))
    return bool(finding.smallest_mm > BLUNT * limit and widest > limit)


def _connected(pieces: Sequence[LostPiece], step_mm: float) -> list[list[LostPiece]]:
    """Groups of pieces of neighbouring layers whose plans overlap, or follow a lean."""
    if not pieces:
        return []
    layer = np.array([piece.layer for piece in pieces])
    boxes = np.array([piece.plan.bounds() for piece in pieces])
    starts = np.searchsorted(layer, np.arange(layer[-1] + 2))
    links: list[tuple[int, int]] = []
    for here in np.unique(layer[:-1][np.diff(layer) > 0]):
        lower = np.arange(starts[here], starts[here + 1])
        upper = np.flatnonzero(layer == here + 1)
        if not len(upper):
            continue
        own, others = [], []
        for one, other in _near(boxes[lower], boxes[upper], 0.0):
            if _overlap(pieces[lower[one]].plan, pieces[upper[other]].plan):
                own.append(int(lower[one]))
                others.append(int(upper[other]))
        links += zip(own, others, strict=True)
        lower, upper = np.setdiff1d(lower, own), np.setdiff1d(upper, others)
        links += _leaning(pieces, boxes, lower, upper, MAX_LEAN * step_mm)
    pairs = np.array(links, dtype=np.int64).reshape(-1, 2)
    label = connected_components(len(pieces), pairs)
    order = np.argsort(label, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(label[order])) + 1)
    return [[pieces[i] for i in group] for group in groups]


def _overlap(first: CrossSection, second: CrossSection) -> bool:
    if first is second:
        return True
    one, other = first.to_polygons(), second.to_polygons()
    # Where neither has a hole, a corner of one inside the other is proof.
    plain = len(one) == len(other) == 1
    inside = plain and any_within(one[0][:: 1 + len(one[0]) // 8].copy(), other[0])
    return bool(inside) or not (first ^ second).is_empty()


def _near(lower: Floats, upper: Floats, reach_mm: float) -> Ints:
    """Pairs of boxes, (k, 2), that come within a reach of each other."""
    meets = (lower[:, None, :2] <= upper[None, :, 2:] + reach_mm).all(-1)
    meets &= (upper[None, :, :2] <= lower[:, None, 2:] + reach_mm).all(-1)
    return np.argwhere(meets)


def _leaning(
    pieces: Sequence[LostPiece], boxes: Floats, lower: Ints, upper: Ints, reach_mm: float
) -> list[tuple[int, int]]:
    """Pairs of pieces without another neighbour that follow each other in a leaning wall."""
    found = []
    for one, other in _near(boxes[lower], boxes[upper], reach_mm):
        first, second = pieces[lower[one]].plan, pieces[upper[other]].plan
        points = np.vstack(first.to_polygons())
        gap = float(distance_to_edges(points, *segments_of(second)).min())
        if gap <= reach_mm and max(first.area(), second.area()) < ALIKE * min(
            first.area(), second.area()
        ):
            found.append((gap, int(lower[one]), int(upper[other])))
    joined: dict[int, int] = {}
    for _, one, other in sorted(found):
        # Each goes on in one piece only, so parallel walls stay apart.
        if one not in joined and other not in joined.values():
            joined[one] = other
    return list(joined.items())


def _is_ridge(place: Sequence[LostPiece], stack: Stack, limit_mm: float) -> bool:
    """Whether a place is only the edge of something, seen in layer after layer."""
    if any(one.plan is other.plan for one, other in pairwise(place)):
        return False
    some = np.unique(np.linspace(0, len(place) - 1, TAPERED_LAYERS).astype(np.int64))
    return all(_is_edge(place[i], stack, limit_mm) for i in some)


def _is_edge(piece: LostPiece, stack: Stack, limit_mm: float) -> bool:
    return _cut_from_edge(piece, _across(piece, stack, limit_mm), stack, limit_mm)


def _cut_from_edge(piece: LostPiece, across: Across, stack: Stack, limit_mm: float) -> bool:
    """Whether a piece is cut from an edge: no two of its faces face each other in space.

    Besides, either two do so in the plane of the cut, as where an edge is cut aslant, or the piece
    tapers, as a ridge and the tip of a cone do: faces that meet at the angle a change the width by
    ``2 tan(a/2)`` per height.
    """
    chords, facing = across
    if facing.any():
        return False
    return bool(chords.facing.any()) or _tapers(piece, stack, limit_mm)


def _across(piece: LostPiece, stack: Stack, limit_mm: float) -> Across:
    start, end = stack.edges(piece.layer)
    # Material lies to the left of its outline, air to the right.
    edges = (end, start) if piece.kind in VOID else (start, end)
    chords = chords_across(piece.plan, edges, limit_mm)
    return chords, facing_in_space(chords, stack.slopes(piece.layer))


def _tapers(piece: LostPiece, stack: Stack, limit_mm: float) -> bool:
    # A little under the change of the narrowest taper that is no wall.
    least = 0.9 * 2.0 * TAN_HALF_CORNER / limit_mm * piece.plan.area()
    return bool(abs(_growth(piece, stack, limit_mm)) > least)


def _growth(piece: LostPiece, stack: Stack, limit_mm: float) -> float:
    """Change of a piece's area per height, mm2 per mm, as its faces lean."""
    first, last = segments_of(piece.plan)
    length = np.linalg.norm(last - first, axis=1)
    parts = np.clip(np.ceil(4.0 * length / limit_mm), 1, 16).astype(np.int64)
    edge, part = ranges(np.zeros_like(parts), parts)
    share = (part + 0.5) / parts[edge]
    points = first[edge] + share[:, None] * (last - first)[edge]
    lean = lean_at(points, *stack.slopes(piece.layer), ON_OUTLINE_MM)
    return float((lean * (length / parts)[edge]).sum())


def _perimeter(plan: CrossSection) -> float:
    return sum(outline_length(ring) for ring in plan.to_polygons())


def _finding(place: Sequence[LostPiece], stack: Stack, limit_mm: float) -> Finding:
    kind = place[0].kind
    areas = np.array([piece.plan.area() for piece in place])
    perimeters = np.array([_perimeter(piece.plan) for piece in place])
    slim = np.argsort(areas / perimeters, kind="stable")[:2]
    spread = np.linspace(0, len(place) - 1, MEASURED_LAYERS).astype(np.int64)
    # The same outline in many layers is measured once.
    chosen = {place[i].plan: place[i] for i in np.unique(np.concatenate([slim, spread]))[::-1]}
    # At its corner a leaning wall is cut to a narrow piece whose width is not the wall's.
    across = [(piece, _across(piece, stack, limit_mm)) for piece in chosen.values()]
    whole = [pair for pair in across if not _cut_from_edge(*pair, stack, limit_mm)]
    measured = [
        (*narrowest(piece.plan, *chords, limit_mm), piece.layer)
        for piece, chords in whole or across
    ]
    width, middle, heading, layer = min(measured, key=lambda measure: (measure[0], measure[3]))
    half = stack.step_mm / 2.0
    low_z = float(stack.heights[place[0].layer]) - half
    high_z = min(float(stack.heights[place[-1].layer]) + half, stack.top_mm)
    depth = stack.depths(np.array([piece.layer for piece in place]))
    boxes = np.array([piece.plan.bounds() for piece in place])
    return Finding(
        kind=kind,
        rule=Rule.LAYERS,
        axis=Axis.UPRIGHT,
        smallest_mm=width,
        limit_mm=limit_mm,
        position=(float(middle[0]), float(middle[1]), float(stack.heights[layer])),
        direction=(float(heading[0]), float(heading[1]), 0.0),
        box=_box(boxes, low_z, high_z),
        area_mm2=float((perimeters * depth).sum()),
        volume_mm3=float((areas * depth).sum()),
        height_range_mm=(low_z, high_z),
    )


def _box(boxes: Floats, low_z: float, high_z: float) -> tuple[Vector, Vector]:
    low = np.append(boxes[:, :2].min(axis=0), low_z)
    high = np.append(boxes[:, 2:].max(axis=0), high_z)
    return as_vector(low), as_vector(high)
