"""Where a part may touch the plate or a support: nodes, the gaps below them, edges of footings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.compensation.sag.columns import Filling
from shrinkrule.compensation.sag.grid import Grid
from shrinkrule.compensation.sag.material import FloatArray, IntArray, Mask
from shrinkrule.compensation.sag.system import Bricks

_WHOLE: Final = 0.70
"""A node with this share of footing around it stands: the edge of what it holds lies 0.23 of a
brick beyond it, as measured on overhangs against much finer grids (see the theory)."""

_LEAST_SHARE: Final = 0.026
"""The share at which the node before it stands, one brick back: (1 - 0.77)^2 / 2."""

_EDGE_STIFFNESS: Final = 0.5  # of modulus times brick: measured on the same overhangs


@dataclass(frozen=True)
class Seats:
    """Nodes that may come to rest on the plate or on a support.

    Parameters
    ----------
    node : (c,) int
        The nodes; one beside the edge of a footing has a firm seat and one that springs.
    gap : (c,) float
        How far each may come down, mm.
    spring : (c,) float
        Stiffness over modulus with which the seat gives, mm; infinite where it is firm.
    """

    node: IntArray
    gap: FloatArray
    spring: FloatArray

    @property
    def firm(self) -> Mask:
        """Seats (c,) that do not give."""
        return np.isinf(self.spring)


def firm_seats(node: IntArray, gap: FloatArray) -> Seats:
    """Seats that do not give, under nodes (c,), each ``gap`` (c,) mm below its node's surface."""
    return Seats(node, gap, np.full(len(node), np.inf))


def plate_seats(bricks: Bricks, grid: Grid, filling: Filling) -> Seats:
    """Find the nodes over the plate, with the gap below the part at each.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    grid : Grid
        Their grid; the plate is its floor.
    filling : Filling
        The filling, with the part's underside.
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
    whole = (share >= _WHOLE) | ~near
    gap = np.where(whole, footing, under.height[place])
    leaning = ~whole & (share > _LEAST_SHARE)
    lean = (share[leaning] - _LEAST_SHARE) / (_WHOLE - _LEAST_SHARE)
    spring = _EDGE_STIFFNESS * float(grid.size.mean()) * lean / (1.0 - lean)
    known = np.isfinite(gap)
    # Slivers too thin for a brick must not pass for the underside of what is above them.
    return Seats(
        node=np.concatenate([lowest[known], lowest[leaning]]),
        gap=np.concatenate([np.maximum(gap, bottom)[known], np.maximum(footing, bottom)[leaning]]),
        spring=np.concatenate([np.full(int(known.sum()), np.inf), spring]),
    )


def underside_nodes(bricks: Bricks) -> IntArray:
    """Nodes with bricks above them and none below, (u,)."""
    above = np.zeros(len(bricks.nodes), dtype=bool)
    below = np.zeros(len(bricks.nodes), dtype=bool)
    above[bricks.corners[:, 0::2]] = True
    below[bricks.corners[:, 1::2]] = True
    return np.flatnonzero(above & ~below)


def add_seats(seats: Seats, held: IntArray) -> Seats:
    """Add nodes that a support holds up where they are."""
    others = ~np.isin(seats.node, held)
    return Seats(
        np.concatenate([seats.node[others], held]),
        np.concatenate([seats.gap[others], np.zeros(len(held))]),
        np.concatenate([seats.spring[others], np.full(len(held), np.inf)]),
    )
