"""Restriction and prolongation between two levels."""

from __future__ import annotations

import numpy as np
import scipy.sparse

from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.fem.multigrid.coarsening import CoarseCells, Coarsening
from shrinkrule.sag.fem.multigrid.galerkin import prolongation_templates
from shrinkrule.sag.fem.operator import NodeValues
from shrinkrule.sag.voxels.corners import shape_functions


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

    def restrict(self, residual: NodeValues) -> NodeValues:
        """Forces at the bricks' nodes, (n, 4), as forces and moments of the coarse nodes."""
        force = residual[:, :3]
        both = self._back @ np.concatenate([force, np.cross(self._fine, force)], axis=1)
        both[:, 3:] -= np.cross(self._coarse, both[:, :3])
        coarse: NodeValues = both
        return coarse

    def prolong(self, coarse: NodeValues, like: NodeValues) -> NodeValues:
        """Displacements and rotations of the coarse nodes, as displacements (n, 4)."""
        field = coarse.copy()
        field[:, :3] -= np.cross(coarse[:, 3:], self._coarse)
        both = self._weights @ field
        fine = np.zeros_like(like)
        fine[:, :3] = both[:, :3] + np.cross(both[:, 3:], self._fine)
        return fine


class CellTransfer:
    """Between two coarse levels."""

    def __init__(self, fine: CoarseCells, step: Coarsening, aspect: Floats) -> None:
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

    def restrict(self, residual: NodeValues) -> NodeValues:
        """Forces and moments of the finer nodes, gathered at the coarser."""
        coarse: NodeValues = (self._back @ residual.ravel()).reshape(-1, 6)
        return coarse

    def prolong(self, coarse: NodeValues, like: NodeValues) -> NodeValues:
        """Movements of the coarser nodes, spread to the finer."""
        fine: NodeValues = (self._matrix @ coarse.ravel()).reshape(like.shape)
        return fine
