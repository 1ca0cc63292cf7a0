"""Metric coarse threads: the hole to be tapped, and the limits of the minor diameter it becomes.

Pitches are those of ISO 261; the basic minor diameter is that of ISO 724, ``D1 = D - 1.25 H`` with
``H = P sqrt(3) / 2``; the tolerance of grade 6 is a row of the table in ISO 965-1. All of them come
from memory. The tapping hole ``D - P`` is common practice: it lies between the limits of all sizes
listed here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

COARSE_PITCHES: Final = {
    "M1.6": 0.35, "M2": 0.4, "M2.5": 0.45, "M3": 0.5, "M4": 0.7, "M5": 0.8, "M6": 1.0,
    "M8": 1.25, "M10": 1.5, "M12": 1.75, "M14": 2.0, "M16": 2.0, "M20": 2.5, "M24": 3.0,
}  # fmt: skip
"""Pitch by name, mm (ISO 261, from memory)."""

TOLERANCES_6H: Final = {
    0.35: 0.100, 0.4: 0.112, 0.45: 0.125, 0.5: 0.140, 0.7: 0.180, 0.8: 0.200, 1.0: 0.236,
    1.25: 0.265, 1.5: 0.300, 1.75: 0.335, 2.0: 0.375, 2.5: 0.450, 3.0: 0.500,
}  # fmt: skip
"""Tolerance of the minor diameter by pitch, grade 6, mm (ISO 965-1, from memory)."""


@dataclass(frozen=True)
class Thread:
    """A metric coarse internal thread.

    Parameters
    ----------
    name : str
        As ``M5``.
    major_mm, pitch_mm : float
        Major diameter and pitch, mm.
    """

    name: str
    major_mm: float
    pitch_mm: float

    @property
    def hole_mm(self) -> float:
        """Diameter of the tapping hole, mm."""
        return self.major_mm - self.pitch_mm

    @property
    def minor_limits_mm(self) -> tuple[float, float]:
        """Least and largest minor diameter, tolerance class 6H, mm.

        Examples
        --------
        >>> [round(limit, 3) for limit in coarse_thread("M5").minor_limits_mm]
        [4.134, 4.334]
        """
        least = self.major_mm - 1.25 * self.pitch_mm * math.sqrt(3.0) / 2.0
        return least, least + TOLERANCES_6H[self.pitch_mm]


def coarse_thread(name: str) -> Thread | None:
    """Thread of a name.

    Parameters
    ----------
    name : str
        As ``M5``.

    Returns
    -------
    Thread or None
        None for a name that is not in the table.
    """
    name = name.strip().upper()
    pitch = COARSE_PITCHES.get(name)
    return None if pitch is None else Thread(name, float(name[1:]), pitch)
