"""Joints closed that no printer resolves: cracks, and vertices that lie on a neighbour's edge.

Corners that stand in a file in two roundings are merged, and a facet on whose edge a vertex of
the other side lies is split there, which moves nothing. Either is kept only if no edge stays
open. Facets without area are dropped where the joints that they leave can be closed like that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.mesh.repair import drop_degenerate
from shrinkrule.mesh.soundness import without_area
from shrinkrule.numerics.arrays import Floats, Ints, box_of, connected_components
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.units import plain

CRACK_MM: Final = 1e-3
CRACK_SHARE: Final = 1e-5
"""A crack is closed unasked if it is narrower than both: a micrometre, and this share of the
part's longest side. No printer resolves either."""

CRACK_TO_EDGE: Final = 0.1
"""An opening that is wider than this share of its edges' length is called a hole."""

MOST_CRACKED: Final = 100_000
NEAR_EDGES: Final = 9
"""Open edges up to which a crack's width is looked for, and near ones that are looked at."""

LEAST_UM: Final = 1e-3
"""A crack narrower than a millionth of a millimetre is the rounding of one number."""

MAX_LOOKS: Final = 2_000_000
"""Pairs of an open edge and a vertex near it that are looked at; more is no torn surface."""

MAX_ROUNDS: Final = 4
"""A facet is split at one side in each round, and has three."""


@dataclass(frozen=True)
class Closed:
    """A surface without an open edge, and what was done for it.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        The surface, mm.
    merged : int
        Vertices that were merged with another.
    widest_um : float
        How far the farthest of them was moved, in micrometres.
    split : int
        Vertices on the edge of a facet, at which it was split.
    """

    vertices: Floats
    facets: Ints
    merged: int
    widest_um: float
    split: int

    @property
    def cracks(self) -> str:
        """What was merged, in words; empty for nothing."""
        if not self.merged:
            return ""
        merged = f"merged {_counted(self.merged, 'vertex')}"
        if self.widest_um < LEAST_UM:
            return f"closed cracks without width: {merged}"
        return f"closed cracks of at most {plain(self.widest_um)} µm: {merged}"

    @property
    def joints(self) -> str:
        """What was split, in words; empty for nothing."""
        return f"closed {_counted(self.split, 'T-joint')}" if self.split else ""


def close_cracks(vertices: Floats, facets: Ints, table: EdgeTable) -> Closed | None:
    """Close open edges that are apart by less than a crack that means nothing.

    Nothing moves by more than twice the crack.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        An open surface, mm.
    table : EdgeTable
        Its edges.

    Returns
    -------
    Closed or None
        The closed surface; None if an edge would stay open.
    """
    reach = _reach(vertices)
    joined, widest = facets, 0.0
    if (table.uses == 1).any():
        joined, widest = _merged(vertices, facets, table, reach)
    closed, split = _split_at_joints(vertices, joined, reach)
    # A facet that is thinner than a crack closes upon itself: nothing of a surface is left.
    itself = not len(closed) or (closed == np.roll(closed, 1, axis=1)).any()
    if itself or (edge_table(closed).uses == 1).any():
        return None
    kept = np.unique(closed)
    merged = len(np.unique(facets)) - len(np.unique(joined)) if widest else 0
    return Closed(vertices[kept], np.searchsorted(kept, closed), merged, 1000.0 * widest, split)


def crack_width(vertices: Floats, table: EdgeTable) -> float | None:
    """Width of a crack that was not closed, for the message that refuses it.

    Parameters
    ----------
    vertices : (n, 3) float64
        Of an open surface, mm.
    table : EdgeTable
        Its edges.

    Returns
    -------
    float or None
        The farthest that the middle of an open edge lies from the next other open edge, mm; None
        where that is no crack, but a hole nearly as wide as its edges are long.
    """
    ends = table.ends[table.uses == 1]
    if not 2 <= len(ends) <= MOST_CRACKED:
        return None
    starts, along = vertices[ends[:, 0]], np.diff(vertices[ends], axis=1)[:, 0]
    middles, lengths = starts + 0.5 * along, np.linalg.norm(along, axis=1)
    # The other side of a crack is among the edges whose middles are near.
    near = cKDTree(middles).query(middles, k=min(NEAR_EDGES, len(ends)))[1][:, 1:]
    offset = middles[:, None] - starts[near]
    share = (offset * along[near]).sum(axis=2) / np.maximum(
        lengths[near] ** 2, np.finfo(float).tiny
    )
    beside = offset - np.clip(share, 0.0, 1.0)[:, :, None] * along[near]
    width = float(np.linalg.norm(beside, axis=2).min(axis=1).max())
    return width if width <= CRACK_TO_EDGE * float(np.median(lengths)) else None


def drop_without_area(vertices: Floats, facets: Ints) -> tuple[Closed, str] | None:
    """Drop facets whose three corners lie in a line, and close what that opens.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm; edges that are open may be those of such facets alone.

    Returns
    -------
    tuple of Closed and str, or None
        The surface, and what was done in words; None if there is no such facet, or if an edge
        would stay open without them.
    """
    flat = without_area(vertices, facets)
    count = int(flat.sum())
    if not 0 < count < len(facets):
        return None
    left = facets[~flat]
    table = edge_table(left)
    closed = close_cracks(vertices, left, table)
    if closed is None or edge_table(closed.facets).balance.any():
        return None
    said = f"dropped {_counted(count, 'facet')} without area, corners in a line"
    left_over = " and ".join(text for text in (closed.cracks, closed.joints) if text)
    return closed, f"{said}; {left_over} that they left" if left_over else said


