"""What a row of the calibration table states of the settings: measured, it goes before files.

This is the one place where a row's value becomes a setting. A ladder raises the limit of walls or
floors as soon as a step of it did not come out on one coupon, and lowers it where two coupons
agree; for pins it lowers nothing, because a ladder has none.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from shrinkrule.defaults import CLOSED_FLOOR_LAYERS
from shrinkrule.settings.key import Value
from shrinkrule.settings.keys import KEYS
from shrinkrule.settings.stated import Source, Stated

if TYPE_CHECKING:
    from shrinkrule.calibration import CalibrationRow, Ladder

COUPONS_THAT_AGREE: Final = 2
"""Coupons on which a thinner step must come out before a limit is lowered."""

NEXT_STEP_BEADS: Final = 0.25
"""Where no step came out, a wall is asked for that is thicker than the thickest by the ladder's
own step; a floor by a layer."""

_TIES: Final = {
    "limits.wall_beads": "printer.bead_width",
    "limits.floor_layers": "printer.layer_height",
}


def row_states(row: CalibrationRow, table: str) -> Stated:
    """What a row states.

    Parameters
    ----------
    row : CalibrationRow
        The row to shrink by.
    table : str
        Where it stands, in words.

    Returns
    -------
    Stated
        What was measured with its coupons, and what they were printed with.
    """
    usual_beads = KEYS["limits.wall_beads"].built_in or 1.0
    walls = _limit(row.walls, row.bead_width_mm, usual_beads, NEXT_STEP_BEADS)
    floors = _limit(row.floors, row.layer_height_mm, CLOSED_FLOOR_LAYERS, 1.0)
    known: dict[str, Value | None] = {
        "printer.nozzle": row.nozzle_mm,
        "printer.bead_width": row.bead_width_mm,
        "printer.layer_height": row.layer_height_mm,
        "printer.first_layer": row.first_layer_height_mm,
        "limits.wall_beads": None if walls is None else round(walls, 3),
        "limits.floor_layers": None if floors is None else math.ceil(floors - 0.01),
        "limits.coupon_section": row.thickest_section_mm,
    }
    values = {name: value for name, value in known.items() if value is not None}
    ladders = {"limits.wall_beads": row.walls, "limits.floor_layers": row.floors}
    return Stated(
        Source.ROW,
        f"row {row.name!r} of {table}",
        values,
        ties=_TIES,
        at_least=frozenset(name for name, seen in ladders.items() if not _agreed(seen)),
    )


def _agreed(ladder: Ladder | None) -> bool:
    """Whether enough coupons agree on the thinnest step that came out."""
    return ladder is not None and ladder.coupons >= COUPONS_THAT_AGREE


def _limit(
    ladder: Ladder | None, unit_mm: float | None, usual: float, next_step: float
) -> float | None:
    """Limit that a ladder shows, in beads or layers of ``unit_mm``; None where it shows none."""
    if ladder is None or unit_mm is None:
        return None
    if ladder.thinnest_mm is None:
        return None if ladder.missing_mm is None else ladder.missing_mm / unit_mm + next_step
    limit = ladder.thinnest_mm / unit_mm
    # A thicker step was missing, or nothing thinner was tried: then nothing is known against it.
    if limit >= usual:
        return limit if ladder.missing_mm is not None else None
    return limit if _agreed(ladder) else None
