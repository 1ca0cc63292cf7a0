"""Measures of outlines and edges in a layer: distances, lengths, turns, what lies inside."""

from __future__ import annotations

from typing import Any

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.jit import compiled, inner


@inner
def edge_ends(points: Floats, begins: Ints) -> Any:
    """Where the edge ends that begins at each point of closed outlines.

    Parameters
    ----------
    points, begins : (n, 2) float64, (m + 1,) int64
        Points of closed outlines, mm; the first of each, with their number at the end.

    Returns
    -------
    (n, 2) float64
        The point after each one, mm.
    """
    end = np.empty((len(points), 2))
    for ring in range(len(begins) - 1):
        for i in range(begins[ring], begins[ring + 1]):
            j = i + 1 if i + 1 < begins[ring + 1] else begins[ring]
            end[i, 0], end[i, 1] = points[j, 0], points[j, 1]
    return end


@compiled
def nearest_edges(points: Floats, start: Floats, end: Floats, within: float) -> Any:
    """Find the nearest edge to each point.

    Parameters
    ----------
    points : (n, 2) float64
        Points, mm.
    start, end : (k, 2) float64
        Ends of the edges, mm.
    within : float
        Largest distance of interest, mm.

    Returns
    -------
    (n,) int64, (n,) float64
        Edge and its distance, mm; -1 and ``within`` where none is near.
    """
    edges, distance = np.full(len(points), -1), np.full(len(points), within)
    for i in range(len(points)):
        reach = within
        for e in range(len(start)):
            if min(start[e, 0], end[e, 0]) > points[i, 0] + reach:
                continue
            if max(start[e, 0], end[e, 0]) < points[i, 0] - reach:
                continue
            ux, uy = end[e, 0] - start[e, 0], end[e, 1] - start[e, 1]
            px, py = points[i, 0] - start[e, 0], points[i, 1] - start[e, 1]
            length = ux * ux + uy * uy
            t = 0.0 if length == 0.0 else min(1.0, max(0.0, (px * ux + py * uy) / length))
            px -= t * ux
            py -= t * uy
            if px * px + py * py < reach * reach:
                reach = np.sqrt(px * px + py * py)
                edges[i], distance[i] = e, reach
    return edges, distance


@compiled
def distance_to_edges(points: Floats, start: Floats, end: Floats) -> Any:
    """Distance of points from the nearest edge.

    Parameters
    ----------
    points : (n, 2) float64
        Points, mm.
    start, end : (k, 2) float64
        Ends of the edges, mm.

    Returns
    -------
    (n,) float64
        Distance, mm.
    """
    return nearest_edges(points, start, end, np.inf)[1]


def lean_at(points: Floats, start: Floats, end: Floats, lean: Floats, reach: float) -> Floats:
    """Lean of the nearest piece of outline at each point.

    Parameters
    ----------
    points : (n, 2) float64
        Points, mm.
    start, end : (k, 2) float64
        Ends of the pieces, mm.
    lean : (k,) float64
        How far each piece moves outward per height.
    reach : float
        Largest distance of interest, mm.

    Returns
    -------
    (n,) float64
        Lean; 0 where no piece is within the reach.
    """
    edges, _ = nearest_edges(points, start, end, reach)
    leans: Floats = np.append(lean, 0.0)[edges]
    return leans


@compiled
def boxes_with_points(boxes: Floats, points: Floats, slack: float) -> Any:
    """Find the boxes that hold a point.

    Parameters
    ----------
    boxes : (k, 4) float64
        Low x and y, high x and y, mm.
    points : (n, 2) float64
        Points, mm.
    slack : float
        How far outside a box a point may lie, mm.

    Returns
    -------
    (k,) bool
        One answer for each box.
    """
    found = np.zeros(len(boxes), np.bool_)
    for b in range(len(boxes)):
        for s in range(len(points)):
            if (
                boxes[b, 0] - slack <= points[s, 0] <= boxes[b, 2] + slack
                and boxes[b, 1] - slack <= points[s, 1] <= boxes[b, 3] + slack
            ):
                found[b] = True
                break
    return found


