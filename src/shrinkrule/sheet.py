"""The measuring sheet: one fired coupon on one page of a spreadsheet.

The coupon's room writes it, a maker types numbers into it, and calibration reads
it; all three agree on this layout. One file is one coupon in one firing.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Kind(StrEnum):
    """What a line of the sheet asks for."""

    SETTING = "setting"
    """A fact about the batch, in the column ``nominal``: a density, a resolution, a name."""
    OUTSIDE = "outside"
    """A length between two outward-facing surfaces; bead spread makes it larger."""
    INSIDE = "inside"
    """A slot or hole; bead spread makes it smaller."""
    STEP = "step"
    """A length between two surfaces facing the same way; bead spread cancels."""
    WALL = "wall"
    """An upright wall of the ladder; 0 means that it did not print."""
    FLOOR = "floor"
    """A flat floor of the ladder; 0 means that it did not print."""
    BRIDGE = "bridge"
    """Mid-span drop of a beam held at both ends; ``nominal`` is its span."""
    CANTILEVER = "cantilever"
    """Drop at the tip of a beam held at one end; ``nominal`` is its span."""
    MASS = "mass"
    """Weight of the whole coupon in air, at each stage, in g."""
    MASS_IN_WATER = "mass_in_water"
    """Weight of the fired coupon hung in water, in g (Archimedes)."""


GREEN_COLUMNS: Final = ("green_1", "green_2", "green_3")
FIRED_COLUMNS: Final = ("fired_1", "fired_2", "fired_3")
COLUMNS: Final = (
    "id",
    "feature",
    "kind",
    "axis",
    "unit",
    "nominal",
    "thickness",
    *GREEN_COLUMNS,
    "debound_1",
    *FIRED_COLUMNS,
    "note",
)
"""Header of the sheet. ``nominal`` and ``thickness`` are of the printed model, in ``unit``."""


@dataclass(frozen=True)
class SheetLine:
    """One line of the sheet as it is handed out, before anything is measured.

    Parameters
    ----------
    id : str
        Short mark that stands on the drawing too, as ``X3``.
    feature : str
        What to measure, in words.
    kind : Kind
        What sort of line it is.
    axis : str
        ``x``, ``y``, ``z`` or empty.
    unit : str
        ``mm``, ``g``, ``g/cm3``, ``pct`` or empty.
    nominal : float, str or None
        Model dimension, or the setting's value.
    thickness : float or None
        Depth of the beam in the direction it sags; bridges and cantilevers only.
    note : str
        A word for the one who measures.
    """

    id: str
    feature: str
    kind: Kind
    axis: str = ""
    unit: str = "mm"
    nominal: float | str | None = None
    thickness: float | None = None
    note: str = ""


def sheet_csv(lines: list[SheetLine]) -> str:
    """Empty sheet as CSV text, ready to be opened in a spreadsheet.

    Numbers are written with a point and no trailing zeros; measured columns stay blank.
    """
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for line in lines:
        writer.writerow(
            {
                "id": line.id,
                "feature": line.feature,
                "kind": line.kind.value,
                "axis": line.axis,
                "unit": line.unit,
                "nominal": _cell(line.nominal),
                "thickness": _cell(line.thickness),
                "note": line.note,
            }
        )
    return out.getvalue()


def _cell(value: float | str | None) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else f"{value:.6g}"
