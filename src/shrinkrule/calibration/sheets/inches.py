"""Sheets whose readings were typed in inches although the sheet says mm.

The model's own sizes leave no doubt about the lengths. Drops have no model: a feeler's leaf is
a twentieth of a millimetre at least, and a beam that dropped by half its depth is none, so most
drops can only be in one unit; those that may be in either are refused.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import fmean
from typing import Final

from shrinkrule.calibration.sheets.sheet import (
    BEAM_KINDS,
    LENGTH_KINDS,
    MASS_KINDS,
    Reading,
    Sheet,
)
from shrinkrule.errors import SheetError
from shrinkrule.units import MM_PER_UNIT

INCH: Final = MM_PER_UNIT["in"]

MOST: Final = 0.6
"""Share of the lengths that must agree before a whole sheet is taken as in inches."""

LIKE_MODEL: Final = (0.6, 1.3)
"""A reading over its model's size lies between these if both are in one unit."""

THINNEST_LEAF_MM: Final = 0.05
"""Thinnest leaf of a usual feeler gauge (common practice, no source)."""

LARGEST_DROP_PER_DEPTH: Final = 0.5
"""No drop that a beam formula covers is a larger share of the beam's depth."""

STATED_STEP_MM: Final = 0.03
"""No caliper that measures a coupon has a coarser step."""


def in_millimetres(sheet: Sheet) -> Sheet:
    """Convert a sheet whose lengths were typed in inches under a heading of mm.

    Lines with a unit of their own, and lines that agree with their model in mm, stay.

    Parameters
    ----------
    sheet : Sheet
        The sheet as typed.

    Returns
    -------
    Sheet
        The sheet in mm, with a note where it was converted.

    Raises
    ------
    SheetError
        If the drops of such a sheet may be in mm as well as in inches.
    """
    guessed = [reading for reading in sheet.readings if not reading.unit_stated]
    lengths = [r for r in guessed if r.kind in LENGTH_KINDS and (r.green or r.fired)]
    if not lengths or sum(_like_model(r, INCH) for r in lengths) < MOST * len(lengths):
        return sheet
    drops = [r for r in guessed if r.kind in BEAM_KINDS and r.fired]
    drops_too = bool(drops) and _drops_in_inches(sheet, drops)

    def converted(reading: Reading) -> Reading:
        in_mm = drops_too is False if reading.kind in BEAM_KINDS else _like_model(reading, 1.0)
        if reading.kind in MASS_KINDS or reading.unit_stated or in_mm:
            return reading
        return replace(
            reading,
            green=tuple(INCH * value for value in reading.green),
            fired=tuple(INCH * value for value in reading.fired),
            debound=None if reading.debound is None else INCH * reading.debound,
        )

    note = "the lengths are a 25th of the model's: read as inches"
    if drops:
        note += ", the drops too" if drops_too else ", the drops as mm"
    step = min(sheet.settings.caliper_resolution * INCH, STATED_STEP_MM)
    return replace(
        sheet,
        settings=replace(sheet.settings, caliper_resolution=step),
        readings=tuple(map(converted, sheet.readings)),
        notes=(*sheet.notes, note),
    )


def _like_model(reading: Reading, factor: float) -> bool:
    """Whether a line's first stage, times a factor, is about the size of its model."""
    values = reading.green or reading.fired
    if not reading.nominal or not values:
        return False
    low, high = LIKE_MODEL
    return low < factor * fmean(values) / reading.nominal < high


def _drops_in_inches(sheet: Sheet, drops: list[Reading]) -> bool:
    """Whether the drops of a sheet in inches are in inches too."""
    largest = max(drops, key=lambda reading: fmean(reading.fired))
    drop, depth = fmean(largest.fired), largest.thickness or 0.0
    if drop < THINNEST_LEAF_MM:
        return True
    if INCH * drop > LARGEST_DROP_PER_DEPTH * depth:
        return False
    raise SheetError(
        f"line {largest.line}, column 'fired_1': the lengths are in inches, and the drop of "
        f"{drop:g} may be in inches or in mm",
        where=sheet.where,
        hint="write the unit behind each drop, as 0.10mm or 0.004in",
    )
