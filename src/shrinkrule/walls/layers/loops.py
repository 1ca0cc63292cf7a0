"""Compiled loops of the layer check: edges paired, facets cut, outlines thinned.

A facet that crosses a height gives one directed piece of outline with the material on its left. The
piece ends on the edge that rises through the height, and continues on the facet that shares this
edge: so closed surfaces give closed outlines, even where they cross themselves.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.jit import compiled


@compiled
def pair_sides(keys: Ints, order: Ints, count: int) -> Any:
    """Pair each side of a facet with one that runs the other way along the same edge.

    Parameters
    ----------
    keys : (count,) int64
        Twice the edge number, plus one where the vertex number rises.
    order : (count,) int64
        Indices that sort the keys.
    count : int
        Number of sides.

    Returns
    -------
    (count,) int64
        The paired side; -1 where there is none.
    """
    twin = np.full(count, -1, np.int64)
    low = 0
    while low < count:
        edge = keys[order[low]] >> 1
        split = low
        while split < count and keys[order[split]] == 2 * edge:
            split += 1
        high = split
        while high < count and keys[order[high]] == 2 * edge + 1:
            high += 1
        for k in range(min(split - low, high - split)):
            twin[order[low + k]] = order[split + k]
            twin[order[split + k]] = order[low + k]
        low = high
    return twin


@compiled
def _root(parent: Ints, i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@compiled
def shell_volumes(corners: Floats, twin: Ints) -> Any:
    """Number the connected shells of a surface and measure them.

    Parameters
    ----------
    corners : (m, 3, 3) float64
        Corners of the facets, mm.
    twin : (3 m,) int64
        As from `pair_sides`.

    Returns
    -------
    (m,) int64, (k,) float64
        Shell of each facet, and signed volume of each shell, mm3.
    """
    count = len(corners)
    parent = np.arange(count)
    for side in range(3 * count):
        if twin[side] > side:
            one, other = _root(parent, side // 3), _root(parent, twin[side] // 3)
            parent[max(one, other)] = min(one, other)
    label = np.full(count, -1, np.int64)
    found = 0
    for f in range(count):
        root = _root(parent, f)
        if label[root] < 0:
            label[root] = found
            found += 1
        label[f] = label[root]
    volume = np.zeros(found)
    for f in range(count):
        a, b, c = corners[f, 0], corners[f, 1], corners[f, 2]
        cross = a[0] * (b[1] * c[2] - b[2] * c[1])
        cross += a[1] * (b[2] * c[0] - b[0] * c[2])
        cross += a[2] * (b[0] * c[1] - b[1] * c[0])
        volume[label[f]] += cross / 6.0
    return label, volume


def layer_spans(heights: Floats, corners: Floats) -> Ints:
    """Find the heights that each facet crosses.

    Parameters
    ----------
    heights : (k,) float64
        Heights of the cuts, rising, mm.
    corners : (m, 3, 3) float64
        Corners of the facets, mm.

    Returns
    -------
    (m, 2) int64
        First height that it crosses, and the first above that it does not.
    """
    level = corners[:, :, 2]
    # A corner at a height counts as below it, everywhere.
    low = np.searchsorted(heights, level.min(axis=1), side="left")
    return np.column_stack([low, np.searchsorted(heights, level.max(axis=1), side="left")])


@compiled
def layer_counts(spans: Ints, corners: Floats, twin: Ints, layers: int) -> Any:
    """Count the facets cut at each height.

    Parameters
    ----------
    spans : (m, 2) int64
        As from `layer_spans`.
    corners : (m, 3, 3) float64
        Corners of the facets, mm.
    twin : (3 m,) int64
        As from `pair_sides`.
    layers : int
        Number of heights.

    Returns
    -------
    (layers,) int64, (layers,) bool
        Facets, and whether the cut may differ from the one below.
    """
    count, leaning = np.zeros(layers + 1, np.int64), np.zeros(layers + 1, np.int64)
    changed = np.zeros(layers + 1, np.bool_)
    changed[0] = True
    for f in range(len(spans)):
        first, last = spans[f, 0], spans[f, 1]
        if first == last:
            continue
        count[first] += 1
        count[last] -= 1
        changed[first] = True
        changed[last] = True
        a, b, c = corners[f, 0], corners[f, 1], corners[f, 2]
        leans = (b[0] - a[0]) * (c[1] - a[1]) != (b[1] - a[1]) * (c[0] - a[0])
        # An open side ends the outline elsewhere at every height.
        opens = min(twin[3 * f], twin[3 * f + 1], twin[3 * f + 2]) < 0
        if leans or opens:
            leaning[first] += 1
            leaning[last] -= 1
    for k in range(1, layers + 1):
        count[k] += count[k - 1]
        leaning[k] += leaning[k - 1]
    for k in range(layers):
        changed[k] = changed[k] or leaning[k] > 0
    return count[:layers], changed[:layers]


@compiled
def cut_facets(facets: Ints, points: Floats, near: NDArray[np.int32], height: float) -> Any:
    """Cut facets at a height into directed pieces of outline.

    Parameters
    ----------
    facets, points : (m, 3) int64, (n, 3) float64
        The surface, mm.
    near : (j,) int32
        Facets that cross the height.
    height : float
        Height of the cut, mm.

    Returns
    -------
    (k, 2) int64, (k, 2) float64, (k, 2) float64
        Sides of entry and exit of each piece, its start and its end, mm.
    """
    sides = np.empty((len(near), 2), np.int64)
    starts = np.empty((len(near), 2))
    ends = np.empty((len(near), 2))
    count = 0
    for f in near:
        above = 0
        for k in range(3):
            above += points[facets[f, k], 2] > height
        if above == 0 or above == 3:
            continue
        for k in range(3):
            one, other = facets[f, k], facets[f, (k + 1) % 3]
            rises = points[one, 2] <= height < points[other, 2]
            falls = points[other, 2] <= height < points[one, 2]
            if not (rises or falls):
                continue
            # Both facets of an edge work out the same point from the same end.
            low, high = (one, other) if one < other else (other, one)
            t = (height - points[low, 2]) / (points[high, 2] - points[low, 2])
            x = points[low, 0] + t * (points[high, 0] - points[low, 0])
            y = points[low, 1] + t * (points[high, 1] - points[low, 1])
            if falls:
                sides[count, 0] = 3 * f + k
                starts[count, 0], starts[count, 1] = x, y
            else:
                sides[count, 1] = 3 * f + k
                ends[count, 0], ends[count, 1] = x, y
        count += 1
    return sides[:count], starts[:count], ends[:count]


@compiled
def chain_pieces(sides: Ints, twin: Ints, piece_of: Ints) -> Any:
    """Chain pieces into outlines.

    Parameters
    ----------
    sides : (k, 2) int64
        As from `cut_facets`.
    twin : (3 m,) int64
        As from `pair_sides`.
    piece_of : (m,) int64
        Scratch.

    Returns
    -------
    (k,) int64, (j + 1,) int64, int
        Order of the pieces, first piece of each outline, and number of open outlines, which come
        first.
    """
    count = len(sides)
    for s in range(count):
        piece_of[sides[s, 0] // 3] = s
    order = np.empty(count, np.int64)
    begins = np.empty(count + 1, np.int64)
    done = np.zeros(count, np.bool_)
    filled, outlines, opened = 0, 0, 0
    for turn in range(2):
        for s in range(count):
            if done[s] or (turn == 0 and twin[sides[s, 0]] >= 0):
                continue
            begins[outlines] = filled
            outlines += 1
            here = s
            while here >= 0 and not done[here]:
                done[here] = True
                order[filled] = here
                filled += 1
                over = twin[sides[here, 1]]
                here = piece_of[over // 3] if over >= 0 else -1
        if turn == 0:
            opened = outlines
    begins[outlines] = filled
    return order, begins[: outlines + 1], opened


@compiled
def thinned(points: Floats, begins: Ints, reach: float) -> Any:
    """Drop outline points that stay within a reach of the chord that replaces them.

    A chord goes on while one direction passes all points that it replaces within the reach.

    Parameters
    ----------
    points, begins : (n, 2) float64, (j + 1,) int64
        Points of the outlines, mm; the first of each, with their number at the end.
    reach : float
        Largest distance from the chord, mm.

    Returns
    -------
    (k, 2) float64, (j + 1,) int64
        The points that are left, and the first of each outline.
    """
    kept = np.empty((len(points), 2))
    starts = np.empty(len(begins), np.int64)
    filled = 0
    for ring in range(len(begins) - 1):
        starts[ring] = filled
        first, last = begins[ring], begins[ring + 1]
        if first == last:
            continue
        kept[filled, 0], kept[filled, 1] = points[first, 0], points[first, 1]
        filled += 1
        ax, ay = points[first, 0], points[first, 1]
        # The chord's direction lies between low and high, measured from the first one.
        ux, uy, low, high, far = 0.0, 0.0, -np.inf, np.inf, 0.0
        for i in range(first + 1, last + 1):
            j = i if i < last else first
            dx, dy = points[j, 0] - ax, points[j, 1] - ay
            length = np.sqrt(dx * dx + dy * dy)
            if far == 0.0:
                if length > reach:
                    ux, uy, far = dx / length, dy / length, length
                    wide = np.arcsin(reach / length)
                    low, high = -wide, wide
                continue
            turn = np.arctan2(ux * dy - uy * dx, ux * dx + uy * dy)
            if length >= far and low <= turn <= high:
                wide = np.arcsin(min(1.0, reach / length))
                low, high, far = max(low, turn - wide), min(high, turn + wide), length
                continue
            # The point before is the chord's end.
            kept[filled, 0], kept[filled, 1] = points[i - 1, 0], points[i - 1, 1]
            filled += 1
            ax, ay = points[i - 1, 0], points[i - 1, 1]
            dx, dy = points[j, 0] - ax, points[j, 1] - ay
            length = np.sqrt(dx * dx + dy * dy)
            far, low, high = 0.0, -np.inf, np.inf
            if length > reach:
                ux, uy, far = dx / length, dy / length, length
                wide = np.arcsin(reach / length)
                low, high = -wide, wide
    starts[len(begins) - 1] = filled
    return kept[:filled], starts


@compiled
def facets_by_layer(spans: Ints, wanted: Mask, offsets: Ints) -> Any:
    """List the facets cut at each wanted height.

    Parameters
    ----------
    spans : (m, 2) int64
        As from `layer_spans`.
    wanted : (layers,) bool
        Which heights.
    offsets : (layers + 1,) int64
        Where each height's facets begin in the list.

    Returns
    -------
    (offsets[-1],) int32
        Facets, one layer after the other.
    """
    near = np.empty(offsets[-1], np.int32)
    filled = offsets[:-1].copy()
    for f in range(len(spans)):
        for k in range(spans[f, 0], spans[f, 1]):
            if wanted[k]:
                near[filled[k]] = f
                filled[k] += 1
    return near
