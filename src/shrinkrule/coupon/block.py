"""The block: lengths in X, Y and Z that separate scale from bead spread.

A flat plate cut as a staircase in plan gives four outside lengths along X and the
same four along Y from two common faces; windows and a hole give inside lengths, the
stair's own treads give steps. Two upright stairs on its arms give the heights. All
sections stay thin, so that binder leaves the coupon as it leaves a part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import floor
from typing import Final

import numpy as np
from manifold3d import Manifold

from shrinkrule.coupon.layout import Rectangles
from shrinkrule.coupon.piece import ROD_MM, Dimension, Piece, Point, Tool
from shrinkrule.coupon.solid import (
    Ring,
    as_hole,
    box,
    chamfered_prism,
    circle,
    foot_chamfer,
    rectangle,
    to_mesh,
    union,
)
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind, SheetLine

LONGEST_MM: Final = 60.0
"""No longer than this in any furnace: more costs filament and gains little."""
TALLEST_MM: Final = 25.0
"""No taller than this in any furnace, for the same reason."""
LOWEST_MM: Final = 16.0
"""Below this the shortest height would be under 3 mm, where the layer's rounding rules."""
LENGTH_SHARES: Final = (1.0, 0.68, 0.395, 0.2)
"""Outside lengths as shares of the longest: 5 to 1, with room for windows between."""
HEIGHT_FACTORS: Final = (1.6, 2.4, 3.5, 5.0)
"""Tread heights as multiples of the plate: with the plate itself five heights, 5 to 1."""
RIM_MM: Final = 4.0
"""Least width of plate around a window: a foot for a depth rod, also after firing."""
OPENING_MM: Final = 6.0
"""Least green opening of a window: inside jaws still enter it after firing."""
TREAD_MM: Final = 5.2
"""Least length of a tread: a jaw's blade still fits after firing."""
STAIR_WIDTH_MM: Final = 6.0
"""Thickness of the upright stairs: stands by itself, and no thicker than the plate's sections."""


@dataclass(frozen=True)
class BlockSizes:
    """Every size of the block in mm, rounded so that it can be read and printed.

    Parameters
    ----------
    lengths : tuple of 4 float
        Outside lengths along X and along Y, longest first.
    plate : float
        Thickness of the plate.
    treads : tuple of 4 float
        Heights of the treads: low and high on the X arm, low and high on the Y arm.
    rim : float
        Plate left around a window.
    hole : float
        Diameter of the round hole.
    chamfer : float
        Chamfer at the foot.
    pip : float
        Side of a mark.
    """

    lengths: tuple[float, float, float, float]
    plate: float
    treads: tuple[float, float, float, float]
    rim: float
    hole: float
    chamfer: float
    pip: float

    @property
    def tread(self) -> float:
        """Length of one tread."""
        return min(8.0, (self.lengths[0] - self.lengths[1]) / 2.0)

    @property
    def openings(self) -> tuple[float, float]:
        """Short and long side of the two windows."""
        _, second, third, _ = self.lengths
        return second - self.rim - third, third - 2.0 * self.rim


def shortest_block_mm(printer: Printer) -> float:
    """Shortest longest side, mm, at which every feature of the block can still be measured.

    Parameters
    ----------
    printer : Printer
        Bead and layer.

    Returns
    -------
    float
        mm, in steps of half a millimetre.
    """
    side = 30.0
    while not _measurable(side, printer):
        side += 0.5
    return side


