"""Repairs that lose nothing: equal corners joined, doubled facets dropped, bodies turned.

Each returns what it did in words, for the maker to read. Anything that would
change the shape (closing holes, uniting bodies) is not done here unasked.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shrinkrule.errors import MeshError
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.numerics.hashing import number_equal
from shrinkrule.numerics.triangles import signed_volumes

MAX_NESTED_BODIES = 400
"""More closed bodies than this in one file are loose pieces, not a part with cavities."""

MANY_ROWS: Final = 1_000_000
"""Rows from which on 64-bit words spare more than 0.05 s a run, at 0.7 s of compiling once."""


def merge_equal_vertices(
    corners: NDArray[np.float32] | Floats,
) -> tuple[Floats, Ints]:
    """Join corners that are equal to the last bit, in order of first use.

    Parameters
    ----------
    corners : (m, 3, 3) float32 or float64
        As read; float32 takes half the time and memory. Any -0.0 in it becomes 0.0.

    Returns
    -------
    vertices : (n, 3) float64
        Each corner once.
    facets : (m, 3) int64
        Facets.
    """
    points = corners.reshape(-1, 3)
    points += 0.0
    first, numbers = number_equal(points.view(_word(points)))
    return points[first].astype(np.float64), numbers.reshape(-1, 3)


def _word(rows: NDArray[Any]) -> str:
    """Words to compare rows by: 32 bits, as elsewhere, unless long ones are worth compiling for."""
    return "u8" if rows.itemsize == 8 and len(rows) > MANY_ROWS else "u4"


def drop_doubled(facets: Ints) -> tuple[Ints, str]:
    """Keep one of facets that have the same corners in the same order round.

    Two that face opposite ways stay: they are a wall without thickness, and which of them is
    meant would be a guess.

    Parameters
    ----------
    facets : (m, 3) int64
        Facets of three different corners.

    Returns
    -------
    facets : (k, 3) int64
        Those that stay, in their order.
    note : str
        What was done, empty for nothing.
    """
    turn = np.argmin(facets, axis=1)[:, None]
    rows = np.take_along_axis(facets, (turn + np.arange(3)) % 3, axis=1)
    first, _ = number_equal(np.ascontiguousarray(rows).view(_word(rows)))
    if len(first) == len(facets):
        return facets, ""
    count = len(facets) - len(first)
    kept = facets[np.sort(first)]
    return kept, f"dropped {count} doubled facet{'s' * (count != 1)}"


def loose_pairs(facets: Ints, table: EdgeTable) -> Ints:
    """Pairs of facets back to back that hang on nothing at one side at least.

    Those that hang on other facets at all sides are where two bodies share a face.

    Parameters
    ----------
    facets : (m, 3) int64
        Facets, none of them doubled.
    table : EdgeTable
        Their edges.

    Returns
    -------
    (k,) int64
        One facet of each such pair.
    """
    first, _ = number_equal(np.ascontiguousarray(np.sort(facets, axis=1)).view(_word(facets)))
    again = np.ones(len(facets), np.bool_)
    again[first] = False
    free = (table.uses[table.edge_of] == 2).reshape(-1, 3).any(axis=1)
    return np.flatnonzero(again & free)


def drop_degenerate(facets: Ints) -> tuple[Ints, str]:
    """Drop facets that use one vertex twice: they have no area and close nothing.

    Facets of three distinct corners in a line are another matter: they close a joint.

    Parameters
    ----------
    facets : (m, 3) int64
        Facets.

    Returns
    -------
    facets : (k, 3) int64
        Those that stay.
    note : str
        What was done, empty for nothing.
    """
    a, b, c = facets.T
    degenerate = (a == b) | (b == c) | (c == a)
    if not degenerate.any():
        return facets, ""
    count = int(degenerate.sum())
    return facets[~degenerate], f"dropped {count} facet{'s' * (count != 1)} without area"


def turn_outward(
    vertices: Floats, facets: Ints, table: EdgeTable, where: str
) -> tuple[Ints, tuple[str, ...], str]:
    """Wind every closed body outward, and its cavities with it.

    A body inside out has negative volume. It is turned together with everything
    nested in it, so that a hollow part stays hollow. A body in a body wound the same
    way is either a solid in a solid or a cavity written wrongly: that is said, not guessed.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.
    table : EdgeTable
        Its edges.
    where : str
        Name of the part, for messages.

    Returns
    -------
    facets : (m, 3) int64
        The facets, turned where needed.
    turned : tuple of str
        What was turned, a note each.
    nested : str
        A note on bodies in a body that face as it does; empty without any.

    Raises
    ------
    MeshError
        For a closed surface that has no outside.
    """
    turned: list[str] = []
    if (table.uses == 2).all() and table.balance.any():
        facets = _orient(facets, where)
        table = edge_table(facets)
        turned.append("turned single facets that faced the wrong way")
    if table.balance.any():
        return facets, tuple(turned), ""
    labels = table.bodies
    volumes = signed_volumes(vertices, facets, labels)
    parents = _parents(vertices, facets, labels, volumes)
    depth = _depth(parents)
    root = _root(parents)
    inside_out = (volumes < 0)[root]
    if inside_out.any():
        flip = inside_out[labels]
        facets = np.where(flip[:, None], facets[:, ::-1], facets)
        volumes = np.where(inside_out, -volumes, volumes)
        count = int((inside_out & (depth == 0)).sum())
        bodies = "bodies that were" if count > 1 else "body that was"
        turned.append(f"turned {count} {bodies} inside out")
    same_way = (parents >= 0) & (np.sign(volumes) == np.sign(volumes[np.maximum(parents, 0)]))
    nested = ""
    if same_way.any():
        nested = (
            f"{int(same_way.sum())} closed shell(s) lie inside another and face the same way: "
            "taken as solid in solid; if a cavity was meant, turn its facets inward"
        )
    return np.ascontiguousarray(facets), tuple(turned), nested


def _orient(facets: Ints, where: str) -> Ints:
    import igl

    turned, _ = igl.bfs_orient(facets)
    turned = np.asarray(turned, dtype=np.int64)
    if edge_table(turned).balance.any():
        raise MeshError(
            "the surface has no outside (it is one-sided, as a Moebius band)",
            where=where,
            hint="repair it in the modelling program",
        )
    return turned


def _parents(vertices: Floats, facets: Ints, labels: Ints, volumes: Floats) -> Ints:
    """Smallest body around each body, or -1."""
    count = len(volumes)
    parents = np.full(count, -1, dtype=np.int64)
    if not 1 < count <= MAX_NESTED_BODIES:
        return parents
    bodies = facets_by_body(labels, count)
    low, high = body_boxes(vertices, facets, bodies)
    within = (low[:, None] >= low[None]) & (high[:, None] <= high[None])
    inside_box = within.all(axis=2) & ~np.eye(count, dtype=np.bool_)
    for child in np.flatnonzero(inside_box.any(axis=1)):
        candidates = np.flatnonzero(inside_box[child])
        candidates = candidates[np.argsort(np.abs(volumes[candidates]))]
        probe = vertices[facets[bodies[child][:1], 0]]
        parents[child] = next(
            (int(c) for c in candidates if _contains(vertices, facets[bodies[c]], probe)), -1
        )
    return parents


def _contains(vertices: Floats, shell: Ints, probe: Floats) -> bool:
    import igl

    winding = igl.winding_number(vertices, shell, probe)
    return bool(abs(float(np.ravel(winding)[0])) > 0.5)


def facets_by_body(labels: Ints, count: int) -> list[Ints]:
    """Facets, in their order, of each of ``count`` bodies.

    Parameters
    ----------
    labels : (m,) int64
        Body of each facet.
    count : int
        Number of bodies.

    Returns
    -------
    list of (k,) int64
        Numbers of the facets of each.
    """
    order = np.argsort(labels, kind="stable")
    return np.split(order, np.searchsorted(labels[order], np.arange(1, count)))


def body_boxes(vertices: Floats, facets: Ints, bodies: list[Ints]) -> tuple[Floats, Floats]:
    """Lower and upper corners, (count, 3) each, of the boxes around bodies.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface.
    bodies : list of (k,) int64
        As from :func:`facets_by_body`.

    Returns
    -------
    low, high : (count, 3) float64
        The corners.
    """
    starts = 3 * np.cumsum([0, *(len(body) for body in bodies[:-1])])
    corners = vertices[facets[np.concatenate(bodies)].ravel()]
    return np.minimum.reduceat(corners, starts), np.maximum.reduceat(corners, starts)


def near_boxes(low: Floats, high: Floats, clearance: float = 0.0) -> Ints:
    """Pairs of boxes nearer to each other than a clearance.

    Parameters
    ----------
    low, high : (b, d) float64
        Corners of the boxes, mm.
    clearance : float
        mm; with none, boxes that share space.

    Returns
    -------
    (p, 2) int64
        The pairs, each once, in order.
    """
    meet = np.ones((len(low), len(low)), dtype=np.bool_)
    # An axis at a time: steps over rows of two or three take several times as long.
    for lower, upper in zip(low.T, high.T, strict=True):
        meet &= (lower[:, None] < upper + clearance) & (lower < upper[:, None] + clearance)
    pairs: Ints = np.argwhere(np.triu(meet, 1))
    return pairs


def _depth(parents: Ints) -> Ints:
    depth = np.zeros_like(parents)
    above = parents.copy()
    while (above >= 0).any():
        depth += above >= 0
        above = np.where(above >= 0, parents[above], -1)
    return depth


def _root(parents: Ints) -> Ints:
    root = np.arange(len(parents))
    while (parents[root] >= 0).any():
        root = np.where(parents[root] >= 0, parents[root], root)
    return root
