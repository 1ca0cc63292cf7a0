"""The ladder: the thinnest upright wall and the thinnest floor this printer really makes.

A comb lies on the bed. Its teeth are upright walls around one and around two beads,
each held by the spine at one end and free at the other; the bays between the teeth
are floored with two to five layers. Floors lie on the bed, not over a gap: so nothing
bridges, a pinhole shows against the light, and a jaw reaches both faces.
"""

from __future__ import annotations

from math import ceil
from typing import Final

from shrinkrule.coupon.piece import Dimension, Piece, Tool
from shrinkrule.coupon.solid import box, to_mesh, union
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind, SheetLine

WALL_BEADS: Final = (0.75, 1.0, 1.25, 1.75, 2.0, 2.25)
"""Wall thicknesses in beads: one and two beads, each with a quarter bead to both sides."""
FLOOR_LAYERS: Final = (5, 4, 3, 2)
"""Floor thicknesses in layers; the thickest lies beside the thinnest walls and holds them."""
BAY_MM: Final = 5.0
"""Clear width between teeth: a jaw's blade fits, also after firing."""
TOOTH_MM: Final = 8.0
"""Free length of a tooth: a jaw bears 2 mm and more without touching the spine."""
BARE_MM: Final = 4.6
"""Height of a wall above the highest floor: a jaw's blade fits, also after firing."""
SPINE_BEADS: Final = 4.0
"""Thickness of the spine in beads: a wall that prints soundly on every machine."""


def ladder_size_mm(printer: Printer) -> tuple[float, float, float]:
    """Box of the ladder on the bed: length, width, height in mm."""
    walls = _wall_thicknesses(printer)
    return (
        sum(walls) + BAY_MM * (len(walls) - 1),
        _spine(printer) + TOOTH_MM,
        _height(printer),
    )


def build_ladder(printer: Printer) -> Piece:
    """Solid and dimensions of the ladder.

    Parameters
    ----------
    printer : Printer
        Bead and layer.

    Returns
    -------
    Piece
        Standing on z = 0 as it is printed, mm.
    """
    length, depth, height = ladder_size_mm(printer)
    spine = _spine(printer)
    root, free = spine / 2.0, spine + 0.6 * TOOTH_MM
    bare = (max(FLOOR_LAYERS) * printer.layer_height_mm + height) / 2.0
    solids = [box(0.0, length, 0.0, spine, 0.0, height)]
    dims: list[Dimension] = []
    left = 0.0
    for count, (beads, wall) in enumerate(zip(WALL_BEADS, _wall_thicknesses(printer), strict=True)):
        right = left + wall
        solids.append(box(left, right, root, depth, 0.0, height))
        dims.append(_wall(count + 1, beads, left, right, free, bare))
        if count < len(FLOOR_LAYERS):
            layers = FLOOR_LAYERS[count]
            top = layers * printer.layer_height_mm
            # Into half of the teeth beside it, so that the floor is one with them.
            after = right + BAY_MM + 0.3 * printer.bead_width_mm
            solids.append(box(right - wall / 2.0, after, root, depth, 0.0, top))
            dims.append(_floor(layers, right + BAY_MM / 2.0, free, top))
        left = right + BAY_MM
    return Piece("ladder", to_mesh(union(solids)), tuple(sorted(dims, key=_walls_first)))


def _wall(count: int, beads: float, left: float, right: float, y: float, z: float) -> Dimension:
    line = SheetLine(
        f"W{count}",
        f"upright wall of {beads:g} bead{'s' if beads != 1.0 else ''}",
        Kind.WALL,
        "x",
        nominal=right - left,
        note="jaws above the floors; 0 if missing or torn",
    )
    return Dimension(line, Tool.OUTSIDE_JAWS, (left, y, z), (right, y, z), (0.0, -1.0, 0.0))


def _floor(layers: int, x: float, y: float, top: float) -> Dimension:
    line = SheetLine(
        f"F{layers}",
        f"floor of {layers} layers",
        Kind.FLOOR,
        "z",
        nominal=top,
        note="jaws at the free end; 0 if light shows through",
    )
    return Dimension(line, Tool.OUTSIDE_JAWS, (x, y, 0.0), (x, y, top), (0.0, -1.0, 0.0))


def _walls_first(dim: Dimension) -> tuple[bool, str]:
    return dim.line.kind is Kind.FLOOR, dim.line.id


def _wall_thicknesses(printer: Printer) -> list[float]:
    return [round(beads * printer.bead_width_mm, 2) for beads in WALL_BEADS]


def _spine(printer: Printer) -> float:
    return round(SPINE_BEADS * printer.bead_width_mm, 1)


def _height(printer: Printer) -> float:
    layer = printer.layer_height_mm
    return (max(FLOOR_LAYERS) + ceil(BARE_MM / layer - 1e-9)) * layer
