"""Coarse spaces that bend: nested grids whose nodes carry a displacement and a rotation.

Around each coarse node the part moves as a rigid body, and neighbouring rigid bodies
are blended by the trilinear shape functions of the coarse grid. Rotations let a thin wall
bend on a grid coarser than the wall, which trilinear displacements cannot. Where the
material inside a coarse cell has several connected components (two walls with a gap between
them), each gets a cell and nodes of its own, so that the gap may open.

Source: the aggregates' rigid-body space is that of smoothed aggregation (P. Vanek, J.
Mandel, M. Brezina, Computing 56 (1996) 179-196); blending by shape functions is the
partition of unity (I. Babuska, J. M. Melenk, Int. J. Numer. Methods Eng. 40 (1997) 727-758).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shrinkrule.numerics.arrays import Ints, connected_components
from shrinkrule.sag.voxels.corners import CORNERS, shared_nodes


@dataclass(frozen=True)
class CoarseCells:
    """Cells of one level, with the nodes at their corners.

    Parameters
    ----------
    places : (m, 3) int
        Place of each cell in its grid; components of one place are several cells.
    corners : (m, 8) int
        Node at each corner.
    nodes : (n, 3) int
        Place of each node; phantom nodes share a place.
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
    cells : CoarseCells
        The coarse cells.
    parent : (m,) int
        Coarse cell of each fine cell.
    slot : (m,) int
        Place of each fine cell inside its parent, 0 .. factor^3 - 1.
    factor : int
        Fine cells along one side of a coarse cell.
    """

    cells: CoarseCells
    parent: Ints
    slot: Ints
    factor: int


def _connected_cells(places: Ints, pairs: Ints) -> Ints:
    """Label connected cells from the pairs (k, 2) that touch; most are joined through faces."""
    face = np.abs(places[pairs[:, 0]] - places[pairs[:, 1]]).sum(axis=1) == 1
    label = connected_components(len(places), pairs[face])
    rest = label[pairs[~face]]
    rest = rest[rest[:, 0] != rest[:, 1]]
    return connected_components(int(label.max()) + 1, rest)[label] if len(rest) else label


def coarsen(places: Ints, touching: Ints, factor: int) -> Coarsening:
    """Gather cells into coarse cells, one for each connected component.

    Parameters
    ----------
    places : (m, 3) int
        Places of the fine cells.
    touching : (k, 2) int
        Pairs of fine cells that share nodes.
    factor : int
        Fine cells along one side of a coarse cell.

    Returns
    -------
    Coarsening
        The coarse cells, and where each fine cell lies in them.
    """
    homes = places // factor
    shape = homes.max(axis=0) + 1
    key = np.ravel_multi_index(tuple(homes.T), tuple(shape))
    inside = key[touching[:, 0]] == key[touching[:, 1]]
    parent = _connected_cells(places, touching[inside])
    coarse = np.empty((int(parent.max()) + 1, 3), dtype=np.int64)
    coarse[parent] = homes

    low, high = np.sort(parent[touching[~inside]], axis=1).T
    across = np.stack(np.divmod(np.unique(low * len(coarse) + high), len(coarse)), axis=1)
    corners = shared_nodes(coarse, across)
    numbers, first_use = np.unique(corners, return_index=True)
    nodes = (coarse[:, None, :] + CORNERS).reshape(-1, 3)[first_use]
    slot = np.ravel_multi_index(tuple((places - homes * factor).T), (factor,) * 3)
    cells = CoarseCells(coarse, np.searchsorted(numbers, corners), nodes, across)
    return Coarsening(cells, parent, slot, factor)