def _counted(count: int, thing: str) -> str:
    many = "vertices" if thing == "vertex" else f"{thing}s"
    return f"{count} {thing if count == 1 else many}"


def _reach(vertices: Floats) -> float:
    """Width of a crack that means nothing, mm: at least what float32 rounds away."""
    low, high = box_of(vertices)
    rounding = 4.0 * float(np.spacing(np.float32(np.abs(vertices).max())))
    return max(min(CRACK_MM, CRACK_SHARE * float((high - low).max())), rounding)


def _merged(vertices: Floats, facets: Ints, table: EdgeTable, reach: float) -> tuple[Ints, float]:
    """Facets whose near vertices on open edges are one, and how far the farthest was moved."""
    from scipy.spatial import cKDTree

    rim = np.unique(table.ends[table.uses == 1])
    pairs = cKDTree(vertices[rim]).query_pairs(reach, output_type="ndarray")
    groups = connected_components(len(rim), pairs.astype(np.int64))
    _, first = np.unique(groups, return_index=True)
    moved = np.linalg.norm(vertices[rim] - vertices[rim[first[groups]]], axis=1)
    # A chain of near vertices may lead far: then this is no crack.
    if not len(pairs) or moved.max() > 2.0 * reach:
        return facets, 0.0
    target = np.arange(len(vertices))
    target[rim] = rim[first[groups]]
    joined, _ = drop_degenerate(target[facets])
    return joined, float(moved.max())


def _split_at_joints(vertices: Floats, facets: Ints, reach: float) -> tuple[Ints, int]:
    """Facets split where a vertex on an open edge lies on one of theirs; how many vertices."""
    count = 0
    for _ in range(MAX_ROUNDS):
        table = edge_table(facets)
        edges, points = _vertices_on_edges(vertices, table, reach)
        if not len(edges):
            break
        facets = _split(facets, table, edges, points)
        count += len(points)
    return facets, count


def _vertices_on_edges(vertices: Floats, table: EdgeTable, reach: float) -> tuple[Ints, Ints]:
    """Pairs of an open edge and a rim vertex on it, in order along the edge, one edge a facet."""
    from scipy.spatial import cKDTree

    nothing = np.empty(0, np.int64), np.empty(0, np.int64)
    edges = np.flatnonzero(table.uses == 1)
    rim = np.unique(table.ends[edges])
    if not len(edges):
        return nothing
    ends = vertices[table.ends[edges]]
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    tree = cKDTree(vertices[rim])
    middle, radius = ends.mean(axis=1), 0.5 * length + reach
    near = tree.query_ball_point(middle, radius, return_length=True)
    if near.sum() > MAX_LOOKS:
        return nothing
    found = np.concatenate(tree.query_ball_point(middle, radius)).astype(np.int64)
    which, point = np.repeat(np.arange(len(edges)), near), rim[found]
    from_end = vertices[point] - ends[which, 0]
    place = np.einsum("ij,ij->i", from_end, along[which]) / length[which]
    off = np.linalg.norm(from_end - (place / length[which])[:, None] * along[which], axis=1)
    on = (off <= reach) & (place > 0.0) & (place < length[which])
    on &= (point != table.ends[edges[which], 0]) & (point != table.ends[edges[which], 1])
    which, point, place = which[on], point[on], place[on]
    # Each facet at one of its sides: the rest of it is a facet of the next round.
    facet_of = np.empty(len(table.uses), np.int64)
    facet_of[table.edge_of] = np.arange(len(table.edge_of)) // 3
    used, first = np.unique(facet_of[edges[which]], return_index=True)
    mine = which == which[first][np.searchsorted(used, facet_of[edges[which]])]
    which, point, place = which[mine], point[mine], place[mine]
    order = np.lexsort((place, which))
    return edges[which[order]], point[order]


def _split(facets: Ints, table: EdgeTable, edges: Ints, points: Ints) -> Ints:
    """Facets with those on ``edges`` split at ``points``, which are sorted along each edge."""
    side_of = np.empty(len(table.uses), np.int64)
    side_of[table.edge_of] = np.arange(len(table.edge_of))
    split, first = np.unique(edges, return_index=True)
    starts = np.insert(points, first, table.ends[split, 0])
    owner = np.insert(edges, first, split)
    ends = np.roll(starts, -1)
    ends[np.append(owner[1:] != owner[:-1], True)] = table.ends[split, 1]
    facet, side = side_of[owner] // 3, side_of[owner] % 3
    apex = facets[facet, (side + 2) % 3]
    # A side that runs from the higher vertex to the lower is walked the other way.
    forward = table.forward[side_of[owner]]
    pieces = np.column_stack(
        [np.where(forward, starts, ends), np.where(forward, ends, starts), apex]
    )
    return np.vstack([np.delete(facets, side_of[split] // 3, axis=0), pieces])
