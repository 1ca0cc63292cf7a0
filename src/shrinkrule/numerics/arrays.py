"""Array types by name, and the steps over whole arrays that numpy has no call for."""

from __future__ import annotations

import numpy as np
import scipy.sparse.csgraph
from numpy.typing import NDArray
from scipy.sparse import coo_array

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


def ranges(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """List many ranges ``first .. last - 1`` end to end.

    Parameters
    ----------
    first, last : (n,) int
        Where each range begins, and where it has ended; an empty or backward one lists nothing.

    Returns
    -------
    owner : (k,) int
        Number of the range that each listed value belongs to.
    value : (k,) int
        The values.

    Examples
    --------
    >>> owner, value = ranges(np.array([5, 2]), np.array([7, 5]))
    >>> owner.tolist(), value.tolist()
    ([0, 0, 1, 1, 1], [5, 6, 2, 3, 4])
    """
    count = np.maximum(last - first, 0)
    owner = np.repeat(np.arange(len(count)), count)
    start = np.cumsum(count) - count
    return owner, np.arange(len(owner)) - start[owner] + first[owner]


def connected_components(count: int, pairs: Ints) -> Ints:
    """Label the connected components of an undirected graph.

    Parameters
    ----------
    count : int
        Number of vertices of the graph.
    pairs : (k, 2) int
        Its edges.

    Returns
    -------
    (count,) int
        Component of each vertex, numbered from 0.

    Examples
    --------
    >>> connected_components(4, np.array([[0, 2], [2, 3]])).tolist()
    [0, 1, 0, 0]
    """
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), tuple(pairs.T)), shape=(count, count))
    labels: Ints = scipy.sparse.csgraph.connected_components(graph, directed=False)[1]
    return labels.astype(np.int64)


def found_in(keys: Ints, wanted: Ints) -> Ints:
    """Place of each wanted key among sorted ones.

    Parameters
    ----------
    keys : (n,) int64
        Rising; may be empty.
    wanted : (...) int64
        What is looked for.

    Returns
    -------
    (...) int64
        Where it is, -1 where it is not.

    Examples
    --------
    >>> found_in(np.array([2, 5, 9]), np.array([9, 3, 2])).tolist()
    [2, -1, 0]
    """
    if not len(keys):
        return np.full(wanted.shape, -1, dtype=np.int64)
    place = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    found: Ints = np.where(keys[place] == wanted, place, -1)
    return found


def box_of(points: Floats) -> tuple[Floats, Floats]:
    """Box around points, along the axes.

    Parameters
    ----------
    points : (n, 3) float
        At least one point.

    Returns
    -------
    low, high : (3,) float
        Its lower and upper corner.

    Examples
    --------
    >>> low, high = box_of(np.array([[0.0, 5, 2], [1, 4, 2]]))
    >>> low.tolist(), high.tolist()
    ([0.0, 4.0, 2.0], [1.0, 5.0, 2.0])
    """
    # Column by column, ten times as fast as over rows of three.
    columns = points.T
    return np.array([c.min() for c in columns]), np.array([c.max() for c in columns])
