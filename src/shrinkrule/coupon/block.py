"""The block: lengths in X, Y and Z that separate scale from bead spread.

A flat plate cut as a staircase in plan gives four outside lengths along X and the
same four along Y from two common faces; windows and round holes of three diameters give
inside lengths, the stair's own treads give steps. Two upright stairs on its arms give
the heights. All sections stay thin, so that binder leaves the coupon as it leaves a part.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from manifold3d import CrossSection, Manifold

from shrinkrule.coupon.block_sizes import STAIR_WIDTH_MM, BlockSizes
from shrinkrule.coupon.layout import Rectangles
from shrinkrule.coupon.piece import JAW_GRIP_MM, ROD_MM, Dimension, Piece, Point, Tool
from shrinkrule.coupon.solid import (
    Ring,
    as_hole,
    box,
    chamfered_prism,
    circle,
    rectangle,
    to_mesh,
    union,
)
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind, SheetLine


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
        as_hole(circle(sizes.hole_at, sizes.hole_at, sizes.hole)),
        as_hole(window),
        as_hole(rectangle(rim, rim + wide, third, third + short)),
    ]
    plate = chamfered_prism(rings, sizes.plate, sizes.chamfer)
    solid = union([plate, *_stairs(sizes), *_pips(sizes, printer)])
    for diameter, at in sizes.pin_holes:
        solid -= Manifold.extrude(CrossSection([circle(at, at, diameter)]), sizes.plate + 1.0)
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
    found += _pin_holes(sizes)
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
    centre, reach = sizes.hole_at, sizes.hole / 2.0
    other = "Y" if axis == "x" else "X"
    slot, middle = Kind.INSIDE, rim + wide / 2.0
    places = (
        (f"round hole across {axis.upper()}", Kind.BORE, centre - reach, centre + reach, centre),
        (f"window of the {axis.upper()} arm, short side", slot, third, third + short, middle),
        (f"window of the {other} arm, long side", slot, rim, rim + wide, third + short / 2.0),
    )
    grip = (sizes.chamfer + sizes.plate) / 2.0
    note = "inside jaws from below, past the chamfer"
    return [
        Dimension(
            _line(feature, kind, axis, stop - start, note),
            Tool.INSIDE_JAWS,
            _turned(axis, start, across, grip),
            _turned(axis, stop, across, grip),
            (0.0, 0.0, 1.0),
        )
        for feature, kind, start, stop, across in places
    ]


def _pin_holes(sizes: BlockSizes) -> list[Dimension]:
    """Round holes that a gauge pin measures from above: the first across X, the second across Y."""
    grip = sizes.plate - JAW_GRIP_MM / 2.0
    note = "thickest gauge pin or drill shank that enters from above"
    return [
        Dimension(
            _line(f"small round hole of {diameter:g} mm", Kind.BORE, axis, diameter, note),
            Tool.PIN,
            _turned(axis, at - diameter / 2.0, at, grip),
            _turned(axis, at + diameter / 2.0, at, grip),
            (0.0, 0.0, -1.0),
        )
        for axis, (diameter, at) in zip(("x", "y"), sizes.pin_holes, strict=False)
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
