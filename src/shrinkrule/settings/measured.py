"""What a row of the calibration table states of the settings: measured, it goes before files.

This is the one place where a row's value becomes a setting.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from shrinkrule.settings.key import Value
from shrinkrule.settings.stated import Source, Stated

if TYPE_CHECKING:
    from shrinkrule.calibration import CalibrationRow


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
        What was measured with its coupon.
    """
    known: dict[str, Value | None] = {"limits.coupon_section": row.thickest_section_mm}
    values = {name: value for name, value in known.items() if value is not None}
    return Stated(Source.ROW, f"row {row.name!r} of {table}", values)
