"""The facets that surfaces are recognised on, and which of them lie side by side.

Facets lower than the file's noise have no direction and are left out. What they joined, and what
meets along an edge with a corner of one side in the middle of it (a T-joint), is found again by
cutting open edges at the vertices that lie on them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats, Ints, ranges
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE, normals_and_areas

ON_EDGE: Final = 2.5
"""Distance from an edge, in steps of noise, within which a vertex lies on it.

Three points of a line, each rounded by half a step in all three directions, lie within 1.8.
"""

MOST_OPEN_EDGES: Final = 60_000
"""More open edges than this are loose facets, and are not joined."""


@dataclass(frozen=True)
class Surface:
    """Facets with a direction, and their neighbours.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm, in the model's frame.
    facets : (m, 3) int64
        Facets that are not lower than the noise.
    number : (m,) int64
        Number of each in the mesh.
    normals : (m, 3) float64
        Unit, outward.
    areas : (m,) float64
        mm2.
    beside : (k, 2) int64
        Pairs of facets that share an edge or a piece of one.
    ends : (k, 2) int64
        Vertices at the ends of that edge.
    whole : int
        Of the pairs so many come first that share all of an edge.
    noise_mm : float
        Smallest step between coordinates.
    """

    vertices: Floats
    facets: Ints
    number: Ints
    normals: Floats
    areas: Floats
    beside: Ints
    ends: Ints
    whole: int
    noise_mm: float

    @property
    def centres(self) -> Floats:
        """Centres (m, 3) of the facets, mm."""
        a, b, c = (self.vertices[corner] for corner in self.facets.T)
        middles: Floats = (a + b + c) / 3.0
        return middles


def broad_facets(mesh: trimesh.Trimesh, noise_mm: float) -> Ints:
    """Facets that are broader than the rounding of their corners: they face some way.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Wanted part, vertices merged, mm.
    noise_mm : float
        Smallest step between coordinates.

    Returns
    -------
    (k,) int64
        Their numbers.
    """
    facets = np.asarray(mesh.faces)
    # A coordinate at a time: steps over rows of three take several times as long.
    along = [np.ascontiguousarray(column, dtype=np.float64) for column in mesh.vertices.T]
    broad = np.empty(len(facets), dtype=np.bool_)

    def work(part: slice) -> None:
        a, b, c = (facets[part, k] for k in range(3))
        one, other, third = (
            [column[end] - column[start] for column in along]
            for start, end in ((a, b), (a, c), (b, c))
        )
        (x, y, z), (u, v, w) = one, other
        double = _squared([y * w - z * v, z * u - x * w, x * v - y * u])
        longest = np.maximum.reduce([_squared(one), _squared(other), _squared(third)])
        broad[part] = double > (ON_EDGE * noise_mm) ** 2 * longest

    in_chunks(work, len(facets), AT_ONCE)
    return np.flatnonzero(broad)


def _squared(vectors: list[Floats]) -> Floats:
    """Squared lengths (k,) of vectors, coordinate by coordinate."""
    x, y, z = vectors
    return x * x + y * y + z * z


def surface_of(mesh: trimesh.Trimesh, noise_mm: float, broad: Ints | None = None) -> Surface:
    """Facets of a mesh with their directions and neighbours.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Wanted part, vertices merged, mm.
    noise_mm : float
        Smallest step between coordinates.
    broad : (m,) int64, optional
        Its broad facets, where they are known.

    Returns
    -------
    Surface
        What surfaces are recognised on.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    number = broad_facets(mesh, noise_mm) if broad is None else broad
    facets = np.asarray(mesh.faces, dtype=np.int64)[number]
    normals, areas = normals_and_areas(vertices, facets)
    beside, ends, whole = _neighbours(vertices, facets, noise_mm)
    normals = np.ascontiguousarray(normals.T)
    return Surface(vertices, facets, number, normals, areas, beside, ends, whole, noise_mm)


def _neighbours(vertices: Floats, facets: Ints, noise_mm: float) -> tuple[Ints, Ints, int]:
    """Pairs (k, 2) of facets side by side, and the vertices (k, 2) between them.

    Also how many of the pairs share all of an edge; these come first.
    """
    table = edge_table(facets)
    pair = np.flatnonzero(table.uses == 2)
    beside = table.pairs[pair] // 3
    ends = table.ends[pair]
    open_ = np.flatnonzero(table.uses == 1)
    if 0 < len(open_) <= MOST_OPEN_EDGES:
        more, between = _pieces(vertices, table.ends[open_], table.pairs[open_, 0] // 3, noise_mm)
        beside, ends = np.concatenate([beside, more]), np.concatenate([ends, between])
    return beside, ends, len(pair)


def _pieces(vertices: Floats, ends: Ints, owner: Ints, noise_mm: float) -> tuple[Ints, Ints]:
    """Pairs of facets whose open edges share a piece, and the vertices at its ends."""
    points = np.unique(ends)
    a, b = vertices[ends[:, 0]], vertices[ends[:, 1]]
    length = np.linalg.norm(b - a, axis=1)
    tree = cKDTree(vertices[points])
    near = tree.query_ball_point(0.5 * (a + b), 0.5 * length + noise_mm)
    edge = np.repeat(np.arange(len(ends)), [len(found) for found in near])
    vertex = points[np.concatenate([np.asarray(found, dtype=np.int64) for found in near])]
    along = (b - a)[edge] / length[edge, None]
    way = vertices[vertex] - a[edge]
    share = (way * along).sum(axis=1)
    off = np.linalg.norm(way - share[:, None] * along, axis=1)
    at_end = (vertex == ends[edge, 0]) | (vertex == ends[edge, 1])
    on = at_end | (
        (off <= ON_EDGE * noise_mm) & (share > noise_mm) & (share < length[edge] - noise_mm)
    )
    edge, vertex, share = edge[on], vertex[on], share[on]
    order = np.lexsort([share, edge])
    edge, vertex = edge[order], vertex[order]
    piece = np.flatnonzero(edge[1:] == edge[:-1])
    between = np.sort(np.stack([vertex[piece], vertex[piece + 1]], axis=1), axis=1)
    whose = owner[edge[piece]]
    order = np.lexsort([between[:, 1], between[:, 0]])
    between, whose = between[order], whose[order]
    new = np.ones(len(between), dtype=np.bool_)
    new[1:] = (between[1:] != between[:-1]).any(axis=1)
    first = np.flatnonzero(new)
    twice = first[np.diff([*first, len(between)]) == 2]
    return np.stack([whose[twice], whose[twice + 1]], axis=1), between[twice]


def grouped(labels: Ints, count: int) -> tuple[Ints, Ints]:
    """Members of each group end to end, and where each group begins.

    Parameters
    ----------
    labels : (n,) int64
        Group of each member.
    count : int
        Number of groups, none of them empty.

    Returns
    -------
    order : (n,) int64
        Members, group by group.
    start : (count,) int64
        Place of the first member of each group in ``order``.
    """
    order = np.argsort(labels, kind="stable")
    return order, np.searchsorted(labels[order], np.arange(count))


def pairs_in_groups(start: Ints, size: Ints) -> tuple[Ints, Ints]:
    """Places of all pairs of two members of one group, each pair once.

    Parameters
    ----------
    start, size : (g,) int64
        Where each group's members begin, and how many they are.

    Returns
    -------
    one, other : (k,) int64
        Places of the members.
    """
    group, one = ranges(start, start + size)
    owner, other = ranges(one + 1, (start + size)[group])
    return one[owner], other
