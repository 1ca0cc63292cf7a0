"""Lost pieces of single layers joined into places, measured, and told from mere ridges.

A ridge or the tip of a cone is a corner standing up: its last layers are narrower than
a bead, and that is no thin wall. The taper of the faces tells them apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import manifold3d
import numpy as np
from manifold3d import CrossSection
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from shrinkrule.walls.findings import Axis, Finding, FindingKind, Rule, Vector, as_vector
from shrinkrule.walls.layer_floors import ThinFloor
from shrinkrule.walls.layer_openings import CORNER_SINE, grown, narrowest, segments_of

MEASURED_LAYERS: Final = 6
"""Layers of a place measured for its narrowest width, besides the two of least mean width."""

TAPERED_LAYERS: Final = 12
"""Layers of a place looked at for taper; one that stands upright makes it a wall."""

TAPER_STEP: Final = 0.45
"""Layers above and below at which the taper is looked at; just inside the layer."""

TAN_HALF_CORNER: Final = CORNER_SINE / float(np.sqrt(1.0 - CORNER_SINE**2))

VOID: Final = (FindingKind.NARROW_GAP, FindingKind.CLOSING_HOLE)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LostPiece:
    """A connected piece of one layer, narrower than its limit."""

    kind: FindingKind
    layer: int
    plan: CrossSection


@dataclass
class Stack:
    """The solid and the heights it is cut at.

    Parameters
    ----------
    solid : Manifold
        The green part, print frame, mm.
    layer_mm : float
        Layer height.
    most : int
        Cross-sections at most.
    simple_mm : float
        Outline points that move it less than this are dropped.
    """

    solid: manifold3d.Manifold
    layer_mm: float
    most: int
    simple_mm: float
    every: int = field(init=False)
    heights: Floats = field(init=False)
    _edges: dict[tuple[int, bool], tuple[Floats, Floats]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        box = self.solid.bounding_box()
        count = int(np.floor((box[5] - box[2]) / self.layer_mm + 0.5 - 1e-9))
        self.every = max(1, -(-count // self.most))
        self.heights = box[2] + self.layer_mm * (np.arange(0, count, self.every) + 0.5)

    @property
    def step_mm(self) -> float:
        """Height between sections."""
        return self.layer_mm * self.every

    @property
    def top_mm(self) -> float:
        """Height of the part's top."""
        return float(self.solid.bounding_box()[5])

    def depths(self, layers: NDArray[np.int64]) -> Floats:
        """Height of part in each layer, mm; the topmost may be a part of a layer."""
        half = self.step_mm / 2.0
        depth: Floats = half + np.minimum(half, self.top_mm - self.heights[layers])
        return depth

    def section_at(self, height_mm: float) -> CrossSection:
        """Material at a height."""
        return self.solid.slice(float(height_mm)).simplify(self.simple_mm)

    def sections(self, tell: Callable[[float], None]) -> list[CrossSection]:
        """Material at every height, from the bed up."""
        cut = []
        for place, height in enumerate(self.heights):
            cut.append(self.section_at(height))
            tell((place + 1) / len(self.heights))
        return cut

    def space_around(self, section: CrossSection, gap_mm: float) -> CrossSection:
        """Air at a height, out to a frame too far away to make gaps."""
        box = self.solid.bounding_box()
        low = np.array(box[:2]) - 4.0 * gap_mm
        size = np.array(box[3:5]) + 4.0 * gap_mm - low
        return CrossSection.square((size[0], size[1])).translate((low[0], low[1])) - section

    def edges_in(self, layer: int, kind: FindingKind, limit_mm: float) -> tuple[Floats, Floats]:
        """Edges of the material of a layer, or of the air for gaps and holes; kept."""
        key = (layer, kind in VOID)
        if key not in self._edges:
            self._edges[key] = segments_of(self.region_at(self.heights[layer], kind, limit_mm))
        return self._edges[key]

    def region_at(self, height_mm: float, kind: FindingKind, limit_mm: float) -> CrossSection:
        """Material at a height, or air for gaps and holes."""
        section = self.section_at(height_mm)
        return self.space_around(section, limit_mm) if kind in VOID else section


def joined_places(
    pieces: Sequence[LostPiece], stack: Stack, limits_mm: dict[FindingKind, float]
) -> list[Finding]:
    """Join pieces that overlap in plan from layer to layer into findings.

    Parameters
    ----------
    pieces : sequence of LostPiece
        In order of layers.
    stack : Stack
        What they were cut from.
    limits_mm : dict
        Limit of each kind, mm.
    """
    found = []
    for kind, limit in limits_mm.items():
        own = [piece for piece in pieces if piece.kind is kind]
        found += [
            _finding(place, stack, limit)
            for place in _connected(own)
            if not _is_ridge(place, stack, limit)
        ]
    return found


