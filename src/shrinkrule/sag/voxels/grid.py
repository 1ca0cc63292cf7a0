"""The regular grid of bricks around a part, turned so that up is up in the furnace.

The grid's frame has its third axis upward; its first two follow the part's upright
walls where these agree on a direction. The number of bricks along each axis is chosen
so that large flat faces lie on planes between bricks, where nothing is cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh

from shrinkrule.numerics.arrays import Floats, Ints, box_of
from shrinkrule.numerics.triangles import normals_and_areas

SLACK: Final = 1.3
"""Bricks may be this much smaller than asked if large flat faces then lie between them."""

_UPRIGHT: Final = 1e-3  # a facet's normal this near an axis counts as along it
_AGREEMENT: Final = 0.2  # share of upright area that must agree before the grid is turned
_DIRECTIONS: Final = 360  # in a quarter turn: walls that differ by less agree


@dataclass(frozen=True)
class Grid:
    """A regular grid of bricks.

    Parameters
    ----------
    turn : (3, 3) float
        Rotation from the mesh's frame to the grid's.
    origin : (3,) float
        The grid's low corner, in the grid's frame, mm.
    size : (3,) float
        Sides of a brick, mm.
    counts : (3,) int
        Bricks along each axis.
    """

    turn: Floats
    origin: Floats
    size: Floats
    counts: Ints

    def local(self, points: Floats) -> Floats:
        """Points (n, 3) of the mesh's frame, in the grid's frame from its low corner, mm."""
        local: Floats = points @ self.turn.T
        # Axis by axis, many times as fast as over rows of three.
        for axis, start in enumerate(self.origin):
            local[:, axis] -= start
        return local

    def in_bricks(self, local: Floats) -> Floats:
        """Points (n, 3) in bricks, from mm, both from the low corner."""
        return np.stack(
            [column / side for column, side in zip(local.T, self.size, strict=True)], axis=1
        )


@dataclass(frozen=True)
class TurnedPart:
    """A part in the grid's frame.

    Parameters
    ----------
    turn : (3, 3) float
        Rotation from the mesh's frame to the grid's.
    vertices, facets : (n, 3) float, (m, 3) int
        Its surface, in the grid's frame, mm.
    normals : (3, m) float
        Unit normals of the facets, axis by axis; zero for a degenerate one.
    areas : (m,) float
        Their areas, mm2.
    """

    turn: Floats
    vertices: Floats
    facets: Ints
    normals: Floats
    areas: Floats


def turned_part(mesh: trimesh.Trimesh, turn: Floats) -> TurnedPart:
    """Turn a part into a grid's frame.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part.
    turn : (3, 3) float
        Rotation from the mesh's frame to the grid's.

    Returns
    -------
    TurnedPart
        The part there.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64) @ turn.T
    facets = np.asarray(mesh.faces, dtype=np.int64)
    return TurnedPart(turn, vertices, facets, *normals_and_areas(vertices, facets))


def furnace_turn(mesh: trimesh.Trimesh, up: Floats) -> Floats:
    """Rotation that brings ``up`` to the third axis and the upright walls to the first two.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part.
    up : (3,) float
        Upward unit vector in the mesh's frame.

    Returns
    -------
    (3, 3) float
        The rotation.
    """
    side = np.eye(3)[np.argmin(np.abs(up))]
    first = side - up * (side @ up)
    first /= np.linalg.norm(first)
    turn = np.array([first, np.cross(up, first), up])
    part = turned_part(mesh, turn)
    x, y, _ = part.normals
    upright = np.flatnonzero(np.hypot(x, y) > 0.99)
    quarter = np.arctan2(y[upright], x[upright]) % (0.5 * np.pi)
    yaw = _most_common(quarter, part.areas[upright])
    if yaw is None:
        return turn
    cosine, sine = np.cos(-yaw), np.sin(-yaw)
    yawed: Floats = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0, 0, 1]]) @ turn
    return yawed


