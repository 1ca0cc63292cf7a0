"""The measuring sheet: a fired coupon, or the parts of one load, on one page of a spreadsheet.

The coupon's room and the traveler's write it, a maker types numbers into it, and calibration reads
it; all agree on this layout. One file is one coupon in one firing, or one load of parts, whose
lines begin with the part's letter.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from shrinkrule.cells import cell_text


class Kind(StrEnum):
    """What a line of the sheet asks for."""

    SETTING = "setting"
    """A fact about the batch, in the column ``nominal``: a density, a resolution, a name."""
    OUTSIDE = "outside"
    """A length between two outward-facing surfaces; bead spread makes it larger."""
    INSIDE = "inside"
    """A slot or hole; bead spread makes it smaller."""
    BORE = "bore"
    """Diameter of an upright round hole: smaller by bead spread, and by more where it is tight."""
    STEP = "step"
    """A length between two surfaces facing the same way; bead spread cancels."""
    WALL = "wall"
    """An upright wall of the ladder; 0 means that it did not print."""
    FLOOR = "floor"
    """A flat floor of the ladder; 0 means that it did not print."""
    BRIDGE = "bridge"
    """Mid-span drop of a beam held at both ends; ``nominal`` is its span.

    The green columns hold the same reading before firing, 0 where they are left blank.
    """
    CANTILEVER = "cantilever"
    """Drop at the tip of a beam held at one end; ``nominal`` is its span."""
    MASS = "mass"
    """Weight in air, in g, at each stage, of the piece whose volume the sheet states."""
    MASS_IN_WATER = "mass_in_water"
    """Weight of the same piece, fired, hung in water, in g (Archimedes)."""
    PART = "part"
    """One part of a load: its letter, its name, its model volume and its green file's checksum."""


class Setting(StrEnum):
    """Id of each line of kind setting; the value stands in the column ``nominal``.

    Lines marked "may be blank" are not needed for shrinkage itself.
    """

    COUPON = "S1"
    """Number or name of the coupon, given by the maker (text)."""
    FIRING = "S2"
    """Number or name of the firing; coupons of one firing share it (text)."""
    DATE = "S3"
    """Day of the firing, as 2025-03-31 (text)."""
    MATERIAL = "S4"
    """Material as it will stand in the table (text)."""
    PROCESS = "S5"
    """Name of the firing process as it will stand in the table (text)."""
    METAL_DENSITY = "S6"
    """Density of the solid metal, g/cm3."""
    BINDER_DENSITY = "S7"
    """Density of the binder, g/cm3; may be blank."""
    METAL_MASS_SHARE = "S8"
    """Metal in the filament by mass, pct; may be blank."""
    CALIPER_RESOLUTION = "S9"
    """Last step of the caliper, mm."""
    GAUGE_RESOLUTION = "S10"
    """Last step of the feeler or depth gauge that reads the drops, mm; may be blank."""
    BALANCE_RESOLUTION = "S11"
    """Last step of the balance, g; may be blank."""
    WATER_DENSITY = "S12"
    """Density of the water for the hung weight, g/cm3; may be blank."""
    NOZZLE = "S13"
    """Nozzle bore, mm; written by the coupon."""
    BEAD_WIDTH = "S14"
    """Width of one bead, mm; written by the coupon."""
    LAYER_HEIGHT = "S15"
    """Height of one layer, mm; written by the coupon."""
    WEIGHED_VOLUME = "S16"
    """Model volume of the piece that is weighed, mm3; written by the coupon."""
    WEIGHED_SURFACE = "S17"
    """Its surface seen from the side, mm2: bead spread times this is volume; by the coupon."""
    THICKEST_SECTION = "S18"
    """Largest ball that fits into the coupon's pieces, mm; written by the coupon."""
    ROW = "S19"
    """Row of the table that the parts of a load were made by (text); written by the traveler."""
    FIRST_LAYER = "S20"
    """Height of the first layer, mm; blank where it is that of the others."""


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
LOAD_COLUMNS: Final = (*COLUMNS[:-1], "sag", COLUMNS[-1])
"""Header of a load's sheet: ``sag`` is what the sag is estimated to add to the fired length, mm."""


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
        ``mm``, ``mm2``, ``mm3``, ``g``, ``g/cm3``, ``pct`` or empty.
    nominal : float, str or None
        Model dimension, or the setting's value.
    thickness : float or None
        Depth of the beam in the direction it sags; bridges and cantilevers only.
    note : str
        A word for the one who measures.
    sag : float or None
        What the sag adds to the fired length, mm, where that is estimated; on a load's sheet.
    """

    id: str
    feature: str
    kind: Kind
    axis: str = ""
    unit: str = "mm"
    nominal: float | str | None = None
    thickness: float | None = None
    note: str = ""
    sag: float | None = None


def sheet_csv(lines: list[SheetLine], columns: tuple[str, ...] = COLUMNS) -> str:
    """Empty sheet as CSV text, ready to be opened in a spreadsheet.

    Numbers are written with a point and no trailing zeros; measured columns stay blank.

    Parameters
    ----------
    lines : list of SheetLine
        What is to be measured and stated.
    columns : tuple of str
        Its header: ``COLUMNS`` for a coupon, ``LOAD_COLUMNS`` for a load of parts.

    Returns
    -------
    str
        The file's text.
    """
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, restval="", extrasaction="ignore", lineterminator="\r\n")
    writer.writeheader()
    for line in lines:
        writer.writerow(
            {
                "id": line.id,
                "feature": cell_text(line.feature),
                "kind": line.kind.value,
                "axis": line.axis,
                "unit": line.unit,
                "nominal": _cell(line.nominal),
                "thickness": _cell(line.thickness),
                "sag": _cell(line.sag),
                "note": cell_text(line.note),
            }
        )
    return out.getvalue()


def _cell(value: float | str | None) -> str:
    if value is None:
        return ""
    return cell_text(value) if isinstance(value, str) else f"{value:.6g}"
