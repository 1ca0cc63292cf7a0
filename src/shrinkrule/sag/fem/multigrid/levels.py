"""The levels of the multigrid: bricks, coarse cells, and the direct solver of the coarsest."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import scipy.sparse
import scipy.sparse.linalg

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.sag.fem.multigrid.coarsening import CoarseCells
from shrinkrule.sag.fem.multigrid.smoothing import largest_eigenvalue
from shrinkrule.sag.fem.operator import NodeValues, Stiffness


class BrickLevel:
    """The bricks and springs in single precision, with held directions taken out."""

    def __init__(
        self,
        stiffness: Stiffness,
        diagonal: NodeValues,
        largest: float,
        free: NodeValues,
        springs: NodeValues,
    ) -> None:
        self._stiffness = stiffness
        self._free = free.astype(stiffness.dtype)
        self._springs = springs.astype(stiffness.dtype)
        self._inverse = self._free / (diagonal + self._springs)
        self.largest = largest

    def apply(self, x: NodeValues) -> NodeValues:
        """Multiply by the stiffness."""
        forces = self._stiffness.apply(x)
        forces += self._springs * x
        forces *= self._free
        return forces

    def hold(self, x: NodeValues) -> NodeValues:
        """Set held directions to zero."""
        x *= self._free
        return x

    def relax(self, r: NodeValues) -> NodeValues:
        """Multiply by the inverse of the diagonal."""
        scaled: NodeValues = r * self._inverse
        return scaled


class CellLevel:
    """Coarse cells, with six directions at each node."""

    def __init__(self, cells: CoarseCells, matrices: Floats) -> None:
        self._corners = cells.corners
        self._matrices = matrices
        count = len(cells.nodes)
        self._sum = scipy.sparse.csr_array(
            (np.ones(cells.corners.size), (cells.corners.ravel(), np.arange(cells.corners.size))),
            shape=(count, cells.corners.size),
        )
        blocks = matrices.reshape(-1, 8, 6, 8, 6)[:, np.arange(8), :, np.arange(8), :]
        self.blocks = (self._sum @ blocks.swapaxes(0, 1).reshape(-1, 36)).reshape(-1, 6, 6)
        size = np.trace(self.blocks, axis1=1, axis2=2) / 6.0
        # A node that few bricks reach does not determine its rotations; it is damped instead.
        shift = 1e-6 * np.where(size > 0.0, size, 1.0)
        self._inverse = np.linalg.inv(self.blocks + shift[:, None, None] * np.eye(6))
        self.largest = largest_eigenvalue(self, (count, 6), np.float64)

    def apply(self, x: NodeValues) -> NodeValues:
        """Multiply by the stiffness."""
        forces = self._matrices @ x[self._corners].reshape(-1, 48, 1)
        summed: NodeValues = self._sum @ forces.reshape(-1, 6)
        return summed

    def hold(self, x: NodeValues) -> NodeValues:
        """Nothing is held here: held bricks are left out of the cells' matrices."""
        return x

    def relax(self, r: NodeValues) -> NodeValues:
        """Multiply by the inverse of the block diagonal."""
        relaxed: NodeValues = (self._inverse @ r[:, :, None])[:, :, 0]
        return relaxed


def factorise(
    cells: CoarseCells, matrices: Floats, pinned: Ints
) -> Callable[[NodeValues], NodeValues]:
    """Direct solver for a level; the nodes ``pinned`` (b,) take up free rigid-body modes.

    Parameters
    ----------
    cells : CoarseCells
        Cells of the coarsest level.
    matrices : (m, 48, 48) float
        Their stiffness.
    pinned : (b,) int
        One node of each body.

    Returns
    -------
    callable
        Solves for a right-hand side (n, 6).
    """
    count = 6 * len(cells.nodes)
    place = (6 * cells.corners[:, :, None] + np.arange(6)).reshape(-1, 48)
    rows, columns = np.repeat(place, 48, axis=1), np.tile(place, (1, 48))
    matrix = scipy.sparse.coo_array(
        (matrices.ravel(), (rows.ravel(), columns.ravel())), shape=(count, count)
    ).tocsc()
    diagonal = matrix.diagonal()
    typical = diagonal.max()
    extra = 1e-11 * np.maximum(diagonal, 1e-4 * typical)
    sliding = (6 * pinned[:, None] + np.array([0, 1, 5])).ravel()
    extra[sliding] += diagonal[sliding]
    matrix = (matrix + scipy.sparse.diags_array(extra)).tocsc()
    factors = scipy.sparse.linalg.splu(
        matrix,
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )

    def solve(b: NodeValues) -> NodeValues:
        x: NodeValues = factors.solve(b.ravel()).reshape(b.shape)
        return x

    return solve
