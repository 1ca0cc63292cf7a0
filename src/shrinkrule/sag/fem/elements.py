"""The filled bricks as finite elements: their nodes, weights and neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.sag.fem.hex8i import Brick
from shrinkrule.sag.voxels.components import Components
from shrinkrule.sag.voxels.corners import CORNERS

CUT_CELL_STABILISATION: Final = 0.1
"""Share of a cut brick's filling spread evenly over its octants.

A brick filled in one octant only would leave some of its nodes without stiffness.
"""


@dataclass(frozen=True)
class Bricks:
    """Filled bricks and the nodes between them.

    Parameters
    ----------
    brick : Brick
        The brick's matrices for a modulus of one.
    places : (m, 3) int
        Place of each brick in the grid; full bricks first.
    full : int
        Number of bricks whose whole stiffness counts.
    weights : (m, 8) float
        Stiffness of each octant: its filled fraction, stabilised in cut bricks, and corrected
        beside re-entrant edges.
    octants : (m, 8) float
        Filled fraction of each octant.
    corners : (m, 8) int32
        Node at each corner of each brick.
    nodes : (n, 3) int
        Place of each node in the grid; phantom nodes share a place and come last.
    volumes : (n,) float
        Volume of material that each node carries, mm3.
    points : (p, 3) float
        Points inside the components of those grid cells that hold several, in bricks.
    owner : (p,) int
        Brick, one of the ``m``, of each of these points.
    """

    brick: Brick
    places: Ints
    full: int
    weights: Floats
    octants: Floats
    corners: NDArray[np.int32]
    nodes: Ints
    volumes: Floats
    points: Floats
    owner: Ints

    @cached_property
    def adjacency(self) -> Ints:
        """Pairs of bricks that share a node, (k, 2)."""
        pairs = neighbours(self.places)
        split: Mask = np.asarray(self.phantom[self.corners].any(axis=1))
        split[self.owner] = True
        if not split.any():
            return pairs
        near = np.flatnonzero(split)
        attached = scipy.sparse.csr_array(
            (
                np.ones(8 * len(near), dtype=np.int8),
                self.corners[near].ravel().astype(np.int64),
                8 * np.arange(len(near) + 1),
            ),
            shape=(len(near), len(self.nodes)),
        )
        one, other = (attached @ attached.T).nonzero()
        among = np.stack([near[one], near[other]], axis=1)[one < other]
        return np.concatenate([pairs[~split[pairs].all(axis=1)], among])

    @cached_property
    def filled(self) -> Floats:
        """Filled fraction of each brick, (m,)."""
        filled: Floats = self.octants.mean(axis=1)
        return filled

    @cached_property
    def phantom(self) -> Mask:
        """Nodes (n,) that share their place with another."""
        shape = self.nodes.max(axis=0) + 1
        node = np.ravel_multi_index(tuple(self.nodes.T), tuple(shape))
        phantom: Mask = np.bincount(node, minlength=int(np.prod(shape)))[node] > 1
        return phantom


def join_bricks(brick: Brick, components: Components) -> Bricks:
    """Make elements of the filled bricks, and number their nodes.

    Parameters
    ----------
    brick : Brick
        The brick's matrices.
    components : Components
        The connected components of the material in the bricks.

    Returns
    -------
    Bricks
        The elements.
    """
    cut = np.minimum(components.octants, components.stiffness).min(axis=1) < 1.0
    order = np.argsort(cut, kind="stable")
    places, octants, phantom = (
        components.cells[order],
        components.octants[order],
        components.phantom[order],
    )
    even = octants.mean(axis=1, keepdims=True)
    stabilised = (1.0 - CUT_CELL_STABILISATION) * octants + CUT_CELL_STABILISATION * even
    shape = places.max(axis=0) + 2
    strides = np.array([shape[1] * shape[2], shape[2], 1])
    flat = (places @ strides)[:, None] + CORNERS @ strides
    number = np.zeros(int(np.prod(shape)), dtype=np.int32)
    number[flat[phantom == 0]] = 1
    used = np.flatnonzero(number)
    number[used] = np.arange(len(used), dtype=np.int32)
    corners = number[flat]
    keys = flat[phantom > 0] * (phantom.max() + 1) + phantom[phantom > 0]
    more, which = np.unique(keys, return_inverse=True)
    corners[phantom > 0] = len(used) + which
    at = np.concatenate([used, more // (phantom.max() + 1)])
    volumes = np.bincount(
        corners.ravel(), weights=(octants @ brick.load).ravel(), minlength=len(at)
    )
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return Bricks(
        brick=brick,
        places=places,
        full=int(len(cut) - cut.sum()),
        weights=stabilised * components.stiffness[order],
        octants=octants,
        corners=corners,
        nodes=np.stack(np.unravel_index(at, tuple(shape)), axis=1),
        volumes=volumes.astype(np.float64),
        points=components.points,
        owner=rank[components.owner],
    )


def neighbours(places: Ints) -> Ints:
    """Pairs of different cells of a grid that share at least a corner, (k, 2).

    Parameters
    ----------
    places : (m, 3) int
        Places of the cells, each once.

    Returns
    -------
    (k, 2) int
        The pairs.
    """
    shape = places.max(axis=0) + 3
    strides = np.array([shape[1] * shape[2], shape[2], 1])
    flat = (places + 1) @ strides
    number = np.full(int(np.prod(shape)), -1, dtype=np.int32)
    number[flat] = np.arange(len(places), dtype=np.int32)
    pairs = []
    for step in np.ndindex(3, 3, 3):
        shift = np.array(step) - 1
        if shift @ strides <= 0:
            continue
        other = number[flat + shift @ strides]
        found = np.flatnonzero(other >= 0)
        pairs.append(np.stack([found, other[found]], axis=1))
    return np.concatenate(pairs).astype(np.int64)