@compiled
def is_inside(x: float, y: float, start: Floats, end: Floats) -> bool:
    """Whether a point is inside outlines, by crossings to one side.

    Parameters
    ----------
    x, y : float
        The point, mm.
    start, end : (k, 2) float64
        Ends of all edges of the outlines, mm.

    Returns
    -------
    bool
        True inside.
    """
    odd = False
    for k in range(len(start)):
        ax, ay, bx, by = start[k, 0], start[k, 1], end[k, 0], end[k, 1]
        if (ay > y) != (by > y) and x < ax + (y - ay) / (by - ay) * (bx - ax):
            odd = not odd
    return odd


@compiled
def along_outlines(points: Floats, begins: Ints, step: float) -> Any:
    """Points along outlines, a step apart or less, at least one per edge.

    Parameters
    ----------
    points, begins : (n, 2) float64, (m + 1,) int64
        Points of closed outlines, mm; the first of each, with their number at the end.
    step : float
        Largest distance between points, mm.

    Returns
    -------
    (k, 2) float64
        Points, mm.
    """
    count = 0
    for turn in range(2):
        if turn == 1:
            found = np.empty((count, 2))
            count = 0
        for ring in range(len(begins) - 1):
            for i in range(begins[ring], begins[ring + 1]):
                j = i + 1 if i + 1 < begins[ring + 1] else begins[ring]
                ux, uy = points[j, 0] - points[i, 0], points[j, 1] - points[i, 1]
                steps = max(1, int(np.ceil(np.sqrt(ux * ux + uy * uy) / step)))
                for k in range(steps):
                    if turn == 1:
                        t = (k + 0.5) / steps
                        found[count, 0] = points[i, 0] + t * ux
                        found[count, 1] = points[i, 1] + t * uy
                    count += 1
    return found


@compiled
def outline_length(ring: Floats) -> float:
    """Length of a closed outline.

    Parameters
    ----------
    ring : (n, 2) float64
        Its points, mm.

    Returns
    -------
    float
        Length, mm.
    """
    total = 0.0
    for i in range(len(ring)):
        total += np.sqrt((ring[i, 0] - ring[i - 1, 0]) ** 2 + (ring[i, 1] - ring[i - 1, 1]) ** 2)
    return total


@compiled
def turning(points: Floats, begins: Ints) -> Any:
    """Sum of all turns along closed outlines, left or right alike.

    Parameters
    ----------
    points, begins : (n, 2) float64, (m + 1,) int64
        Points of closed outlines, mm; the first of each, with their number at the end.

    Returns
    -------
    float, float
        Turns, radians, and length, mm.
    """
    turns, length = 0.0, 0.0
    for ring in range(len(begins) - 1):
        first, last = begins[ring], begins[ring + 1]
        ux, uy = points[first, 0] - points[last - 1, 0], points[first, 1] - points[last - 1, 1]
        for i in range(first, last):
            j = i + 1 if i + 1 < last else first
            vx, vy = points[j, 0] - points[i, 0], points[j, 1] - points[i, 1]
            turns += abs(np.arctan2(ux * vy - uy * vx, ux * vx + uy * vy))
            length += np.sqrt(vx * vx + vy * vy)
            ux, uy = vx, vy
    return turns, length


@compiled
def any_within(points: Floats, ring: Floats) -> bool:
    """Whether any of the points lies inside a closed outline.

    Parameters
    ----------
    points : (n, 2) float64
        Points, mm.
    ring : (m, 2) float64
        Points of the outline, mm.

    Returns
    -------
    bool
        True for one or more.
    """
    after = edge_ends(ring, np.array([0, len(ring)]))
    found = False
    for i in range(len(points)):
        found = found or is_inside(points[i, 0], points[i, 1], ring, after)
    return found
