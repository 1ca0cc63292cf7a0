"""Connected groups, and the nodes that cells of a grid share where they touch."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from shrinkrule.sag.fem.hex8i import CORNERS
from shrinkrule.sag.settings import IntArray


def connected_groups(count: int, pairs: IntArray) -> IntArray:
    """Label the connected groups of ``count`` things joined by pairs."""
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), tuple(pairs.T)), shape=(count, count))
    labels: IntArray = connected_components(graph, directed=False)[1].astype(np.int64)
    return labels


def join_corners(places: IntArray, touching: IntArray) -> IntArray:
    """Give touching cells the same node at the corners they share, (m, 8) labels.

    Parameters
    ----------
    places : (m, 3) int
        Places of the cells in their grid.
    touching : (k, 2) int
        Pairs of cells that touch.
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
    return connected_groups(8 * len(places), np.concatenate(joined)).reshape(-1, 8)
