"""Slices of a green part: the outlines of its material at heights, and the islands in them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Final

import numpy as np
from manifold3d import CrossSection

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.printing.surface import PrintSurface
from shrinkrule.walls.layers.loops import (
    chain_pieces,
    cut_facets,
    facets_by_layer,
    layer_counts,
    pair_sides,
)

_AT_ONCE: Final = 1 << 18  # facets: what is worked out of these takes some 20 MB
_MOST_CUTS: Final = 1 << 22  # facets cut that are listed at a time, at all heights together


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
    # A vertex at a height counts as below it, everywhere.
    place = np.searchsorted(heights, points[:, 2], side="left")
    spans = np.empty((len(facets), 2), dtype=np.int64)
    counts = np.zeros(len(heights), dtype=np.int64)
    changed = np.zeros(len(heights), dtype=np.bool_)
    for first in range(0, len(facets), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        places = [place[corner] for corner in facets[some].T]
        spans[some, 0], spans[some, 1] = np.minimum.reduce(places), np.maximum.reduce(places)
        sides = twin[3 * first : 3 * (first + _AT_ONCE)]
        more, bends = layer_counts(spans[some], points[facets[some]], sides, len(heights))
        counts += more
        changed |= bends
    scratch = np.empty(len(facets), dtype=np.int64)
    for group in _groups(np.where(changed, counts, 0)):
        wanted = np.zeros(len(heights), dtype=np.bool_)
        wanted[group] = changed[group]
        offsets = np.concatenate([[0], np.cumsum(np.where(wanted, counts, 0))])
        near = facets_by_layer(spans, wanted, offsets)
        for number in range(group.start, group.stop):
            if not changed[number]:
                yield None
                continue
            mine = near[offsets[number] : offsets[number + 1]]
            pieces, start, _ = cut_facets(facets, points, mine, float(heights[number]))
            order, begins, _ = chain_pieces(pieces, twin, scratch)
            start = start[order]
            yield CrossSection([start[a:b] for a, b in pairwise(begins.tolist())])


def _groups(cuts: Ints) -> Iterator[slice]:
    """Heights in a row whose facets (k,) can be listed together."""
    start = 0
    while start < len(cuts):
        within = np.searchsorted(np.cumsum(cuts[start:]), _MOST_CUTS, side="right")
        yield slice(start, start + max(int(within), 1))
        start += max(int(within), 1)


def _twins(surface: PrintSurface) -> Ints:
    """The side (3 m,) that each side of a facet is joined to; -1 where there is none."""
    edges = surface.edges
    twin = surface.partner.copy()
    crowd = np.flatnonzero(edges.uses[edges.edge_of] > 2)
    if len(crowd):
        # Which of several facets along an edge are joined makes no difference to the material.
        keys = 2 * edges.edge_of[crowd] + edges.forward[crowd]
        other = pair_sides(keys, np.argsort(keys), len(keys))
        twin[crowd] = np.where(other < 0, -1, crowd[other])
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
