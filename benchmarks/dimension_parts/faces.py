"""Plane faces and cylinders of a body, gathered from the surfaces its triangles stand for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import shapely

from .body import Mesh
from .solids import Array, Indices, frame_along

SAME = 1e-6


@dataclass(frozen=True, eq=False)
class PlaneFace:
    """All facets on one plane that look the same way.

    Parameters
    ----------
    direction
        Unit normal of the plane, pointing the way that all its parallels share.
    sign
        1 if the face looks along ``direction``, else -1.
    level
        Position of the plane along ``direction``, mm.
    region
        Shapely area in the two in-plane coordinates that all its parallels share, mm.
    turn
        Columns are the two in-plane directions and ``direction``.
    bevel
        Whether it is a flat chamfer.
    triangles
        Its triangles.
    """

    direction: Array
    sign: int
    level: float
    region: Any
    turn: Array
    bevel: bool
    triangles: Indices

    def place(self, spot: Array) -> Array:
        """Points of the plane in the part.

        Parameters
        ----------
        spot
            In-plane coordinates, one pair a row, mm.

        Returns
        -------
        Array
            Points, mm.
        """
        return np.asarray(spot @ self.turn[:, :2].T + self.level * self.direction)


@dataclass(frozen=True, eq=False)
class Cylinder:
    """All facets of one cylinder.

    Parameters
    ----------
    axis
        Unit direction of its axis, pointing the way that all its parallels share.
    foot
        Point of the axis nearest to the origin, mm.
    radius
        Radius of the circle through the corners, mm.
    facets
        Facets of the whole circle.
    hollow
        Whether it is a bore.
    coverage
        Angle that its facets cover, radians.
    stretches
        Where facets lie along the axis, mm.
    """

    axis: Array
    foot: Array
    radius: float
    facets: int
    hollow: bool
    coverage: float
    stretches: tuple[tuple[float, float], ...]

    @property
    def flat_radius(self) -> float:
        """Radius of the circle that touches the flats, mm."""
        return self.radius * float(np.cos(np.pi / self.facets))

    @property
    def round(self) -> bool:
        """Whether it covers at least half a turn."""
        return self.coverage >= np.pi - 1e-6


def shared_way(direction: Array) -> Array:
    """The one of two opposite directions that stands for both.

    Parameters
    ----------
    direction
        Unit vector.

    Returns
    -------
    Array
        The vector or its opposite: its last component that is not 0 is positive.
    """
    large = np.flatnonzero(np.abs(direction) > SAME)
    return direction if direction[large[-1]] > 0 else -direction


def _clusters(values: Array) -> Indices:
    """Number of the cluster of each row; rows within 1e-6 of a cluster's first one join it."""
    found: list[Array] = []
    rough, back = np.unique(np.round(values, 7) + 0.0, axis=0, return_inverse=True)
    number = np.empty(len(rough), np.int64)
    for i, row in enumerate(rough):
        for k, first in enumerate(found):
            if np.abs(first - row).max() < SAME:
                number[i] = k
                break
        else:
            number[i] = len(found)
            found.append(row)
    return np.asarray(number[back.ravel()])


def plane_faces(mesh: Mesh) -> list[PlaneFace]:
    """Plane faces of a mesh.

    Parameters
    ----------
    mesh
        The mesh.

    Returns
    -------
    list of PlaneFace
        One for each plane and way it looks.
    """
    kinds = np.array([s.kind for s in mesh.surfaces])[mesh.owner]
    flat = np.flatnonzero(np.isin(kinds, ["plane", "chamfer"]))
    ways = np.array([shared_way(n) for n in mesh.normals[flat]])
    groups = _clusters(ways)
    found = []
    for group in range(groups.max() + 1):
        rows = flat[groups == group]
        direction = ways[groups == group][0]
        turn = frame_along(direction.tolist(), (0, 0, 0)).turn
        signs = np.sign(mesh.normals[rows] @ direction)
        levels = mesh.vertices[mesh.facets[rows]].mean(axis=1) @ direction
        parts = _clusters(np.column_stack([signs, levels]))
        for part in range(parts.max() + 1):
            mine = rows[parts == part]
            region = _region(mesh.vertices @ turn[:, :2], mesh.facets[mine])
            if region.area < SAME:
                continue
            found.append(
                PlaneFace(
                    direction,
                    int(signs[parts == part][0]),
                    float(np.median(levels[parts == part])),
                    region,
                    turn,
                    bool((kinds[mine] == "chamfer").all()),
                    mine,
                )
            )
    return found


def _region(spots: Array, facets: Indices) -> Any:
    """Area that triangles in a plane cover, from the edges that only one of them has."""
    edges = facets[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    _, back, count = np.unique(
        np.sort(edges, axis=1), axis=0, return_inverse=True, return_counts=True
    )
    rim = edges[count[back.ravel()] == 1]
    region = shapely.build_area(shapely.multilinestrings(shapely.linestrings(spots[rim])))
    corners = spots[facets]
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = float(np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]).sum() / 2)
    if region.is_valid and abs(region.area - area) < 1e-6 * max(area, 1.0):
        return region
    closed = np.concatenate([corners, corners[:, :1]], axis=1)
    return shapely.union_all(shapely.polygons(closed), grid_size=1e-7)


