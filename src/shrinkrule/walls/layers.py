"""What the layers of a green part will print: walls, gaps and floors as the nozzle sees them.

The part is cut at each layer's mid-height. What a disk of one bead cannot reach inside
a cross-section will not print, what a disk of two cannot reach is a single bead, and
what one bead cannot reach outside fuses. Lost pieces that overlap in plan from layer to
layer are one place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import manifold3d
import numpy as np
import trimesh
from manifold3d import CrossSection

from shrinkrule.mesh.bodies import solid_from_mesh
from shrinkrule.printer import Printer
from shrinkrule.walls.findings import Finding, FindingKind, by_what_matters
from shrinkrule.walls.layer_floors import thin_floors
from shrinkrule.walls.layer_openings import MARGIN_MM, SIMPLE_MM, grown, lost_pieces
from shrinkrule.walls.layer_places import LostPiece, Stack, floor_places, joined_places
from shrinkrule.walls.limits import WallLimits

MAX_LAYERS: Final = 2000
"""Taller stacks are cut at every second, third ... layer, to end within seconds."""

MAX_PIECES: Final = 20_000
"""Lost pieces kept; a part with more is thin all over and the rest adds nothing."""

BEAD_SHARE: Final = 0.9
"""A single-bead region holds a disk of this share of the bead; less is the mouth of a stub."""

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class LayerReport:
    """What the layers will print of a green part.

    Parameters
    ----------
    findings : tuple of Finding
        Sorted by what matters, all by rule LAYERS.
    layers : int
        Cross-sections looked at.
    lost_mm3 : float
        Volume that will not print.
    single_bead_mm3 : float
        Volume that prints as a single bead.
    notes : tuple of str
        What was not looked at, and why.
    """

    findings: tuple[Finding, ...]
    layers: int
    lost_mm3: float
    single_bead_mm3: float
    notes: tuple[str, ...]


def _silent(stage: str, fraction: float) -> None:
    """Progress that nobody watches."""


def _refused(why: str) -> LayerReport:
    return LayerReport((), 0, 0.0, 0.0, (f"the layers could not be cut: {why}",))


def _solid_of(mesh: trimesh.Trimesh) -> tuple[manifold3d.Manifold | None, str]:
    """Make the solid to cut, or tell why there is none."""
    if not len(mesh.faces):
        return None, "the mesh has no facets"
    # A copy: manifold3d takes no read-only array, and a mesh may hold one.
    vertices = np.array(mesh.vertices, dtype=np.float64)
    if not np.isfinite(vertices).all():
        return None, "a coordinate is no number"
    solid = solid_from_mesh(vertices, np.asarray(mesh.faces, dtype=np.int64))
    if solid.status() != manifold3d.Error.NoError:
        return None, "the mesh is not a closed solid (an edge does not have exactly two facets)"
    if not solid.volume() > 0.0:
        return None, "the mesh encloses no volume or is inside out"
    return solid, ""


def layer_findings(
    mesh: trimesh.Trimesh,
    printer: Printer,
    limits: WallLimits,
    *,
    progress: Progress | None = None,
) -> LayerReport:
    """Find what the layers of a green part cannot print.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The GREEN part in the print frame (Z is the build direction), mm.
    printer : Printer
        Bead and layer.
    limits : WallLimits
        How many beads and layers a wall, gap and floor need.
    progress : callable, optional
        Told the stage and the share done.
    """
    tell = _silent if progress is None else progress
    tell("cutting layers", 0.0)
    solid, why = _solid_of(mesh)
    if solid is None:
        return _refused(why)
    stack = Stack(solid, printer.layer_height_mm, MAX_LAYERS, SIMPLE_MM)
    if not stack.heights.size:
        return _refused("the part is lower than half a layer")
    notes = []
    if stack.every > 1:
        notes.append(
            f"the part is over {MAX_LAYERS} layers tall: one layer in {stack.every} was cut, "
            "and floors were left to the ball thickness"
        )
    sections = stack.sections(lambda share: tell("cutting layers", 0.3 * share))
    pieces, complete = _lost(
        stack, sections, printer, limits, lambda share: tell("looking at layers", 0.3 + 0.5 * share)
    )
    if not complete:
        notes.append(f"more than {MAX_PIECES} thin pieces: the upper layers were not looked at")
    tell("joining layers", 0.8)
    findings = joined_places(pieces, stack, _limits_of(printer, limits))
    if stack.every == 1:
        bead, floor = printer.bead_width_mm, limits.floor_mm(printer)
        floors = list(thin_floors(solid, sections, bead, floor, stack.step_mm))
        findings += floor_places(floors, bead, floor)
    tell("layers checked", 1.0)
    return LayerReport(
        findings=by_what_matters(findings),
        layers=len(sections),
        lost_mm3=_volume(findings, FindingKind.THIN_WALL),
        single_bead_mm3=_volume(findings, FindingKind.SINGLE_BEAD),
        notes=tuple(notes),
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


def _lost(
    stack: Stack,
    sections: Sequence[CrossSection],
    printer: Printer,
    limits: WallLimits,
    tell: Callable[[float], None],
) -> tuple[list[LostPiece], bool]:
    """Lost pieces of all layers, and whether all layers were looked at."""
    exist, sound = limits.exist_mm(printer), limits.sound_mm(printer)
    gap = limits.gap_mm(printer)
    pieces: list[LostPiece] = []
    seen: list[tuple[FindingKind, CrossSection]] = []
    before: bytes | None = None
    for layer, section in enumerate(sections):
        # A prismatic part shows the same section again and again.
        outline = b"".join(ring.tobytes() for ring in section.to_polygons())
        if outline != before:
            before = outline
            space = stack.space_around(section, gap)
            seen = _material(section, exist, sound) + [
                (FindingKind.CLOSING_HOLE if whole else FindingKind.NARROW_GAP, piece)
                for piece, whole in lost_pieces(space, gap).walls
            ]
        pieces += [LostPiece(kind, layer, piece) for kind, piece in seen]
        if len(pieces) > MAX_PIECES:
            return pieces, False
        tell((layer + 1) / len(sections))
    return pieces, True


def _material(
    section: CrossSection, exist_mm: float, sound_mm: float
) -> list[tuple[FindingKind, CrossSection]]:
    sound = lost_pieces(section, sound_mm)
    if sound.nothing:
        return []
    thin = [piece for piece, _ in lost_pieces(section, exist_mm).walls]
    found = [(FindingKind.THIN_WALL, piece) for piece in thin]
    if sound_mm - exist_mm < MARGIN_MM:
        return found
    gone = CrossSection.batch_boolean(thin, manifold3d.OpType.Add) if thin else CrossSection()
    disk = BEAD_SHARE * exist_mm / 2.0
    for piece, _ in sound.walls:
        left = piece - gone
        if left.area() == piece.area():
            found.append((FindingKind.SINGLE_BEAD, piece))
            continue
        found += [
            (FindingKind.SINGLE_BEAD, part)
            for part in left.decompose()
            if part.area() > np.pi * disk**2 and not grown(part, -disk).is_empty()
        ]
    return found
