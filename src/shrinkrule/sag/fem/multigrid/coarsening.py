"""Coarse spaces that bend: nested grids whose nodes carry a displacement and a rotation.

Around each coarse node the part moves as a rigid body, and neighbouring rigid bodies
are blended by the trilinear shape functions of the coarse grid. Rotations let a thin wall bend on
a grid coarser than the wall, which trilinear displacements cannot. Where the material
inside a coarse cell falls apart into pieces (two walls with a gap between them), each
piece gets a cell and nodes of its own, so that the gap may open.

Because all bricks are alike, the coarse cell's matrix is a weighted sum of a few
templates, one for each brick's place inside the cell.

Source: the aggregates' rigid-body space is that of smoothed aggregation (P. Vanek, J.
Mandel, M. Brezina, Computing 56 (1996) 179-196); blending by shape functions is the partition of
unity (I. Babuska, J. M. Melenk, Int. J. Numer. Methods Eng. 40 (1997) 727-758).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, connected_components
from shrinkrule.sag.fem.operator import Bricks
from shrinkrule.sag.voxels.corners import CORNERS, shape_functions, shared_nodes

_UPPER: Final = np.triu_indices(48)


@dataclass(frozen=True)
class Cells:
    """Cells of one level, with the nodes at their corners.

    Parameters
    ----------
    places : (m, 3) int
        Place of each cell in its grid; pieces of one place come as several cells.
    corners : (m, 8) int
        Node at each corner.
    nodes : (n, 3) int
        Place of each node; copies share a place.
    touching : (k, 2) int
        Pairs of cells that share nodes.
    """

    places: Ints
    corners: Ints
    nodes: Ints
    touching: Ints


@dataclass(frozen=True)
class Coarsening:
    """From the cells of one level to those of the next.

    Parameters
    ----------
    cells : Cells
        The coarse cells.
    parent : (m,) int
        Coarse cell of each fine cell.
    slot : (m,) int
        Place of each fine cell inside its parent, 0 .. factor^3 - 1.
    factor : int
        Fine cells along one side of a coarse cell.
    """

    cells: Cells
    parent: Ints
    slot: Ints
    factor: int


def _pieces(places: Ints, pairs: Ints) -> Ints:
    """Label the connected groups of cells; most are joined by the few pairs that share a face."""
    face = np.abs(places[pairs[:, 0]] - places[pairs[:, 1]]).sum(axis=1) == 1
    label = connected_components(len(places), pairs[face])
    rest = label[pairs[~face]]
    rest = rest[rest[:, 0] != rest[:, 1]]
    return connected_components(int(label.max()) + 1, rest)[label] if len(rest) else label


def coarsen(places: Ints, touching: Ints, factor: int) -> Coarsening:
    """Gather cells into coarse cells, piece by piece.

    Parameters
    ----------
    places : (m, 3) int
        Places of the fine cells.
    touching : (k, 2) int
        Pairs of fine cells that share nodes.
    factor : int
        Fine cells along one side of a coarse cell.
    """
    homes = places // factor
    shape = homes.max(axis=0) + 1
    key = np.ravel_multi_index(tuple(homes.T), tuple(shape))
    inside = key[touching[:, 0]] == key[touching[:, 1]]
    parent = _pieces(places, touching[inside])
    coarse = np.empty((int(parent.max()) + 1, 3), dtype=np.int64)
    coarse[parent] = homes

    low, high = np.sort(parent[touching[~inside]], axis=1).T
    across = np.stack(np.divmod(np.unique(low * len(coarse) + high), len(coarse)), axis=1)
    corners = shared_nodes(coarse, across)
    numbers, first_use = np.unique(corners, return_index=True)
    nodes = (coarse[:, None, :] + CORNERS).reshape(-1, 3)[first_use]
    slot = np.ravel_multi_index(tuple((places - homes * factor).T), (factor,) * 3)
    cells = Cells(coarse, np.searchsorted(numbers, corners), nodes, across)
    return Coarsening(cells, parent, slot, factor)


def _cross_matrix(arms: Floats) -> Floats:
    """Matrices (n, 3, 3) that turn a rotation into the displacement at arms (n, 3)."""
    x, y, z = arms.T
    zero = np.zeros_like(x)
    return np.array([[zero, z, -y], [-z, zero, x], [y, -x, zero]]).transpose(2, 0, 1)


def prolongation_templates(factor: int, aspect: Floats, directions: int) -> Floats:
    """What a fine cell's corners do when a coarse cell's corners move.

    Parameters
    ----------
    factor : int
        Fine cells along one side of the coarse cell.
    aspect : (3,) float
        Sides of the coarse cell in units of the rotation's arm.
    directions : int
        At each fine corner: 3, or 6 where it can turn too, as the coarse ones can.

    Returns
    -------
    (factor^3, 8 directions, 48) float
        The fine corners' movements for unit movements of the coarse ones.
    """
    slots = np.stack(np.unravel_index(np.arange(factor**3), (factor,) * 3), axis=1)
    position = (slots[:, None, :] + CORNERS).reshape(-1, 3) / factor
    weight = shape_functions(position)
    arms = (position[:, None, :] - CORNERS) * aspect
    blocks = np.zeros((len(position), 8, directions, 6))
    blocks[:, :, :3, :3] = np.eye(3)
    blocks[:, :, :3, 3:] = _cross_matrix(arms.reshape(-1, 3)).reshape(-1, 8, 3, 3)
    if directions == 6:
        blocks[:, :, 3:, 3:] = np.eye(3)
    blocks *= weight[:, :, None, None]
    rows = 8 * blocks.shape[2]
    return blocks.transpose(0, 2, 1, 3).reshape(factor**3, rows, 48)


def gather_bricks(
    bricks: Bricks, free: Floats, step: Coarsening, arm: float, chosen: Ints
) -> Floats:
    """Stiffness (m, 48, 48) of the coarse cells made of bricks.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    free : (n, 3) float
        One where a node may move, zero where it is held.
    step : Coarsening
        How they are gathered.
    arm : float
        Length by which rotations are measured, mm.
    chosen : (m,) int
        The coarse cells to gather.
    """
    factor = step.factor
    blends = prolongation_templates(factor, factor * bricks.brick.size / arm, 3)
    row = np.full(len(step.cells.places), -1, dtype=np.int64)
    row[chosen] = np.arange(len(chosen))
    mine = np.flatnonzero(row[step.parent] >= 0)
    held_bits = ((free == 0.0) @ np.array([1, 2, 4])).astype(np.int64)
    bits = held_bits[bricks.corners[mine]] @ (8 ** np.arange(8, dtype=np.int64))
    packed = np.zeros((len(chosen), len(_UPPER[0])))
    for pattern in np.unique(bits):
        moves = ((pattern >> np.arange(24)) & 1 == 0).astype(np.float64)
        alike = mine[bits == pattern]
        for group, whole in (
            (alike[alike < bricks.full], True),
            (alike[alike >= bricks.full], False),
        ):
            if not len(group):
                continue
            slots, column = np.unique(step.slot[group], return_inverse=True)
            templates = _templates(bricks.brick.strain * moves, blends[slots])
            if whole:
                templates = templates.sum(axis=1, keepdims=True)
            owners, line = np.unique(row[step.parent[group]], return_inverse=True)
            filling = np.zeros((len(owners), *templates.shape[:2]))
            # Lumps of one brick may share their slot in a cell.
            np.add.at(filling, (line, column), 1.0 if whole else bricks.weights[group])
            packed[owners] += filling.reshape(len(owners), -1) @ templates.reshape(
                -1, len(_UPPER[0])
            )
    matrices = np.empty((len(chosen), 48, 48))
    matrices[:, _UPPER[0], _UPPER[1]] = packed
    matrices[:, _UPPER[1], _UPPER[0]] = packed
    return matrices


def add_springs(
    matrices: Floats, bricks: Bricks, stiffness: Floats, step: Coarsening, arm: float
) -> None:
    """Add upright springs under the bricks' nodes to the coarse cells' matrices, in place.

    Parameters
    ----------
    matrices : (m, 48, 48) float
        Stiffness of the coarse cells.
    bricks : Bricks
        The bricks.
    stiffness : (n,) float
        Stiffness of the spring under each node, zero where there is none.
    step : Coarsening
        How the bricks are gathered.
    arm : float
        Length by which rotations are measured, mm.
    """
    sprung = np.flatnonzero(stiffness)
    if not len(sprung):
        return
    owner = np.empty(len(bricks.nodes), dtype=np.int64)
    owner[bricks.corners.ravel()] = np.arange(bricks.corners.size)
    brick, corner = np.divmod(owner[sprung], 8)
    blends = prolongation_templates(step.factor, step.factor * bricks.brick.size / arm, 3)
    upward = blends[step.slot[brick], 3 * corner + 2]
    added = stiffness[sprung, None, None] * upward[:, :, None] * upward[:, None, :]
    np.add.at(matrices, step.parent[brick], added)


def _templates(strain: Floats, blends: Floats) -> Floats:
    """Upper triangle (s, 8, 1176) of what each Gauss point adds to a coarse cell's matrix."""
    movement = strain @ blends[:, None]
    matrices: Floats = (movement.swapaxes(2, 3) @ movement)[:, :, *_UPPER]
    return matrices


def gather_cells(matrices: Floats, step: Coarsening, aspect: Floats) -> Floats:
    """Stiffness (m, 48, 48) of the coarse cells made of finer cells with rotations.

    Parameters
    ----------
    matrices : (k, 48, 48) float
        Stiffness of the finer cells.
    step : Coarsening
        How they are gathered.
    aspect : (3,) float
        Sides of the coarse cell in units of the rotation's arm.
    """
    blends = prolongation_templates(step.factor, aspect, 6)
    total = np.zeros((len(step.cells.places), 48, 48))
    for slot, blend in enumerate(blends):
        mine = np.flatnonzero(step.slot == slot)
        # Each parent has at most one fine cell per slot and piece, or several pieces.
        np.add.at(total, step.parent[mine], blend.T @ matrices[mine] @ blend)
    return total
