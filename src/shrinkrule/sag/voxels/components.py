"""Bricks whose material hangs together in lumps: walls with a gap between them may part.

A brick that holds two walls with a gap between them would tie them together. So each lump of
material inside a brick becomes a brick of its own, and the lumps around a node hang on one
node only if they hang together there; else the node comes in copies, one for each separate
lot. A notch so ends where its material begins, not a brick before.

Source: one basis function for each connected part of its support, as in the generalised
Heaviside enrichment (L. Noel, M. Schmidt, K. Doble, J. A. Evans, K. Maute, Comput. Mech. 70
(2022) 1281-1308); for cracks known as phantom nodes (A. Hansbo, P. Hansbo, Comput. Methods
Appl. Mech. Eng. 193 (2004) 3523-3540).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components, ranges
from shrinkrule.sag.voxels.corners import CORNERS, shared_nodes
from shrinkrule.sag.voxels.intervals import COLUMNS, PLACES, Runs

_BESIDE: Final = ((0, 1), (1, 0), (1, 1), (1, -1))
_REACHES: Final = 1e-9  # of a brick: a run this near a brick's face reaches it
_SHEET: Final = 0.08  # of a brick: what fills less may be films on its sides, told by no column
_FACING: Final = 0.5  # of its mean filling: a sheet fills the octants along a face so far
_CRUMB: Final = 2.0  # bricks
_UPPER_HALF: Final = np.clip(0.5 * np.sign(PLACES - 0.5) + 0.5, 0.0, 1.0)  # of a column
_LOOKS: Final = 5  # points by which a stretch of run is found again


@dataclass(frozen=True)
class Lumps:
    """Lumps of material, each a whole brick or a part of one.

    Parameters
    ----------
    cells : (n, 3) int
        Place of each lump's brick in the grid.
    octants : (n, 8) float
        Filled fraction of each octant.
    copy : (n, 8) int
        Which copy of the node at each corner the lump hangs on; 0 where there is but one.
    stiffness : (n, 8) float
        Share of its stiffness that each octant keeps; less than one beside re-entrant edges.
    points : (p, 3) float
        Points inside the lumps of those bricks that hold several, in bricks.
    owner : (p,) int
        Lump of each of these points.
    """

    cells: Ints
    octants: Floats
    copy: Ints
    stiffness: Floats
    points: Floats
    owner: Ints


@dataclass(frozen=True)
class _Stretches:
    """Runs cut to single bricks, sorted by brick and column."""

    brick: Ints  # (s,)
    column: Ints  # (s, 2) inside the brick
    low: Floats  # (s,) in bricks, from the brick's floor
    high: Floats  # (s,)

    def meeting(self, mine: Ints, brick: Ints, column: Ints) -> Ints:
        """Pairs (p, 2) of stretches: some, each with all at a brick and column given for it."""
        key = _key(self.brick, self.column)
        wanted = _key(brick, column)
        one, other = ranges(np.searchsorted(key, wanted), np.searchsorted(key, wanted + 1))
        return np.stack([mine[one], other], axis=1)

    def overlapping(self, pairs: Ints) -> Ints:
        """Those of some pairs (p, 2) that share a height."""
        low, high = self.low[pairs].max(axis=1), self.high[pairs].min(axis=1)
        shared: Ints = pairs[high > low]
        return shared


def _key(brick: Ints, column: Ints) -> Ints:
    key: Ints = (brick * COLUMNS + column[:, 0]) * COLUMNS + column[:, 1]
    return key


def find_lumps(cells: Ints, octants: Floats, runs: Runs, counts: Ints, least: float) -> Lumps:
    """Part bricks into lumps where their material does not hang together.

    Parameters
    ----------
    cells : (n, 3) int
        Place of each brick that holds anything, sorted.
    octants : (n, 8) float
        Filled fraction of each octant.
    runs : Runs
        Runs of material along the columns through the cut bricks.
    counts : (3,) int
        Bricks along each axis of the grid.
    least : float
        Lumps that fill less than this fraction of a brick are left out.
    """
    places = _Places(cells, counts)
    cut = octants.min(axis=1) < 1.0
    stretches = _cut_runs(runs, places, np.flatnonzero(cut))
    lump = _lumps_of(stretches)
    units = _list_units(stretches, lump, cut, octants.mean(axis=1) >= _SHEET)
    links = _links(stretches, lump, units, places, octants)
    doubtful = _doubtful_nodes(units, links, places)
    parts = _share_octants(stretches, lump, units, octants)
    kept = parts.mean(axis=1) >= least
    copy = _copies(units, links, places, doubtful, kept)
    several = units.several[units.brick] & kept
    rank = np.cumsum(kept) - 1
    chosen = np.flatnonzero(several[lump])
    return Lumps(
        cells[units.brick[kept]],
        parts[kept],
        copy[kept],
        np.ones_like(parts[kept]),
        _look_points(stretches, cells, chosen),
        np.repeat(rank[lump[chosen]], _LOOKS),
    )


class _Places:
    """Bricks by their place, and the nodes at their corners."""

    def __init__(self, cells: Ints, counts: Ints) -> None:
        self.cells, self.counts = cells, counts
        self._number = np.full(tuple(counts + 2), -1, dtype=np.int32)
        self._number[tuple((cells + 1).T)] = np.arange(len(cells), dtype=np.int32)
        self._strides = np.array([(counts[1] + 1) * (counts[2] + 1), counts[2] + 1, 1])

    def at(self, place: Ints) -> Ints:
        """Brick (n,) at each place (n, 3), up to one beyond the grid; -1 where there is none."""
        number: Ints = self._number[tuple((place + 1).T)].astype(np.int64)
        return number

    def beside(self, brick: Ints, axis: int, side: int) -> Ints:
        """Brick (n,) next to each brick along an axis, -1 where there is none."""
        place = self.cells[brick]
        place[:, axis] += side
        return self.at(place)

    def nodes(self, brick: Ints) -> Ints:
        """Place of the node at each corner of the bricks, (n, 8) as one number."""
        nodes: Ints = (self.cells[brick] @ self._strides)[:, None] + CORNERS @ self._strides
        return nodes

    @property
    def node_count(self) -> int:
        """Places of nodes in the grid."""
        return int(np.prod(self.counts + 1))


@dataclass(frozen=True)
class _Units:
    """Lumps, and bricks of which no stretch is known, in one list: the lumps come first."""

    brick: Ints  # (u,) brick of each unit
    home: Ints  # (l,) brick of each lump, ascending
    alone: Ints  # (n,) unit of each brick that has no stretches, else -1
    whole: Ints  # (n,) the same for those that are full, else -1
    unseen: Ints  # (k,) cut bricks that no column passes
    several: Mask  # (n,) bricks of several lumps


def _list_units(stretches: _Stretches, lump: Ints, cut: Mask, counts: Mask) -> _Units:
    """List the units of all bricks: some are cut, some count even where no column passes."""
    home = np.zeros(int(lump.max(initial=-1)) + 1, dtype=np.int64)
    home[lump] = stretches.brick
    each = np.bincount(home, minlength=len(cut))
    rest = np.flatnonzero(~cut | (counts & (each == 0)))
    alone = np.full(len(cut), -1, dtype=np.int64)
    alone[rest] = len(home) + np.arange(len(rest))
    whole, unseen = np.where(cut, -1, alone), np.flatnonzero(cut & (alone >= 0))
    return _Units(np.concatenate([home, rest]), home, alone, whole, unseen, each > 1)


def _cut_runs(runs: Runs, places: _Places, cut: Ints) -> _Stretches:
    """Cut runs to the given bricks, which they pass."""
    lattice = np.stack(np.divmod(np.arange(COLUMNS**2), COLUMNS), axis=1)
    brick, inside = np.repeat(cut, len(lattice)), np.tile(lattice, (len(cut), 1))
    width, tall = COLUMNS * places.counts[1], places.counts[2] + 2
    along = (runs.column[:, 0] * width + runs.column[:, 1]) * tall
    column = COLUMNS * places.cells[brick, :2] + inside
    floor = (column[:, 0] * width + column[:, 1]) * tall + places.cells[brick, 2]
    one, run = ranges(
        np.searchsorted(along + runs.high, floor, side="right"),
        np.searchsorted(along + runs.low, floor + 1, side="left"),
    )
    layer = places.cells[brick[one], 2]
    low = np.maximum(runs.low[run] - layer, 0.0)
    high = np.minimum(runs.high[run] - layer, 1.0)
    kept = high - low > _REACHES
    return _Stretches(brick[one[kept]], inside[one[kept]], low[kept], high[kept])


def _lumps_of(stretches: _Stretches) -> Ints:
    """Lump (s,) of each stretch: those that touch inside a brick are one; in the bricks' order."""
    pairs = [np.empty((0, 2), dtype=np.int64)]
    for step in _BESIDE:
        column = stretches.column + step
        mine = np.flatnonzero(np.all((column >= 0) & (column < COLUMNS), axis=1))
        met = stretches.meeting(mine, stretches.brick[mine], column[mine])
        pairs.append(stretches.overlapping(met))
    label = connected_components(len(stretches.brick), np.concatenate(pairs))
    first = np.unique(label, return_index=True)[1]
    rank = np.empty_like(first)
    rank[np.argsort(first)] = np.arange(len(first))
    lump: Ints = rank[label]
    return lump


