"""Balls and layers brought together: one place is one finding, and says which rule saw it.

On a sound surface the balls know every wall exactly, and a layer that cuts it aslant, or near
the top of something round, takes it for another: there the layers add what they lose of it, no
place of their own. Where the balls are blind (the mesh is open, bodies share space) the layers
speak. Which holds is asked at points spread over the place, not of boxes that touch.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.walls.findings import Finding, FindingKind, Rule
from shrinkrule.walls.layers.places import LayerPlace
from shrinkrule.walls.regions.thin import NONE, Regions

AIR: Final = frozenset({FindingKind.NARROW_GAP, FindingKind.CLOSING_HOLE})

BLIND_SHARE: Final = 0.5
"""Share of a place where the balls know nothing, from which on the layers speak for it."""

COVERED_SHARE: Final = 0.2
"""Share of a place that a finding of the balls must hold to be the same."""


class BallSide:
    """Findings of the balls on one side of the surface, to be asked at points.

    Parameters
    ----------
    regions : Regions
        Findings and the samples of each.
    points : (n, 3) float64
        The samples.
    known : (n,) bool
        Whether the balls know what is there.
    reach_mm : float
        How far from a sample a point may lie for it to speak there.
    """

    def __init__(self, regions: Regions, points: Floats, known: Mask, reach_mm: float) -> None:
        self.found = list(regions.findings)
        self._of_sample, self._known, self._reach = regions.of_sample, known, reach_mm
        self._tree = cKDTree(points)

    def take(self, place: LayerPlace) -> bool:
        """Whether the balls tell all of a place of the layers; what these add is kept."""
        distance, nearest = self._tree.query(place.spots, distance_upper_bound=self._reach)
        near = np.isfinite(distance)
        nearest = np.where(near, nearest, 0)
        known = near & self._known[nearest]
        if known.mean() < 1.0 - BLIND_SHARE:
            return False
        told = self._of_sample[nearest[known]]
        told = told[told != NONE]
        if len(told):
            number, count = np.unique(told, return_counts=True)
            if count.max() >= COVERED_SHARE * len(place.spots):
                self._add(int(number[count.argmax()]), place.finding)
        return True

    def _add(self, number: int, seen: Finding) -> None:
        """Add the volume and heights that the layers saw to a finding."""
        known = self.found[number]
        low, high = seen.height_range_mm or (np.inf, -np.inf)
        if known.height_range_mm is not None:
            low, high = min(low, known.height_range_mm[0]), max(high, known.height_range_mm[1])
        self.found[number] = replace(
            known,
            rule=Rule.BOTH,
            volume_mm3=(known.volume_mm3 or 0.0) + (seen.volume_mm3 or 0.0),
            height_range_mm=(low, high) if low <= high else None,
        )


def agreed(material: BallSide, air: BallSide, layers: tuple[LayerPlace, ...]) -> list[Finding]:
    """Findings of both rules, each place once.

    Parameters
    ----------
    material, air : BallSide
        What the balls found inside the part and outside it.
    layers : tuple of LayerPlace
        What the layers found.
    """
    alone = [
        place.finding
        for place in layers
        if not (air if place.finding.kind in AIR else material).take(place)
    ]
    return [*material.found, *air.found, *alone]
