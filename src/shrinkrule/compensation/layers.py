"""Heights are whole layers: what a printer makes of a height, and which heights come out whole.

A layer is printed where the section at its middle holds metal, so a height is rounded to the
nearest whole number of layers (common practice, no source). The first layer may have a height of
its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shrinkrule.errors import SettingError


@dataclass(frozen=True)
class LayerHeights:
    """Heights of the layers, mm.

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
