"""The check of the layers: walls, gaps and floors of a green part that they cannot print.

The part is cut at each layer's mid-height. What a disk of one bead cannot reach inside a
cross-section will not print, what a disk of two cannot reach is a single bead, and what a disk of
one bead cannot reach outside fuses. Lost pieces that overlap in plan from layer to layer are one
place. Floors are measured in columns. Thresholds are derived in docs/theory-layers.md.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import manifold3d
import numpy as np
import trimesh
from manifold3d import CrossSection

from shrinkrule.errors import MeshError
from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.progress import Progress, silent
from shrinkrule.numerics.threads import both, of_each
from shrinkrule.printer import Printer
from shrinkrule.walls.findings import Finding, FindingKind, PlaceText, in_print, what_matters
from shrinkrule.walls.layers.floors import Floors, thin_floors
from shrinkrule.walls.layers.narrow import NOWHERE, Narrow, PointsByHeight
from shrinkrule.walls.layers.notes import MAX_PIECES, doubts_of, limits_of_sight
from shrinkrule.walls.layers.openings import (
    Side,
    lost_pieces,
    narrow_points,
    outlines,
)
from shrinkrule.walls.layers.outlines import along_outlines, distance_to_edges, turning
from shrinkrule.walls.layers.places import LayerPlace, LostPiece, joined_places
from shrinkrule.walls.layers.shell import shell_of
from shrinkrule.walls.layers.stack import Layer, Stack
from shrinkrule.walls.layers.widths import disk_fits
from shrinkrule.walls.limits import MARGIN_MM, WallLimits

MAX_POINTS: Final = 2_000_000
"""Outline points to be opened, in all layers together; with more, fewer layers are cut."""

BEAD_SHARE: Final = 0.9
"""A single-bead region holds a disk of this share of the bead; less is the mouth of a stub."""

ON_BRIDGE_MM: Final = 0.01
"""A piece nearer than this to a line that closes an open outline is bounded by the line."""

ROUGH: Final = 2.0
"""Radians that an outline turns per half bead on average; with more it is noise to a nozzle."""

FEW_POINTS: Final = 1000
"""A layer with fewer outline points is looked at, however they turn."""

FLOOR_SHARE: Final = 0.4
"""A strip with more of its outline in a thin floor is part of the floor; one long side may be at
the floor's end."""

NARROW_REACH: Final = 1.5
"""How far beside a place of the balls, in limits, layers are looked at."""

MATERIAL: Final = (FindingKind.THIN_WALL, FindingKind.SINGLE_BEAD)

Seen = list[tuple[FindingKind, CrossSection]]


