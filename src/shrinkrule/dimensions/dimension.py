"""One dimension of a part: what it is, how long, along which direction, and where.

Also the rule by which many measured pairs become a list: what has the same name, direction and
length is one dimension, found in several places.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.physics.interval import Feature


class Kind(StrEnum):
    """What a dimension is, as a maker would call it."""

    OVERALL = "overall"
    """Side of the box around the part, along an axis of the model."""
    BORE = "bore"
    """Diameter of a round hole."""
    BOSS = "boss"
    """Diameter of a round outside."""
    BALL = "ball"
    """Diameter of a ball, or of a round hollow."""
    WALL = "wall"
    """Between two surfaces with metal all the way: a wall or a floor."""
    OUTSIDE = "outside"
    """Between two faces that look away from each other, with a gap on the way."""
    INSIDE = "inside"
    """Between two surfaces that look at each other, with air all the way."""
    STEP = "step"
    """Between two faces that look the same way, the lower one open."""
    DEPTH = "depth"
    """Length of a bore or a boss along its axis."""
    AXES = "axis distance"
    """Between two parallel axes."""
    TO_FACE = "axis to face"
    """From an axis to a face along it."""
    OVER_KEYWAY = "over keyway"
    """From a round to a flat cut into it, on the other side of the axis."""


FEATURES: Final = {
    Kind.OVERALL: Feature.OUTSIDE,
    Kind.BORE: Feature.BORE,
    Kind.BOSS: Feature.OUTSIDE,
    Kind.BALL: Feature.OUTSIDE,
    Kind.WALL: Feature.OUTSIDE,
    Kind.OUTSIDE: Feature.OUTSIDE,
    Kind.INSIDE: Feature.SLOT,
    Kind.STEP: Feature.STEP,
    Kind.DEPTH: Feature.STEP,
    Kind.AXES: Feature.STEP,
    Kind.TO_FACE: Feature.STEP,
    Kind.OVER_KEYWAY: Feature.OUTSIDE,
}
"""Which surfaces a dimension lies between, and so to which side the bead's spread moves it."""

SAME_DIRECTION: Final = 1e-4
"""Difference of two unit vectors up to which they are one direction in the list."""

CLEAN: Final = 1e-12
"""Component of a unit vector below which it is rounding."""

_EXACT: Final = 9  # decimals of mm: finer than any file, and what lies at zero is told as zero
STEADY: Final = 3  # decimals of mm and mm2 that rounding in the last place does not change


@dataclass(frozen=True)
class Dimension:
    """A dimension of the wanted part, in the model's frame.

    Parameters
    ----------
    kind : Kind
        What it is.
    size_mm : float
        mm; for a round that of the circle through the facets' corners.
    direction : (float, float, float)
        Unit vector along the length; of a round length, along the axis.
    place : (float, float, float)
        A point at the dimension, mm.
    feature : Feature
        What it lies between.
    is_round : bool
        Whether it is a diameter or lies between two rounds.
    places : int
        How often the part has it.
    weight : float
        Area of the surfaces that show it, mm2; less where it is measured less often, none where no
        caliper reaches it.
    over_flats_mm : float or None
        Diameter over the middles of the facets.
    facets_round : int
        Facets around, 0 where it is no diameter.
    level_mm : float or None
        Where a length begins, along its direction from the origin, mm; it ends ``size_mm`` farther.
        Of a wall or gap between two rounds, the inner radius. None for a diameter, and for a
        distance of axes, whose place is in its middle.
    """

    kind: Kind
    size_mm: float
    direction: tuple[float, float, float]
    place: tuple[float, float, float]
    feature: Feature
    is_round: bool = False
    places: int = 1
    weight: float = 0.0
    over_flats_mm: float | None = None
    facets_round: int = 0
    level_mm: float | None = None


def distinct(
    kind: Kind,
    sizes: Floats,
    directions: Floats,
    places: Floats,
    weights: Floats,
    apart_mm: float,
    *,
    is_round: bool = False,
    flats: Floats | None = None,
    facets_round: Ints | None = None,
    feature: Feature | None = None,
    levels: Floats | None = None,
) -> list[Dimension]:
    """Make one dimension of all that have the same direction and length.

    Parameters
    ----------
    kind : Kind
        What all of them are.
    sizes : (n,) float64
        Lengths, mm.
    directions, places : (n, 3) float64
        Unit vectors, of either sign; and points, mm.
    weights : (n,) float64
        mm2.
    apart_mm : float
        Difference from which two lengths are two.
    is_round : bool
        Whether they are diameters or lie between rounds.
    flats, facets_round : (n,) arrays, optional
        Diameters over the flats, mm; facets around.
    feature : Feature, optional
        What they lie between, where the kind does not say it.
    levels : (n,) float64, optional
        Where each begins along its direction, or the inner radius between two rounds, mm.

    Returns
    -------
    list of Dimension
        Each once; length, place and direction of the one with the most weight, and of
        those the first in place.
    """
    if len(sizes) == 0:
        return []
    largest = np.argmax(
        np.abs(directions) > np.abs(directions).max(axis=1, keepdims=True) - 1e-6, 1
    )
    sign = np.sign(directions[np.arange(len(sizes)), largest])
    sign = np.where(sign == 0.0, 1.0, sign)
    directions = np.where(np.abs(directions) < CLEAN, 0.0, directions * sign[:, None])
    if levels is not None and not is_round:
        levels = np.where(sign < 0.0, -levels - sizes, levels)
    cells = np.round(directions / SAME_DIRECTION).astype(np.int64)
    way = np.unique(cells, axis=0, return_inverse=True)[1].ravel()
    order = np.lexsort([sizes, way])
    new = np.ones(len(sizes), dtype=np.bool_)
    new[1:] = (np.diff(way[order]) != 0) | (np.diff(sizes[order]) > apart_mm)
    group = np.cumsum(new) - 1
    # Of equal weight the one that comes first in place, so that rounding decides nothing.
    x, y, z = np.round(places[order], STEADY).T
    best = np.lexsort([z, y, x, -np.round(weights[order], STEADY), group])
    first = order[best[np.searchsorted(group[best], np.arange(group[-1] + 1))]]
    counts = np.bincount(group)
    found = []
    for one, many in zip(first.tolist(), counts.tolist(), strict=True):
        way_x, way_y, way_z = (float(v) + 0.0 for v in directions[one])
        px, py, pz = (float(v) + 0.0 for v in places[one])
        found.append(
            Dimension(
                kind,
                float(sizes[one]),
                (way_x, way_y, way_z),
                (px, py, pz),
                feature or FEATURES[kind],
                is_round,
                many,
                float(weights[one]),
                None if flats is None else float(flats[one]),
                0 if facets_round is None else int(facets_round[one]),
                None if levels is None else round(float(levels[one]), _EXACT) + 0.0,
            )
        )
    return found