def size_block(longest_mm: float, tallest_mm: float, printer: Printer) -> BlockSizes:
    """Sizes of a block within a largest side and height.

    Parameters
    ----------
    longest_mm, tallest_mm : float
        Largest side and height allowed, at least :func:`shortest_block_mm` and ``LOWEST_MM``.
    printer : Printer
        Bead and layer.

    Returns
    -------
    BlockSizes
        Rounded down to half a millimetre in plan and to whole layers in height.
    """
    longest = _half(min(longest_mm, LONGEST_MM))
    first, second, third, fourth = (_half(longest * share) for share in LENGTH_SHARES)
    layer = printer.layer_height_mm
    top = floor(min(tallest_mm, TALLEST_MM) / layer + 1e-9)
    plate = floor(top / HEIGHT_FACTORS[-1])
    low_x, low_y, high_x, high_y = (round(plate * f) * layer for f in HEIGHT_FACTORS)
    rim = _rim(printer)
    return BlockSizes(
        lengths=(first, second, third, fourth),
        plate=plate * layer,
        treads=(low_x, high_x, low_y, high_y),
        rim=rim,
        hole=max(OPENING_MM, _half(0.75 * (third - 2.0 * rim))),
        chamfer=foot_chamfer(layer),
        pip=max(2.0 * printer.bead_width_mm, 1.5),
    )


def build_block(sizes: BlockSizes, printer: Printer) -> Piece:
    """Solid and dimensions of the block.

    Parameters
    ----------
    sizes : BlockSizes
        Every size, mm.
    printer : Printer
        Bead and layer, which the marks follow.

    Returns
    -------
    Piece
        Standing on z = 0 as it is printed, mm.
    """
    long, second, third, narrow = sizes.lengths
    outline = np.array(
        [
            [0, 0], [long, 0], [long, narrow], [second, narrow], [second, third],
            [third, third], [third, second], [narrow, second], [narrow, long], [0, long],
        ],
        dtype=np.float64,
    )  # fmt: skip
    short, wide = sizes.openings
    rim = sizes.rim
    window = rectangle(third, third + short, rim, rim + wide)
    rings: list[Ring] = [
        outline,
        as_hole(circle(third / 2.0, third / 2.0, sizes.hole)),
        as_hole(window),
        as_hole(rectangle(rim, rim + wide, third, third + short)),
    ]
    plate = chamfered_prism(rings, sizes.plate, sizes.chamfer)
    solid = union([plate, *_stairs(sizes), *_pips(sizes, printer)])
    return Piece(
        "block",
        to_mesh(solid),
        _dimensions(sizes),
        block_plan(sizes),
        thickest_mm=thickest_section_mm(sizes),
    )


def thickest_section_mm(sizes: BlockSizes) -> float:
    """Diameter of the largest ball in the block, where an upright stair stands on the plate.

    It touches the plate's underside and the two lines in which the stair's sides, ``w`` apart,
    meet the plate's top at height ``p``: ``(w^2 / 4 + p^2) / p``. On a plate thinner than half of
    the stair it touches the stair's sides alone.
    """
    narrow, plate = sizes.lengths[3], sizes.plate
    width = min(STAIR_WIDTH_MM, narrow)
    across_joint = (width**2 / 4.0 + plate**2) / plate if plate > width / 2.0 else width
    return max(plate, min(across_joint, narrow))


def block_plan(sizes: BlockSizes) -> Rectangles:
    """Rectangles that cover the block on the bed: its bands, laid over each other.

    Parameters
    ----------
    sizes : BlockSizes
        Every size, mm.

    Returns
    -------
    tuple of (x, y, dx, dy)
        Corner and sides of each rectangle, mm.
    """
    return tuple(
        (0.0, 0.0, length, width)
        for length, width in zip(sizes.lengths, sizes.lengths[::-1], strict=True)
    )


def _stairs(sizes: BlockSizes) -> list[Manifold]:
    long, _, _, narrow = sizes.lengths
    inner, middle = long - 2.0 * sizes.tread, long - sizes.tread
    width = min(STAIR_WIDTH_MM, narrow)
    side0, side1 = (narrow - width) / 2.0, (narrow + width) / 2.0
    base = sizes.chamfer
    low_x, high_x, low_y, high_y = sizes.treads
    return [
        box(inner, long, side0, side1, base, low_x),
        box(middle, long, side0, side1, base, high_x),
        box(side0, side1, inner, long, base, low_y),
        box(side0, side1, middle, long, base, high_y),
    ]


