"""The printer as the part sees it: bead and layer.

A bead is one extruded line of filament; a layer is one height of beads. All wall
checks and coupons are sized by these two, so they live below every room.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shrinkrule.defaults import NOZZLE_MM
from shrinkrule.errors import SettingError

BEAD_PER_NOZZLE: Final = 1.1
"""Default bead width in nozzle diameters: middle of 1.0 to 1.2 (common practice, no source)."""

LAYER_PER_NOZZLE: Final = 0.5
"""Default layer height in nozzle diameters: middle of 0.25 to 0.75 (common practice, no source)."""


@dataclass(frozen=True)
class Printer:
    """Nozzle, bead and layer, all in mm.

    Parameters
    ----------
    nozzle_mm : float
        Bore of the nozzle.
    bead_width_mm : float
        Width of one printed line.
    layer_height_mm : float
        Height of one printed layer.
    """

    nozzle_mm: float
    bead_width_mm: float
    layer_height_mm: float

    def __post_init__(self) -> None:
        for name, value in (
            ("nozzle", self.nozzle_mm),
            ("bead width", self.bead_width_mm),
            ("layer height", self.layer_height_mm),
        ):
            if not 0.01 <= value <= 20.0:
                raise SettingError(
                    f"{value:g} mm is no {name}", where=name, hint="give it in mm, as 0.6"
                )

    @classmethod
    def from_nozzle(
        cls,
        nozzle_mm: float = NOZZLE_MM,
        bead_width_mm: float | None = None,
        layer_height_mm: float | None = None,
    ) -> Printer:
        """Printer from its nozzle, with the trade's usual bead and layer where none is given.

        Examples
        --------
        >>> Printer.from_nozzle(0.8).layer_height_mm
        0.4
        """
        bead = BEAD_PER_NOZZLE * nozzle_mm if bead_width_mm is None else bead_width_mm
        layer = LAYER_PER_NOZZLE * nozzle_mm if layer_height_mm is None else layer_height_mm
        return cls(nozzle_mm, bead, layer)
