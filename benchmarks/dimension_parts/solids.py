"""Solids of flat facets whose every facet knows the true surface it stands for.

A solid is lofted through outlines of equal corner count along an axis: a prism, a bore with a
chamfered mouth, a shaft with a bevel. Lengths are in mm, angles in radians.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Surface:
    """A true surface: a plane to measure, a right cylinder, or what joins them.

    Parameters
    ----------
    kind
        ``plane`` and ``cylinder`` are measured; a ``chamfer`` is a flat bevel, a ``blend`` a cone.
    point, axis
        A point on the axis of a cylinder and its unit direction.
    radius_mm
        Radius of the circle through the corners of the facets.
    facets
        Number of facets the whole circle would have.
    """

    kind: Literal["plane", "chamfer", "cylinder", "blend"]
    point: tuple[float, float, float] = (0.0, 0.0, 0.0)
    axis: tuple[float, float, float] = (0.0, 0.0, 1.0)
    radius_mm: float = 0.0
    facets: int = 0


PLANE = Surface("plane")
BLEND = Surface("blend")
CHAMFER = Surface("chamfer")

Side = tuple[Surface, int]


@dataclass(frozen=True)
class Frame:
    """A place and a turn: columns of ``turn`` are the local X, Y and Z in the part.

    Parameters
    ----------
    turn
        Rotation matrix, 3 by 3.
    origin
        Where the local origin lies, mm.
    """

    turn: Array
    origin: Array

    def out(self, points: Array) -> Array:
        """Points in the part's coordinates.

        Parameters
        ----------
        points
            Local points, one a row, mm.

        Returns
        -------
        Array
            The same points in the part, mm.
        """
        return np.asarray(points @ self.turn.T + self.origin)


def frame_along(direction: Sequence[float], origin: Sequence[float]) -> Frame:
    """Frame whose Z runs along a direction.

    Parameters
    ----------
    direction
        Direction of local Z; its length does not matter.
    origin
        Local origin, mm.

    Returns
    -------
    Frame
        A right-handed frame; for +Z it is the part's own.
    """
    z = np.asarray(direction, float) / np.linalg.norm(direction)
    helper = np.array([1.0, 0, 0]) if abs(z[0]) < 0.9 else np.array([0, 1.0, 0])
    x = helper - z * (helper @ z)
    x /= np.linalg.norm(x)
    return Frame(np.column_stack([x, np.cross(z, x), z]), np.asarray(origin, float))


@dataclass(frozen=True)
class Solid:
    """A solid of flat facets and the same solid as convex pieces.

    Parameters
    ----------
    vertices
        Corners, mm.
    polygons
        Convex facets, counter-clockwise from outside, as rows of corner numbers.
    sides
        The true surface of each facet and the facet's number on it.
    normals, offsets
        Plane of each facet: ``normal @ x = offset``.
    pieces
        Facet planes ``(normals, offsets)`` of convex pieces that together fill the solid.
    """

    vertices: Array
    polygons: list[Indices]
    sides: list[Side]
    normals: Array
    offsets: Array
    pieces: list[tuple[Array, Array]]

    def triangles(self) -> Indices:
        """Fan of triangles over each facet.

        Returns
        -------
        Indices
            Corner numbers, three a row.
        """
        return np.concatenate(
            [np.column_stack([np.full(len(p) - 2, p[0]), p[1:-1], p[2:]]) for p in self.polygons]
        )


def loft(
    frame: Frame,
    levels: Sequence[float],
    outlines: Sequence[Array],
    walls: Sequence[Sequence[Side]],
) -> Solid:
    """Solid through convex outlines at rising levels.

    Parameters
    ----------
    frame
        Where the solid stands; it rises along local Z.
    levels
        Local Z of each outline, rising, mm.
    outlines
        Convex counter-clockwise outlines of equal corner count, local X and Y, mm.
    walls
        For each stretch between two levels the surface of each of its side facets.

    Returns
    -------
    Solid
        The solid with planes as caps.
    """
    count = len(outlines[0])
    local = np.concatenate(
        [np.column_stack([o, np.full(count, z)]) for z, o in zip(levels, outlines, strict=True)]
    )
    vertices = frame.out(local)
    here = np.arange(count)
    there = np.roll(here, -1)
    polygons: list[Indices] = [here[::-1].copy()]
    sides: list[Side] = [(PLANE, 0)]
    for ring in range(len(levels) - 1):
        low, high = ring * count, (ring + 1) * count
        quads = np.column_stack([low + here, low + there, high + there, high + here])
        polygons.extend(quads)
        sides.extend(walls[ring])
    polygons.append(here + (len(levels) - 1) * count)
    sides.append((PLANE, 0))
    normals = np.empty((len(polygons), 3))
    normals[0], normals[-1] = -frame.turn[:, 2], frame.turn[:, 2]
    quads = np.array(polygons[1:-1])
    one = vertices[quads[:, 2]] - vertices[quads[:, 0]]
    two = vertices[quads[:, 3]] - vertices[quads[:, 1]]
    cross = np.cross(one, two)
    normals[1:-1] = cross / np.linalg.norm(cross, axis=1)[:, None]
    offsets = np.array(
        [float((vertices[p] @ n).mean()) for p, n in zip(polygons, normals, strict=True)]
    )
    up = frame.turn[:, 2]
    pieces = []
    for ring in range(len(levels) - 1):
        rows = slice(1 + ring * count, 1 + (ring + 1) * count)
        floor = float(frame.origin @ up + levels[ring])
        roof = float(frame.origin @ up + levels[ring + 1])
        pieces.append(
            (
                np.vstack([normals[rows], -up, up]),
                np.concatenate([offsets[rows], [-floor, roof]]),
            )
        )
    return Solid(vertices, polygons, sides, normals, offsets, pieces)


def prism(frame: Frame, outline: Array, edges: Sequence[Side], low: float, high: float) -> Solid:
    """Prism over a convex outline.

    Parameters
    ----------
    frame
        Where the prism stands.
    outline
        Convex counter-clockwise corners, local X and Y, mm.
    edges
        Surface of the side over each edge; edge ``i`` runs from corner ``i`` to the next.
    low, high
        Local Z of floor and roof, mm.

    Returns
    -------
    Solid
        The prism.
    """
    return loft(frame, [low, high], [outline, outline], [edges])


def box(low: Sequence[float], high: Sequence[float]) -> Solid:
    """Box between two corners, along the part's axes.

    Parameters
    ----------
    low, high
        The two corners, mm.

    Returns
    -------
    Solid
        The box.
    """
    (x0, y0, z0), (x1, y1, z1) = low, high
    outline = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)
    return prism(frame_along((0, 0, 1), (0, 0, 0)), outline, [(PLANE, 0)] * 4, z0, z1)


def turned(
    frame: Frame,
    profile: Sequence[tuple[float, float]],
    facets: int,
    phase: float = 0.0,
) -> Solid:
    """Turned solid: a stack of cylinders and cones around local Z.

    Parameters
    ----------
    frame
        Its origin lies on the axis.
    profile
        Rising pairs of local Z and corner radius, mm. Stretches of equal radius are cylinders,
        the others are blends.
    facets
        Facets of the whole circle.
    phase
        Angle of the first corner.

    Returns
    -------
    Solid
        The solid.
    """
    angles = phase + 2 * np.pi * np.arange(facets) / facets
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    walls: list[list[Side]] = []
    for (_, r0), (_, r1) in pairwise(profile):
        if r0 == r1:
            surface = cylinder_of(frame, (0.0, 0.0), r0, facets)
            walls.append([(surface, i) for i in range(facets)])
        else:
            walls.append([(BLEND, 0)] * facets)
    return loft(frame, [z for z, _ in profile], [circle * r for _, r in profile], walls)


def cylinder_of(frame: Frame, centre: tuple[float, float], radius: float, facets: int) -> Surface:
    """Surface of a cylinder along local Z.

    Parameters
    ----------
    frame
        The frame it stands in.
    centre
        Local X and Y of its axis, mm.
    radius
        Corner radius, mm.
    facets
        Facets of the whole circle.

    Returns
    -------
    Surface
        The cylinder.
    """
    x, y, z = frame.out(np.array([[*centre, 0.0]]))[0].tolist()
    a, b, c = frame.turn[:, 2].tolist()
    return Surface("cylinder", (x, y, z), (a, b, c), radius, facets)
