"""Findings of balls and layers joined: one place is one finding, and says which rule found it.

On a sound surface the balls measure every wall exactly. A layer that cuts a wall aslant, or near
the top of something round, measures another width. So the layers add lost volume and heights to
the balls' findings, and no places of their own. Where the balls cannot measure (the mesh is open,
bodies share space) the places of the layers are findings. This is decided at points spread over
the place, not by boxes that touch.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.walls.findings import Finding, FindingKind, Rule
from shrinkrule.walls.layers.places import LayerPlace
from shrinkrule.walls.regions.thin import NONE, Regions

AIR: Final = frozenset({FindingKind.NARROW_GAP, FindingKind.CLOSING_HOLE})

UNMEASURED_SHARE: Final = 0.5
"""A place of the layers is a finding of its own where the balls measured nothing on this share."""

COVERED_SHARE: Final = 0.2
"""Share of a place of the layers that a finding of the balls must hold to be the same place."""


class BallSide:
    """Findings of the balls on one side of the surface, to be looked up at points.

    Parameters
    ----------
    regions : Regions
        Findings and the samples of each.
    points : (n, 3) float64
        The samples.
    known : (n,) bool
        Whether the ball there measured something.
    reach_mm : float
        How far from a sample a point may lie to be represented by it.
    """

    def __init__(self, regions: Regions, points: Floats, known: Mask, reach_mm: float) -> None:
        self.found = list(regions.findings)
        self._of_sample, self._known, self._reach = regions.of_sample, known, reach_mm
        self._points = points

    @cached_property
    def _tree(self) -> cKDTree:
        """Grown when the layers find a first place, which on most parts they do not."""
        return cKDTree(self._points)

    def take(self, place: LayerPlace) -> bool:
        """Join a place of the layers to the balls' findings, if the balls measured it.

        Parameters
        ----------
        place : LayerPlace
            A place that the layers found.

        Returns
        -------
        bool
            Whether the balls measured the place. Their finding there, if any, gets the volume and
            heights of the layers.
        """
        distance, nearest = self._tree.query(place.points, distance_upper_bound=self._reach)
        near = np.isfinite(distance)
        nearest = np.where(near, nearest, 0)
        known = near & self._known[nearest]
        if known.mean() < 1.0 - UNMEASURED_SHARE:
            return False
        here = self._of_sample[nearest[known]]
        here = here[here != NONE]
        if len(here):
            number, count = np.unique(here, return_counts=True)
            if count.max() >= COVERED_SHARE * len(place.points):
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
    """Join the findings of both rules, so that each place is one finding.

    Parameters
    ----------
    material, air : BallSide
        What the balls found inside the part and outside it.
    layers : tuple of LayerPlace
        What the layers found.

    Returns
    -------
    list of Finding
        Those of the balls first.
    """
    alone = [
        place.finding
        for place in layers
        if not (air if place.finding.kind in AIR else material).take(place)
    ]
    return [*material.found, *air.found, *alone]
