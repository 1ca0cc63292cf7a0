"""Room that a part takes on the floor of a furnace: how far it reaches each way, and its height.

A part is held between lines that touch it from 48 directions. All parts have these directions in
common, also after a turn by whole steps, so that a line between two parts is found among them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, box_of

DIRECTIONS: Final = 48
"""Lines around a part: a round part becomes larger by 0.2 % of its radius."""

STEP_DEG: Final = 360.0 / DIRECTIONS
"""Angle between two of them."""

_ANGLES: Final = 2.0 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS

_AT_ONCE: Final = 1 << 12  # points, whose products the processor's caches hold

NORMALS: Final[Floats] = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)], axis=1)
"""Directions (48, 2), to the left from X."""


@dataclass(frozen=True)
class Footprint:
    """Room that a part takes, furnace frame (Z up), mm.

    Parameters
    ----------
    reach_mm : (48,) float64
        How far it reaches in each direction from the middle of its box.
    height_mm : float
        Height.
    """

    reach_mm: Floats
    height_mm: float

    def turned(self, steps: int) -> Footprint:
        """Return the same turned to the left.

        Parameters
        ----------
        steps : int
            Turn in steps of 7.5 degrees.

        Returns
        -------
        Footprint
            The part after its turn.
        """
        return Footprint(np.roll(self.reach_mm, steps), self.height_mm)

    @property
    def corners(self) -> Floats:
        """Corners (48, 2) of the outline between all lines, to the left, mm."""
        there, following = np.roll(self.reach_mm, -1), np.roll(NORMALS, -1, axis=0)
        x = self.reach_mm * following[:, 1] - there * NORMALS[:, 1]
        y = there * NORMALS[:, 0] - self.reach_mm * following[:, 0]
        found: Floats = np.stack([x, y], axis=1) / np.sin(np.radians(STEP_DEG))
        return found

    @property
    def area_mm2(self) -> float:
        """Area of the outline."""
        x, y = self.corners.T
        return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def footprint(points: Floats) -> Footprint:
    """Room that the points of a part take.

    Parameters
    ----------
    points : (n, 3) float64
        Points of the part, furnace frame, mm.

    Returns
    -------
    Footprint
        Its outline, which no point lies outside of, and its height.

    Examples
    --------
    >>> box = np.array([[x, y, z] for x in (0.0, 30.0) for y in (0.0, 20.0) for z in (0.0, 5.0)])
    >>> room = footprint(box)
    >>> round(room.area_mm2, 6), room.height_mm
    (600.0, 5.0)
    """
    low, high = box_of(points)
    middle = 0.5 * (low + high)[:2]
    half = NORMALS[: DIRECTIONS // 2]
    reach = np.full(DIRECTIONS, -np.inf)
    # Some at a time: there are half as many products as directions to each point.
    for start in range(0, len(points), _AT_ONCE):
        along = half @ (points[start : start + _AT_ONCE, :2] - middle).T
        # What reaches least along one direction reaches farthest the opposite way.
        farthest = np.concatenate([along.max(axis=1), -along.min(axis=1)])
        np.maximum(reach, farthest, out=reach)
    return Footprint(reach, float(high[2] - low[2]))
