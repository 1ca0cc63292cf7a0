"""Where a print would begin in the air: lowest places of material above nothing."""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Ints, Mask, connected_components
from shrinkrule.printing.findings import PrintFinding, PrintKind
from shrinkrule.printing.surface import PrintSurface, box_about, vector

_LEVEL: Final = 1e-3  # mm: vertices nearer in height than this lie level
_MOST: Final = 60  # places looked into at most, the largest first: a noisy scan has thousands


def starts_in_air(surface: PrintSurface) -> tuple[PrintFinding, ...]:
    """Places where material begins with nothing below, the highest above it first.

    A place is a level group of vertices that no edge leaves downward, under material. It counts
    where what grows from it for the height of a layer meets nothing that began lower, and where
    less than a layer below it there is nothing.

    Parameters
    ----------
    surface : PrintSurface
        The green part.

    Returns
    -------
    tuple of PrintFinding
        The places.
    """
    points, ends = surface.points, surface.edges.ends
    heights = points[:, 2]
    level = np.abs(heights[ends[:, 0]] - heights[ends[:, 1]]) <= _LEVEL
    group = connected_components(len(points), ends[level])
    lowest = np.ones(int(group.max()) + 1, dtype=np.bool_)
    sloped = ends[~level]
    upper = np.where(heights[sloped[:, 0]] > heights[sloped[:, 1]], sloped[:, 0], sloped[:, 1])
    lowest[group[upper]] = False
    # The bottom of a pit is lowest too, but its facets face up.
    facing = np.zeros(len(lowest))
    facets, rises = surface.facets, surface.areas * surface.normals[:, 2]
    for corners in facets.T:
        facing += np.bincount(group[corners], rises, len(facing))
    height = np.full(len(lowest), np.inf)
    np.minimum.at(height, group, heights)
    found = np.flatnonzero(lowest & (facing < 0.0) & (height >= surface.layer_mm))
    if not len(found):
        return ()
    # Rounded, so that like bodies stay in the order of the file.
    found = found[np.argsort(np.round(facing[found], 6), kind="stable")][:_MOST]
    same = (group[facets] == group[facets[:, :1]]).all(axis=1)
    level_of = np.where(same, group[facets[:, 0]], -1)
    below = _Below(surface)
    starts = [
        _start(surface, below, np.flatnonzero(group == one), np.flatnonzero(level_of == one))
        for one in found
    ]
    kept = [start for start in starts if start is not None]
    return tuple(sorted(kept, key=lambda start: -round(start.area_mm2, 6)))


def _start(surface: PrintSurface, below: _Below, vertices: Ints, own: Ints) -> PrintFinding | None:
    """The finding at a level group of vertices and its facets, None where something holds it."""
    points = surface.points
    middles = points[surface.facets[own]].mean(axis=1)
    places = middles if len(own) else points[vertices].mean(axis=0)[None]
    air = surface.air_below(places)
    if air.min() < surface.layer_mm or below.reaches(int(vertices[0])):
        return None
    area = -float((surface.areas[own] * surface.normals[own, 2]).sum()) if len(own) else 0.0
    return PrintFinding(
        PrintKind.STARTS_IN_AIR,
        float(air.min()),
        surface.layer_mm,
        vector(places.mean(axis=0)),
        box_about(points[vertices]),
        area,
    )


class _Below:
    """Whether what lies in the layer above a vertex leads down below it, for any number of them.

    Only what lies in that layer is joined: it leads down where an edge of it does.
    """

    def __init__(self, surface: PrintSurface) -> None:
        heights, ends = surface.points[:, 2], surface.edges.ends
        self._layer = surface.layer_mm
        order = np.argsort(heights, kind="stable")
        self._place = np.empty(len(order), dtype=np.int64)
        self._place[order] = np.arange(len(order))
        self._heights = heights[order]
        # Each edge by the places of its ends in order of height, the lower one first.
        ends = np.sort(self._place[ends], axis=1)
        self._ends = ends[np.argsort(ends[:, 1], kind="stable")]
        self._known: dict[tuple[int, int], tuple[Ints, Mask]] = {}

    def reaches(self, vertex: int) -> bool:
        """Whether the surface that lies less than a layer above a vertex leads down below it."""
        height = self._heights[self._place[vertex]]
        layer = np.searchsorted(self._heights, [height - _LEVEL, height + self._layer])
        low, high = (int(place) for place in layer)
        if (low, high) not in self._known:
            first, last = np.searchsorted(self._ends[:, 1], [low, high])
            lower, upper = self._ends[first:last].T
            within = lower >= low
            joined = np.column_stack([lower[within], upper[within]]) - low
            label = connected_components(high - low, joined)
            leads = np.zeros(len(label), dtype=np.bool_)
            leads[label[upper[~within] - low]] = True
            self._known[low, high] = label, leads
        label, leads = self._known[low, high]
        return bool(leads[label[self._place[vertex] - low]])
