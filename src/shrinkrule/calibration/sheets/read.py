"""Reading a measuring sheet, from the file to numbers that make sense together."""

from __future__ import annotations

from pathlib import Path

from shrinkrule.calibration.sheets.check import (
    green_before_fired,
    noting_gaps,
    refuse_disagreeing_repeats,
    refuse_empty,
    refuse_far_from_model,
    refuse_gained_mass,
    refuse_growth,
    refuse_no_length,
    refuse_unshrunk,
)
from shrinkrule.calibration.sheets.inches import in_millimetres
from shrinkrule.calibration.sheets.parse import parse_sheet
from shrinkrule.calibration.sheets.sheet import LENGTH_KINDS, MASS_KINDS, Sheet
from shrinkrule.errors import SheetError


def read_sheet(path: str | Path) -> Sheet:
    """Read a filled measuring sheet, correct what leaves no doubt, refuse what cannot be right.

    Parameters
    ----------
    path : str or Path
        The CSV file.

    Returns
    -------
    Sheet
        What was measured, with notes on what was corrected.

    Raises
    ------
    SheetError
        For anything that :func:`parse_sheet` refuses, a column without any reading, repeats that
        disagree, a green length far from its model, or a fired one not smaller than its green.
    """
    sheet = in_millimetres(parse_sheet(path))
    if sheet.parts:
        raise SheetError(
            "this is the sheet of a load of parts, not of a coupon",
            where=sheet.where,
            hint="review it; what it teaches is added by the review",
        )
    refuse_empty(sheet)
    return noting_gaps(checked(sheet))


def checked(sheet: Sheet) -> Sheet:
    """Correct what leaves no doubt in a sheet of a coupon or a load, refuse what cannot be right.

    Parameters
    ----------
    sheet : Sheet
        The sheet in mm.

    Returns
    -------
    Sheet
        The same, green and fired exchanged back where they were exchanged as a whole.

    Raises
    ------
    SheetError
        For a length of nothing, repeats that disagree, a green length far from its model, a fired
        one not smaller than
        its green, fired lengths that are the green ones, weights that rise.
    """
    for reading in sheet.readings:
        refuse_no_length(sheet, reading)
    sheet = green_before_fired(sheet)
    refuse_unshrunk(sheet)
    for reading in sheet.readings:
        refuse_disagreeing_repeats(sheet, reading)
        if reading.kind in LENGTH_KINDS:
            refuse_far_from_model(sheet, reading)
            refuse_growth(sheet, reading)
        elif reading.kind in MASS_KINDS:
            refuse_gained_mass(sheet, reading)
    return sheet