def _pips(sizes: BlockSizes, printer: Printer) -> list[Manifold]:
    """One raised mark beside the X arm's window, two beside the Y arm's."""
    third, short, pip = sizes.lengths[2], sizes.openings[0], sizes.pip
    middle, strip = third + short / 2.0, sizes.rim / 2.0
    base, top = sizes.chamfer, sizes.plate + 3.0 * printer.layer_height_mm

    def mark(x: float, y: float) -> Manifold:
        half = pip / 2.0
        return box(x - half, x + half, y - half, y + half, base, top)

    return [mark(middle, strip), mark(strip, middle - pip), mark(strip, middle + pip)]


def _dimensions(sizes: BlockSizes) -> tuple[Dimension, ...]:
    found: list[Dimension] = []
    for axis in ("x", "y"):
        found += _outside_lengths(sizes, axis) + _inside_lengths(sizes, axis)
        found += _plan_steps(sizes, axis)
    return tuple(_numbered(found + _heights(sizes) + _height_steps(sizes)))


def _numbered(found: list[Dimension]) -> list[Dimension]:
    """Give each dimension its id: the axis and its count along that axis."""
    count = {"x": 0, "y": 0, "z": 0}
    out = []
    for dim in found:
        axis = dim.line.axis
        count[axis] += 1
        out.append(replace(dim, line=replace(dim.line, id=f"{axis.upper()}{count[axis]}")))
    return out


def _line(feature: str, kind: Kind, axis: str, nominal_mm: float, note: str) -> SheetLine:
    """A line that has no id yet."""
    return SheetLine("", feature, kind, axis, nominal=nominal_mm, note=note)


def _turned(axis: str, along: float, across: float, height: float) -> Point:
    """Point of the plan with X and Y exchanged for the Y axis: the plan is its own mirror."""
    return (along, across, height) if axis == "x" else (across, along, height)


def _outside_lengths(sizes: BlockSizes, axis: str) -> list[Dimension]:
    edges = (0.0, *sizes.lengths[::-1])
    grip = (sizes.chamfer + sizes.plate) / 2.0
    note = "jaws from below, above the chamfer"
    return [
        Dimension(
            _line(
                f"block, band {band} of 4 along {axis.upper()}", Kind.OUTSIDE, axis, length, note
            ),
            Tool.OUTSIDE_JAWS,
            _turned(axis, 0.0, (low + high) / 2.0, grip),
            _turned(axis, length, (low + high) / 2.0, grip),
            (0.0, 0.0, 1.0),
        )
        for band, (length, low, high) in enumerate(
            zip(sizes.lengths, edges, edges[1:], strict=False), start=1
        )
    ]


def _inside_lengths(sizes: BlockSizes, axis: str) -> list[Dimension]:
    third, rim = sizes.lengths[2], sizes.rim
    short, wide = sizes.openings
    centre, reach = third / 2.0, sizes.hole / 2.0
    other = "Y" if axis == "x" else "X"
    places = (
        (f"round hole across {axis.upper()}", centre - reach, centre + reach, centre),
        (f"window of the {axis.upper()} arm, short side", third, third + short, rim + wide / 2.0),
        (f"window of the {other} arm, long side", rim, rim + wide, third + short / 2.0),
    )
    grip = (sizes.chamfer + sizes.plate) / 2.0
    note = "inside jaws from below, past the chamfer"
    return [
        Dimension(
            _line(feature, Kind.INSIDE, axis, end - start, note),
            Tool.INSIDE_JAWS,
            _turned(axis, start, across, grip),
            _turned(axis, end, across, grip),
            (0.0, 0.0, 1.0),
        )
        for feature, start, end, across in places
    ]


