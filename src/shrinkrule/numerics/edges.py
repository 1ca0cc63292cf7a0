"""The edges of facets: which facets share one, in which direction, and what they join to.

A side of a facet from vertex a to b is directed; the edge between the two is not.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from shrinkrule.numerics.arrays import Ints, Mask, connected_components
from shrinkrule.numerics.jit import compiled, inner


@dataclass(frozen=True)
class EdgeTable:
    """Undirected edges of a mesh and the facets on them.

    Parameters
    ----------
    edge_of : (3 m,) int64
        Edge number of facet ``i // 3``, side ``i % 3``.
    forward : (3 m,) bool
        Whether that side runs from the lower to the higher vertex number.
    uses : (e,) int64
        Facets on each edge.
    balance : (e,) int64
        Forward uses minus backward uses; zero where the surface is closed.
    ends : (e, 2) int64
        Vertex numbers of each edge.
    """

    edge_of: Ints
    forward: Mask
    uses: Ints
    balance: Ints
    ends: Ints

    @property
    def closed(self) -> bool:
        """Whether just two facets share every edge; False without any facet, too."""
        return len(self.uses) > 0 and bool((self.uses == 2).all())

    @cached_property
    def bodies(self) -> Ints:
        """Body number of each facet, (m,); facets are of one body when they alone share an edge.

        Bodies that touch along an edge or at a corner stay separate. Those that share a face
        are one: apart, neither would be closed.
        """
        labels: Ints = _number_bodies(self.edge_of, self.uses)
        return labels if (self.uses <= 2).all() else self._joined_at_crowds(labels)

    @cached_property
    def pairs(self) -> Ints:
        """First and last side on each edge, (e, 2): the two there are, where two facets share it.

        Examples
        --------
        >>> edge_table(np.array([[0, 1, 2], [2, 1, 3]])).pairs.tolist()
        [[0, 0], [1, 3], [2, 2], [4, 4], [5, 5]]
        """
        sides = np.arange(len(self.edge_of))
        pairs = np.empty((len(self.uses), 2), dtype=np.int64)
        # Of several values for one place the last one stays.
        pairs[self.edge_of[::-1], 0] = sides[::-1]
        pairs[self.edge_of, 1] = sides
        return pairs

    def _joined_at_crowds(self, labels: Ints) -> Ints:
        """Body numbers with those joined that only together balance an edge of many facets."""
        sides = np.flatnonzero(self.uses[self.edge_of] > 2)
        count = int(labels.max()) + 1
        body_at = self.edge_of[sides] * count + labels[sides // 3]
        pairs, which = np.unique(body_at, return_inverse=True)
        ways = np.where(self.forward[sides], 1, -1)
        open_there = pairs[np.bincount(which, weights=ways) != 0]
        edge, body = np.divmod(open_there, count)
        same = np.flatnonzero(edge[1:] == edge[:-1])
        joined = connected_components(count, np.column_stack([body[same], body[same + 1]]))
        _, first, found = np.unique(joined[labels], return_index=True, return_inverse=True)
        # Numbered in order of their first facets, as before.
        rank = np.empty(len(first), np.int64)
        rank[np.argsort(first)] = np.arange(len(first))
        return np.asarray(rank[found], dtype=np.int64)


def edge_table(facets: Ints) -> EdgeTable:
    """Tabulate the undirected edges of a mesh.

    Parameters
    ----------
    facets : (m, 3) int64
        Vertex numbers of the corners of each facet.

    Returns
    -------
    EdgeTable
        Its edges, in order of first use.
    """
    facets = np.ascontiguousarray(facets)
    return EdgeTable(*_number_sides(facets, int(facets.max(initial=-1)) + 1))


@compiled
def _number_sides(facets: Ints, count: int) -> Any:
    """Number the undirected edges of facets (m, 3) on ``count`` vertices, in order of first use.

    Each edge hangs in a list at that end which fewer facets share, so that a fan of any
    size is searched from its rim; neighbours in the file stay neighbours in memory.

    Returns
    -------
    edge_of : (3 m,) int64
        Edge of each side.
    forward : (3 m,) bool
        Whether the side runs from the lower vertex to the higher.
    uses, balance : (e,) int64
        Sides on each edge; those forward less those backward.
    ends : (e, 2) int64
        Lower and higher vertex of each edge.
    """
    sides = 3 * len(facets)
    shared = np.zeros(count, np.int32)
    for f in range(len(facets)):
        for k in range(3):
            shared[facets[f, k]] += 1
    newest = np.empty(count, np.int32)
    newest[:] = -1
    older = np.empty(sides, np.int32)
    edge_of = np.empty(sides, np.int64)
    forward = np.empty(sides, np.bool_)
    uses = np.empty(sides, np.int64)
    balance = np.empty(sides, np.int64)
    ends = np.empty((sides, 2), np.int64)
    found = 0
    for f in range(len(facets)):
        for k in range(3):
            start, end = facets[f, k], facets[f, (k + 1) % 3]
            low, high = min(start, end), max(start, end)
            home = high if shared[high] < shared[low] else low
            edge = np.int64(newest[home])
            while edge >= 0 and not (ends[edge, 0] == low and ends[edge, 1] == high):
                edge = np.int64(older[edge])
            if edge < 0:
                edge = np.int64(found)
                found += 1
                older[edge] = newest[home]
                newest[home] = edge
                uses[edge] = 0
                balance[edge] = 0
                ends[edge, 0] = low
                ends[edge, 1] = high
            side = 3 * f + k
            edge_of[side] = edge
            forward[side] = start < end
            uses[edge] += 1
            balance[edge] += 1 if start < end else -1
    # Views: what was not written to takes no memory.
    return edge_of, forward, uses[:found], balance[:found], ends[:found]


@inner
def _join(above: Ints, one: Any, other: Any) -> Any:
    """Join what two members belong to; gives the lowest member of it, its root.

    Source: union-find with path halving, R. E. Tarjan and J. van Leeuwen (1984).
    """
    while above[one] != one:
        above[one] = above[above[one]]
        one = above[one]
    while above[other] != other:
        above[other] = above[above[other]]
        other = above[other]
    above[max(one, other)] = min(one, other)
    return min(one, other)


@inner
def _number(above: Ints) -> None:
    """Number what has been joined, in order of the roots."""
    found = 0
    for member in range(len(above)):
        # The lowest member is the root, so that what lies above is numbered already.
        if above[member] == member:
            above[member] = found
            found += 1
        else:
            above[member] = above[above[member]]


@compiled
def _number_bodies(edge_of: Ints, uses: Ints) -> Any:
    """Number of the body of each facet, (m,), joined where two facets alone share an edge."""
    facets = len(edge_of) // 3
    first = np.empty(len(uses), np.int32)
    first[:] = -1
    above = np.arange(facets)
    for side in range(len(edge_of)):
        edge = edge_of[side]
        if uses[edge] != 2:
            continue
        if first[edge] < 0:
            first[edge] = side // 3
            continue
        _join(above, np.int64(first[edge]), np.int64(side // 3))
    _number(above)
    return above


@compiled
def joined_vertices(facets: Ints, count: int) -> Any:
    """Label vertices that facets join, in order of the first vertex of each label.

    Parameters
    ----------
    facets : (m, 3) int64
        Vertex numbers of the corners of each facet.
    count : int
        Number of vertices; one on no facet has a label of its own.

    Returns
    -------
    (count,) int64
        Label of each vertex, numbered from 0.
    """
    above = np.arange(count)
    for f in range(len(facets)):
        one = _join(above, facets[f, 0], facets[f, 1])
        _join(above, one, facets[f, 2])
    _number(above)
    return above
