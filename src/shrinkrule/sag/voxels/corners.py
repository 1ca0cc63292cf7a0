"""The eight corners of a box-shaped cell: their order, their shape functions, their nodes."""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, connected_components

CORNERS: Final = np.array(
    [(a, b, c) for a in (0, 1) for b in (0, 1) for c in (0, 1)], dtype=np.int64
)
"""Corners of a cell, (8, 3), in steps of one cell; octants and Gauss points go alike."""

PLAN_CORNERS: Final = CORNERS[::2, :2]
"""Corners of a cell seen from above, (4, 2)."""


def shape_functions(position: Floats) -> Floats:
    """Multilinear shape functions of a unit cell's corners.

    Parameters
    ----------
    position : (..., d) float
        Points in the cell: trilinear for d = 3, bilinear for d = 2.

    Returns
    -------
    (..., 2^d) float
        The weight of each corner, in the order of CORNERS or PLAN_CORNERS.

    Examples
    --------
    >>> shape_functions(np.array([0.25, 0.5])).tolist()
    [0.375, 0.375, 0.125, 0.125]
    """
    corners = CORNERS if position.shape[-1] == 3 else PLAN_CORNERS
    # A corner at a time: products over rows of two or three take several times as long.
    sides = [(1.0 - along, along) for along in np.moveaxis(position, -1, 0)]
    weights = np.empty((len(corners), *position.shape[:-1]))
    for number, corner in enumerate(corners.tolist()):
        weights[number] = sides[0][corner[0]]
        for along, end in zip(sides[1:], corner[1:], strict=True):
            weights[number] *= along[end]
    return np.moveaxis(weights, 0, -1)


def shared_nodes(places: Ints, touching: Ints) -> Ints:
    """Give touching cells the same node at the corners they share.

    Parameters
    ----------
    places : (m, 3) int
        Places of the cells in their grid.
    touching : (k, 2) int
        Pairs of cells that touch.

    Returns
    -------
    (m, 8) int
        Label of the node at each corner of each cell.
    """
    shift = places[touching[:, 1]] - places[touching[:, 0]]
    joined = []
    for mine, corner in enumerate(CORNERS):
        theirs = corner - shift
        shared = np.all((theirs >= 0) & (theirs <= 1), axis=1)
        other = theirs[shared] @ np.array([4, 2, 1])
        joined.append(
            np.stack([touching[shared, 0] * 8 + mine, touching[shared, 1] * 8 + other], axis=1)
        )
    return connected_components(8 * len(places), np.concatenate(joined)).reshape(-1, 8)
