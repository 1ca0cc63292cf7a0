"""Slices of a green part: the outlines of its material at heights, and the islands in them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from manifold3d import CrossSection
from scipy.sparse import csgraph, csr_array

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.printing.surface import PrintSurface


def sections(surface: PrintSurface, heights: Floats) -> Iterator[CrossSection | None]:
    """Cut a surface at heights, from the lowest up.

    Parameters
    ----------
    surface : PrintSurface
        The green part, closed: every side of a facet runs along one of another the other way.
    heights : (k,) float64
        Rising, mm.

    Yields
    ------
    CrossSection or None
        The material at each height; None where it is as at the one below, between upright facets.
    """
    points, facets, twin = surface.points, surface.facets, _twins(surface)
    # A vertex at a height counts as below it, everywhere: its place is the number of those below.
    place = np.searchsorted(heights, points[:, 2], side="left")
    place = place.astype(np.min_scalar_type(len(heights)))
    places = [place[corner] for corner in facets.T]
    first, last = np.minimum.reduce(places), np.maximum.reduce(places)
    changed = _changed(surface, first, last, len(heights))
    piece_of = np.empty(len(facets), dtype=np.int64)
    for number, height in enumerate(heights.tolist()):
        if not changed[number]:
            yield None
            continue
        near = np.flatnonzero((first <= number) & (last > number))
        one, other, third = (corner[near] > number for corner in places)
        # The material is on the left of a piece that begins where a side falls through the height,
        # and ends where one rises; it goes on in the facet beyond.
        falls = np.where(one & ~other, 0, np.where(other & ~third, 1, 2))
        rises = np.where(~one & other, 0, np.where(~other & third, 1, 2))
        piece_of[near] = np.arange(len(near))
        order, begins = _loops(piece_of[twin[3 * near + rises] // 3])
        near, falls = near[order], falls[order]
        ends = facets[near, falls], facets[near, (falls + 1) % 3]
        # Both facets of a side work out the same point, from the same end.
        low, high = points[np.minimum(*ends)], points[np.maximum(*ends)]
        share = (height - low[:, 2]) / (high[:, 2] - low[:, 2])
        start = low[:, :2] + share[:, None] * (high[:, :2] - low[:, :2])
        yield CrossSection(np.split(start, begins[1:]) if len(begins) else [])


def _changed(surface: PrintSurface, first: Ints, last: Ints, count: int) -> Mask:
    """Whether the slice at each of ``count`` heights may differ from the one below.

    Each facet crosses the heights from ``first`` on, and is below those from ``last`` on.
    """
    some = np.flatnonzero(first < last)
    changed = np.zeros(count + 1, dtype=np.bool_)
    changed[0] = changed[first[some]] = changed[last[some]] = True
    # What stands upright to the last digit has no area in plan.
    x, y = surface.points[:, 0], surface.points[:, 1]
    a, b, c = surface.facets[some].T
    leans = (x[b] - x[a]) * (y[c] - y[a]) != (y[b] - y[a]) * (x[c] - x[a])
    some = some[leans]
    leaning = np.bincount(first[some], minlength=count + 1)
    leaning -= np.bincount(last[some], minlength=count + 1)
    changed |= np.cumsum(leaning) > 0
    return changed[:count]


def _loops(following: Ints) -> tuple[Ints, Ints]:
    """Loops of pieces (n,), of which each knows the one that follows it.

    Returns
    -------
    order : (n,) int64
        The pieces, loop by loop.
    begins : (j,) int64
        First piece of each loop, in that order.
    """
    count = len(following)
    if count == 0:
        return following, following
    pieces, ones = np.arange(count), np.ones(count, dtype=np.int8)
    graph = csr_array((ones, following, np.arange(count + 1)), shape=(count, count))
    loop = csgraph.connected_components(graph, directed=False)[1]
    heads, sizes = np.unique(loop, return_index=True, return_counts=True)[1:]
    before = np.empty_like(following)
    before[following] = pieces
    # All loops as one chain, the end of each leading to the head of the next.
    chain = following.copy()
    chain[before[heads]] = np.append(heads[1:], heads[0])
    graph = csr_array((ones, chain, np.arange(count + 1)), shape=(count, count))
    order = csgraph.breadth_first_order(graph, heads[0], return_predecessors=False)
    return order.astype(np.int64), np.cumsum(sizes) - sizes


def _twins(surface: PrintSurface) -> Ints:
    """The side (3 m,) of another facet that each side of a facet runs along, the other way."""
    edges = surface.edges
    twin = surface.partner.copy()
    crowd = np.flatnonzero(edges.uses[edges.edge_of] > 2)
    # Which of several facets along an edge are joined makes no difference to the material.
    crowd = crowd[np.argsort(edges.edge_of[crowd], kind="stable")]
    forward = edges.forward[crowd]
    twin[crowd[forward]], twin[crowd[~forward]] = crowd[~forward], crowd[forward]
    return twin


def moments(points: Floats, begins: Ints, islands: Ints) -> tuple[Floats, Floats, Floats]:
    """Area, centre and smaller second moment of polygons with holes.

    Parameters
    ----------
    points : (n, 2) float64
        Points of all outlines, end to end: counter-clockwise; of holes clockwise.
    begins : (j,) int64
        First point of each outline.
    islands : (i,) int64
        First point of each polygon, whose outlines stand together.

    Returns
    -------
    area : (i,) float64
        mm2.
    centre : (i, 2) float64
        mm.
    least : (i,) float64
        The smaller principal second moment about the centre, mm4.

    Examples
    --------
    >>> strip = np.array([[0.0, 0.0], [12.0, 0.0], [12.0, 2.0], [0.0, 2.0]])
    >>> area, centre, least = moments(strip, np.array([0]), np.array([0]))
    >>> float(area[0]), centre[0].round(9).tolist(), round(float(np.sqrt(12 * least / area)[0]), 9)
    (24.0, [6.0, 1.0], 2.0)
    """
    own = np.diff(np.append(islands, len(points)))
    # Coordinates from a point of the polygon: those from far away would lose digits.
    near = points[islands]
    start = points - np.repeat(near, own, axis=0)
    x, y = start.T
    u, v = start[after(begins, len(points))].T
    cross = x * v - u * y
    area = 0.5 * np.add.reduceat(cross, islands)
    with np.errstate(divide="ignore", invalid="ignore"):
        p, q = (
            np.add.reduceat((a + b) * cross, islands) / (6.0 * area) for a, b in ((x, u), (y, v))
        )
    xx, yy = (
        np.add.reduceat((a * a + a * b + b * b) * cross, islands) / 12.0 - area * middle**2
        for a, b, middle in ((x, u, p), (y, v, q))
    )
    mixed = (x * v + 2.0 * x * y + 2.0 * u * v + u * y) * cross
    xy = np.add.reduceat(mixed, islands) / 24.0 - area * p * q
    least = 0.5 * (xx + yy) - np.hypot(0.5 * (xx - yy), xy)
    return area, near + np.stack([p, q], axis=1), least


def after(begins: Ints, count: int) -> Ints:
    """The point (n,) that follows each one in closed outlines.

    Parameters
    ----------
    begins : (j,) int64
        First point of each outline.
    count : int
        Number of points.

    Returns
    -------
    (n,) int64
        Their numbers.
    """
    following = np.arange(1, count + 1)
    following[np.append(begins[1:], count) - 1] = begins
    return following