def _connected(pieces: Sequence[LostPiece]) -> list[list[LostPiece]]:
    """Groups of pieces of neighbouring layers whose plans overlap."""
    if not pieces:
        return []
    layer = np.array([piece.layer for piece in pieces])
    boxes = np.array([piece.plan.bounds() for piece in pieces])
    links = []
    for here in np.unique(layer):
        lower, upper = np.flatnonzero(layer == here), np.flatnonzero(layer == here + 1)
        meets = (boxes[lower][:, None, :2] <= boxes[upper][None, :, 2:]).all(-1)
        meets &= (boxes[upper][None, :, :2] <= boxes[lower][:, None, 2:]).all(-1)
        for one, other in np.argwhere(meets):
            first, second = pieces[lower[one]].plan, pieces[upper[other]].plan
            if first is second or not (first ^ second).is_empty():
                links.append((lower[one], upper[other]))
    pairs = np.array(links, dtype=np.int64).reshape(-1, 2)
    count = len(pieces)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    order = np.argsort(label, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(label[order])) + 1)
    return [[pieces[i] for i in group] for group in groups]


def _is_ridge(place: Sequence[LostPiece], stack: Stack, limit_mm: float) -> bool:
    """Whether a place is only the edge of something that tapers upward or downward.

    Faces that meet at the corner angle a change the width by ``2 tan(a/2)`` per height.
    """
    if any(one.plan is other.plan for one, other in pairwise(place)):
        return False
    some = np.unique(np.linspace(0, len(place) - 1, TAPERED_LAYERS).astype(np.int64))
    return all(_tapers(place[i], stack, limit_mm) for i in some)


def _tapers(piece: LostPiece, stack: Stack, limit_mm: float) -> bool:
    around = piece.plan.offset(limit_mm / 2.0, manifold3d.JoinType.Miter)
    middle = float(stack.heights[piece.layer])
    reach = TAPER_STEP * stack.layer_mm
    areas = [
        (stack.region_at(middle + shift, piece.kind, limit_mm) ^ around).area()
        for shift in (-reach, 0.0, reach)
    ]
    # A little under the change of the narrowest taper that is no wall.
    least = 0.9 * 2.0 * TAN_HALF_CORNER * reach / limit_mm * piece.plan.area()
    return bool(min(abs(areas[0] - areas[1]), abs(areas[2] - areas[1])) > least)


def _perimeter(plan: CrossSection) -> float:
    start, end = segments_of(plan)
    return float(np.linalg.norm(end - start, axis=1).sum())


def _finding(place: Sequence[LostPiece], stack: Stack, limit_mm: float) -> Finding:
    kind = place[0].kind
    areas = np.array([piece.plan.area() for piece in place])
    perimeters = np.array([_perimeter(piece.plan) for piece in place])
    slim = np.argsort(areas / perimeters, kind="stable")[:2]
    spread = np.linspace(0, len(place) - 1, MEASURED_LAYERS).astype(np.int64)
    # The same outline in many layers is measured once.
    chosen = {place[i].plan: place[i] for i in np.unique(np.concatenate([slim, spread]))[::-1]}
    # The corner of a leaning wall is cut to a sliver; its width is not the wall's.
    whole = [piece for piece in chosen.values() if not _tapers(piece, stack, limit_mm)]
    measured = []
    for piece in whole or chosen.values():
        edges = stack.edges_in(piece.layer, kind, limit_mm)
        measured.append((*narrowest(piece.plan, edges, limit_mm), piece.layer))
    width, middle, across, layer = min(measured, key=lambda measure: (measure[0], measure[3]))
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
        direction=(float(across[0]), float(across[1]), 0.0),
        box=_box(boxes, low_z, high_z),
        area_mm2=float((perimeters * depth).sum()),
        volume_mm3=float((areas * depth).sum()),
        height_range_mm=(low_z, high_z),
    )


def _box(boxes: Floats, low_z: float, high_z: float) -> tuple[Vector, Vector]:
    low = np.append(boxes[:, :2].min(axis=0), low_z)
    high = np.append(boxes[:, 2:].max(axis=0), high_z)
    return as_vector(low), as_vector(high)


def floor_places(floors: Sequence[ThinFloor], bead_mm: float, limit_mm: float) -> list[Finding]:
    """Join floors that overlap or adjoin in plan into findings.

    Parameters
    ----------
    floors : sequence of ThinFloor
        Thin floors of single layers.
    bead_mm : float
        Bead width; a tilted floor's strips, up to this far apart, belong together.
    limit_mm : float
        Thinnest floor that closes, mm.
    """
    pieces = [
        LostPiece(FindingKind.THIN_FLOOR, floor.layer, grown(floor.plan, bead_mm / 2.0))
        for floor in floors
    ]
    known = {id(piece): floor for piece, floor in zip(pieces, floors, strict=True)}
    found = []
    for place in _connected(pieces):
        group = [known[id(piece)] for piece in place]
        thinnest = min(group, key=lambda floor: floor.thickness_mm)
        low_z, high_z = min(f.low_mm for f in group), max(f.high_mm for f in group)
        areas = np.array([floor.plan.area() for floor in group])
        thick = np.array([floor.mean_mm for floor in group])
        found.append(
            Finding(
                kind=FindingKind.THIN_FLOOR,
                rule=Rule.LAYERS,
                axis=Axis.FLAT,
                smallest_mm=thinnest.thickness_mm,
                limit_mm=limit_mm,
                position=as_vector(thinnest.position),
                direction=(0.0, 0.0, 1.0),
                box=_box(np.array([floor.plan.bounds() for floor in group]), low_z, high_z),
                area_mm2=2.0 * float(areas.sum()),
                volume_mm3=float((areas * thick).sum()),
                height_range_mm=(low_z, high_z),
            )
        )
    return found
