"""Whether the numbers of a measuring sheet make sense together.

A sheet filled with green and fired exchanged is corrected as a whole, because the model's own
dimensions leave no doubt. A single line that cannot be right is refused: only the maker knows
which of its numbers is the slip.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from statistics import fmean, median
from typing import Final

from shrinkrule.calibration.sheets.sheet import BEAM_KINDS, LENGTH_KINDS, MASS_KINDS, Reading, Sheet
from shrinkrule.defaults import CREDIBLE_SHRINKAGE
from shrinkrule.errors import SheetError

MOST: Final = 0.6
"""Share of the lines that must agree before a whole sheet is taken as exchanged."""

LEAST_SHRINKAGE: Final = 0.005
"""A coupon whose lengths shrink by less has not sintered."""

GREEN_OFF_MODEL: Final = (0.10, 1.0)
"""A green length departs from its model by less than this share plus this many mm."""

REPEAT_SPREAD: Final = (0.02, 0.3)
"""Readings of one length differ by less than this share plus this many mm."""


def refuse_empty(sheet: Sheet) -> None:
    """Refuse a sheet with no green or no fired length, unless it holds drops of bars alone.

    Parameters
    ----------
    sheet : Sheet
        The sheet.

    Raises
    ------
    SheetError
        If a column is empty.
    """
    lengths = sheet.of_kind(*LENGTH_KINDS)
    green = any(reading.green for reading in lengths)
    fired = any(reading.fired for reading in lengths)
    drops = any(reading.fired or reading.remark for reading in sheet.of_kind(*BEAM_KINDS))
    if drops and not green and not fired:
        return
    for stage, filled in (("green", green), ("fired", fired)):
        if not filled:
            raise SheetError(
                f"column '{stage}_1' holds no length",
                where=sheet.where,
                hint=f"measure the {stage} coupon and type its lengths there",
            )


def green_before_fired(sheet: Sheet) -> Sheet:
    """Exchange the two stages of a whole sheet where nearly every part would have grown.

    Parameters
    ----------
    sheet : Sheet
        The sheet as typed.

    Returns
    -------
    Sheet
        The sheet, exchanged back with a note where that leaves no doubt.
    """
    pairs = [r for r in sheet.readings if r.is_length]
    grown = [r for r in pairs if fmean(r.fired) > fmean(r.green)]
    nearer = [r for r in grown if r.nominal and _off(r.fired, r.nominal) < _off(r.green, r.nominal)]
    if not pairs or len(nearer) < MOST * len(pairs):
        return sheet
    exchanged = tuple(
        replace(r, green=r.fired, fired=r.green) if _is_exchanged(r) else r for r in sheet.readings
    )
    note = "green and fired were exchanged: the columns headed fired hold the model's sizes"
    return replace(sheet, readings=exchanged, notes=(*sheet.notes, note))


def _is_exchanged(reading: Reading) -> bool:
    """Whether a line of an exchanged sheet is exchanged too; weights may be right."""
    if reading.kind in MASS_KINDS:
        return bool(reading.green and reading.fired) and fmean(reading.fired) > fmean(reading.green)
    return True


def _off(values: tuple[float, ...], nominal: float) -> float:
    """Distance of the mean of readings from the model, mm."""
    return abs(fmean(values) - nominal)


def refuse_disagreeing_repeats(sheet: Sheet, reading: Reading) -> None:
    """Refuse repeats of one length that differ by more than a caliper does.

    Parameters
    ----------
    sheet : Sheet
        The sheet, for the message.
    reading : Reading
        One of its lines.

    Raises
    ------
    SheetError
        If they differ by more than REPEAT_SPREAD.
    """
    share, plus = REPEAT_SPREAD
    for stage, values in (("green", reading.green), ("fired", reading.fired)):
        if len(values) > 1 and max(values) - min(values) > share * max(values) + plus:
            shown = ", ".join(f"{value:g}" for value in values)
            raise SheetError(
                f"line {reading.line}, columns '{stage}_1..3': {reading.id} reads {shown}, which "
                "disagree",
                where=sheet.where,
                hint="one is a slip: measure again, or delete it",
            )


def refuse_far_from_model(sheet: Sheet, reading: Reading) -> None:
    """Refuse a green length far from its model.

    Parameters
    ----------
    sheet : Sheet
        The sheet, for the message.
    reading : Reading
        One of its lengths.

    Raises
    ------
    SheetError
        If it is off by more than GREEN_OFF_MODEL.
    """
    share, plus = GREEN_OFF_MODEL
    if reading.nominal is None:
        return
    for column, value in zip(("green_1", "green_2", "green_3"), reading.green, strict=False):
        if abs(value - reading.nominal) > share * reading.nominal + plus:
            raise SheetError(
                f"line {reading.line}, column {column!r}: {reading.id} is {value:g} mm green, far "
                f"from the model's {reading.nominal:g} mm",
                where=sheet.where,
                hint="look for a wrong line, a lost digit or another unit (write 1.65 in)",
            )


def refuse_growth(sheet: Sheet, reading: Reading) -> None:
    """Refuse a length that grew in the furnace, or shrank by more than any filament.

    Parameters
    ----------
    sheet : Sheet
        The sheet, for the message.
    reading : Reading
        One of its lengths.

    Raises
    ------
    SheetError
        If it did, or is as long fired as green.
    """
    if not reading.is_length:
        return
    green, fired = fmean(reading.green), fmean(reading.fired)
    if fired == green:
        raise SheetError(
            f"line {reading.line}, column 'fired_1': {reading.id} is {fired:g} mm fired and green",
            where=sheet.where,
            hint="one was typed into both columns; measure the other again",
        )
    if fired > green:
        raise SheetError(
            f"line {reading.line}, column 'fired_1': {reading.id} is larger fired, {fired:g} mm, "
            f"than green, {green:g} mm",
            where=sheet.where,
            hint="if the two are exchanged, type them in their columns",
        )
    if fired < (1.0 - CREDIBLE_SHRINKAGE) * green:
        raise SheetError(
            f"line {reading.line}, column 'fired_1': {reading.id} shrank from {green:g} to "
            f"{fired:g} mm, more than any filament",
            where=sheet.where,
            hint="look for a lost digit or a wrong line",
        )


def refuse_no_length(sheet: Sheet, reading: Reading) -> None:
    """Refuse a length of nothing or less.

    Parameters
    ----------
    sheet : Sheet
        The sheet, for the message.
    reading : Reading
        One of its readings.

    Raises
    ------
    SheetError
        If a green or fired length is not above 0.
    """
    if not reading.is_length:
        return
    for stage, values in (("green", reading.green), ("fired", reading.fired)):
        for number, value in enumerate(values, 1):
            if not value > 0.0:
                raise SheetError(
                    f"line {reading.line}, column '{stage}_{number}': {reading.id} is "
                    f"{value:g} mm {stage}, and a length is more",
                    where=sheet.where,
                    hint="leave blank what was not measured",
                )


def refuse_unshrunk(sheet: Sheet) -> None:
    """Refuse a sheet whose fired lengths are the green ones measured once more.

    Parameters
    ----------
    sheet : Sheet
        The sheet.

    Raises
    ------
    SheetError
        If half of its lengths shrank by less than LEAST_SHRINKAGE.
    """
    shrunk = [1.0 - fmean(r.fired) / fmean(r.green) for r in sheet.readings if r.is_length]
    if shrunk and abs(median(shrunk)) < LEAST_SHRINKAGE:
        raise SheetError(
            f"the fired lengths are the green ones: half of them shrank by less than "
            f"{100 * LEAST_SHRINKAGE:g} %",
            where=sheet.where,
            hint="type the sizes after firing into the columns fired_1..3",
        )


def refuse_gained_mass(sheet: Sheet, reading: Reading) -> None:
    """Refuse a weight that rises from one stage to the next.

    Parameters
    ----------
    sheet : Sheet
        The sheet, for the message.
    reading : Reading
        One of its weights.

    Raises
    ------
    SheetError
        If it rises by more than a twentieth.
    """
    stages = [("green_1", reading.green[:1]), ("fired_1", reading.fired[:1])]
    if reading.debound is not None:
        stages.insert(1, ("debound_1", (reading.debound,)))
    weighed = [(column, values[0]) for column, values in stages if values]
    # Sintering may take up a little oxygen or carbon after debinding; nothing adds a twentieth.
    for (_, before), (column, after) in pairwise(weighed):
        if after > 1.05 * before:
            raise SheetError(
                f"line {reading.line}, column {column!r}: {reading.id} gained weight, from "
                f"{before:g} to {after:g} g",
                where=sheet.where,
                hint="look for exchanged columns or a lost digit",
            )


def noting_gaps(sheet: Sheet) -> Sheet:
    """Note the lengths that were not measured both green and fired.

    Parameters
    ----------
    sheet : Sheet
        The sheet.

    Returns
    -------
    Sheet
        The same, with a note. Thicknesses of bars that were not in this load are no gaps.
    """
    beams = sheet.of_kind(*BEAM_KINDS)
    elsewhere = not any(beam.green or beam.fired or beam.remark for beam in beams)
    depths = {beam.thickness for beam in beams} if elsewhere else set()
    lengths = [
        r for r in sheet.of_kind(*LENGTH_KINDS) if r.green or r.fired or r.nominal not in depths
    ]
    gaps = [r.id for r in lengths if not r.is_length and (r.green or r.fired)]
    blank = [r.id for r in lengths if not r.green and not r.fired]
    if 2 * len(blank) < len(lengths):
        # Where most lines are blank, the sheet is of another piece.
        gaps += blank
    if not gaps:
        return sheet
    return replace(sheet, notes=(*sheet.notes, f"not measured both times: {', '.join(gaps)}"))
