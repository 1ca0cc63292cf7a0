"""A cylinder fitted to the ends of creases.

Least squares of the distances to the axis, by Gauss-Newton steps from a circle fitted to the
points as they are seen along the creases (I. Kasa, IEEE Trans. Instrum. Meas. 25 (1976) 8-14).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np

from shrinkrule.dimensions.recognition.creases import Creases
from shrinkrule.numerics.arrays import Floats, Ints, ranges

TRIES: Final = 60
"""Circles through three corners that are tried on a chain that is no cylinder as a whole."""

FEWEST: Final = 3
"""Points of a cylinder, at least."""

STEPS: Final = 6
"""Gauss-Newton steps, at most."""

SETTLED: Final = 1e-12
"""Share of the radius under which a step changes nothing."""


class Fit(NamedTuple):
    """A cylinder as fitted.

    Parameters
    ----------
    axis, centre : (3,) float64
        Unit vector, and a point on the axis, mm.
    radius, off : float
        Radius, and the largest distance of a point from the cylinder, mm.
    """

    axis: Floats
    centre: Floats
    radius: float
    off: float


def _mean_axes(creases: Creases, chain: Ints, start: Ints) -> Floats:
    """Directions (g, 3) of chains of parallel creases, end to end; long creases count most."""
    length, owner = creases.length[chain], _owners(start, len(chain))
    longest = np.lexsort([-length, owner])[start]
    along = creases.along[chain]
    side = np.sign((along * along[longest][owner]).sum(axis=1))
    summed = np.add.reduceat((length**2 * side)[:, None] * along, start)
    axes: Floats = summed / np.linalg.norm(summed, axis=1, keepdims=True)
    return axes


def _owners(start: Ints, count: int) -> Ints:
    """Number of the group that each of ``count`` members, end to end, belongs to."""
    return np.repeat(np.arange(len(start)), np.diff(np.append(start, count)))


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
    one, other = each_across(axis[None])
    return one[0], other[0]


def each_across(axes: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors across each of some axes, and across each other.

    Parameters
    ----------
    axes : (g, 3) float64
        Unit vectors.

    Returns
    -------
    one, other : (g, 3) float64
        As of :func:`two_across`.
    """
    rows, least = np.arange(len(axes)), np.argmin(np.abs(axes), axis=1)
    one = np.zeros_like(axes)
    after, last = (least + 1) % 3, (least + 2) % 3
    one[rows, after], one[rows, last] = axes[rows, last], -axes[rows, after]
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    (x, y, z), (u, v, w) = axes.T, one.T
    return one, np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=1)


def _solved(columns: list[Floats], rhs: Floats, start: Ints) -> Floats:
    """Least squares of each group by its normal equations, (g, k).

    NaN where these have no single solution. ``columns`` are k of (n,), ``rhs`` is (n,).
    """
    lhs = np.stack(columns, axis=1)
    squares = np.add.reduceat((lhs[:, :, None] * lhs[:, None, :]).reshape(len(lhs), -1), start)
    squares = squares.reshape(len(start), len(columns), len(columns))
    products = np.add.reduceat(lhs * rhs[:, None], start)[:, :, None]
    try:
        found: Floats = np.linalg.solve(squares, products)[:, :, 0]
    except np.linalg.LinAlgError:
        if len(start) == 1:
            return np.full((1, len(columns)), np.nan)
        # One of them has none: each by itself.
        ends = np.append(start[1:], len(lhs))
        parts = [slice(a, b) for a, b in zip(start.tolist(), ends.tolist(), strict=True)]
        return np.concatenate(
            [_solved([one[part] for one in columns], rhs[part], start[:1] * 0) for part in parts]
        )
    return found


def fit_cylinders(
    creases: Creases, chains: list[Ints], axes: Floats | None = None
) -> list[Fit | None]:
    """Fit a cylinder to the ends of the creases of each chain.

    Parameters
    ----------
    creases : Creases
        All creases.
    chains : list of (k,) int64
        Those of each cylinder.
    axes : (g, 3) float64, optional
        Unit vectors that are kept as the axes.

    Returns
    -------
    list of Fit or None
        None where the corners are on no circle.
    """
    if not chains:
        return []
    sizes = np.array([len(chain) for chain in chains])
    start = np.cumsum(sizes) - sizes
    every = np.concatenate(chains)
    ends = np.stack([creases.low[every], creases.high[every]], axis=1).reshape(-1, 3)
    near = _mean_axes(creases, every, start) if axes is None else axes
    return fit_each(ends, 2 * start, near, kept=axes is not None)


