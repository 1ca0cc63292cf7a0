"""The sizes of the block: as large as the furnace takes, and measurable in every feature."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, hypot, sqrt
from typing import Final

from shrinkrule.coupon.solid import foot_chamfer
from shrinkrule.printer import Printer

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
PIN_BEADS: Final = (4.0, 6.0)
"""Diameters in beads of the round holes that a gauge pin measures: where curvature begins to drag
the bead inward, and half as far again; jaws enter the third hole, from nine beads on."""
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
        Diameter of the round hole that jaws enter.
    hole_at : float
        Its middle along X and along Y.
    pin_holes : tuple of (float, float)
        Diameter of each round hole for a gauge pin, and its middle along X and along Y.
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
    hole_at: float
    pin_holes: tuple[tuple[float, float], ...] = ()

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
    hole = max(OPENING_MM, _half(0.75 * (third - 2.0 * rim)))
    hole_at, pin_holes = _round_holes(third, rim, hole, printer)
    return BlockSizes(
        lengths=(first, second, third, fourth),
        plate=plate * layer,
        treads=(low_x, high_x, low_y, high_y),
        rim=rim,
        hole=hole,
        chamfer=foot_chamfer(layer),
        pip=max(2.0 * printer.bead_width_mm, 1.5),
        hole_at=hole_at,
        pin_holes=pin_holes,
    )


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


def _round_holes(
    corner: float, rim: float, hole: float, printer: Printer
) -> tuple[float, tuple[tuple[float, float], ...]]:
    """Middle of the round hole, and the holes for pins beside it on the corner's diagonal.

    The plate between two of them is two beads wide above the chamfers at the foot, which holes for
    pins do not have. Where the first does not fit, there is none; where the second does not fit
    between the round hole, the windows and the inner corner, it is smaller, or left out.
    """
    chamfer = foot_chamfer(printer.layer_height_mm)
    web = 2.0 * printer.bead_width_mm + chamfer
    least, most = (max(_half(beads * printer.bead_width_mm), 1.0) for beads in PIN_BEADS)
    first = _tenth(web + least / 2.0)
    middle = _tenth(max(first + sqrt(0.5) * (least / 2.0 + hole / 2.0 + web), rim + hole / 2.0))
    if corner - middle - hole / 2.0 < web + chamfer:
        return corner / 2.0, ()
    size = most
    while size > least:
        at = _tenth(middle + sqrt(0.5) * (hole / 2.0 + size / 2.0 + web))
        to_window = hypot(corner - at, max(at - (corner - rim), 0.0))
        to_corner = sqrt(2.0) * (corner - at)
        if at < corner and min(to_window, to_corner) >= size / 2.0 + web:
            return middle, ((least, first), (size, at))
        size -= 0.5
    return middle, ((least, first),)


def _tenth(length: float) -> float:
    """Round up to a tenth of a millimetre."""
    return ceil(10.0 * length - 1e-9) / 10.0


def _rim(printer: Printer) -> float:
    return max(RIM_MM, _half(3.0 * printer.bead_width_mm + 0.49))


def _half(length: float) -> float:
    """Round down to half a millimetre, so that the sheet reads easily."""
    return floor(2.0 * length + 1e-9) / 2.0
