"""What a part stands on, told at the nodes over the plate.

A node speaks for the floor around it. Where the surface slopes, its height over the node
is its mean over the half bricks next to the node. Where a flat footing ends between two
nodes, the node beyond its edge leans on it by a share: the footing's area around the node,
weighted by the node's hat, against that of all material there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.compensation.sag.material import FloatArray, IntArray
from shrinkrule.compensation.sag.scan_lines import Pieces

_FOOTING_DEPTH: Final = 0.005
"""Of a brick: what lies no higher than this above the lowest place around belongs to a footing."""

_CARRIED: Final = 0.3  # with this share at a node, a narrow footing is carried by its springs


@dataclass(frozen=True)
class Underside:
    """The underside over the plate.

    Parameters
    ----------
    lowest : (2 nx, 2 ny) float
        Lowest material over each half brick of the floor, mm; infinite if none.
    height : (nx + 1, ny + 1) float
        Mean height over the half bricks around each node, mm; infinite if there is none.
    footing : (nx + 1, ny + 1) float
        Mean height of the lowest flat place in the bricks around each node, mm.
    share : (nx + 1, ny + 1) float
        Share of that place in all material around the node, 0 to 1.
    """

    lowest: FloatArray
    height: FloatArray
    footing: FloatArray
    share: FloatArray


def find_underside(pieces: Pieces, size: FloatArray, counts: IntArray) -> Underside:
    """Find the underside from the cut facets.

    Parameters
    ----------
    pieces : Pieces
        The facets, cut along the scan lines.
    size : (3,) float
        Sides of a brick, mm.
    counts : (3,) int
        Bricks along each axis.
    """
    entering = pieces.share < 0.0
    column, lowest, mean = (
        values[entering] for values in (pieces.column, pieces.lowest, pieces.height)
    )
    area, place = -pieces.share[entering], pieces.middle[entering] / size[:2]
    halves = np.full(2 * counts[:2], np.inf)
    np.minimum.at(halves, tuple(column.T), lowest)

    floor = (int(counts[0]) + 1, int(counts[1]) + 1)
    cell, half = np.divmod(column, 2)
    nearest = np.ravel_multi_index(tuple((cell + half).T), floor)
    plan, rising = _summed(nearest, lowest, area, mean, floor, float(size[2]))

    ends = np.array([(0, 0), (0, 1), (1, 0), (1, 1)])
    around = np.ravel_multi_index(tuple((cell + ends[:, None]).reshape(-1, 2).T), floor)
    hats = np.abs(1 - ends[:, None] - (place - cell)).prod(axis=2).ravel()
    low, middle = np.tile(lowest, 4), np.tile(mean, 4)
    all_around = _summed(around, low, hats * np.tile(area, 4), middle, floor, float(size[2]))[0]
    top = _lowest(around, low, floor).ravel()[around] + _FOOTING_DEPTH * size[2]
    rise = np.maximum(2.0 * (middle - low), 1e-12 * size[2])
    flat = np.clip((top - low) / rise, 0.0, 1.0)
    standing, height = _summed(
        around, low, hats * np.tile(area, 4) * flat, low + 0.5 * flat * rise, floor, float(size[2])
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_height = np.where(plan > 0.0, rising / plan, np.inf)
        footing = np.where(standing > 0.0, height / standing, np.inf)
        share = np.where(all_around > 0.0, standing / all_around, 0.0)
    return Underside(halves, mean_height - _unseen(halves, mean_height, share), footing, share)


def _unseen(halves: FloatArray, height: FloatArray, share: FloatArray) -> FloatArray:
    """How far (nx + 1, ny + 1) the tip of a ridge or a dome lies below what its nodes tell, mm."""
    shape = (len(halves) // 2, 2, halves.shape[1] // 2, 2)
    lowest = halves.reshape(shape).min(axis=(1, 3))
    low = np.min(_corners(height), axis=0)
    carried = np.max(_corners(share), axis=0) > _CARRIED
    known = np.isfinite(low) & np.isfinite(lowest) & ~carried
    drop = np.where(
        known, np.maximum(np.where(known, low, 0.0) - np.where(known, lowest, 0.0), 0.0), 0.0
    )
    drops: FloatArray = np.max(_corners(np.pad(drop, 1)), axis=0)
    return drops


def _corners(values: FloatArray) -> tuple[FloatArray, ...]:
    """The four neighbours of each place between them."""
    return values[:-1, :-1], values[:-1, 1:], values[1:, :-1], values[1:, 1:]


def _lowest(node: IntArray, lowest: FloatArray, floor: tuple[int, int]) -> FloatArray:
    found = np.full(floor, np.inf)
    np.minimum.at(found.ravel(), node, lowest)
    return found


def _summed(
    node: IntArray,
    lowest: FloatArray,
    area: FloatArray,
    height: FloatArray,
    floor: tuple[int, int],
    reach: float,
) -> tuple[FloatArray, FloatArray]:
    """Area, and area times height, of what is less than ``reach`` above the lowest at each node."""
    low = _lowest(node, lowest, floor).ravel()
    area = area * (lowest < low[node] + reach)
    total = floor[0] * floor[1]
    sums = (np.bincount(node, weights, minlength=total) for weights in (area, area * height))
    plan, moment = (values.reshape(floor) for values in sums)
    return plan, moment
