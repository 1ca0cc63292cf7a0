"""Convex outlines of prisms: polygons with rounded or bevelled corners, and slots."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .solids import CHAMFER, PLANE, Array, Frame, Side, cylinder_of


def rounded(
    frame: Frame,
    corners: Sequence[tuple[float, float]],
    radii: Sequence[float],
    steps: int,
) -> tuple[Array, list[Side]]:
    """Convex outline with rounded, chamfered or sharp corners.

    Parameters
    ----------
    frame
        Frame in which the outline becomes a prism along local Z.
    corners
        Convex counter-clockwise corners, mm.
    radii
        Radius at each corner; 0 leaves it sharp. With ``steps`` of 1 the corner is a chamfer.
    steps
        Facets of a right-angled corner; a corner that turns by twice as much gets as many again.

    Returns
    -------
    outline
        Corners of the outline, mm.
    edges
        Surface over each edge.
    """
    points: list[Array] = []
    edges: list[Side] = []
    given = np.asarray(corners, float)
    for i, radius in enumerate(radii):
        here = given[i]
        before = given[i - 1] - here
        after = given[(i + 1) % len(given)] - here
        before, after = before / np.linalg.norm(before), after / np.linalg.norm(after)
        if radius == 0:
            points.append(here)
            edges.append((PLANE, 0))
            continue
        turn = np.pi - np.arccos(np.clip(before @ after, -1, 1))
        reach = radius * np.tan(turn / 2)
        middle = (before + after) / np.linalg.norm(before + after)
        centre = here + middle * np.hypot(reach, radius)
        spoke = here + before * reach - centre
        parts = max(1, round(steps * turn / (np.pi / 2)))
        whole = round(2 * np.pi / (turn / parts))
        surface = CHAMFER
        if parts > 1:
            surface = cylinder_of(frame, (float(centre[0]), float(centre[1])), radius, whole)
        for k in range(parts + 1):
            c, s = np.cos(turn * k / parts), np.sin(turn * k / parts)
            turned_by = np.array([[c, -s], [s, c]])
            points.append(centre + turned_by @ spoke)
            edges.append((surface, k) if k < parts else (PLANE, 0))
    return np.array(points), edges


def slot_outline(
    frame: Frame,
    centre: Sequence[float],
    angle: float,
    half_length: float,
    radius: float,
    facets: int,
) -> tuple[Array, list[Side]]:
    """Outline of a slot with two half-round ends.

    Parameters
    ----------
    frame
        Frame in which the outline becomes a prism along local Z.
    centre
        Its middle, local X and Y, mm.
    angle
        Turn of its length from local X.
    half_length
        From the middle to the axis of an end, mm.
    radius
        Corner radius of the ends, mm.
    facets
        Even number of facets of the whole circle.

    Returns
    -------
    outline
        Corners, mm.
    edges
        Surface over each edge.
    """
    points: list[Array] = []
    edges: list[Side] = []
    half = facets // 2
    along = np.array([np.cos(angle), np.sin(angle)])
    for end in (0, 1):
        axis = np.asarray(centre, float) + (1 - 2 * end) * half_length * along
        surface = cylinder_of(frame, (float(axis[0]), float(axis[1])), radius, facets)
        start = angle - np.pi / 2 + end * np.pi
        for k in range(half + 1):
            a = start + np.pi * k / half
            points.append(axis + radius * np.array([np.cos(a), np.sin(a)]))
            edges.append((surface, k) if k < half else (PLANE, 0))
    return np.array(points), edges
