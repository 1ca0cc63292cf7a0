"""A multigrid cycle that takes the slow, bending part of an error away.

Chebyshev smoothing on the bricks and on each coarse level, a direct solve on the
coarsest. The finest level works in single precision: as a preconditioner it need not
be exact, only fast.

Source: fourth-kind Chebyshev smoothing after J. Lottes, Numer. Linear Algebra Appl. 30
(2023) e2518.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, Protocol

import numpy as np
import scipy.sparse
import scipy.sparse.linalg

from shrinkrule.numerics.arrays import Floats, Ints, connected_components
from shrinkrule.sag.fem.multigrid.coarsening import (
    Cells,
    Coarsening,
    add_springs,
    coarsen,
    gather_bricks,
    gather_cells,
    prolongation_templates,
)
from shrinkrule.sag.fem.operator import Bricks, Stiffness, Vector
from shrinkrule.sag.voxels.corners import shape_functions

FIRST_FACTOR: Final = 4
"""Bricks along one side of a cell of the first coarse level."""

SMOOTHING: Final = 4
"""Chebyshev steps before and after each coarse correction."""

DIRECT_NODES: Final = 700
"""A level of so many nodes is solved directly."""

_POWER_STEPS: Final = 12


class Level(Protocol):
    """One level: an operator, its block-diagonal inverse, and its largest eigenvalue."""

    largest: float

    def apply(self, x: Vector) -> Vector:
        """Multiply by the stiffness."""
        ...

    def relax(self, r: Vector) -> Vector:
        """Multiply by the inverse of the (block) diagonal."""
        ...


def largest_eigenvalue(level: Level, shape: tuple[int, ...], dtype: Any) -> float:
    """Estimate the largest eigenvalue of the relaxed operator, a little on the safe side."""
    x = np.random.default_rng(12).standard_normal(shape).astype(dtype)
    x = level.relax(level.apply(x))
    value = 1.0
    for _ in range(_POWER_STEPS):
        x /= np.linalg.norm(x)
        x = level.relax(level.apply(x))
        value = float(np.linalg.norm(x))
    return 1.1 * value


def smooth(level: Level, x: Vector | None, b: Vector) -> tuple[Vector, Vector]:
    """Chebyshev steps on ``A x = b``; returns the solution and its residual.

    Parameters
    ----------
    level : Level
        The operator.
    x : array or None
        Where to start; None is zero.
    b : array
        Right-hand side.
    """
    residual = b.copy() if x is None else b - level.apply(x)
    step = level.relax(residual) * (4.0 / (3.0 * level.largest))
    x = np.zeros_like(b) if x is None else x
    for k in range(1, SMOOTHING + 1):
        x += step
        residual -= level.apply(step)
        if k < SMOOTHING:
            step *= (2 * k - 1) / (2 * k + 3)
            step += level.relax(residual) * ((8 * k + 4) / ((2 * k + 3) * level.largest))
    return x, residual


class BrickLevel:
    """The bricks and springs in single precision, with held directions taken out."""

    def __init__(
        self, stiffness: Stiffness, diagonal: Vector, largest: float, free: Vector, springs: Vector
    ) -> None:
        self._stiffness = stiffness
        self._free = free.astype(stiffness.dtype)
        self._springs = springs.astype(stiffness.dtype)
        self._inverse = self._free / (diagonal + self._springs)
        self.largest = largest

    def apply(self, x: Vector) -> Vector:
        """Multiply by the stiffness."""
        forces = self._stiffness.apply(x)
        forces += self._springs * x
        forces *= self._free
        return forces

    def hold(self, x: Vector) -> Vector:
        """Set held directions to zero."""
        x *= self._free
        return x

    def relax(self, r: Vector) -> Vector:
        """Multiply by the inverse of the diagonal."""
        scaled: Vector = r * self._inverse
        return scaled


class CellLevel:
    """Coarse cells, with six directions at each node."""

    def __init__(self, cells: Cells, matrices: Floats) -> None:
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
        # A node that few bricks reach cannot tell its rotations apart; it is damped instead.
        shift = 1e-6 * np.where(size > 0.0, size, 1.0)
        self._inverse = np.linalg.inv(self.blocks + shift[:, None, None] * np.eye(6))
        self.largest = largest_eigenvalue(self, (count, 6), np.float64)

    def apply(self, x: Vector) -> Vector:
        """Multiply by the stiffness."""
        forces = self._matrices @ x[self._corners].reshape(-1, 48, 1)
        summed: Vector = self._sum @ forces.reshape(-1, 6)
        return summed

    def hold(self, x: Vector) -> Vector:
        """Nothing is held here: held bricks are left out of the cells' matrices."""
        return x

    def relax(self, r: Vector) -> Vector:
        """Multiply by the inverse of the block diagonal."""
        relaxed: Vector = (self._inverse @ r[:, :, None])[:, :, 0]
        return relaxed


