"""Contact candidates: nodes that may touch the plate or a support, with the gap below each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.voxels.fractions import Filling
from shrinkrule.sag.voxels.grid import Grid

FULL_SHARE: Final = 0.70
"""A node with this share of footing around it is held rigidly: the edge of what it holds lies 0.23
of a brick beyond it, as measured on overhangs against much finer grids (see the theory)."""

LEAST_SHARE: Final = 0.026
"""The share at which the node one brick further in is held rigidly: (1 - 0.77)^2 / 2."""

_EDGE_STIFFNESS: Final = 0.5  # of modulus times brick: measured on the same overhangs


@dataclass(frozen=True)
class Candidates:
    """Nodes that may touch the plate or a support.

    Parameters
    ----------
    node : (c,) int
        The nodes; one beside the edge of a footing is a rigid candidate and one with a spring.
    gap : (c,) float
        How far each may come down, mm.
    spring : (c,) float
        Stiffness over modulus of what is below, mm; infinite where that is rigid.
    """

    node: Ints
    gap: Floats
    spring: Floats

    @property
    def rigid(self) -> Mask:
        """Candidates (c,) over something rigid."""
        return np.isinf(self.spring)


def edge_spring(share: Floats, size: Floats) -> Floats:
    """Stiffness over modulus, mm, with which a footing holds a node just beyond its edge.

    Parameters
    ----------
    share : (n,) float
        Share of footing in all material around the node, from LEAST_SHARE to FULL_SHARE.
    size : (3,) float
        Sides of a brick, mm.

    Returns
    -------
    (n,) float
        Stiffness over modulus, mm.
    """
    lean = (share - LEAST_SHARE) / (FULL_SHARE - LEAST_SHARE)
    spring: Floats = _EDGE_STIFFNESS * float(size.mean()) * lean / (1.0 - lean)
    return spring


def plate_candidates(bricks: Bricks, grid: Grid, filling: Filling) -> Candidates:
    """Find the nodes over the plate, with the gap below the part at each.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    grid : Grid
        Their grid; the plate is its floor.
    filling : Filling
        The filling, with the part's underside.

    Returns
    -------
    Candidates
        The nodes over the plate.
    """
    under = filling.underside
    column = bricks.nodes[:, 0] * (grid.counts[1] + 1) + bricks.nodes[:, 1]
    floor = np.full(int(column.max()) + 1, bricks.nodes[:, 2].max())
    np.minimum.at(floor, column, bricks.nodes[:, 2])
    lowest = np.flatnonzero(bricks.nodes[:, 2] == floor[column])
    place = tuple(bricks.nodes[lowest, :2].T)
    bottom = bricks.nodes[lowest, 2] * grid.size[2]
    footing, share = under.footing[place], under.share[place]
    # A node that only a far corner of its bricks reaches comes down with that corner.
    near = under.height[place] <= bottom + grid.size[2]
    whole = (share >= FULL_SHARE) | ~near
    gap = np.where(whole, footing, under.height[place])
    sprung = ~whole & (share > LEAST_SHARE)
    spring = edge_spring(share[sprung], grid.size)
    known = np.isfinite(gap)
    # Fragments too thin for a brick must not pass for the underside of what is above them.
    return Candidates(
        node=np.concatenate([lowest[known], lowest[sprung]]),
        gap=np.concatenate([np.maximum(gap, bottom)[known], np.maximum(footing, bottom)[sprung]]),
        spring=np.concatenate([np.full(int(known.sum()), np.inf), spring]),
    )