def _links(
    stretches: _Stretches, lump: Ints, units: _Units, places: _Places, octants: Floats
) -> Ints:
    """Pairs (k, 2) of units that touch through a face of their bricks, but for two whole ones."""
    found = [_unseen_links(units, places, octants)]
    for axis in range(3):
        for side in (1, -1):
            mine = _at_face(stretches, axis, side)
            other = places.beside(stretches.brick[mine], axis, side)
            mine, other = mine[other >= 0], other[other >= 0]
            whole = units.whole[other]
            found.append(np.stack([lump[mine], whole], axis=1)[whole >= 0])
            if side == -1:
                continue
            column = stretches.column[mine]
            if axis == 2:
                met = stretches.meeting(mine, other, column)
                met = met[stretches.low[met[:, 1]] <= _REACHES]
            else:
                column[:, axis] = 0
                met = stretches.overlapping(stretches.meeting(mine, other, column))
            found.append(lump[met])
    low, high = np.sort(np.concatenate(found), axis=1).T
    count = len(units.brick)
    return np.stack(np.divmod(np.unique(low * count + high), count), axis=1)


def _at_face(stretches: _Stretches, axis: int, side: int) -> Ints:
    """Stretches that reach a face of their brick."""
    if axis == 2:
        reaches = stretches.high >= 1.0 - _REACHES if side == 1 else stretches.low <= _REACHES
    else:
        reaches = stretches.column[:, axis] == (COLUMNS - 1 if side == 1 else 0)
    return np.flatnonzero(reaches)