def factorise(cells: Cells, matrices: Floats, pinned: Ints) -> Callable[[Vector], Vector]:
    """Direct solver for a level; ``pinned`` nodes take up sliding that nothing resists."""
    count = 6 * len(cells.nodes)
    place = (6 * cells.corners[:, :, None] + np.arange(6)).reshape(-1, 48)
    rows, columns = np.repeat(place, 48, axis=1), np.tile(place, (1, 48))
    matrix = scipy.sparse.coo_array(
        (matrices.ravel(), (rows.ravel(), columns.ravel())), shape=(count, count)
    ).tocsc()
    diagonal = matrix.diagonal()
    typical = diagonal.max()
    extra = 1e-11 * np.maximum(diagonal, 1e-4 * typical)
    slides = (6 * pinned[:, None] + np.array([0, 1, 5])).ravel()
    extra[slides] += diagonal[slides]
    matrix = (matrix + scipy.sparse.diags_array(extra)).tocsc()
    factors = scipy.sparse.linalg.splu(
        matrix,
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )

    def solve(b: Vector) -> Vector:
        x: Vector = factors.solve(b.ravel()).reshape(b.shape)
        return x

    return solve


class BrickTransfer:
    """Between the bricks' nodes and the first coarse level."""

    def __init__(self, bricks: Bricks, step: Coarsening, arm: float) -> None:
        count = len(bricks.nodes)
        owner = np.empty(count, dtype=np.int64)
        owner[bricks.corners] = step.parent[:, None]
        inside = bricks.nodes - step.factor * step.cells.places[owner]
        weights = shape_functions(inside / step.factor)
        self._weights = scipy.sparse.csr_array(
            (weights.ravel(), step.cells.corners[owner].ravel(), 8 * np.arange(count + 1)),
            shape=(count, len(step.cells.nodes)),
        )
        self._weights.eliminate_zeros()
        self._back = self._weights.T.tocsr()
        self._fine = bricks.nodes * bricks.brick.size / arm
        self._coarse = step.cells.nodes * step.factor * bricks.brick.size / arm

    def restrict(self, residual: Vector) -> Vector:
        """Forces at the bricks' nodes, (n, 4), as forces and moments of the coarse nodes."""
        force = residual[:, :3]
        both = self._back @ np.concatenate([force, np.cross(self._fine, force)], axis=1)
        both[:, 3:] -= np.cross(self._coarse, both[:, :3])
        coarse: Vector = both
        return coarse

    def prolong(self, coarse: Vector, like: Vector) -> Vector:
        """Displacements and rotations of the coarse nodes, as displacements (n, 4)."""
        field = coarse.copy()
        field[:, :3] -= np.cross(coarse[:, 3:], self._coarse)
        both = self._weights @ field
        fine = np.zeros_like(like)
        fine[:, :3] = both[:, :3] + np.cross(both[:, 3:], self._fine)
        return fine


class CellTransfer:
    """Between two coarse levels."""

    def __init__(self, fine: Cells, step: Coarsening, aspect: Floats) -> None:
        blends = prolongation_templates(step.factor, aspect, 6)
        count = len(fine.nodes)
        owner, corner = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
        owner[fine.corners] = np.arange(len(fine.corners))[:, None]
        corner[fine.corners] = np.arange(8)
        rows = blends.reshape(-1, 8, 6, 8, 6)[step.slot[owner], corner]
        self._matrix = scipy.sparse.bsr_array(
            (
                np.ascontiguousarray(rows.transpose(0, 2, 1, 3)).reshape(-1, 6, 6),
                step.cells.corners[step.parent[owner]].ravel(),
                8 * np.arange(count + 1),
            ),
            shape=(6 * count, 6 * len(step.cells.nodes)),
        ).tocsr()
        self._matrix.eliminate_zeros()
        self._back = self._matrix.T.tocsr()

    def restrict(self, residual: Vector) -> Vector:
        """Forces and moments of the finer nodes, gathered at the coarser."""
        coarse: Vector = (self._back @ residual.ravel()).reshape(-1, 6)
        return coarse

    def prolong(self, coarse: Vector, like: Vector) -> Vector:
        """Movements of the coarser nodes, spread to the finer."""
        fine: Vector = (self._matrix @ coarse.ravel()).reshape(like.shape)
        return fine


