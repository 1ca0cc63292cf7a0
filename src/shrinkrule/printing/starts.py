"""Where a print would begin in the air: lowest places of material above nothing."""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Ints, connected_components
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE, area_normals
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
    facets, normals = surface.facets, np.empty(len(surface.facets))

    def work(part: slice) -> None:
        normals[part] = area_normals(points[facets[part]])[:, 2]

    in_chunks(work, len(facets), AT_ONCE)
    np.add.at(facing, group[facets].ravel(), np.repeat(normals, 3))
    height = np.full(len(lowest), np.inf)
    np.minimum.at(height, group, heights)
    found = np.flatnonzero(lowest & (facing < 0.0) & (height >= surface.layer_mm))
    found = found[np.argsort(facing[found], kind="stable")][:_MOST]
    same = (group[facets] == group[facets[:, :1]]).all(axis=1)
    level_of = np.where(same, group[facets[:, 0]], -1)
    starts = [
        _start(surface, np.flatnonzero(group == one), np.flatnonzero(level_of == one))
        for one in found
    ]
    kept = [start for start in starts if start is not None]
    return tuple(sorted(kept, key=lambda start: -start.area_mm2))


def _start(surface: PrintSurface, vertices: Ints, own: Ints) -> PrintFinding | None:
    """The finding at a level group of vertices and its facets, None where something holds it."""
    points = surface.points
    middles = points[surface.facets[own]].mean(axis=1)
    places = middles if len(own) else points[vertices].mean(axis=0)[None]
    air = surface.air_below(places)
    if air.min() < surface.layer_mm or _meets_lower(surface, int(vertices[0])):
        return None
    area = -0.5 * float(area_normals(points[surface.facets[own]])[:, 2].sum()) if len(own) else 0.0
    return PrintFinding(
        PrintKind.STARTS_IN_AIR,
        float(air.min()),
        surface.layer_mm,
        vector(places.mean(axis=0)),
        box_about(points[vertices]),
        area,
    )


def _meets_lower(surface: PrintSurface, vertex: int) -> bool:
    """Whether the surface that lies less than a layer above a vertex leads down below it."""
    heights, ends = surface.points[:, 2], surface.edges.ends
    lower = heights < heights[vertex] - _LEVEL
    within = ~lower & (heights < heights[vertex] + surface.layer_mm)
    # Only what lies in this layer is joined: it leads down where an edge of it does.
    number = np.cumsum(within) - 1
    label = connected_components(int(within.sum()), number[ends[within[ends].all(axis=1)]])
    own = np.zeros(len(heights), dtype=np.bool_)
    own[within] = label == label[number[vertex]]
    down = ends[lower[ends].any(axis=1)]
    return bool(own[down].any())
