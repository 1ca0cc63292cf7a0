"""Where the balls found something narrow: layers need to look there alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats

NOWHERE: Final = np.empty((0, 2))


@dataclass(frozen=True)
class Narrow:
    """Where something may be narrow, as the balls found.

    Parameters
    ----------
    material, air : (n, 3) float64
        Points in thin places of the part, and in narrow places of the air about it, mm.
    """

    material: Floats
    air: Floats


class PointsByHeight:
    """Points by height, for the question which points of a layer lie beside one of them."""

    def __init__(self, points: Floats, reach_mm: float) -> None:
        self._points = points[np.argsort(points[:, 2], kind="stable")]
        self._reach = reach_mm

    def is_empty(self, low_mm: float, high_mm: float) -> bool:
        """Whether no point lies at these heights."""
        return self._slice(low_mm, high_mm) == slice(0, 0)

    def _slice(self, low_mm: float, high_mm: float) -> slice:
        heights = self._points[:, 2]
        first = int(np.searchsorted(heights, low_mm - self._reach))
        last = int(np.searchsorted(heights, high_mm + self._reach))
        return slice(first, last) if first < last else slice(0, 0)

    def of(self, points: Floats, low_mm: float, high_mm: float) -> Floats:
        """Those of some points (k, 2) of a layer that lie beside one of these at its heights."""
        if not len(points):
            return NOWHERE
        away, _ = cKDTree(self._points[self._slice(low_mm, high_mm), :2]).query(
            points, distance_upper_bound=self._reach
        )
        beside: Floats = points[np.isfinite(away)]
        return beside
