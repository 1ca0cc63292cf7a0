"""A cylinder fitted to the ends of creases.

Least squares of the distances to the axis, by Gauss-Newton steps from a circle fitted to the
points as they are seen along the creases (I. Kasa, IEEE Trans. Instrum. Meas. 25 (1976) 8-14).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from shrinkrule.dimensions.recognition.creases import Creases
from shrinkrule.numerics.arrays import Floats, Ints

TRIES: Final = 60
"""Circles through three corners that are tried on a chain that is no cylinder as a whole."""


def _mean_axis(creases: Creases, chain: Ints) -> Floats:
    """Direction of parallel creases, the long ones counting most."""
    along = creases.along[chain]
    along = along * np.sign(along @ along[np.argmax(creases.length[chain])])[:, None]
    axis: Floats = (creases.length[chain, None] ** 2 * along).sum(axis=0)
    return axis / np.linalg.norm(axis)


def two_across(axis: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors across an axis and each other.

    Parameters
    ----------
    axis : (3,) float64
        Unit vector.

    Returns
    -------
    one, other : (3,) float64
        The two.
    """
    x, y, z = axis.tolist()
    # By hand: a product of two single vectors takes numpy longer than a fit's other steps.
    if abs(x) <= abs(y) and abs(x) <= abs(z):
        one = (0.0, z, -y)
    elif abs(y) <= abs(z):
        one = (-z, 0.0, x)
    else:
        one = (y, -x, 0.0)
    length = math.hypot(*one)
    u, v, w = (c / length for c in one)
    return np.array([u, v, w]), np.array([y * w - z * v, z * u - x * w, x * v - y * u])


def _solved(lhs: Floats, rhs: Floats) -> Floats | None:
    """Least squares by the normal equations; None where these have no single solution."""
    try:
        found: Floats = np.linalg.solve(lhs.T @ lhs, lhs.T @ rhs).astype(np.float64)
    except np.linalg.LinAlgError:
        return None
    return found if np.isfinite(found).all() else None


def fit_cylinder(
    creases: Creases, chain: Ints, axis: Floats | None = None
) -> tuple[Floats, Floats, float, float] | None:
    """Fit a cylinder to the ends of creases.

    Parameters
    ----------
    creases : Creases
        All creases.
    chain : (k,) int64
        Those of the cylinder.
    axis : (3,) float64, optional
        Unit vector that is kept as the axis.

    Returns
    -------
    axis, centre : (3,) float64
        Unit vector, and a point on the axis, mm.
    radius, off : float
        Radius, and the largest distance of a corner from the cylinder, mm. None where the
        corners are on no circle.
    """
    points = np.concatenate([creases.low[chain], creases.high[chain]])
    start = _mean_axis(creases, chain) if axis is None else axis
    return fit_to_points(points, start, kept=axis is not None)


def fit_to_points(
    points: Floats, axis: Floats, *, kept: bool = False
) -> tuple[Floats, Floats, float, float] | None:
    """Fit a cylinder to points.

    Parameters
    ----------
    points : (n, 3) float64
        Points on it, mm.
    axis : (3,) float64
        Unit vector near its axis.
    kept : bool
        Whether that is the axis.

    Returns
    -------
    axis, centre : (3,) float64
    radius, off : float
        As of :func:`fit_cylinder`.
    """
    if len(points) < 3:
        return None
    middle = points.mean(axis=0)
    u, v = two_across(axis)
    x, y = (points - middle) @ u, (points - middle) @ v
    circle = _solved(np.stack([x, y, np.ones_like(x)], axis=1), x * x + y * y)
    if circle is None:
        return None
    square = circle[2] + (circle[0] ** 2 + circle[1] ** 2) / 4.0
    if not square > 0.0:
        return None
    centre, radius = middle + 0.5 * (circle[0] * u + circle[1] * v), float(np.sqrt(square))
    for _ in range(6):
        u, v = two_across(axis)
        x, y, t = ((points - centre) @ e for e in (u, v, axis))
        far = np.hypot(x, y)
        if not (far > 0.0).all():
            return None
        ex, ey = x / far, y / far
        columns = [-ex, -ey, -np.ones_like(far)]
        scale = float(np.abs(t).max()) or 1.0
        if not kept:
            columns += [-ex * t / scale, -ey * t / scale]
        step = _solved(np.stack(columns, axis=1), radius - far)
        if step is None:
            return None
        centre = centre + step[0] * u + step[1] * v
        radius += float(step[2])
        if not kept:
            axis = axis + (step[3] * u + step[4] * v) / scale
            axis /= np.linalg.norm(axis)
        if np.abs(step).max() < 1e-12 * radius:
            break
    way = points - centre
    far = np.linalg.norm(way - np.outer(way @ axis, axis), axis=1)
    return axis, centre, radius, float(np.abs(far - radius).max())


def largest_circle(creases: Creases, chain: Ints, reach: float) -> Ints:
    """Creases of a chain that lie on one circle, the most that three of them were found to make.

    Parameters
    ----------
    creases : Creases
        All creases.
    chain : (k,) int64
        Those looked among.
    reach : float
        Distance of a corner from its cylinder that rounding may make, mm.

    Returns
    -------
    (j,) int64
        Creases on the circle.
    """
    axis = _mean_axis(creases, chain)
    u, v = two_across(axis)
    points = 0.5 * (creases.low[chain] + creases.high[chain])
    x, y = points @ u, points @ v
    order = np.random.default_rng(len(chain)).permuted(
        np.tile(np.arange(len(chain)), (TRIES, 1)), axis=1
    )[:, :3]
    (ax, bx, cx), (ay, by, cy) = x[order].T, y[order].T
    double = 2.0 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by))
    good = np.abs(double) > 1e-12
    safe = np.where(good, double, 1.0)
    a2, b2, c2 = ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy
    mx = (a2 * (by - cy) + b2 * (cy - ay) + c2 * (ay - by)) / safe
    my = (a2 * (cx - bx) + b2 * (ax - cx) + c2 * (bx - ax)) / safe
    radius = np.hypot(ax - mx, ay - my)
    off = np.abs(np.hypot(x - mx[:, None], y - my[:, None]) - radius[:, None])
    inside = (off <= 2.0 * reach) & good[:, None]
    best: Ints = chain[inside[np.argmax(inside.sum(axis=1))]]
    return best
