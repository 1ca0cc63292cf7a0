"""Sizes of a part that nobody prints, and units that would make sense of them."""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.defaults import LARGEST_ROOM_MM
from shrinkrule.errors import FileError, MeshError
from shrinkrule.numerics.arrays import Floats, box_of
from shrinkrule.units import MM_PER_UNIT

SMALLEST_PLAUSIBLE_MM: Final = 2.0
LARGEST_PLAUSIBLE_MM: Final = 400.0
"""Longest side of a part printed and sintered in a small shop (common practice, no source)."""

SMALLEST_MM: Final = 0.05
FARTHEST_MM: Final = 1e6
"""Beyond these a part is refused: less than a nozzle prints, more than a coordinate resolves. Of
the longest side, no bed or furnace that can be stated (`LARGEST_ROOM_MM`) holds more."""

THINNEST_MM: Final = 0.01
"""Least extent in any direction: a tenth of a thin layer; below it a part is a sheet or a line."""

_ROUNDED_MM: Final = 1e-6
"""Thickness that is rounding alone."""

LONGEST_DRAWN_INCHES: Final = 10.0
"""Longest side, as a number, of a part that may have been drawn in inches: in inches it would be
254 mm, about what a bed takes, and in mm it is a very small part."""

INCHES_ROUNDED: Final = 5.0e-4
"""What a number in inches may have been rounded by: to three decimals."""


def require_size(vertices: Floats, where: str, unit: str) -> None:
    """Refuse a size that no wall or sag can be worked out for, in any unit of the workshop.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    where : str
        Name of the part, for messages.
    unit : str
        Unit of the file's numbers.

    Raises
    ------
    FileError
        For such a size or place.
    """
    low, high = box_of(vertices)
    # Two halves, since the whole may be more than float64 holds.
    longest = 2.0 * float((0.5 * high - 0.5 * low).max())
    farthest = float(np.abs(vertices).max())
    if SMALLEST_MM <= longest <= LARGEST_ROOM_MM and farthest <= FARTHEST_MM:
        return
    if longest < SMALLEST_MM or longest > LARGEST_ROOM_MM:
        limit = f"under {SMALLEST_MM:g}" if longest < SMALLEST_MM else f"over {LARGEST_ROOM_MM:g}"
        what = f"the longest side is {longest:.4g} mm, and nobody prints {limit} mm"
        hint = "check the model and its unit"
        if unit in MM_PER_UNIT and (better := _better_units(longest, unit)):
            hint = f"state its unit; those that would make sense: {', '.join(better)}"
    else:
        what = f"the part lies {farthest:.3g} mm away from the origin of its axes"
        hint = "move it to the origin and export it again"
    raise FileError(what, where=where, hint=hint)


def require_extent(vertices: Floats, where: str) -> None:
    """Refuse a part that is a sheet or a line: nothing of it can be printed in any direction.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    where : str
        Name of the part, for messages.

    Raises
    ------
    MeshError
        For such a part.
    """
    middle = vertices - vertices.mean(axis=0)
    # The directions of the scatter matrix: a sheet that lies slanting is thin along its normal.
    _, directions = np.linalg.eigh(middle.T @ middle)
    extents = np.ptp(middle @ directions, axis=0)
    thinnest = float(extents.min())
    if thinnest >= THINNEST_MM:
        return
    what = "line" if int((extents < THINNEST_MM).sum()) > 1 else "sheet"
    thin = f"{thinnest:.2g} mm thin" if thinnest > _ROUNDED_MM else "without thickness"
    raise MeshError(
        f"the part is a {what} {thin}, and no layer or wall of it can be made",
        where=where,
        hint="give it a thickness in the modelling program, or check its unit",
    )


def _better_units(longest: float, unit: str, *, inches: bool = True) -> list[str]:
    """Units in which a length would be that of a printed part, with the length."""
    in_file = longest / MM_PER_UNIT.get(unit, 1.0)
    return [
        f"{name} ({in_file * factor:.3g} mm)"
        for name, factor in MM_PER_UNIT.items()
        if SMALLEST_PLAUSIBLE_MM <= in_file * factor <= LARGEST_PLAUSIBLE_MM
        and name != "ft"
        and (name != "in" or inches)
    ]


def size_warning(vertices: Floats, unit: str) -> tuple[str, ...]:
    """Say where a size is odd for a printed part, with the unit that would make sense.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    unit : str
        Unit of the file's numbers.

    Returns
    -------
    tuple of str
        At most one warning.
    """
    low, high = box_of(vertices)
    sides = (high - low) / MM_PER_UNIT.get(unit, 1.0)
    longest, in_file = float((high - low).max()), float(sides.max())
    inches = unit == "mm" and _round_in_inches(sides)
    if SMALLEST_PLAUSIBLE_MM <= longest <= LARGEST_PLAUSIBLE_MM:
        if not (inches and longest < LONGEST_DRAWN_INCHES):
            return ()
        numbers = ", ".join(f"{side:g}" for side in np.round(sides, 3))
        return (
            f"its sides ({numbers}) are round in inches and not in mm: drawn in inches, it would "
            f"be {in_file * MM_PER_UNIT['in']:.3g} mm long",
        )
    better = _better_units(longest, unit, inches=inches)
    advice = f"; units that would make sense: {', '.join(better)}" if better else ""
    return (f"the longest side is {longest:.3g} mm, odd for a printed part{advice}",)


def _round_in_inches(sides: Floats) -> bool:
    """Whether the sides (3,) of a file's box are 64ths, and not all of them tenths."""
    in_64ths, in_tenths = 64.0 * sides, 10.0 * sides
    slack = 64.0 * INCHES_ROUNDED  # drawings write 2 21/32 as 2.656
    round_in_inches = np.abs(in_64ths - np.round(in_64ths)) <= slack
    round_in_mm = np.abs(in_tenths - np.round(in_tenths)) <= 10.0 * INCHES_ROUNDED
    return bool(round_in_inches.all() and not round_in_mm.all())
