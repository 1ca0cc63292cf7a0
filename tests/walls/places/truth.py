"""Brute-force balls: the largest empty ball at a point, straight from the facets.

Nothing here is fast or clever. Distances go from a point to every facet, so a ball is empty
because no facet of the whole shape comes nearer to its middle than its radius.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh

from .part import FloatArray


@dataclass(frozen=True)
class Facets:
    """Corners (n, 3, 3) of all facets, their middles and the radii of balls about them."""

    corners: FloatArray
    middles: FloatArray
    radii: FloatArray

    @classmethod
    def of(cls, mesh: trimesh.Trimesh) -> Facets:
        """Facets of a mesh."""
        corners = np.asarray(mesh.triangles, dtype=np.float64)
        middles = corners.mean(axis=1)
        return cls(corners, middles, np.linalg.norm(corners - middles[:, None], axis=2).max(axis=1))

    def near(self, point: FloatArray, reach: float) -> Facets:
        """Those facets that may come nearer to a point than ``reach``."""
        chosen = np.linalg.norm(self.middles - point, axis=1) - self.radii <= reach
        return Facets(self.corners[chosen], self.middles[chosen], self.radii[chosen])

    def nearest(self, point: FloatArray) -> tuple[float, FloatArray]:
        """Distance to the surface, and its nearest point."""
        away = np.linalg.norm(self.middles - point, axis=1)
        bound = float((away + self.radii).min())
        chosen = np.flatnonzero(away - self.radii <= bound)
        closest = closest_points(self.corners[chosen], point)
        distances = np.linalg.norm(closest - point, axis=1)
        best = int(np.argmin(distances))
        return float(distances[best]), closest[best]

    def ball(self, foot: FloatArray, normal: FloatArray, most: float) -> tuple[FloatArray, float]:
        """Middle and radius of the largest empty ball inside that touches at ``foot``.

        It shrinks from the radius ``most`` onto whatever reaches into it, until nothing does.
        """
        radius = most
        for _ in range(60):
            middle = foot - normal * radius
            distance, touched = self.nearest(middle)
            if distance >= radius * (1 - 1e-9):
                break
            way = foot - touched
            depth = float(normal @ way)
            if depth <= 1e-12:
                break
            radius = min(radius * (1 - 1e-12), float(way @ way) / (2 * depth))
        return foot - normal * radius, radius

    def spread(self, middle: FloatArray, radius: float, reach: float = 1.01) -> float:
        """Widest angle between two contacts of a ball, seen from its middle, in degrees."""
        away = np.linalg.norm(self.middles - middle, axis=1)
        chosen = np.flatnonzero(away - self.radii <= radius * reach)
        ways = closest_points(self.corners[chosen], middle) - middle
        lengths = np.linalg.norm(ways, axis=1)
        ways = ways[lengths <= radius * reach] / lengths[lengths <= radius * reach, None]
        if len(ways) < 2:
            return 0.0
        return float(np.degrees(np.arccos(np.clip((ways @ ways.T).min(), -1.0, 1.0))))


def closest_points(corners: FloatArray, point: FloatArray) -> FloatArray:
    """Point of each triangle that is nearest to one point."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    best = _on_segment(a, b, point)
    squares = ((best - point) ** 2).sum(axis=1)
    for start, end in ((b, c), (c, a)):
        other = _on_segment(start, end, point)
        square = ((other - point) ** 2).sum(axis=1)
        better = square < squares
        best[better], squares[better] = other[better], square[better]
    normal = np.cross(b - a, c - a)
    length = (normal**2).sum(axis=1)
    length[length == 0] = 1.0
    foot = point - normal * (((point - a) * normal).sum(axis=1) / length)[:, None]
    inside = np.ones(len(a), dtype=bool)
    for start, end in ((a, b), (b, c), (c, a)):
        inside &= (np.cross(end - start, foot - start) * normal).sum(axis=1) >= 0
    inside &= (normal**2).sum(axis=1) > 0
    best[inside] = foot[inside]
    return best


def _on_segment(start: FloatArray, end: FloatArray, point: FloatArray) -> FloatArray:
    way = end - start
    square = (way**2).sum(axis=1)
    square[square == 0] = 1.0
    share = np.clip(((point - start) * way).sum(axis=1) / square, 0.0, 1.0)
    return np.asarray(start + way * share[:, None], dtype=np.float64)


def depth_lost(facets: Facets, tip: FloatArray, bead: float, seed: int = 0) -> float:
    """Depth between an edge or tip and the nearest ball of one bead inside the part.

    Middles are tried at random about the tip, ever closer to the best one so far.
    """
    rng = np.random.default_rng(seed)
    best, reach = np.inf, 6.0 * bead
    local = facets.near(tip, 4 * reach)
    centre = tip
    for _ in range(24):
        tries = centre + rng.normal(size=(400, 3)) * reach / 2
        ahead = np.linalg.norm(tries - tip, axis=1)
        for index in np.argsort(ahead):
            if ahead[index] >= best:
                break
            if local.nearest(tries[index])[0] >= bead / 2 and _inside(facets, tries[index]):
                best, centre = float(ahead[index]), tries[index]
                break
        if np.isfinite(best):
            reach *= 0.7
    return best - bead / 2


def _inside(facets: Facets, point: FloatArray) -> bool:
    """Whether a point lies in the part, by its winding number."""
    a, b, c = (facets.corners[:, index] - point for index in range(3))
    lengths = [np.linalg.norm(side, axis=1) for side in (a, b, c)]
    volume = (a * np.cross(b, c)).sum(axis=1)
    below = (
        lengths[0] * lengths[1] * lengths[2]
        + (a * b).sum(axis=1) * lengths[2]
        + (b * c).sum(axis=1) * lengths[0]
        + (c * a).sum(axis=1) * lengths[1]
    )
    return bool(np.arctan2(volume, below).sum() > np.pi)
