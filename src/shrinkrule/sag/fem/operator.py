"""The stiffness of all bricks together, applied without ever being assembled.

One brick's matrix serves the whole grid: displacements are gathered to the bricks,
multiplied as one large matrix product and summed back to the nodes. Bricks cut by the
surface weigh the energy at each Gauss point with the filled fraction of its octant.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag.fem.elements import Bricks

NodeValues = NDArray[Any]
"""Values at the nodes, (n, 4): three directions and a zero that keeps memory aligned."""


_BLOCK: Final = 128
"""Bricks per matrix product: small enough to be done by one thread, which is faster here.

Many small products in one call cost nothing extra, and threads that wait for each other
inside a large one cost much on a busy machine.
"""

_CHUNK: Final = 64 * _BLOCK  # bricks handled at a time: their values stay in the cache


def _padded(matrix: Floats) -> Floats:
    """Give each node of a matrix (..., 24) a fourth, empty direction: (..., 32)."""
    split = matrix.reshape(*matrix.shape[:-1], 8, 3)
    return np.concatenate([split, np.zeros((*split.shape[:-1], 1))], axis=-1).reshape(
        *matrix.shape[:-1], 32
    )


def _multiply(rows: NodeValues, matrix: NodeValues, out: NodeValues) -> None:
    """Matrix product ``rows @ matrix`` in blocks of rows."""
    even = len(rows) - len(rows) % _BLOCK
    if even:
        shape = (even // _BLOCK, _BLOCK, -1)
        np.matmul(rows[:even].reshape(shape), matrix, out=out[:even].reshape(shape))
    if even < len(rows):
        np.matmul(rows[even:], matrix, out=out[even:])


class Stiffness:
    """The stiffness of the bricks as an operator in one floating-point type.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    dtype : numpy type
        float64 for residuals, float32 for the preconditioner.
    """

    def __init__(self, bricks: Bricks, dtype: type[np.floating[Any]]) -> None:
        count = len(bricks.corners)
        self._bricks = bricks
        self._strain = _padded(bricks.brick.strain).reshape(48, 32).astype(dtype)
        self._strain_turned = np.ascontiguousarray(self._strain.T)
        self._whole = np.ascontiguousarray(
            (self._strain.astype(np.float64).T @ self._strain).astype(dtype)
        )
        self._weights = bricks.weights[bricks.full :].astype(dtype)
        self._index = bricks.corners.astype(np.int64)
        self._sum = scipy.sparse.csr_array(
            (
                np.ones(8 * count, dtype=dtype),
                (bricks.corners.ravel(), np.arange(8 * count, dtype=np.int32)),
            ),
            shape=(len(bricks.nodes), 8 * count),
        )
        self._forces = np.empty((8 * count, 4), dtype=dtype)
        self._gathered = np.empty((_CHUNK, 8, 4), dtype=dtype)
        self._strains = np.empty((_CHUNK, 8, 6), dtype=dtype)
        self.dtype = dtype

    def apply(self, displacement: NodeValues) -> NodeValues:
        """Nodal forces (n, 4) that hold the displacement (n, 4)."""
        full, count = self._bricks.full, len(self._index)
        starts = [*range(0, full, _CHUNK), *range(full, count, _CHUNK)]
        for start, stop in zip(starts, [*starts[1:], count], strict=True):
            self._load_chunk(displacement, start, stop, cut=start >= full)
        summed: NodeValues = self._sum @ self._forces
        return summed

    def _load_chunk(self, displacement: NodeValues, start: int, stop: int, *, cut: bool) -> None:
        """Forces of the bricks ``start .. stop - 1`` into the table of all."""
        size = stop - start
        gathered = self._gathered[:size]
        np.take(displacement, self._index[start:stop], axis=0, out=gathered, mode="clip")
        values, forces = gathered.reshape(size, 32), self._forces[8 * start : 8 * stop]
        out = forces.reshape(size, 32)
        if not cut:
            _multiply(values, self._whole, out)
            return
        first = start - self._bricks.full
        strains = self._strains[:size]
        _multiply(values, self._strain_turned, strains.reshape(size, 48))
        strains *= self._weights[first : first + size, :, None]
        _multiply(strains.reshape(size, 48), self._strain, out)

    def diagonal(self) -> NodeValues:
        """Diagonal of the stiffness, (n, 4); one in the empty direction."""
        squares = (_padded(self._bricks.brick.strain) ** 2).sum(axis=1)
        per_corner = (self._bricks.weights @ squares).astype(self.dtype).reshape(-1, 4)
        diagonal: NodeValues = self._sum @ per_corner
        diagonal[:, 3] = 1.0
        return diagonal