@dataclass(frozen=True)
class LayerReport:
    """What the layers find on a green part.

    Parameters
    ----------
    places : tuple of LayerPlace
        Each with its finding, by rule LAYERS; sorted by what matters.
    layers : int
        Cross-sections looked at.
    lost_mm3 : float
        Volume that will not print.
    single_bead_mm3 : float
        Volume that prints as a single bead.
    notes : tuple of str
        What was not looked at or cannot be trusted, why, and a hint.
    trusted : bool
        Whether the surface is closed and crosses itself nowhere.
    """

    places: tuple[LayerPlace, ...]
    layers: int
    lost_mm3: float
    single_bead_mm3: float
    notes: tuple[str, ...]
    trusted: bool

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings of all places."""
        return tuple(place.finding for place in self.places)


def layer_findings(
    mesh: trimesh.Trimesh,
    printer: Printer,
    limits: WallLimits,
    *,
    narrow: Narrow | None = None,
    place_text: PlaceText = in_print,
    progress: Progress | None = None,
) -> LayerReport:
    """Find what the layers of a green part cannot print.

    A surface that is open, crosses itself or faces inward is looked at as far as possible; the
    notes say what cannot be trusted.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The GREEN part in the print frame (Z is the build direction), mm.
    printer : Printer
        Bead and layer.
    limits : WallLimits
        How many beads and layers a wall, gap and floor need.
    narrow : Narrow, optional
        Where to look; everywhere if not given.
    place_text : callable
        Puts a place of the print frame in words, for notes.
    progress : callable, optional
        Called with the stage and the share done, 0 to 1.

    Returns
    -------
    LayerReport
        Without places, and not trusted, for a surface that cannot be cut.
    """
    report = progress or silent
    report("cutting layers", 0.0)
    try:
        shell = shell_of(mesh, place_text)
    except MeshError as error:
        why = f"the layers could not be cut: {error.what}; {error.hint}"
        return LayerReport((), 0, 0.0, 0.0, (why,), False)
    bead, floor = printer.bead_width_mm, limits.floor_mm(printer)
    stack = Stack(shell, printer.layer_height_mm)

    def look() -> tuple[list[_NarrowPoints], list[LostPiece], bool]:
        points = _narrow_points(
            stack, printer, limits, narrow, lambda share: report("cutting layers", 0.3 * share)
        )
        pieces, complete = _lost(
            stack,
            points,
            printer,
            limits,
            lambda share: report("looking at layers", 0.3 + 0.5 * share),
        )
        return points, pieces, complete

    # Columns are compiled and run beside the cuts.
    (points, pieces, complete), floors = both(look, lambda: thin_floors(shell, bead, floor))
    report("joining layers", 0.8)
    pieces = [piece for piece in pieces if not _is_floor(piece, stack, floors)]
    places = joined_places(pieces, stack, _limits_of(printer, limits))
    places = sorted([*places, *floors.found], key=lambda place: what_matters(place.finding))
    findings = [place.finding for place in places]
    doubts = doubts_of(shell, stack)
    rough = [k for k, layer in enumerate(points) if layer.rough]
    report("layers checked", 1.0)
    return LayerReport(
        places=tuple(places),
        layers=sum(layer.usable for layer in stack.layers),
        lost_mm3=_volume(findings, FindingKind.THIN_WALL),
        single_bead_mm3=_volume(findings, FindingKind.SINGLE_BEAD),
        notes=(*doubts, *limits_of_sight(stack, rough, floors, complete, bead)),
        trusted=not doubts,
    )


def _volume(findings: Sequence[Finding], kind: FindingKind) -> float:
    return sum(f.volume_mm3 or 0.0 for f in findings if f.kind is kind)


def _limits_of(printer: Printer, limits: WallLimits) -> dict[FindingKind, float]:
    return {
        FindingKind.THIN_WALL: limits.exist_mm(printer),
        FindingKind.SINGLE_BEAD: limits.sound_mm(printer),
        FindingKind.NARROW_GAP: limits.gap_mm(printer),
        FindingKind.CLOSING_HOLE: limits.gap_mm(printer),
    }


@dataclass(frozen=True)
class _NarrowPoints:
    """Outline points (k, 2), mm, where a layer may be narrower than one bead, two beads, a gap."""

    thin: Floats
    single: Floats
    air: Floats
    rough: bool

    @property
    def regions(self) -> int:
        """Regions to be opened."""
        return sum(len(points) > 0 for points in (self.thin, self.single, self.air))


def _narrow_points(
    stack: Stack,
    printer: Printer,
    limits: WallLimits,
    narrow: Narrow | None,
    report: Callable[[float], None],
) -> list[_NarrowPoints]:
    """Cut the stack, more coarsely if its outlines are too rough, and find narrow points."""
    # What is narrow in a layer lies no further than this from a place of the balls.
    reach = NARROW_REACH * max(limits.sound_mm(printer), limits.floor_mm(printer))
    near = (
        None
        if narrow is None
        else (PointsByHeight(narrow.material, reach), PointsByHeight(narrow.air, reach))
    )
    while True:
        stack.cut(lambda share: report(0.6 * share))
        fresh = [layer.section for layer in stack.layers if not layer.same]
        which = np.cumsum([not layer.same for layer in stack.layers]) - 1
        heights = [stack.heights[which == i][[0, -1]] for i in range(len(fresh))]
        # The search for narrow points runs outside the interpreter's lock.
        found = of_each(
            lambda layer: _narrow_points_of(layer[0], printer, limits, near, layer[1]),
            list(zip(fresh, heights, strict=True)),
        )
        report(1.0)
        work = sum(
            points.regions * section.num_vert()
            for points, section in zip(found, fresh, strict=True)
        )
        if work <= MAX_POINTS or len(stack.layers) < 2:
            return [found[int(i)] for i in which]
        stack.coarsen(-(-work // MAX_POINTS))


def _narrow_points_of(
    section: CrossSection,
    printer: Printer,
    limits: WallLimits,
    near: tuple[PointsByHeight, PointsByHeight] | None,
    span: Floats,
) -> _NarrowPoints:
    if section.num_vert() > FEW_POINTS:
        turns, length = turning(*outlines(section))
        if turns * printer.bead_width_mm / 2.0 > ROUGH * length:
            return _NarrowPoints(NOWHERE, NOWHERE, NOWHERE, True)

    def points(limit_mm: float, side: Side) -> Floats:
        if near is None:
            return narrow_points(section, limit_mm, side)
        there = near[0] if side is Side.MATERIAL else near[1]
        if there.is_empty(*span):
            return NOWHERE
        return there.of(narrow_points(section, limit_mm, side), *span)

    return _NarrowPoints(
        points(limits.exist_mm(printer), Side.MATERIAL),
        points(limits.sound_mm(printer), Side.MATERIAL),
        points(limits.gap_mm(printer), Side.AIR),
        False,
    )


def _lost(
    stack: Stack,
    points: Sequence[_NarrowPoints],
    printer: Printer,
    limits: WallLimits,
    report: Callable[[float], None],
) -> tuple[list[LostPiece], bool]:
    """Lost pieces of all layers, and whether all layers were looked at."""
    exist, sound = limits.exist_mm(printer), limits.sound_mm(printer)
    gap = limits.gap_mm(printer)
    pieces: list[LostPiece] = []
    seen: Seen = []
    for number, (layer, narrow) in enumerate(zip(stack.layers, points, strict=True)):
        if not layer.same:
            seen = _material(layer.section, exist, sound, narrow)
            seen += _gaps(layer.section, stack, gap, narrow.air)
            seen = [found for found in seen if not _is_doubtful(found[1], layer)]
        pieces += [LostPiece(kind, number, piece) for kind, piece in seen]
        if len(pieces) > MAX_PIECES:
            return pieces, False
        report((number + 1) / len(stack.layers))
    return pieces, True


def _material(
    section: CrossSection, exist_mm: float, sound_mm: float, points: _NarrowPoints
) -> Seen:
    thin = [piece for piece, _ in lost_pieces(section, exist_mm, points.thin)]
    found = [(FindingKind.THIN_WALL, piece) for piece in thin]
    if sound_mm - exist_mm < MARGIN_MM:
        return found
    disk = BEAD_SHARE * exist_mm / 2.0
    boxes = np.array([piece.bounds() for piece in thin]).reshape(-1, 4)
    for piece, _ in lost_pieces(section, sound_mm, points.single):
        box = np.array(piece.bounds())
        meets = (boxes[:, :2] <= box[2:]).all(axis=1) & (box[:2] <= boxes[:, 2:]).all(axis=1)
        near = [thin[i] for i in np.flatnonzero(meets)]
        left = piece - CrossSection.batch_boolean(near, manifold3d.OpType.Add) if near else piece
        if left.area() == piece.area():
            found.append((FindingKind.SINGLE_BEAD, piece))
            continue
        found += [
            (FindingKind.SINGLE_BEAD, part) for part in left.decompose() if disk_fits(part, disk)
        ]
    return found


def _gaps(section: CrossSection, stack: Stack, gap_mm: float, narrow: Floats) -> Seen:
    if not len(narrow):
        return []
    return [
        (FindingKind.CLOSING_HOLE if whole else FindingKind.NARROW_GAP, piece)
        for piece, whole in lost_pieces(stack.space_around(section, gap_mm), gap_mm, narrow)
    ]


def _is_doubtful(piece: CrossSection, layer: Layer) -> bool:
    """Whether a piece is bounded by a line that closes an open outline."""
    if not len(layer.bridges[0]):
        return False
    points = np.vstack(piece.to_polygons())
    return bool(distance_to_edges(points, *layer.bridges).min() < ON_BRIDGE_MM)


def _is_floor(piece: LostPiece, stack: Stack, floors: Floors) -> bool:
    """Whether a piece is a strip of a tilted floor, which is a finding already."""
    if piece.kind not in MATERIAL or not len(floors.places):
        return False
    points = along_outlines(*outlines(piece.plan), floors.cell_mm)
    height = float(stack.heights[piece.layer])
    return float(floors.holds(points, height, stack.layer_mm).mean()) > FLOOR_SHARE
