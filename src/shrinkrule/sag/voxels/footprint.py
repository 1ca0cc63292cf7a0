"""The footprint of a part: its underside over the plate, sampled at the nodes.

A node stands for the floor around it. Where the surface slopes, the height at the node is
the mean height over the half bricks next to it. Where a flat footing ends between two
nodes, it holds the node beyond its edge by a share: the footing's area around the node,
weighted by the node's shape function, over that of all material there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.sag.voxels.corners import PLAN_CORNERS, shape_functions
from shrinkrule.sag.voxels.scanlines import Pieces

_FOOTING_DEPTH: Final = 0.005
"""Of a brick: what lies no higher than this above the lowest place around belongs to a footing."""

_CARRIED: Final = 0.3  # with this share at a node, a narrow footing is carried by its springs


@dataclass(frozen=True)
class Underside:
    """The underside at the nodes over the plate.

    Parameters
    ----------
    height : (nx + 1, ny + 1) float
        Height of the surface over each node, mm; infinite if there is none next to it.
    footing : (nx + 1, ny + 1) float
        Height of the lowest flat place in the bricks around each node, mm.
    share : (nx + 1, ny + 1) float
        Share of that place in all material around the node, 0 to 1.
    """

    height: Floats
    footing: Floats
    share: Floats


@dataclass(frozen=True)
class _Surroundings:
    """Pieces of surface that face down, each with a node that it is counted for."""

    floor: tuple[int, int]
    node: Ints  # (n,)
    lowest: Floats  # (n,)
    height: Floats  # (n,) mean
    area: Floats  # (n,) in bricks
    lowest_around: Floats  # (nx + 1, ny + 1) of the pieces counted for each node

    @cached_property
    def bottom(self) -> Floats:
        """Lowest height around the node of each piece, (n,)."""
        around: Floats = self.lowest_around.ravel()[self.node]
        return around

    def summed(self, values: Floats) -> Floats:
        """Sum (nx + 1, ny + 1) of values (n,) at each node."""
        count = self.floor[0] * self.floor[1]
        sums = np.bincount(self.node, values, minlength=count).astype(np.float64)
        return sums.reshape(self.floor)


def find_underside(pieces: Pieces, size: Floats, counts: Ints) -> Underside:
    """Find the underside from the cut facets.

    Parameters
    ----------
    pieces : Pieces
        The facets, cut along the scan lines.
    size : (3,) float
        Sides of a brick, mm.
    counts : (3,) int
        Bricks along each axis.

    Returns
    -------
    Underside
        The underside at the nodes.
    """
    down = pieces.share < 0.0
    column, place, area = pieces.column[down], pieces.middle[down], -pieces.share[down]
    lowest, mean = pieces.lowest[down], pieces.height[down]
    floor = (int(counts[0]) + 1, int(counts[1]) + 1)
    bottom = np.full(2 * counts[:2], np.inf)
    np.minimum.at(bottom, tuple(column.T), lowest)
    nearest = _lowest_of_four(np.pad(bottom, 1, constant_values=np.inf))
    cells = np.pad(_lowest_of_four(bottom), 1, constant_values=np.inf)
    cell, half = np.divmod(column, 2)
    node = np.ravel_multi_index(tuple((cell + half).T), floor)
    next_to = _Surroundings(floor, node, lowest, mean, area, nearest)

    ends = (cell + PLAN_CORNERS[:, None]).reshape(-1, 2)
    corners = np.asarray(np.ravel_multi_index(tuple(ends.T), floor))
    weight = shape_functions(place / size[:2] - cell).T.ravel()
    around = _Surroundings(
        floor,
        corners,
        np.tile(lowest, 4),
        np.tile(mean, 4),
        weight * np.tile(area, 4),
        np.minimum.reduce(_corners(cells)),
    )
    height = _mean_height(next_to, float(size[2]))
    footing, share = _footing(around, float(size[2]))
    return Underside(height - _missed_tips(bottom, height, share), footing, share)


def _mean_height(pieces: _Surroundings, brick: float) -> Floats:
    """Mean height of what is less than a brick above the lowest place, infinite if nothing is."""
    area = pieces.area * (pieces.lowest < pieces.bottom + brick)
    plan = pieces.summed(area)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean: Floats = np.where(plan > 0.0, pieces.summed(area * pieces.height) / plan, np.inf)
    return mean


def _footing(pieces: _Surroundings, brick: float) -> tuple[Floats, Floats]:
    """Height of the lowest flat place around each node, and its share in all material there."""
    rise = np.maximum(2.0 * (pieces.height - pieces.lowest), 1e-12 * brick)
    flat = np.clip((pieces.bottom + _FOOTING_DEPTH * brick - pieces.lowest) / rise, 0.0, 1.0)
    area, height = pieces.area * flat, pieces.lowest + 0.5 * flat * rise
    standing = pieces.summed(area)
    everything = pieces.summed(pieces.area * (pieces.lowest < pieces.bottom + brick))
    with np.errstate(invalid="ignore", divide="ignore"):
        footing = np.where(standing > 0.0, pieces.summed(area * height) / standing, np.inf)
        share = np.where(everything > 0.0, standing / everything, 0.0)
    return footing, share


def _missed_tips(bottom: Floats, height: Floats, share: Floats) -> Floats:
    """How far (nx + 1, ny + 1) the tip of a ridge or a dome lies below the height at its nodes, mm.

    ``bottom`` is the lowest material over each half brick, (2 nx, 2 ny).
    """
    lowest = _lowest_of_four(bottom)
    sampled = np.minimum.reduce(_corners(height))
    known = np.isfinite(sampled) & np.isfinite(lowest)
    known &= np.maximum.reduce(_corners(share)) <= _CARRIED
    drop = np.zeros_like(lowest)
    drop[known] = np.maximum(sampled[known] - lowest[known], 0.0)
    drops: Floats = np.maximum.reduce(_corners(np.pad(drop, 1)))
    return drops


def _lowest_of_four(values: Floats) -> Floats:
    """Lowest of each two by two places, (n, m) of (2 n, 2 m)."""
    lowest: Floats = values.reshape(len(values) // 2, 2, -1, 2).min(axis=(1, 3))
    return lowest


def _corners(values: Floats) -> list[Floats]:
    """The four neighbours of each place between them."""
    return [values[:-1, :-1], values[:-1, 1:], values[1:, :-1], values[1:, 1:]]
