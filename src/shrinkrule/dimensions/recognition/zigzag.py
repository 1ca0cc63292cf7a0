"""Cylinders whose facets run to and fro between two rings of corners that do not face each other.

Some programs divide the two ends of a round unlike; no two facets then make a flat strip, and no
two creases are parallel. What is left of a cylinder is that all corners lie on it and that all
normals are square to one axis, which begins the fit.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.dimensions.recognition.creases import Creases
from shrinkrule.dimensions.recognition.regions import Regions
from shrinkrule.dimensions.recognition.surface import grouped
from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components

SMOOTH: Final = np.radians(31.0)
"""Turn between two facets of a round, at most."""

FEWEST: Final = 12
"""Facets of such a round, at least."""

MOST_CORNERS: Final = 4
"""Corners of one of its flat regions, at most."""

SQUARE: Final = 0.05
"""Root mean square of the cosines between normals and axis, at most."""


def patches(regions: Regions, creases: Creases, taken: Mask) -> list[tuple[Ints, Ints]]:
    """Find patches of small facets that run on into each other.

    Parameters
    ----------
    regions : Regions
        Flat regions of a surface.
    creases : Creases
        Where these meet.
    taken : (r,) bool
        Regions that are known otherwise already.

    Returns
    -------
    list of ((j,) int64, (k,) int64)
        Regions of each patch, and the creases inside it.
    """
    able = ~taken & (regions.sizes <= MOST_CORNERS)
    # Where facets lean over to the next corner but one, every other crease turns the other way.
    chain = np.flatnonzero(able[creases.regions].all(axis=1) & (np.abs(creases.turn) < SMOOTH))
    if len(chain) == 0:
        return []
    label = connected_components(len(regions), creases.regions[chain])
    of_crease = np.unique(label[creases.regions[chain, 0]], return_inverse=True)[1].ravel()
    order, start = grouped(of_crease, int(of_crease.max()) + 1)
    return [
        (np.unique(creases.regions[members]), members)
        for members in np.split(chain[order], start[1:])
        if len(members) >= FEWEST - 1
    ]


def zigzags(regions: Regions, creases: Creases, taken: Mask) -> list[tuple[Ints, Floats]]:
    """Find chains of creases that may be such cylinders.

    Parameters
    ----------
    regions : Regions
        Flat regions of a surface.
    creases : Creases
        Where these meet.
    taken : (r,) bool
        Regions that are strips of a cylinder already.

    Returns
    -------
    list of ((k,) int64, (3,) float64)
        Creases of each chain, and a direction near its axis.
    """
    found: list[tuple[Ints, Floats]] = []
    for mine, members in patches(regions, creases, taken):
        axis = _axis(regions, mine) if len(mine) >= FEWEST else None
        if axis is not None:
            found.append((members, axis))
    return found


def _axis(regions: Regions, some: Ints) -> Floats | None:
    """Direction square to the normals of regions; None where there is none."""
    weighted = regions.normals[some] * regions.areas[some, None]
    spread, ways = np.linalg.eigh(weighted.T @ regions.normals[some])
    if spread[0] > SQUARE**2 * spread.sum() or spread[1] < 0.05 * spread.sum():
        return None
    axis: Floats = ways[:, 0]
    return axis
