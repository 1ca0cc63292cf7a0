"""Sheets of one coupon that was fired in several loads, joined into one.

A small furnace takes the block in one load and the bars in another; each load has its own copy
of the sheet. Shrinkage is that of the block's load. The bars bring their drops and thicknesses
as fired; their firing is kept, because the sag modulus is that of their load.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from shrinkrule.calibration.sheets.sheet import BEAM_KINDS, LENGTH_KINDS, Reading, Sheet
from shrinkrule.errors import SheetError


def is_block(sheet: Sheet) -> bool:
    """Whether a sheet holds lengths of the block: along X or Z, which no bar has.

    Parameters
    ----------
    sheet : Sheet
        A measured sheet.

    Returns
    -------
    bool
        Whether it does.
    """
    return any(reading.is_length and reading.axis in "xz" for reading in sheet.readings)


def has_drops(sheet: Sheet) -> bool:
    """Whether a sheet holds drops of beams.

    Parameters
    ----------
    sheet : Sheet
        A measured sheet.

    Returns
    -------
    bool
        Whether it does.
    """
    return any(reading.fired or reading.remark for reading in sheet.of_kind(*BEAM_KINDS))


def joined(sheets: Sequence[Sheet]) -> tuple[Sheet, ...]:
    """One sheet for each coupon: what was fired apart from its block joins the block's sheet.

    Parameters
    ----------
    sheets : sequence of Sheet
        All sheets, in any order.

    Returns
    -------
    tuple of Sheet
        Those of the blocks, in their order; the sheets as they are where no block is among them.

    Raises
    ------
    SheetError
        If a sheet without a block belongs to no block or to several, or a line is measured on
        both sheets.
    """
    blocks = [sheet for sheet in sheets if is_block(sheet)]
    if not blocks:
        return tuple(sheets)
    for rest in sheets:
        if not is_block(rest):
            place = _block_of(rest, blocks)
            blocks[place] = _together(blocks[place], rest)
    return tuple(blocks)


def _block_of(rest: Sheet, blocks: Sequence[Sheet]) -> int:
    """Place of the block that a sheet belongs to."""
    coupon, firing = rest.settings.coupon, rest.settings.firing
    same = [n for n, block in enumerate(blocks) if block.settings.coupon == coupon]
    closer = [n for n in same if blocks[n].settings.firing == firing]
    if len(closer or same) == 1:
        return (closer or same)[0]
    if not same:
        raise SheetError(
            f"it holds no block, and no other sheet is of coupon {coupon!r}",
            where=rest.where,
            hint="name the sheet of its block too, with the same number in line S1",
        )
    raise SheetError(
        f"it holds no block, and {len(same)} sheets are of coupon {coupon!r}",
        where=rest.where,
        hint="give each coupon a number of its own in line S1",
    )


def _together(block: Sheet, rest: Sheet) -> Sheet:
    """A block's sheet with the lines of another load."""
    mine = {r.id: r for r in block.readings if _is_measured(r)}
    twice = [r.id for r in rest.readings if _is_measured(r) and r.id in mine]
    if twice:
        raise SheetError(
            f"{twice[0]} of coupon {block.settings.coupon!r} is measured in {block.where} too",
            where=rest.where,
            hint="leave it blank on one of them",
        )
    other_load = block.settings.firing != rest.settings.firing
    theirs = {r.id: _of_load(r, rest, other_load) for r in rest.readings if _is_measured(r)}
    readings = [theirs.pop(r.id, r) for r in block.readings]
    notes: tuple[str, ...] = ()
    if other_load and has_drops(rest):
        notes = (
            f"the drops are of firing {rest.settings.firing}, the shrinkage of firing "
            f"{block.settings.firing}",
        )
    gauge = rest.settings.gauge_resolution if has_drops(rest) else block.settings.gauge_resolution
    return replace(
        block,
        settings=replace(block.settings, gauge_resolution=gauge),
        readings=(*readings, *theirs.values()),
        notes=(*block.notes, *(f"{rest.where}: {note}" for note in rest.notes), *notes),
        beam_firing=rest.settings.firing if has_drops(rest) else block.beam_firing,
    )


def _of_load(reading: Reading, sheet: Sheet, other_load: bool) -> Reading:
    """A line of another sheet; a length of another firing keeps its fired size alone."""
    if other_load and reading.kind in LENGTH_KINDS:
        return replace(reading, where=sheet.where, green=())
    return replace(reading, where=sheet.where)


def _is_measured(reading: Reading) -> bool:
    return bool(reading.green or reading.fired or reading.remark)
