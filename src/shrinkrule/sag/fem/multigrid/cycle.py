"""A multigrid cycle that removes the slow, bending part of an error.

Chebyshev smoothing on the bricks and on each coarse level, a direct solve on the
coarsest. The finest level works in single precision: as a preconditioner it need not
be exact, only fast.

Source: fourth-kind Chebyshev smoothing after J. Lottes, Numer. Linear Algebra Appl. 30
(2023) e2518.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, connected_components
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.fem.multigrid.coarsening import CoarseCells, coarsen
from shrinkrule.sag.fem.multigrid.galerkin import Gathering, gather_cells
from shrinkrule.sag.fem.multigrid.levels import BrickLevel, CellLevel, factorise
from shrinkrule.sag.fem.multigrid.smoothing import largest_eigenvalue, smooth
from shrinkrule.sag.fem.multigrid.transfers import BrickTransfer, CellTransfer
from shrinkrule.sag.fem.operator import NodeValues, Stiffness

FIRST_FACTOR: Final = 4
"""Bricks along one side of a cell of the first coarse level."""


DIRECT_NODES: Final = 700
"""A level of so many nodes is solved directly."""


class Multigrid:
    """Symmetric multigrid cycles for a set of bricks, for one set of held directions at a time.

    `hold` comes before the first cycle.

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
        self._gathering = Gathering(bricks, self._steps[0], self._arm)
        self._unheld = self._gathering.cells(free[:, :3], every)
        self._levels: list[BrickLevel | CellLevel] = []
        self._direct: Callable[[NodeValues], NodeValues]
        self._held: tuple[NodeValues, NodeValues] | None = None

    def hold(self, free: NodeValues, springs: NodeValues) -> None:
        """Prepare the cycle for a set of held directions.

        Parameters
        ----------
        free : (n, 4) float
            One where a node may move, zero where it is held and in the fourth column.
        springs : (n, 4) float
            Stiffness of the springs under the nodes, mm.
        """
        given = (free, springs)
        if self._held is not None and all(map(np.array_equal, self._held, given)):
            return  # the last round of contact asks for what the one before found
        self._held = (free.copy(), springs.copy())
        held_brick = (free[:, :3] == 0.0).any(axis=1)[self._bricks.corners].any(axis=1)
        touched = np.unique(self._steps[0].parent[held_brick])
        matrices = self._unheld.copy()
        matrices[touched] = self._gathering.cells(free[:, :3], touched)
        self._gathering.add_springs(matrices, springs[:, 2])
        self._levels = [BrickLevel(self._stiffness, self._diagonal, self._largest, free, springs)]
        for finer, step, aspect in zip(
            self._steps[:-1], self._steps[1:], self._aspects[1:], strict=True
        ):
            self._levels.append(CellLevel(finer.cells, matrices))
            matrices = gather_cells(matrices, step, aspect)
        cells = self._steps[-1].cells
        self._direct = factorise(cells, matrices, _anchors(cells, matrices))

    def cycle(self, b: NodeValues) -> NodeValues:
        """Approximate solution of ``A x = b`` for the bricks, in single precision."""
        return self._cycle(b, 0)

    def _cycle(self, b: NodeValues, depth: int) -> NodeValues:
        """One cycle from a level ``depth`` down."""
        if depth == len(self._levels):
            return self._direct(b)
        level, transfer = self._levels[depth], self._transfers[depth]
        x, residual = smooth(level, None, b)
        coarse = self._cycle(transfer.restrict(residual), depth + 1)
        x += level.hold(transfer.prolong(coarse, x))
        return smooth(level, x, b)[0]


def _anchors(cells: CoarseCells, matrices: Floats) -> Ints:
    """The stiffest node of each separate body, (b,)."""
    stiff = np.zeros(len(cells.nodes))
    np.add.at(stiff, cells.corners, np.trace(matrices, axis1=1, axis2=2)[:, None])
    pairs = np.stack([np.repeat(cells.corners[:, 0], 8), cells.corners.ravel()], axis=1)
    body = connected_components(len(cells.nodes), pairs)
    order = np.lexsort((-stiff, body))
    anchors: Ints = order[np.unique(body[order], return_index=True)[1]]
    return anchors
