"""The printer as the part sees it: bead and layer, and the heights that whole layers make.

A bead is one extruded line of filament; a layer is one height of beads. All wall
checks and coupons are sized by these two, so they live below every room.
"""

from __future__ import annotations

import math
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


@dataclass(frozen=True)
class LayerHeights:
    """Heights of the layers, mm: heights of a print are whole ones.

    A layer is printed where the section at its middle holds metal, so a height is rounded to the
    nearest whole number of layers (common practice, no source).

    Parameters
    ----------
    layer_mm : float
        Height of a layer.
    first_mm : float
        Height of the first one.

    Raises
    ------
    SettingError
        For a height that no layer has.
    """

    layer_mm: float
    first_mm: float

    def __post_init__(self) -> None:
        for name, value in (("layer", self.layer_mm), ("first layer", self.first_mm)):
            if not 0.01 <= value <= 20.0:
                raise SettingError(
                    f"{value:g} mm is no height of a {name}",
                    where=name,
                    hint="give it in mm, as 0.3",
                )

    def count(self, height_mm: float) -> int:
        """Layers that are printed of a height, at least one.

        Examples
        --------
        >>> LayerHeights(0.3, 0.3).count(9.167)
        31
        """
        # A hair is added: half a layer is no more exact than the numbers of a mesh.
        above = math.floor((height_mm - self.first_mm) / self.layer_mm + 0.5 + 1e-6)
        return 1 + max(above, 0)

    def height_mm(self, count: int) -> float:
        """Height of so many layers.

        Examples
        --------
        >>> round(LayerHeights(0.3, 0.2).height_mm(31), 3)
        9.2
        """
        return self.first_mm + (count - 1) * self.layer_mm

    def printed_mm(self, height_mm: float) -> float:
        """Height that is printed of a height."""
        return self.height_mm(self.count(height_mm))

    def layers_in(self, height_mm: float) -> float:
        """Height counted in layers, with its fraction."""
        return 1.0 + (height_mm - self.first_mm) / self.layer_mm
