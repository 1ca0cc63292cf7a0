"""Where a flat foot has tilted onto its edge, its push acts a little inside that edge.

The strip that touches is far narrower than a brick, so only the row of nodes along the edge
touches, and would push at the row itself: a span between two such feet would be too short, and
each foot be turned by the whole weight it carries. By its dimensions alone the strip under a line
load `p` and a tilt `t` is as wide as `p / (E t)`, times a number. A part of each node's push is
handed to the node behind, so that force and moment are right, and where the foot ends inside a
brick the node beyond comes down by what the foot's edge would be held too high.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, Mask, found_in
from shrinkrule.sag.contact.candidates import Candidates
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.voxels.corners import CORNERS

PRESSURE: Final = 0.85
"""Pressure at a tilted foot's edge over modulus and tilt, falling evenly to nothing where it lifts:
fitted to the portal frame of docs/theory-sag.md."""

_DENT: Final = (3.1, 0.8)
"""By how much the load per length dents the foot's edge as seen a brick behind it, over load and
modulus, and how much more each brick further: fitted on bricks of 0.4 to 1 mm, on which the tilt
far from the edge is the same."""

_LEVEL: Final = 1e-3  # of a brick: nodes of one flat foot have gaps that differ by less
_NEAR: Final = 0.5  # of a brick: a row nearer to the edge tells no tilt
_STRIDE: Final = np.array([1, 1 << 20, 1 << 40])  # a place as one number


@dataclass(frozen=True)
class Inward:
    """What the pushes at tilted feet's edges hand on.

    Parameters
    ----------
    forces : (n,) float
        Upward force over modulus at each node, mm2.
    handed : (c,) float
        How much of it each candidate hands on, mm2.
    sunk : (c,) float
        How far each candidate comes down beyond its gap, because the foot ends behind it, mm.
    """

    forces: Floats
    handed: Floats
    sunk: Floats

    @classmethod
    def nothing(cls, nodes: int, candidates: int) -> Inward:
        """Nothing is handed on."""
        return cls(np.zeros(nodes), np.zeros(candidates), np.zeros(candidates))

    def towards(self, other: Inward, share: float) -> Inward:
        """A share of the way to another."""
        return Inward(
            self.forces + share * (other.forces - self.forces),
            self.handed + share * (other.handed - self.handed),
            self.sunk + share * (other.sunk - self.sunk),
        )


@dataclass(frozen=True)
class _Places:
    """Numbers at places of the grid, by search."""

    key: Ints
    row: Ints

    @classmethod
    def of(cls, places: Ints, row: Ints) -> _Places:
        key = places @ _STRIDE
        order = np.argsort(key, kind="stable")
        return cls(key[order], row[order])

    def at(self, places: Ints) -> Ints:
        """Rows (k,) at places (k, 3); -1 where there is none."""
        found = found_in(self.key, places @ _STRIDE)
        rows = np.full(len(found), -1, dtype=np.int64)
        rows[found >= 0] = self.row[found[found >= 0]]
        return rows


class _Feet:
    """Flat feet on the plate: the candidates at their edges, and how far inside they end."""

    def __init__(self, bricks: Bricks, candidates: Candidates, flat: Mask) -> None:
        self._place = bricks.nodes[candidates.node]
        feet = np.flatnonzero(flat)
        self._feet = _Places.of(self._place[feet], feet)
        levels = np.unique(self._place[feet, 2])
        low = np.flatnonzero(np.isin(bricks.places[:, 2], levels))
        self._cells = _Places.of(bricks.places[low], low)
        self._below = bricks.octants[:, CORNERS[:, 2] == 0].mean(axis=1)

    def beside(self, mine: Ints, axis: int, step: int) -> Ints:
        """Candidates of a foot some bricks along an axis from others, -1 where there is none."""
        return self._feet.at(self._place[mine] + step * np.eye(3, dtype=np.int64)[axis])

    def fill(self, mine: Ints, axis: int, way: int) -> Floats:
        """Largest filling of the bricks on one side of nodes: how far the foot goes there."""
        best = np.zeros(len(mine))
        for across in range(-2, 2):
            step = np.zeros(3, dtype=np.int64)
            step[axis], step[1 - axis] = -(way == 0), across
            cell = self._cells.at(self._place[mine] + step)
            best = np.maximum(best, np.where(cell >= 0, self._below[cell], 0.0))
        return best


def pushed_inward(
    bricks: Bricks,
    candidates: Candidates,
    touching: Mask,
    push: Floats,
    before: Inward,
    upward: Floats,
) -> Inward:
    """What the pushes at tilted feet's edges hand to the nodes behind.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    candidates : Candidates
        Nodes that may touch.
    touching : (c,) bool
        Candidates that touch.
    push : (c,) float
        Push of each over modulus, mm2.
    before : Inward
        What they hand on already.
    upward : (n,) float
        Upward displacement of the nodes, mm.

    Returns
    -------
    Inward
        What they should hand on.

    Source: docs/theory-sag.md.
    """
    nothing = Inward.nothing(len(bricks.nodes), len(touching))
    size = bricks.brick.size
    flat = candidates.rigid & (candidates.gap <= _LEVEL * size[2])
    mine = np.flatnonzero(flat & touching & (push > 0.0))
    if not len(mine) or not (flat & ~touching).any():
        return nothing
    feet, rise = _Feet(bricks, candidates, flat), upward[candidates.node]
    shape = (len(mine), 2)
    behind = np.full(shape, -1, dtype=np.int64)
    tilt, ends, way_off, along = np.zeros(shape), np.zeros(shape), np.ones(shape), np.ones(shape)
    for axis in range(2):
        sides = np.stack([feet.beside(mine, axis, step) for step in (-1, 1)])
        along[:, axis] = 0.5 * np.maximum((sides >= 0).sum(axis=0), 1)
        for way in range(2):
            inner, outer = sides[way], sides[1 - way]
            at_edge = (inner >= 0) & (outer < 0) & (feet.fill(mine, axis, 1 - way) == 0.0)
            end = 1.0 - feet.fill(mine, axis, way)
            third = feet.beside(mine, axis, 4 * way - 2)
            lifts = at_edge & ~touching[inner] & (rise[inner] > 0.0) & (end <= _NEAR)
            after = at_edge & ~lifts & (third >= 0) & ~touching[third] & (rise[third] > 0.0)
            for which, far, bricks_off in ((lifts, inner, 1.0), (after, third, 2.0)):
                some = np.flatnonzero(which)
                behind[some, axis], ends[some, axis] = inner[some], end[some]
                way_off[some, axis] = bricks_off - end[some]
                turned = rise[far[some]] - rise[mine[some]]
                tilt[some, axis] = turned / (bricks_off * size[axis])
    tilt = np.maximum(tilt, 0.0)
    rests = (behind >= 0) & touching[behind]
    both = (tilt > 0.0).all(axis=1)
    for axis in range(2):
        # Along a row that touches, the foot has tilted across it.
        tilt[both & rests[:, axis], axis] = 0.0
    load = push[mine] + before.handed[mine]
    for axis in range(2):
        second = rests[:, axis] & (tilt[:, axis] > 0.0) & (tilt[:, 1 - axis] == 0.0)
        load[second] += push[behind[second, axis]]
    dent = (_DENT[0] + _DENT[1] * (way_off - 1.0)) / (way_off * size[:2])
    inward = np.zeros(shape)
    for axis in range(2):
        line = (tilt[:, axis] > 0.0) & (tilt[:, 1 - axis] == 0.0)
        strip = load[line] / (along[line, 1 - axis] * size[1 - axis])
        far_off = tilt[line, axis] + strip * dent[line, axis]
        inward[line, axis] = 2.0 / 3.0 * strip / (PRESSURE * far_off)
    corner = (tilt > 0.0).all(axis=1)
    steep = tilt[corner] + load[corner, None] * dent[corner] / size[1::-1]
    deep = np.sqrt(6.0 * load[corner] * steep.prod(axis=1) / PRESSURE / np.hypot(*steep.T))
    inward[corner] = 0.25 * deep[:, None] / steep
    share = np.where(tilt > 0.0, np.minimum(inward / size[:2] + ends, 1.0), 0.0)
    for axis in range(2):
        some = np.flatnonzero(share[:, axis] > 0.0)
        np.add.at(
            nothing.forces, candidates.node[behind[some, axis]], load[some] * share[some, axis]
        )
        nothing.handed[mine[some]] += load[some] * share[some, axis]
    nothing.sunk[mine] = (tilt * ends * size[:2]).sum(axis=1)
    return nothing
