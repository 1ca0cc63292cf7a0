"""The connected components of the material in each brick, each of which becomes an element.

A brick that holds two walls with a gap between them would tie the walls together. So each
connected component of the material in a brick becomes an element of its own, and elements
around a node share the node only where their material is connected (see phantom_nodes.py).
A notch then ends where its material begins, and not a brick too early.

Source: one basis function for each connected part of its support, as in the generalised
Heaviside enrichment (L. Noel, M. Schmidt, K. Doble, J. A. Evans, K. Maute, Comput. Mech. 70
(2022) 1281-1308).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.sag.voxels.brick_intervals import (
    POINTS_EACH,
    BrickIndex,
    BrickIntervals,
    component_of_intervals,
    cut_to_bricks,
    points_inside,
)
from shrinkrule.sag.voxels.corners import CORNERS
from shrinkrule.sag.voxels.intervals import PLACES, SolidIntervals
from shrinkrule.sag.voxels.phantom_nodes import Elements, face_links, list_elements, phantom_nodes

_SLIVER: Final = 0.08  # of a brick: what fills less may be slivers that no column samples
_UPPER_HALF: Final = np.clip(0.5 * np.sign(PLACES - 0.5) + 0.5, 0.0, 1.0)  # of a column


@dataclass(frozen=True)
class Components:
    """Connected components of the material in bricks; most bricks hold one.

    Parameters
    ----------
    cells : (n, 3) int
        Place of each component's brick in the grid.
    octants : (n, 8) float
        Filled fraction of each octant.
    phantom : (n, 8) int
        Number of the phantom node at each corner; 0 stands for the node itself.
    stiffness : (n, 8) float
        Factor on the stiffness of each octant; below one beside re-entrant edges.
    points : (p, 3) float
        Points inside the components of those bricks that hold several, in bricks.
    owner : (p,) int
        Component of each of these points.
    """

    cells: Ints
    octants: Floats
    phantom: Ints
    stiffness: Floats
    points: Floats
    owner: Ints


def find_components(
    cells: Ints, octants: Floats, solid: SolidIntervals, counts: Ints, least: float
) -> Components:
    """Find the connected components of the material in each brick, and their nodes.

    Parameters
    ----------
    cells : (n, 3) int
        Place of each brick that holds anything, sorted.
    octants : (n, 8) float
        Filled fraction of each octant.
    solid : SolidIntervals
        Solid intervals along the columns through the cut bricks.
    counts : (3,) int
        Bricks along each axis of the grid.
    least : float
        Components that fill less than this fraction of a brick are left out.

    Returns
    -------
    Components
        The components of all bricks.
    """
    index = BrickIndex(cells, counts)
    cut = octants.min(axis=1) < 1.0
    intervals = cut_to_bricks(solid, index, np.flatnonzero(cut))
    component = component_of_intervals(intervals)
    elements = list_elements(intervals, component, cut, octants.mean(axis=1) >= _SLIVER)
    links = face_links(intervals, component, elements, index, octants)
    shares = _share_octants(intervals, component, elements, octants)
    kept = shares.mean(axis=1) >= least
    phantom = phantom_nodes(elements, links, index, kept)
    several = elements.several[elements.brick] & kept
    rank = np.cumsum(kept) - 1
    chosen = np.flatnonzero(several[component])
    return Components(
        cells[elements.brick[kept]],
        shares[kept],
        phantom[kept],
        np.ones_like(shares[kept]),
        points_inside(intervals, cells, chosen),
        np.repeat(rank[component[chosen]], POINTS_EACH),
    )


def _share_octants(
    intervals: BrickIntervals, component: Ints, elements: Elements, octants: Floats
) -> Floats:
    """Filled fraction (e, 8) of each element's octants: the brick's, shared by its components."""
    shares = octants[elements.brick]
    if not elements.several.any():
        return shares
    held = np.zeros_like(shares)
    halves = np.stack([1.0 - _UPPER_HALF, _UPPER_HALF])
    for octant, (x, y, z) in enumerate(CORNERS):
        length = np.minimum(intervals.high, 0.5 + 0.5 * z) - np.maximum(intervals.low, 0.5 * z)
        length *= halves[x, intervals.column[:, 0]] * halves[y, intervals.column[:, 1]]
        held[:, octant] = np.bincount(component, np.maximum(length, 0.0), minlength=len(held))
    total = np.zeros_like(octants)
    np.add.at(total, elements.brick, held)
    shared = np.flatnonzero(elements.several[elements.brick])
    mine, all_of_it = held[shared], total[elements.brick[shared]]
    # An octant that no column samples is shared in proportion to what they hold of the brick.
    whole, every = mine.sum(axis=1, keepdims=True), all_of_it.sum(axis=1, keepdims=True)
    missed = all_of_it <= 0.0
    shares[shared] *= np.where(missed, whole, mine) / np.where(missed, every, all_of_it)
    return shares