def cylinders(mesh: Mesh) -> list[Cylinder]:
    """Cylinders of a mesh.

    Parameters
    ----------
    mesh
        The mesh.

    Returns
    -------
    list of Cylinder
        One for each axis, radius, count of facets and side the metal is on.
    """
    rows = np.flatnonzero(np.array([s.kind == "cylinder" for s in mesh.surfaces])[mesh.owner])
    if not len(rows):
        return []
    keys = []
    for i in rows:
        surface = mesh.surfaces[mesh.owner[i]]
        axis = shared_way(np.array(surface.axis))
        point = np.array(surface.point)
        foot = point - axis * (axis @ point)
        keys.append([*axis, *foot, surface.radius_mm, surface.facets, mesh.hollow[i]])
    table = np.array(keys, float)
    groups = _clusters(table)
    found = []
    for group in range(groups.max() + 1):
        mine = rows[groups == group]
        row = table[groups == group][0]
        axis, foot, facets = row[:3], row[3:6], round(row[7])
        turn = frame_along(axis.tolist(), (0, 0, 0)).turn
        normals = mesh.normals[mine] @ turn[:, :2]
        angles = np.round(np.arctan2(normals[:, 1], normals[:, 0]) % (2 * np.pi), 5)
        seen = np.unique(np.where(angles > 2 * np.pi - 2e-5, 0.0, angles))
        distinct = 1 + int((np.diff(seen) > 3e-5).sum())
        heights = mesh.vertices[mesh.facets[mine]] @ axis
        found.append(
            Cylinder(
                axis,
                foot,
                float(row[6]),
                facets,
                bool(row[8]),
                2 * np.pi * distinct / facets,
                _joined(heights.min(axis=1), heights.max(axis=1)),
            )
        )
    return found


def _joined(low: Array, high: Array) -> tuple[tuple[float, float], ...]:
    """Spans joined where they overlap."""
    found: list[tuple[float, float]] = []
    for i in np.argsort(low):
        a, b = float(low[i]), float(high[i])
        if found and a <= found[-1][1] + SAME:
            found[-1] = (found[-1][0], max(b, found[-1][1]))
        else:
            found.append((a, b))
    return tuple(found)


def too_close(planes: list[PlaneFace], rounds: list[Cylinder], least: float) -> bool:
    """Whether two surfaces differ by so little that they cannot be told apart.

    Parameters
    ----------
    planes, rounds
        The faces.
    least
        Smallest difference of levels, radii and axes, mm.

    Returns
    -------
    bool
        True if any two differ by less and are not the same.
    """
    for one, two in parallel_planes(planes):
        if SAME < abs(one.level - two.level) < least:
            return True
    for a, b in combinations(rounds, 2):
        if abs(a.axis @ b.axis) < 1 - 1e-9:
            continue
        apart = float(np.linalg.norm(a.foot - b.foot))
        if SAME < apart < least or (apart <= SAME and SAME < abs(a.radius - b.radius) < least):
            return True
        if apart <= SAME and abs(a.radius - b.radius) <= SAME and a.facets != b.facets:
            return True
    return False


def parallel_planes(planes: list[PlaneFace]) -> Iterator[tuple[PlaneFace, PlaneFace]]:
    """Pairs of parallel planes at different levels, the lower first.

    Parameters
    ----------
    planes
        The plane faces.

    Yields
    ------
    tuple of PlaneFace
        Lower and upper along the direction they share.
    """
    for one, two in combinations(planes, 2):
        if one.direction @ two.direction > 1 - 1e-9 and abs(one.level - two.level) > SAME:
            yield (one, two) if one.level < two.level else (two, one)


def neighbours(mesh: Mesh) -> Indices:
    """Pairs of triangles that share an edge.

    Parameters
    ----------
    mesh
        The mesh.

    Returns
    -------
    Indices
        Two triangle numbers a row.
    """
    edges = np.sort(mesh.facets[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    order = np.lexsort(edges.T)
    same = np.flatnonzero((edges[order][1:] == edges[order][:-1]).all(axis=1))
    return np.column_stack([order[same] // 3, order[same + 1] // 3])


def room(region: Any) -> float:
    """Diameter of the largest circle in an area.

    Parameters
    ----------
    region
        Shapely area, mm.

    Returns
    -------
    float
        Diameter, 0 for an empty area, mm.
    """
    areas = [p for p in shapely.get_parts(region) if p.geom_type == "Polygon" and p.area > SAME]
    circles = [shapely.maximum_inscribed_circle(p, tolerance=0.02) for p in areas]
    return max((2 * float(c.length) for c in circles), default=0.0)


def spots_in(region: Any, count: int = 14) -> Array:
    """Points spread over an area.

    Parameters
    ----------
    region
        Shapely area, mm.
    count
        Points along the longer side of the grid.

    Returns
    -------
    Array
        Points inside, one a row; none if the area is empty.
    """
    found = [np.empty((0, 2))]
    for area in shapely.get_parts(region):
        if area.geom_type != "Polygon" or area.area < SAME:
            continue
        x0, y0, x1, y1 = area.bounds
        # Odd fractions keep the points off lines of symmetry.
        x = x0 + (x1 - x0) * (np.arange(count) + 0.437) / count
        y = y0 + (y1 - y0) * (np.arange(count) + 0.541) / count
        grid = np.array(np.meshgrid(x, y)).reshape(2, -1).T
        inner = area.buffer(-1e-4)
        found.append(grid[shapely.contains_xy(inner, grid[:, 0], grid[:, 1])])
        found.append(np.array([[p.x, p.y] for p in [area.representative_point()]]))
    return np.concatenate(found)


def square_to(axis: Array) -> tuple[Array, Array]:
    """Two unit vectors square to an axis and to each other.

    Parameters
    ----------
    axis
        Unit direction.

    Returns
    -------
    tuple of Array
        The two vectors.
    """
    x = np.cross(axis, np.eye(3)[int(np.abs(axis).argmin())])
    x = x / np.linalg.norm(x)
    return x, np.cross(axis, x)