def corners_of(creases: Creases, chains: list[Ints]) -> tuple[Floats, Ints]:
    """The corners of each chain of creases, each once.

    Parameters
    ----------
    creases : Creases
        All creases.
    chains : list of (k,) int64
        Those of each chain, none of them empty.

    Returns
    -------
    points : (n, 3) float64
        Ends of the creases, chain by chain, mm.
    start : (g,) int64
        First point of each chain.
    """
    if not chains:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    every = np.concatenate(chains)
    owner = np.tile(np.repeat(np.arange(len(chains)), [len(chain) for chain in chains]), 2)
    points = np.concatenate([creases.low[every], creases.high[every]])
    order = np.lexsort((*points.T[::-1], owner))
    points, owner = points[order], owner[order]
    new = np.ones(len(points), dtype=np.bool_)
    new[1:] = (np.diff(owner) != 0) | (points[1:] != points[:-1]).any(axis=1)
    points, owner = points[new], owner[new]
    return points, np.searchsorted(owner, np.arange(len(chains)))


def fit_each(points: Floats, start: Ints, axes: Floats, *, kept: bool = False) -> list[Fit | None]:
    """Fit a cylinder to each group of points.

    Parameters
    ----------
    points : (n, 3) float64
        Points on all of them, group by group, mm.
    start : (g,) int64
        First point of each group, none of them empty.
    axes : (g, 3) float64
        Unit vectors near the axes.
    kept : bool
        Whether these are the axes.

    Returns
    -------
    list of Fit or None
        As of :func:`fit_cylinders`.
    """
    # What could not be fitted goes on as NaN.
    with np.errstate(invalid="ignore", divide="ignore"):
        axes, centres, radii = _fitted(points, start, axes, kept=kept)
        owner = _owners(start, len(points))
        way, axis = points - centres[owner], axes[owner]
        way -= (way * axis).sum(axis=1, keepdims=True) * axis
        far = np.linalg.norm(way, axis=1)
        off = np.maximum.reduceat(np.abs(far - radii[owner]), start)
    return [
        Fit(axes[k], centres[k], radius, largest) if math.isfinite(largest) else None
        for k, (radius, largest) in enumerate(zip(radii.tolist(), off.tolist(), strict=True))
    ]


def _fitted(
    points: Floats, start: Ints, axes: Floats, *, kept: bool
) -> tuple[Floats, Floats, Floats]:
    """Axes (g, 3), points on them (g, 3) and radii (g,); NaN where there is no cylinder."""
    sizes = np.diff(np.append(start, len(points)))
    owner = _owners(start, len(points))
    middle = np.add.reduceat(points, start) / sizes[:, None]
    u, v = each_across(axes)
    x, y = (((points - middle[owner]) * way[owner]).sum(axis=1) for way in (u, v))
    circle = _solved([x, y, np.ones_like(x)], x * x + y * y, start)
    centres = middle + 0.5 * (circle[:, :1] * u + circle[:, 1:2] * v)
    radii = np.sqrt(circle[:, 2] + (circle[:, 0] ** 2 + circle[:, 1] ** 2) / 4.0)
    radii[(sizes < FEWEST) | ~(radii > 0.0)] = np.nan
    axes = axes.copy()
    left = np.flatnonzero(np.isfinite(radii))
    for _ in range(STEPS):
        if len(left) == 0:
            break
        _, place = ranges(start[left], start[left] + sizes[left])
        step, scale = _step(
            points[place],
            np.cumsum(sizes[left]) - sizes[left],
            (axes[left], centres[left], radii[left]),
            kept=kept,
        )
        u, v = each_across(axes[left])
        centres[left] += step[:, :1] * u + step[:, 1:2] * v
        radii[left] += step[:, 2]
        if not kept:
            turned = axes[left] + (step[:, 3:4] * u + step[:, 4:5] * v) / scale[:, None]
            axes[left] = turned / np.linalg.norm(turned, axis=1, keepdims=True)
        moving = np.abs(step).max(axis=1) >= SETTLED * radii[left]
        left = left[moving]
    return axes, centres, radii


def _step(
    points: Floats, start: Ints, cylinders: tuple[Floats, Floats, Floats], *, kept: bool
) -> tuple[Floats, Floats]:
    """One Gauss-Newton step of each group (g, 3) or (g, 5), and the scale (g,) of its turns."""
    axes, centres, radii = cylinders
    owner = _owners(start, len(points))
    way = points - centres[owner]
    x, y, t = ((way * e[owner]).sum(axis=1) for e in (*each_across(axes), axes))
    far = np.hypot(x, y)
    # A point on the axis is on no cylinder about it: there the quotients are NaN.
    ex, ey = x / far, y / far
    columns = [-ex, -ey, -np.ones_like(far)]
    scale = np.maximum.reduceat(np.abs(t), start)
    scale[scale == 0.0] = 1.0
    if not kept:
        columns += [-ex * t / scale[owner], -ey * t / scale[owner]]
    return _solved(columns, radii[owner] - far, start), scale


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
    axis = _mean_axes(creases, chain, np.zeros(1, dtype=np.int64))[0]
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
