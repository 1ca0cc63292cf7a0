"""What the maker decides before the job is run, refused whole if it does not fit together."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from shrinkrule.calibration import AXES, CalibrationRow, Estimate
from shrinkrule.compensation import LayerHeights, Print, ScaleFactors, turned_about_z, way_up
from shrinkrule.errors import Option, SettingError
from shrinkrule.furnace import Furnace
from shrinkrule.physics.filament import Spool
from shrinkrule.printer import Printer
from shrinkrule.walls import WallLimits

if TYPE_CHECKING:
    from shrinkrule.sag import SagSettings
    from shrinkrule.settings import Settings


class Outline(StrEnum):
    """Where the bead's spread is taken off."""

    IN_PRINT = "in the print"
    """The report states the outline offset to set when slicing."""
    IN_MESH = "in the mesh"
    """Upright surfaces of the green mesh are moved."""


def _digest(text: str) -> str:
    """A few letters that stand for a text, none for none."""
    return hashlib.sha256(text.encode()).hexdigest()[:12] if text else ""


@dataclass(frozen=True)
class Recipe:
    """What the maker decides.

    Parameters
    ----------
    printer : Printer
        Nozzle, bead and layer.
    row : CalibrationRow or None
        Batch to shrink by; or ``factors`` when there is no table.
    factors : ScaleFactors or None
        Oversize factors given by hand; used only without a row.
    row_source : str
        Where the row came from, in words.
    print_up : str
        Model axis that points up in the printer.
    limits : WallLimits
        Beads and layers that a wall and a floor need.
    outline : Outline
        Where the bead's spread is taken off.
    furnace : Furnace or None
        Inside sizes of what the part is fired in, if they are to be checked.
    bed_mm : tuple of 3 float, or None
        Length, width and height that the printer takes, if they are to be checked.
    sag : SagSettings or None
        How the part lies in the furnace, in the model's axes, if its sag is to be taken off.
    lies : SagSettings or None
        The same while its sag is only looked at; as printed, on the setter alone, if not given.
    look_at_sag : bool
        Whether the sag is estimated where it is not taken off and the row has a modulus.
    coupon_section_mm : float or None
        Thickest section of the green coupon, mm, where the row does not know it.
    turn_deg : int
        Turn of the part about Z on the bed, degrees to the left: 0, 90, 180 or 270.
    printer_corrected : bool
        Whether the printer's axes have been corrected since the coupon was printed.
    first_layer_mm : float or None
        Height of the first layer; as the others where it is not given.
    whole_layers : bool
        Whether the green part is stretched in Z to a whole number of layers.
    spool : Spool
        What is known of the filament.
    settings : Settings or None
        What the workshop stated, and where, for the report; the fields above decide.

    Raises
    ------
    SettingError
        If neither or both of row and factors are given, the row does not know what
        ``outline`` needs, ``print_up`` is no axis, or a size is not positive.
    TableError
        If the row does not know what ``sag`` needs.
    """

    printer: Printer
    row: CalibrationRow | None = None
    factors: ScaleFactors | None = None
    row_source: str = ""
    print_up: str = "z"
    limits: WallLimits = field(default_factory=WallLimits)
    outline: Outline = Outline.IN_PRINT
    furnace: Furnace | None = None
    sag: SagSettings | None = None
    coupon_section_mm: float | None = None
    turn_deg: int = 0
    printer_corrected: bool = False
    first_layer_mm: float | None = None
    whole_layers: bool = False
    spool: Spool = field(default_factory=Spool)
    settings: Settings | None = None
    bed_mm: tuple[float, float, float] | None = None
    lies: SagSettings | None = None
    look_at_sag: bool = True

    def __post_init__(self) -> None:
        if (self.row is None) == (self.factors is None):
            raise SettingError(
                "shrinkage must come either from a table's row or from factors by hand",
                hint="give a table and a row, or both factors",
                options=(Option.TABLE, Option.ROW, Option.SCALE),
            )
        if self.outline is Outline.IN_MESH and self.bead_spread is None:
            raise SettingError(
                "no bead offset is known",
                hint="measure it on a coupon, or set it when slicing",
                options=(Option.OUTLINE,),
            )
        if self.sag is not None and self.row is None:
            raise SettingError(
                "sag needs a calibrated batch",
                hint="give a table and a row; without them, no sag can be known",
                options=(Option.TABLE, Option.ROW),
            )
        if self.sag is not None and self.row is not None:
            from shrinkrule.sag import sag_material

            sag_material(self.row)
        if self.coupon_section_mm is not None and not self.coupon_section_mm > 0.0:
            raise SettingError(
                f"a thickest section of {self.coupon_section_mm:g} mm is impossible",
                hint="give the green coupon's thickest section in mm",
            )
        if self.bed_mm is not None and not min(self.bed_mm) > 0.0:
            raise SettingError(
                f"a bed of {self.bed_mm} mm is impossible",
                hint="give the length, width and height that the printer takes, in mm",
            )
        way_up(self.print_up)
        turned_about_z(self.turn_deg)
        if self.printer_corrected and (self.row is None or self.row.print_scale_x is None):
            raise SettingError(
                "no errors of the printer's axes are known that it could have been corrected for",
                hint="leave that out: factors by hand and older rows hold none",
                options=(Option.CORRECTED,),
            )
        LayerHeights(*self._layers)

    @property
    def choices(self) -> dict[str, str]:
        """What decides about the result, in words by name: the same choices, the same result."""
        row, factors = self.row, self.scale
        cells = "" if row is None else json.dumps(row.as_dict(), sort_keys=True, default=str)
        return {
            "shrinkage": f"factors {factors.x:.6f}, {factors.y:.6f}, {factors.z:.6f}"
            if row is None
            else f"row {row.name!r}",
            "values of the row": _digest(cells),
            "nozzle": f"{self.printer.nozzle_mm:g} mm",
            "bead": f"{self.printer.bead_width_mm:g} mm",
            "layers": ", ".join(f"{height:g} mm" for height in self._layers),
            "whole layers": str(self.whole_layers),
            "printer corrected": str(self.printer_corrected),
            "way up": self.print_up,
            "turn": f"{self.turn_deg} deg",
            "outline": self.outline.value,
            "sag": "no"
            if self.sag is None
            else f"up {self.sag.furnace_up}, {self.sag.friction}, {self.sag.base}, "
            f"{self.sag.tolerance_mm:g} mm, {self.sag.max_unknowns}, "
            f"{self.sag.bricks_wanted:g} bricks, {self.sag.sure_share:g}, "
            f"{self.sag.max_seconds:g} s, "
            f"supports {_digest(str(self.sag.supports or ''))}",
        }

    @property
    def _layers(self) -> tuple[float, float]:
        layer = self.printer.layer_height_mm
        return layer, layer if self.first_layer_mm is None else self.first_layer_mm

    @property
    def made(self) -> Print:
        """How the green part is made of its mesh: layers, and what goes below it."""
        first = None if self.row is None else self.row.first_layer_mm
        taken = self.outline is Outline.IN_MESH and first is not None and self.sag is None
        return Print(LayerHeights(*self._layers), -first.value if taken and first else 0.0)

    @property
    def coupon_section(self) -> float | None:
        """Thickest section of the green coupon, mm, if that is known."""
        if self.coupon_section_mm is not None or self.row is None:
            return self.coupon_section_mm
        return self.row.thickest_section_mm

    @property
    def bead_spread(self) -> Estimate | None:
        """How far beads spread beyond each outline, mm, if that is known."""
        return None if self.row is None else self.row.bead_offset_mm

    @property
    def scale(self) -> ScaleFactors:
        """Oversize factors, from whichever was given."""
        if self.row is not None:
            return ScaleFactors(*(self.row.along(axis).factor for axis in AXES))
        if self.factors is None:  # pragma: no cover - refused on construction
            raise SettingError("no shrinkage was given")
        return self.factors
