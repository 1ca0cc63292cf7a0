"""The sag field: the displacement anywhere in the part, from the bricks' nodes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.voxels.corners import shape_functions
from shrinkrule.sag.voxels.grid import Grid

_AT_ONCE: Final = 1 << 16  # points: half a kilobyte each


@dataclass(frozen=True, eq=False)
class SagField:
    """A displacement field on the bricks of a part.

    Parameters
    ----------
    grid : Grid
        The grid.
    bricks : Bricks
        Its filled bricks.
    displacement : (n, 3) float
        At the nodes, in the grid's frame, mm.
    """

    grid: Grid
    bricks: Bricks
    displacement: Floats

    @cached_property
    def _number(self) -> NDArray[np.int32]:
        """Number of the brick at each place of the grid; -1 where there is none."""
        number = np.full(tuple(self.grid.counts), -1, dtype=np.int32)
        number[tuple(self.bricks.places.T)] = np.arange(len(self.bricks.places), dtype=np.int32)
        return number

    @cached_property
    def _shared(self) -> NDArray[np.int32]:
        """Number of each place that holds several components, from 1; 0 elsewhere."""
        shared = np.zeros(tuple(self.grid.counts), dtype=np.int32)
        places = np.unique(self.bricks.places[self.bricks.owner], axis=0)
        shared[tuple(places.T)] = np.arange(1, len(places) + 1, dtype=np.int32)
        return shared

    @cached_property
    def _inner_points(self) -> KDTree:
        """Points inside the components that share a place, each place far from every other."""
        number = self._shared[tuple(self.bricks.places[self.bricks.owner].T)]
        return KDTree(self._spaced(self.bricks.points * self.grid.size, number))

    def _spaced(self, points: Floats, number: NDArray[np.int32]) -> Floats:
        """Points (n, 3) with a fourth coordinate that keeps different places far apart."""
        far = 10.0 * float(self.grid.size.max())
        spaced: Floats = np.column_stack([points, far * number])
        return spaced

    @cached_property
    def _centres(self) -> KDTree:
        """Middles of all bricks."""
        return KDTree((self.bricks.places + 0.5) * self.grid.size)

    def at(self, points: Floats) -> Floats:
        """Displacement (n, 3) at points (n, 3), both in the mesh's frame, mm.

        A point outside every brick moves as the nearest brick does, a point between the
        components of one brick as the nearest component.
        """
        moved = np.empty((len(points), 3))
        for low in range(0, len(points), _AT_ONCE):
            moved[low : low + _AT_ONCE] = self._at(points[low : low + _AT_ONCE])
        return moved

    def _at(self, points: Floats) -> Floats:
        local = self.grid.local(points)
        place = np.clip(np.floor(local / self.grid.size).astype(np.int64), 0, self.grid.counts - 1)
        brick = self._number[tuple(place.T)].astype(np.int64)
        lost = np.flatnonzero(brick < 0)
        if len(lost):
            brick[lost] = self._centres.query(local[lost])[1]
        if len(self.bricks.owner):
            number = self._shared[tuple(self.bricks.places[brick].T)]
            several = np.flatnonzero(number)
            nearest = self._inner_points.query(self._spaced(local[several], number[several]))[1]
            brick[several] = self.bricks.owner[nearest]
        inside = local / self.grid.size - self.bricks.places[brick]
        weights = shape_functions(np.clip(inside, -1.0, 2.0))
        corners = self.displacement[self.bricks.corners[brick]]
        moved: Floats = np.einsum("nc,ncd->nd", weights, corners) @ self.grid.turn
        return moved

    @property
    def sag(self) -> Floats:
        """How far each node comes down, (n,) mm."""
        return -self.displacement[:, 2]

    def lowest(self) -> tuple[float, Floats]:
        """Largest sag, mm, and where it is, (3,) in the mesh's frame."""
        well_filled = self.bricks.filled > 0.5
        nodes = np.unique(self.bricks.corners[well_filled])
        worst = nodes[np.argmax(self.sag[nodes])]
        place = self.bricks.nodes[worst] * self.grid.size + self.grid.origin
        return float(self.sag[worst]), place @ self.grid.turn

    @cached_property
    def _slopes(self) -> Floats:
        """Displacement gradient at each brick's middle, (m, 3, 3): [component, direction]."""
        sides = self.displacement[self.bricks.corners].reshape(-1, 2, 2, 2, 3)
        ahead = [sides.take(1, axis=1 + d).mean(axis=(1, 2)) for d in range(3)]
        behind = [sides.take(0, axis=1 + d).mean(axis=(1, 2)) for d in range(3)]
        slopes: Floats = (np.stack(ahead, axis=2) - np.stack(behind, axis=2)) / self.grid.size
        return slopes

    def steepest(self) -> float:
        """Largest rotation of any brick, radians."""
        turns = 0.5 * (self._slopes - self._slopes.swapaxes(1, 2))
        return float(np.sqrt((turns**2).sum(axis=(1, 2)).max() / 2.0))

    def largest_strain(self) -> float:
        """Largest principal strain at any brick's middle, of either sign."""
        strains = 0.5 * (self._slopes + self._slopes.swapaxes(1, 2))
        return float(np.abs(np.linalg.eigvalsh(strains)).max())
