"""The sizes of the block: as large as the furnace takes, and measurable in every feature."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor
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
