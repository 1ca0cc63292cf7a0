"""A filled sheet of a load: the parts that were fired together, each as a sheet of its own.

The cells are read by the one reader of sheets. Unlike a coupon, a part may come back with some
stages unmeasured: what is there is used, and what is missing is reported where it would be used.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from shrinkrule.calibration.sheets.inches import in_millimetres
from shrinkrule.calibration.sheets.parse import parse_sheet
from shrinkrule.calibration.sheets.read import checked
from shrinkrule.calibration.sheets.sheet import PartLine, Reading, Sheet
from shrinkrule.errors import SheetError
from shrinkrule.sheet import Setting

SAG_TEACHES_MM: Final = 0.13
"""Sag over which a length is no witness of shrinkage. Smaller ones are taken off: an estimate that
is 15 % off leaves 0.02 mm then, which is what single lengths stray by themselves."""

MOVED: Final = "moved by sag, and left out"

_MARK: Final = re.compile(r"([A-Z]+?)(\d+[XY]?|M)")
"""Mark of a line of a load: the part's letter, then the dimension's number or M for its weights."""


@dataclass(frozen=True)
class LoadedPart:
    """One part of a load that came back.

    Parameters
    ----------
    line : PartLine
        Which part.
    sheet : Sheet
        The sheet's head with this part's readings alone; marks as they stand on the sheet.
    """

    line: PartLine
    sheet: Sheet

    @property
    def weights(self) -> Reading | None:
        """Its line of weights, if there is one."""
        return next((r for r in self.sheet.readings if r.id == f"{self.line.letter}M"), None)


def read_load(path: str | Path) -> tuple[LoadedPart, ...]:
    """Read a filled sheet of a load.

    Parameters
    ----------
    path : str or Path
        The CSV file.

    Returns
    -------
    tuple of LoadedPart
        Its parts, in order.

    Raises
    ------
    SheetError
        For anything that :func:`parse_sheet` or :func:`checked` refuses, a sheet of no load, a
        line that belongs to no part, or one without any reading.
    """
    sheet = in_millimetres(parse_sheet(path))
    if not sheet.parts:
        raise SheetError(
            "this is no sheet of a load: no line is of kind 'part'",
            where=sheet.where,
            hint="review the NAME.load.csv that the traveler wrote; coupons go to calibrate",
        )
    if not any(r.green or r.fired or r.debound is not None for r in sheet.readings):
        raise SheetError(
            "it holds no reading",
            where=sheet.where,
            hint="type what you measured into the columns green, debound and fired",
        )
    sheet = checked(sheet)
    # No beam is on it, so that nothing was read with a feeler.
    notes = tuple(n for n in sheet.notes if not n.startswith(f"{Setting.GAUGE_RESOLUTION}:"))
    sheet = replace(sheet, notes=notes)
    letters = {part.letter for part in sheet.parts}
    of_part: dict[str, list[Reading]] = {letter: [] for letter in letters}
    for reading in sheet.readings:
        found = _MARK.fullmatch(reading.id)
        if found is None or found[1] not in letters:
            raise SheetError(
                f"line {reading.line}: {reading.id} belongs to no part of this load",
                where=sheet.where,
                hint="keep the marks as they were handed out",
            )
        of_part[found[1]].append(reading)
    return tuple(
        LoadedPart(part, replace(sheet, readings=tuple(of_part[part.letter]), parts=(part,)))
        for part in sheet.parts
    )


def as_coupon(part: LoadedPart) -> Sheet:
    """A part as a coupon of odd lengths, without the sag: those that it moves far stay out.

    Its weights stay out too: the volume that its beads fill beside the model's is not known.

    Parameters
    ----------
    part : LoadedPart
        One part of a filled sheet.

    Returns
    -------
    Sheet
        Its lengths, named after part and letter. Its heights are whole layers already, so that
        no layer is named.
    """
    name = f"{part.line.name} {part.line.letter}"
    lengths = tuple(_unbent(r) for r in part.sheet.readings if r.is_length and not _is_moved(r))
    moved = [r.id for r in part.sheet.readings if r.is_length and _is_moved(r)]
    notes = (f"{MOVED}: {', '.join(moved)}",) if moved else ()
    return replace(
        part.sheet,
        settings=replace(part.sheet.settings, coupon=name, layer_height=None),
        readings=lengths,
        notes=(*part.sheet.notes, *notes),
        parts=(part.line,),
    )


def _unbent(reading: Reading) -> Reading:
    """A reading without the estimated sag in its fired sizes."""
    sag = reading.sag_mm or 0.0
    return replace(reading, fired=tuple(size - sag for size in reading.fired))


def _is_moved(reading: Reading) -> bool:
    return abs(reading.sag_mm or 0.0) > SAG_TEACHES_MM
