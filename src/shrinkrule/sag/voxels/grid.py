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

from shrinkrule.numerics.arrays import Floats, Ints

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
        local: Floats = points @ self.turn.T - self.origin
        return local


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
    normals = np.asarray(mesh.face_normals) @ turn.T
    areas = np.asarray(mesh.area_faces)
    level = np.hypot(normals[:, 0], normals[:, 1])
    upright = level > 0.99
    quarter = np.arctan2(normals[upright, 1], normals[upright, 0]) % (0.5 * np.pi)
    yaw = _most_common(quarter, areas[upright])
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
    vertices = np.asarray(mesh.vertices) @ turn.T
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    normals = np.asarray(mesh.face_normals) @ turn.T
    areas = np.asarray(mesh.area_faces)
    counts = np.empty(3, dtype=np.int64)
    for axis in range(3):
        flat = np.flatnonzero(np.abs(normals[:, axis]) > 1.0 - _UPRIGHT)
        levels = vertices[np.asarray(mesh.faces)[flat].T, axis].mean(axis=0) - low[axis]
        counts[axis] = _fitting_count(
            levels, areas[flat], float(high[axis] - low[axis]), brick, slack
        )
    return Grid(turn=turn, origin=low, size=(high - low) / counts, counts=counts)