def _most_common(quarter: Floats, areas: Floats) -> float | None:
    """Direction (radians, modulo a quarter turn) that most upright area has; None if little has."""
    if not len(quarter):
        return None
    # Neighbouring bins are taken together, so that a direction between two is not halved.
    bins = np.round(quarter / (0.5 * np.pi) * _DIRECTIONS).astype(np.int64) % _DIRECTIONS
    area = np.bincount(bins, weights=areas, minlength=_DIRECTIONS)
    best = int(np.argmax(area + np.roll(area, 1) + np.roll(area, -1)))
    near = np.abs((bins - best + 1) % _DIRECTIONS - 1) <= 1
    if areas[near].sum() < _AGREEMENT * areas.sum():
        return None
    return float(np.angle(np.sum(areas[near] * np.exp(4j * quarter[near]))) / 4.0)


def _fitting_count(
    positions: Floats, areas: Floats, extent: float, brick: float, slack: float
) -> int:
    """Bricks along one axis, so that the planes (weighted by area) lie between bricks."""
    fewest = max(1, int(np.ceil(extent / brick - 1e-9)))
    most = max(fewest, int(np.floor(fewest * slack)))
    if not len(positions):
        return fewest
    candidates = np.arange(fewest, most + 1)
    levels = positions[:, None] / extent * candidates
    misfit = np.abs(levels - np.round(levels)) / candidates * extent / brick
    # A misfit of a hundredth of a brick is a fit; beyond that each extra brick has its price.
    cost = (areas[:, None] * np.maximum(misfit - 0.01, 0.0)).sum(axis=0) / areas.sum()
    return int(candidates[np.argmin(cost + 0.02 * (candidates / fewest - 1.0))])


@dataclass(frozen=True)
class FlatFaces:
    """What a grid is laid by: the part's box and its flat faces across each axis.

    Parameters
    ----------
    turn : (3, 3) float
        Rotation from the mesh's frame to the grid's.
    low, high : (3,) float
        The box, in the grid's frame, mm.
    levels, areas : tuple of 3 (k,) float
        Where flat facets lie along each axis, from the low corner, mm, and their areas, mm2.
    """

    turn: Floats
    low: Floats
    high: Floats
    levels: tuple[Floats, ...]
    areas: tuple[Floats, ...]

    @classmethod
    def of(cls, part: TurnedPart) -> FlatFaces:
        """Those of a part."""
        low, high = box_of(part.vertices)
        flat = [np.flatnonzero(np.abs(normal) > 1.0 - _UPRIGHT) for normal in part.normals]
        levels = tuple(
            part.vertices[part.facets[facets].T, axis].mean(axis=0) - low[axis]
            for axis, facets in enumerate(flat)
        )
        return cls(part.turn, low, high, levels, tuple(part.areas[facets] for facets in flat))

    def grid(self, brick: float, slack: float = SLACK) -> Grid:
        """Lay a grid of bricks no larger than ``brick`` around the part.

        Parameters
        ----------
        brick : float
            Largest side of a brick, mm.
        slack : float
            Bricks may be made this much smaller so that flat faces lie between them; 1 is never.

        Returns
        -------
        Grid
            The grid.
        """
        extents = self.high - self.low
        counts = np.array(
            [
                _fitting_count(levels, areas, float(extent), brick, slack)
                for levels, areas, extent in zip(self.levels, self.areas, extents, strict=True)
            ],
            dtype=np.int64,
        )
        return Grid(turn=self.turn, origin=self.low, size=extents / counts, counts=counts)


def lay_grid(mesh: trimesh.Trimesh, turn: Floats, brick: float, slack: float = SLACK) -> Grid:
    """Lay a grid of bricks no larger than ``brick`` around a part.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part.
    turn : (3, 3) float
        Rotation from the mesh's frame to the grid's.
    brick : float
        Largest side of a brick, mm.
    slack : float
        Bricks may be made this much smaller so that flat faces lie between them; 1 is never.

    Returns
    -------
    Grid
        The grid.
    """
    return FlatFaces.of(turned_part(mesh, turn)).grid(brick, slack)
