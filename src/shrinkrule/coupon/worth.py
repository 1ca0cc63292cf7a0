"""What a coupon costs and what it tells: minutes, grams, and half widths before it is measured.

Least squares on the lines of the sheet themselves, as the fit does, with the scatter of one length
that hand calipers and printers usually have. How firings differ is not in it: no single coupon
knows that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt
from typing import Final

import numpy as np
from scipy import stats

from shrinkrule.coupon.piece import Piece
from shrinkrule.defaults import STATED_LENGTH_MM
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind, SheetLine

LENGTH_SD_MM: Final = 0.03
"""Standard deviation of one length about the line, caliper and print together (common practice, no
source; a coupon shows its own)."""
PRINT_MM_S: Final = 30.0
"""Speed of the nozzle while it prints such filament (common practice, no source)."""
MOVING: Final = 1.3
"""Time of a print over that in which it lays beads: moves, first layers, cooling (no source)."""
READING_S: Final = 35.0
"""Time of one reading with its note: fifty rows read twice take most of an hour."""
GREEN_OVER_FIRED: Final = 0.68
"""Density of the green part over that of the fired one: it shrinks by about 15 % along each axis
and loses a tenth of its mass (0.85^3 / 0.9)."""

_SIDES: Final = {Kind.OUTSIDE: 1.0, Kind.INSIDE: -1.0, Kind.BORE: -1.0, Kind.STEP: 0.0}


@dataclass(frozen=True)
class Worth:
    """What a coupon costs and tells.

    Parameters
    ----------
    rows : int
        Lines to fill in with readings.
    print_minutes, measure_minutes : int
        Time it prints, and time to measure it green and fired.
    grams : int
        Filament, g.
    length_mm : float
        Half width (95 %) of what one coupon tells of a fired length of 40 mm in the plane, mm.
    height_mm : float
        The same of a height of 40 mm.
    bead_mm, first_layer_mm : float
        Half widths (95 %) of the bead's spread and of what the first layer adds, mm.
    """

    rows: int
    print_minutes: int
    measure_minutes: int
    grams: int
    length_mm: float
    height_mm: float
    bead_mm: float
    first_layer_mm: float


def worth_of(
    pieces: Sequence[Piece], lines: Sequence[SheetLine], printer: Printer, density_g_cm3: float
) -> Worth:
    """What a coupon costs and tells, about.

    Parameters
    ----------
    pieces : sequence of Piece
        Its pieces.
    lines : sequence of SheetLine
        Its sheet.
    printer : Printer
        Bead and layer, mm.
    density_g_cm3 : float
        Density expected of the fired part.

    Returns
    -------
    Worth
        Times in minutes, mass in g, half widths in mm.

    Source: least squares; Student's factor for the degrees of freedom that the lines leave.
    """
    volume = sum(float(piece.mesh.volume) for piece in pieces)
    flow = printer.bead_width_mm * printer.layer_height_mm * PRINT_MM_S
    read = [line for line in lines if line.kind is not Kind.SETTING]
    bead, first_layer = _printing_half95(lines)
    return Worth(
        rows=len(read),
        print_minutes=_tidy(MOVING * volume / flow / 60.0),
        measure_minutes=_tidy(2 * len(read) * READING_S / 60.0),
        grams=_tidy(volume * density_g_cm3 * GREEN_OVER_FIRED / 1000.0),
        length_mm=_ray_half95(lines, "xy"),
        height_mm=_ray_half95(lines, "z"),
        bead_mm=bead,
        first_layer_mm=first_layer,
    )


def _lengths(lines: Sequence[SheetLine], axes: str) -> list[SheetLine]:
    """Lines of lengths along these axes; thicknesses of beams are not of the block."""
    return [
        line
        for line in lines
        if line.kind in _SIDES and line.axis in axes and not line.id.startswith("T")
    ]


def _ray_half95(lines: Sequence[SheetLine], axes: str) -> float:
    """Half width at 40 mm of a line through the origin through lengths along these axes, mm."""
    sizes = np.array([float(line.nominal or 0.0) for line in _lengths(lines, axes)])
    u = LENGTH_SD_MM * STATED_LENGTH_MM / float(np.linalg.norm(sizes))
    return float(stats.t.ppf(0.975, len(sizes) - 1)) * u


def _printing_half95(lines: Sequence[SheetLine]) -> tuple[float, float]:
    """Half widths of bead spread and first layer: scales of three axes, bead, bores, plate."""
    measured = _lengths(lines, "xyz")
    rows = [
        [
            *(float(line.nominal or 0.0) * (line.axis == axis) for axis in "xyz"),
            0.0 if line.axis == "z" else 2.0 * _SIDES[line.kind],
            float(line.axis == "z" and line.kind is Kind.OUTSIDE),
            float(line.kind is Kind.BORE),
        ]
        for line in measured
    ]
    design = np.array(rows)
    design = design[:, np.any(design != 0.0, axis=0)]
    unit = np.diagonal(np.linalg.inv(design.T @ design))
    student = float(stats.t.ppf(0.975, len(measured) - design.shape[1]))
    bead, plate = (student * LENGTH_SD_MM * sqrt(float(unit[k])) for k in (3, 4))
    return bead, plate


def _tidy(value: float) -> int:
    """Round up to two digits: nobody knows it better."""
    step: int = 10 ** max(len(str(int(value))) - 2, 0)
    return ceil(value / step) * step


def cost_words(worth: Worth) -> str:
    """What a coupon costs, in a sentence.

    Parameters
    ----------
    worth : Worth
        Its cost.

    Returns
    -------
    str
        Minutes to print and to measure, and grams.
    """
    return (
        f"It takes about {worth.print_minutes} minutes to print, a firing, and "
        f"{worth.measure_minutes} minutes to measure: {worth.rows} rows, each read once green and "
        f"once fired. It weighs about {worth.grams} g."
    )


def cannot_know(few: Worth, long: Worth) -> tuple[str, ...]:
    """What a coupon of few readings cannot know, and what the long one would add.

    Parameters
    ----------
    few, long : Worth
        What either tells.

    Returns
    -------
    tuple of str
        Sentences, half widths in mm.
    """
    return (
        "This coupon cannot know: the thinnest wall and floor that come out, by how much round "
        "holes are tighter than slots, whether the drop follows span and depth as a beam's does, "
        "and whether a caliper's zero or an axis is behind a small error. A slip of the pen in the "
        "longest length of an axis shows late with one coupon: calibrate says from which size on.",
        f"In one firing it leaves unsure (95 %) a length of {STATED_LENGTH_MM:g} mm by "
        f"{few.length_mm:.2f} mm, a height of {STATED_LENGTH_MM:g} mm by {few.height_mm:.2f}, the "
        f"bead's spread by {few.bead_mm:.2f} and the first layer by {few.first_layer_mm:.2f} mm, "
        f"if one length scatters by {LENGTH_SD_MM:g} mm. The long coupon would leave "
        f"{long.length_mm:.2f}, {long.height_mm:.2f}, {long.bead_mm:.2f} and "
        f"{long.first_layer_mm:.2f} mm.",
        f"The long one takes {long.print_minutes - few.print_minutes} minutes more to print, "
        f"{long.measure_minutes - few.measure_minutes} more to measure, and "
        f"{long.grams - few.grams} g more.",
    )
