"""Stiffness of the coarse cells, from that of the finer ones inside them (Galerkin).

Because all bricks are alike, the coarse cell's matrix is a weighted sum of a few
templates, one for each brick's place inside the cell.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.fem.multigrid.coarsening import Coarsening
from shrinkrule.sag.voxels.corners import CORNERS, shape_functions

_UPPER: Final = np.triu_indices(48)
_UPPER_FLAT: Final = np.ravel_multi_index(_UPPER, (48, 48))


def _cross_matrix(arms: Floats) -> Floats:
    """Matrices (n, 3, 3) that turn a rotation into the displacement at arms (n, 3)."""
    x, y, z = arms.T
    zero = np.zeros_like(x)
    return np.array([[zero, z, -y], [-z, zero, x], [y, -x, zero]]).transpose(2, 0, 1)


def prolongation_templates(factor: int, aspect: Floats, directions: int) -> Floats:
    """Movement of a fine cell's corners for unit movements of its coarse cell's corners.

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


class Gathering:
    """Bricks gathered into coarse cells: what holds for every set of held directions, made once.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    step : Coarsening
        How they are gathered.
    arm : float
        Length by which rotations are measured, mm.
    """

    def __init__(self, bricks: Bricks, step: Coarsening, arm: float) -> None:
        self._bricks, self._step = bricks, step
        self._blends = prolongation_templates(step.factor, step.factor * bricks.brick.size / arm, 3)
        some = {True: bricks.full > 0, False: bricks.full < len(bricks.corners)}
        self._unheld = {
            whole: _templates(bricks.brick.strain, self._blends, whole=whole)
            for whole, any_such in some.items()
            if any_such
        }

    def cells(self, free: Floats, chosen: Ints) -> Floats:
        """Stiffness of coarse cells.

        Parameters
        ----------
        free : (n, 3) float
            One where a node may move, zero where it is held.
        chosen : (m,) int
            The coarse cells to gather.

        Returns
        -------
        (m, 48, 48) float
            The matrices of the chosen cells.
        """
        bricks, step = self._bricks, self._step
        row = np.full(len(step.cells.places), -1, dtype=np.int64)
        row[chosen] = np.arange(len(chosen))
        mine = np.flatnonzero(row[step.parent] >= 0)
        held_bits = ((free == 0.0) @ np.array([1, 2, 4])).astype(np.int64)
        bits = held_bits[bricks.corners[mine]] @ (8 ** np.arange(8, dtype=np.int64))
        packed = np.zeros((len(chosen), len(_UPPER[0])))
        for pattern in np.unique(bits):
            alike = mine[bits == pattern]
            for group, whole in (
                (alike[alike < bricks.full], True),
                (alike[alike >= bricks.full], False),
            ):
                if not len(group):
                    continue
                slots, column = np.unique(step.slot[group], return_inverse=True)
                templates = self._of_pattern(int(pattern), slots, whole=whole)
                owners, line = np.unique(row[step.parent[group]], return_inverse=True)
                filling = np.zeros((len(owners), *templates.shape[:2]))
                # Components of one brick may share their slot in a cell.
                np.add.at(filling, (line, column), 1.0 if whole else bricks.weights[group])
                packed[owners] += filling.reshape(len(owners), -1) @ templates.reshape(
                    -1, len(_UPPER[0])
                )
        matrices = np.empty((len(chosen), 48, 48))
        matrices[:, _UPPER[0], _UPPER[1]] = packed
        matrices[:, _UPPER[1], _UPPER[0]] = packed
        return matrices

    def _of_pattern(self, pattern: int, slots: Ints, *, whole: bool) -> Floats:
        """Templates of bricks in these slots, of whose 24 directions a bit set holds one."""
        if not pattern:
            return self._unheld[whole][slots]
        moves = ((pattern >> np.arange(24)) & 1 == 0).astype(np.float64)
        return _templates(self._bricks.brick.strain * moves, self._blends[slots], whole=whole)

    def add_springs(self, matrices: Floats, stiffness: Floats) -> None:
        """Add upright springs under the bricks' nodes to all cells' matrices, in place.

        Parameters
        ----------
        matrices : (m, 48, 48) float
            Stiffness of the coarse cells.
        stiffness : (n,) float
            Stiffness of the spring under each node, zero where there is none.
        """
        bricks, step = self._bricks, self._step
        sprung = np.flatnonzero(stiffness)
        if not len(sprung):
            return
        owner = np.empty(len(bricks.nodes), dtype=np.int64)
        owner[bricks.corners.ravel()] = np.arange(bricks.corners.size)
        brick, corner = np.divmod(owner[sprung], 8)
        upward = self._blends[step.slot[brick], 3 * corner + 2]
        added = stiffness[sprung, None, None] * upward[:, :, None] * upward[:, None, :]
        np.add.at(matrices, step.parent[brick], added)


def _templates(strain: Floats, blends: Floats, *, whole: bool) -> Floats:
    """Upper triangle (s, 8, 1176) of what each Gauss point adds to a coarse cell's matrix.

    Of whole bricks the sum over the Gauss points, (s, 1, 1176).
    """
    movement = strain.reshape(48, 24) @ blends
    by_point = movement.reshape(len(blends), 1 if whole else 8, -1, 48)
    products = by_point.swapaxes(2, 3) @ by_point
    # By `take`, which lays them out row by row: what multiplies them need not copy them then.
    matrices: Floats = products.reshape(*products.shape[:2], -1).take(_UPPER_FLAT, axis=2)
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

    Returns
    -------
    (m, 48, 48) float
        The matrices of the coarse cells.
    """
    blends = prolongation_templates(step.factor, aspect, 6)
    total = np.zeros((len(step.cells.places), 48, 48))
    for slot, blend in enumerate(blends):
        mine = np.flatnonzero(step.slot == slot)
        # Several components may share a slot of their parent.
        np.add.at(total, step.parent[mine], blend.T @ matrices[mine] @ blend)
    return total
