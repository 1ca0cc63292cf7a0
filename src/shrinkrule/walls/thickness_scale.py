"""What colour a wall thickness has: one scale for pictures and for coloured meshes.

Colours change at the limits, where the maker must decide. What is too thin is warm, what is sound
is blue in even steps of lightness, what is thick is dark. Every two colours differ for readers who
see no red, no green or no blue; the tests check this.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.printer import Printer
from shrinkrule.walls.limits import MARGIN_MM, WallLimits

TOO_THIN: Final = (0.78, 0.16, 0.08)
ONE_BEAD: Final = (0.97, 0.69, 0.18)
SOUND: Final = ((0.84, 0.93, 0.97), (0.50, 0.74, 0.88), (0.20, 0.55, 0.78))
THICK: Final = (0.27, 0.13, 0.42)
NOT_MEASURED: Final = (0.72, 0.72, 0.72)

FIRST_SOUND: Final = 2
"""The first colour of what is sound; those before it are for findings."""

SOUND_SPAN: Final = 1.5
"""Sound thicknesses are shown over at least this ratio, even where thick begins below it."""


@dataclass(frozen=True)
class LegendEntry:
    """One entry of a legend.

    Parameters
    ----------
    colour : (3,) float
        Red, green and blue, 0 to 1, as a screen takes them (sRGB).
    text : str
        What it means.
    """

    colour: tuple[float, float, float]
    text: str

    @property
    def css(self) -> str:
        """The colour as ``#rrggbb``."""
        return "#" + "".join(f"{round(255 * channel):02x}" for channel in self.colour)


@dataclass(frozen=True)
class ThicknessScale:
    """Limits of wall thickness and the colours between them.

    Parameters
    ----------
    limits_mm : (5,) float64
        One bead, two beads, two steps within what is sound, and thick; mm of the GREEN part.
    floor_mm : float
        Thinnest floor that closes.
    """

    limits_mm: Floats
    floor_mm: float

    @classmethod
    def of(cls, printer: Printer, limits: WallLimits) -> ThicknessScale:
        """Make the scale for a printer and its limits.

        Parameters
        ----------
        printer : Printer
            Bead and layer.
        limits : WallLimits
            How many of them walls need.

        Returns
        -------
        ThicknessScale
            Colours change at these limits.
        """
        sound = limits.sound_mm(printer)
        steps = np.linspace(sound, max(limits.thick_mm, SOUND_SPAN * sound), 4)
        return cls(np.array([limits.exist_mm(printer), *steps]), limits.floor_mm(printer))

    @property
    def bounds_mm(self) -> Floats:
        """Thickness (5,) at which each colour gives way to the next: a wall at its limit passes."""
        margin = np.full(len(self.limits_mm), -MARGIN_MM)
        margin[-1] = MARGIN_MM
        bounds: Floats = self.limits_mm + margin
        return bounds

    @property
    def colours(self) -> Floats:
        """Colours (6, 3), thinnest first."""
        return np.array([TOO_THIN, ONE_BEAD, *SOUND, THICK])

    def band(self, thickness_mm: Floats) -> Ints:
        """Choose the colour of each thickness.

        Parameters
        ----------
        thickness_mm : (n,) float64
            Thickness; nan where unknown.

        Returns
        -------
        (n,) int64
            Number of the colour, 0 for the thinnest; -1 for nan.
        """
        return np.where(
            np.isnan(thickness_mm), -1, np.digitize(thickness_mm, self.bounds_mm)
        ).astype(np.int64)

    def colours_of(self, band: Ints) -> Floats:
        """Colours of numbers from :meth:`band`.

        Parameters
        ----------
        band : (n,) int64
            Numbers of colours.

        Returns
        -------
        (n, 3) float64
            Red, green and blue, 0 to 1; grey for -1.
        """
        found: Floats = np.vstack([self.colours, NOT_MEASURED])[band]
        return found

    @property
    def legend(self) -> tuple[LegendEntry, ...]:
        """Every colour and what it means, thinnest first."""
        edges = self.limits_mm
        names = [
            f"does not print: wall under {edges[0]:.2f}, floor under {self.floor_mm:.2f} mm",
            f"prints weakly: single bead under {edges[1]:.2f} mm, or sharp edge",
            f"sound, under {edges[2]:.2f} mm",
            *(f"sound, {low:.2f} to {high:.2f} mm" for low, high in itertools.pairwise(edges[2:])),
            f"over {edges[-1]:.1f} mm: thick, slow to debind",
            "not measured",
        ]
        colours = [TOO_THIN, ONE_BEAD, *SOUND, THICK, NOT_MEASURED]
        return tuple(LegendEntry(*entry) for entry in zip(colours, names, strict=True))