def _plan_steps(sizes: BlockSizes, axis: str) -> list[Dimension]:
    """From each end face of the plan's stair to the next; the rod runs beside the corner."""
    grip = (sizes.chamfer + sizes.plate) / 2.0
    beside = 0.75 * ROD_MM
    lengths = sizes.lengths
    out = []
    for band, (outer, inner) in enumerate(pairwise(lengths), start=1):
        corner = lengths[4 - band]
        line = _line(
            f"step from band {band} to band {band + 1} along {axis.upper()}",
            Kind.STEP,
            axis,
            outer - inner,
            "foot on the outer face, rod along the corner",
        )
        start = _turned(axis, outer, corner - beside, grip)
        end = _turned(axis, inner, corner + beside, grip)
        out.append(Dimension(line, Tool.DEPTH_ROD, start, end, _turned(axis, -1.0, 0.0, 0.0)))
    return out


def _heights(sizes: BlockSizes) -> list[Dimension]:
    _, second, third, narrow = sizes.lengths
    rim = second - sizes.rim / 2.0
    middle = (narrow + third) / 2.0
    out = []
    for axis in ("x", "y"):
        at = _turned(axis, rim, middle, sizes.plate)
        out.append(
            _height(f"plate at the end of band 2 along {axis.upper()}", at, _turned(axis, -1, 0, 0))
        )
    for arm, feature, tread in _treads(sizes):
        out.append(_height(feature, tread, _turned(arm, 0.0, 1.0, 0.0)))
    return out


def _treads(sizes: BlockSizes) -> list[tuple[str, str, Point]]:
    """Middle of each tread, with the axis of its arm and its name."""
    long, _, _, narrow = sizes.lengths
    low, high = long - 1.5 * sizes.tread, long - 0.5 * sizes.tread
    low_x, high_x, low_y, high_y = sizes.treads
    return [
        ("x", "low tread on the X arm", _turned("x", low, narrow / 2.0, low_x)),
        ("y", "low tread on the Y arm", _turned("y", low, narrow / 2.0, low_y)),
        ("x", "high tread on the X arm", _turned("x", high, narrow / 2.0, high_x)),
        ("y", "high tread on the Y arm", _turned("y", high, narrow / 2.0, high_y)),
    ]


def _height(feature: str, top: Point, approach: Point) -> Dimension:
    note = "one jaw under the plate, one on top"
    line = _line(f"height, {feature}", Kind.OUTSIDE, "z", top[2], note)
    return Dimension(line, Tool.OUTSIDE_JAWS, (top[0], top[1], 0.0), top, approach)


def _height_steps(sizes: BlockSizes) -> list[Dimension]:
    narrow = sizes.lengths[3]
    middle, inner = sizes.lengths[0] - sizes.tread, sizes.lengths[0] - 2.0 * sizes.tread
    beside = 0.75 * ROD_MM
    out = []
    for axis, (low, high) in (("x", sizes.treads[:2]), ("y", sizes.treads[2:])):
        for at, below, above, words in (
            (middle, low, high, f"high to low tread, {axis.upper()} arm"),
            (inner, sizes.plate, low, f"low tread to plate, {axis.upper()} arm"),
        ):
            note = "foot on the upper face, rod along the riser"
            line = _line(f"step from {words}", Kind.STEP, "z", above - below, note)
            start = _turned(axis, at + beside, narrow / 2.0, above)
            end = _turned(axis, at - beside, narrow / 2.0, below)
            out.append(Dimension(line, Tool.DEPTH_ROD, start, end, (0.0, 0.0, -1.0)))
    return out


def _measurable(longest: float, printer: Printer) -> bool:
    first, second, third, narrow = (_half(longest * share) for share in LENGTH_SHARES)
    rim = _rim(printer)
    opening = max(OPENING_MM, 3.0 * max(2.0 * printer.bead_width_mm, 1.5))
    return (
        second - rim - third >= opening
        and third - 2.0 * rim >= opening
        and (first - second) / 2.0 >= TREAD_MM
        and narrow >= STAIR_WIDTH_MM
    )


def _rim(printer: Printer) -> float:
    return max(RIM_MM, _half(3.0 * printer.bead_width_mm + 0.49))


def _half(length: float) -> float:
    """Round down to half a millimetre, so that the sheet reads easily."""
    return floor(2.0 * length + 1e-9) / 2.0
