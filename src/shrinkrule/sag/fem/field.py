"""The sag field: the displacement anywhere in the part, from the bricks' nodes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import compiled, wait_for_compiled
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.voxels.grid import Grid


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
        local = self.grid.local(points)
        wait_for_compiled(brick_around)
        brick = brick_around(local, self.grid.size, self._number)
        lost = np.flatnonzero(brick < 0)
        if len(lost):
            brick[lost] = self._centres.query(local[lost])[1]
        if len(self.bricks.owner):
            number = self._shared[tuple(self.bricks.places[brick].T)]
            several = np.flatnonzero(number)
            nearest = self._inner_points.query(self._spaced(local[several], number[several]))[1]
            brick[several] = self.bricks.owner[nearest]
        places, corners = self.bricks.places, self.bricks.corners
        wait_for_compiled(interpolated)
        moved = interpolated(local, brick, self.grid.size, places, corners, self.displacement)
        moved_back: Floats = moved @ self.grid.turn
        return moved_back

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


@compiled
def brick_around(local: Floats, size: Any, number: Any) -> Any:
    """Find the brick around each point.

    Parameters
    ----------
    local : (n, 3) float64
        Points, mm from the grid's low corner.
    size : (3,) float64
        Sides of a brick, mm.
    number : (x, y, z) int32
        Of the brick at each place of the grid.

    Returns
    -------
    (n,) int64
        The brick, or -1.
    """
    brick = np.empty(len(local), np.int64)
    for p in range(len(local)):
        x = min(max(np.int64(np.floor(local[p, 0] / size[0])), 0), number.shape[0] - 1)
        y = min(max(np.int64(np.floor(local[p, 1] / size[1])), 0), number.shape[1] - 1)
        z = min(max(np.int64(np.floor(local[p, 2] / size[2])), 0), number.shape[2] - 1)
        brick[p] = number[x, y, z]
    return brick


@compiled
def interpolated(
    local: Floats, brick: Ints, size: Any, places: Any, corners: Any, displacement: Any
) -> Any:
    """Displacement at points, by the shape functions of the brick given for each.

    Parameters
    ----------
    local, brick : (n, 3) float64, (n,) int64
        Points, mm from the grid's low corner, and the brick of each.
    size : (3,) float64
        Sides of a brick, mm.
    places, corners : (b, 3) int64, (b, 8) int32
        Of the bricks.
    displacement : (c, 3) float64
        Of their corners, mm.

    Returns
    -------
    (n, 3) float64
        mm.
    """
    moved = np.zeros((len(local), 3))
    share = np.empty((3, 2))
    for p in range(len(local)):
        b = brick[p]
        for axis in range(3):
            inside = min(max(local[p, axis] / size[axis] - places[b, axis], -1.0), 2.0)
            share[axis, 0], share[axis, 1] = 1.0 - inside, inside
        for corner in range(8):
            weight = share[0, corner >> 2] * share[1, (corner >> 1) & 1] * share[2, corner & 1]
            node = corners[b, corner]
            for axis in range(3):
                moved[p, axis] += weight * displacement[node, axis]
    return moved