def _unseen_links(units: _Units, places: _Places, octants: Floats) -> Ints:
    """Pairs (k, 2): sheets between the columns, with what is on those sides that they fill."""
    found = [np.empty((0, 2), dtype=np.int64)]
    sheets = octants[units.unseen]
    for axis in range(3):
        for side in (1, -1):
            facing = sheets[:, CORNERS[:, axis] == (side + 1) // 2].mean(axis=1)
            mine = units.unseen[facing >= _FACING * sheets.mean(axis=1)]
            beside = places.beside(mine, axis, side)
            kept = (beside >= 0) & ~units.several[beside]
            mine, beside = mine[kept], beside[kept]
            only = np.minimum(np.searchsorted(units.home, beside), max(len(units.home) - 1, 0))
            other = np.where(units.alone[beside] < 0, only, units.alone[beside])
            found.append(np.stack([units.alone[mine], other], axis=1))
    return np.concatenate(found)


def _doubtful_nodes(units: _Units, links: Ints, places: _Places) -> Mask:
    """Places of nodes around which material may not hang together, (nodes of the grid,)."""
    doubtful = np.zeros(places.node_count, dtype=bool)
    doubtful[places.nodes(np.flatnonzero(units.several))] = True
    cut = np.flatnonzero(units.whole < 0)
    one, other = units.brick[links].T
    shift = places.cells[other] - places.cells[one]
    lower, along = np.where(shift.sum(axis=1) > 0, one, other), np.abs(shift).argmax(axis=1)
    for axis in range(3):
        above, below = places.beside(cut, axis, 1), places.beside(cut, axis, -1)
        faces = np.unique(np.concatenate([cut[above >= 0], below[below >= 0]]))
        open_faces = np.setdiff1d(faces, lower[along == axis])
        doubtful[places.nodes(open_faces)[:, CORNERS[:, axis] == 1]] = True
    return doubtful


def _copies(units: _Units, links: Ints, places: _Places, doubtful: Mask, kept: Mask) -> Ints:
    """Which copy of the node at each corner each unit hangs on, (u, 8)."""
    copy = np.zeros((len(units.brick), 8), dtype=np.int64)
    if not doubtful.any():
        return copy
    nodes = places.nodes(np.arange(len(places.cells)))
    near: Mask = np.asarray(doubtful[nodes].any(axis=1))
    mine = np.flatnonzero(near[units.brick])
    row = np.full(len(copy), -1, dtype=np.int64)
    row[mine] = np.arange(len(mine))
    pairs = row[np.concatenate([links, _whole_links(units, places, near)])]
    label = shared_nodes(places.cells[units.brick[mine]], pairs[(pairs >= 0).all(axis=1)])
    unit, corner = np.nonzero(doubtful[nodes[units.brick[mine]]] & kept[mine, None])
    node = nodes[units.brick[mine[unit]], corner]
    lots, lot = np.unique(node * label.size + label[unit, corner], return_inverse=True)
    home = lots // label.size
    first = np.searchsorted(home, home)
    copy[mine[unit], corner] = (np.arange(len(lots)) - first)[lot]
    return copy


def _whole_links(units: _Units, places: _Places, near: Mask) -> Ints:
    """Pairs (k, 2) of whole bricks side by side, among some bricks (n,)."""
    found = []
    whole = np.flatnonzero(near & (units.whole >= 0))
    for axis in range(3):
        beside = places.beside(whole, axis, 1)
        both = (beside >= 0) & (units.whole[beside] >= 0)
        found.append(units.whole[np.stack([whole[both], beside[both]], axis=1)])
    return np.concatenate(found)


def _share_octants(stretches: _Stretches, lump: Ints, units: _Units, octants: Floats) -> Floats:
    """Filled fraction (u, 8) of each unit's octants: the brick's, shared out to its lumps."""
    parts = octants[units.brick]
    if not units.several.any():
        return parts
    held = np.zeros_like(parts)
    halves = np.stack([1.0 - _UPPER_HALF, _UPPER_HALF])
    for octant, (x, y, z) in enumerate(CORNERS):
        length = np.minimum(stretches.high, 0.5 + 0.5 * z) - np.maximum(stretches.low, 0.5 * z)
        length *= halves[x, stretches.column[:, 0]] * halves[y, stretches.column[:, 1]]
        held[:, octant] = np.bincount(lump, np.maximum(length, 0.0), minlength=len(held))
    total = np.zeros_like(octants)
    np.add.at(total, units.brick, held)
    shared = np.flatnonzero(units.several[units.brick])
    mine, all_of_it = held[shared], total[units.brick[shared]]
    # An octant that no column passes goes to the lumps by what they hold of the brick.
    whole, every = mine.sum(axis=1, keepdims=True), all_of_it.sum(axis=1, keepdims=True)
    missed = all_of_it <= 0.0
    parts[shared] *= np.where(missed, whole, mine) / np.where(missed, every, all_of_it)
    return parts


def tied(lumps: Lumps, bodies: int) -> Lumps:
    """Lumps without crumbs that hang on nothing, and with larger lots tied that should not float.

    Contact through less than a column's width is not seen, so what holds by so little floats
    off. Crumbs are left out; of larger lots no more stay loose than the part has bodies.

    Parameters
    ----------
    lumps : Lumps
        Lumps of a part.
    bodies : int
        Separate bodies that the part has.
    """
    shape = lumps.cells.max(axis=0) + 2
    corners = (lumps.cells[:, None, :] + CORNERS).reshape(-1, 3)
    nodes = np.ravel_multi_index(tuple(corners.T), tuple(shape)).reshape(-1, 8)
    copy = lumps.copy
    while True:
        lot = _lots(nodes * (copy.max() + 1) + copy)
        size = np.bincount(lot, weights=lumps.octants.mean(axis=1))
        crumbs = size <= min(_CRUMB, 0.5 * float(size.max()))
        loose = ~crumbs
        loose[np.argsort(-size, kind="stable")[:bodies]] = False
        joined = np.where(np.isin(nodes, nodes[loose[lot]]), 0, copy)
        if np.array_equal(joined, copy):
            return _without(replace(lumps, copy=copy), crumbs[lot])
        copy = joined


def _without(lumps: Lumps, left_out: Mask) -> Lumps:
    kept = ~left_out
    rank, known = np.cumsum(kept) - 1, kept[lumps.owner]
    return Lumps(
        lumps.cells[kept],
        lumps.octants[kept],
        lumps.copy[kept],
        lumps.stiffness[kept],
        lumps.points[known],
        rank[lumps.owner[known]],
    )


def _lots(nodes: Ints) -> Ints:
    """Label (u,) what shares nodes (u, 8)."""
    count, number = len(nodes), np.unique(nodes, return_inverse=True)[1].reshape(-1, 8)
    pairs = np.stack([np.repeat(np.arange(count), 8), count + number.ravel()], axis=1)
    label = connected_components(count + int(number.max()) + 1, pairs)[:count]
    lots: Ints = np.unique(label, return_inverse=True)[1]
    return lots


def _look_points(stretches: _Stretches, cells: Ints, chosen: Ints) -> Floats:
    """Points (c * _LOOKS, 3) along some stretches, in bricks."""
    plan = cells[stretches.brick[chosen], :2] + PLACES[stretches.column[chosen]]
    low, high = stretches.low[chosen], stretches.high[chosen]
    height = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, _LOOKS)
    height += cells[stretches.brick[chosen], 2][:, None]
    points: Floats = np.column_stack([np.repeat(plan, _LOOKS, axis=0), height.ravel()])
    return points