class Multigrid:
    """Symmetric multigrid cycles for a set of bricks, for one set of held directions at a time.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    """

    def __init__(self, bricks: Bricks) -> None:
        self._bricks = bricks
        self._stiffness = Stiffness(bricks, np.float32)
        diagonal = self._stiffness.diagonal()
        self._diagonal = np.where(diagonal > 0.0, diagonal, 1.0)
        free, springs = np.ones_like(diagonal), np.zeros_like(diagonal)
        free[:, 3] = 0.0
        level = BrickLevel(self._stiffness, self._diagonal, 1.0, free, springs)
        # Holding directions only lowers the largest eigenvalue, and so do springs over 1.
        self._largest = largest_eigenvalue(level, free.shape, np.float32)

        self._arm = FIRST_FACTOR * float(bricks.brick.size.mean())
        aspect = FIRST_FACTOR * bricks.brick.size / self._arm
        self._steps = [coarsen(bricks.places, bricks.adjacency, FIRST_FACTOR)]
        self._transfers: list[BrickTransfer | CellTransfer] = [
            BrickTransfer(bricks, self._steps[0], self._arm)
        ]
        self._aspects = [aspect]
        while len(self._steps[-1].cells.nodes) > DIRECT_NODES:
            finer = self._steps[-1].cells
            self._aspects.append(2.0 * self._aspects[-1])
            self._steps.append(coarsen(finer.places, finer.touching, 2))
            self._transfers.append(CellTransfer(finer, self._steps[-1], self._aspects[-1]))
        every = np.arange(len(self._steps[0].cells.places))
        self._unheld = gather_bricks(bricks, free[:, :3], self._steps[0], self._arm, every)
        self._levels: list[BrickLevel | CellLevel] = []
        self._direct: Callable[[Vector], Vector]
        self.hold(free, springs)

    def hold(self, free: Vector, springs: Vector) -> None:
        """Prepare the cycle for a set of held directions.

        Parameters
        ----------
        free : (n, 4) float
            One where a node may move, zero where it is held and in the fourth column.
        springs : (n, 4) float
            Stiffness of the springs under the nodes, mm.
        """
        held_brick = (free[:, :3] == 0.0).any(axis=1)[self._bricks.corners].any(axis=1)
        touched = np.unique(self._steps[0].parent[held_brick])
        matrices = self._unheld.copy()
        matrices[touched] = gather_bricks(
            self._bricks, free[:, :3], self._steps[0], self._arm, touched
        )
        add_springs(matrices, self._bricks, springs[:, 2], self._steps[0], self._arm)
        self._levels = [BrickLevel(self._stiffness, self._diagonal, self._largest, free, springs)]
        for finer, step, aspect in zip(
            self._steps[:-1], self._steps[1:], self._aspects[1:], strict=True
        ):
            self._levels.append(CellLevel(finer.cells, matrices))
            matrices = gather_cells(matrices, step, aspect)
        cells = self._steps[-1].cells
        self._direct = factorise(cells, matrices, _anchors(cells, matrices))

    def cycle(self, b: Vector) -> Vector:
        """Approximate solution of ``A x = b`` for the bricks, in single precision."""
        return self._cycle(b, 0)

    def _cycle(self, b: Vector, depth: int) -> Vector:
        if depth == len(self._levels):
            return self._direct(b)
        level, transfer = self._levels[depth], self._transfers[depth]
        x, residual = smooth(level, None, b)
        coarse = self._cycle(transfer.restrict(residual), depth + 1)
        x += level.hold(transfer.prolong(coarse, x))
        return smooth(level, x, b)[0]


def _anchors(cells: Cells, matrices: Floats) -> Ints:
    """One well-filled node of each separate body, (b,)."""
    stiff = np.zeros(len(cells.nodes))
    np.add.at(stiff, cells.corners, np.trace(matrices, axis1=1, axis2=2)[:, None])
    pairs = np.stack([np.repeat(cells.corners[:, 0], 8), cells.corners.ravel()], axis=1)
    body = connected_components(len(cells.nodes), pairs)
    order = np.lexsort((-stiff, body))
    anchors: Ints = order[np.unique(body[order], return_index=True)[1]]
    return anchors
