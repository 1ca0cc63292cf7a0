"""Where a ball that grows along the normal touches a line first, against a search along it."""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize_scalar

from shrinkrule.numerics.arrays import Floats
from shrinkrule.walls.thickness.inscribed import _touch_segment


def ball_through(start: Floats, way: Floats, normal: Floats, share: float) -> float:
    """Radius of the ball that touches 0 and passes through a point of a segment."""
    x = start + share * way
    return float(x @ x / (-2.0 * normal @ x))


def test_the_ball_at_a_point_touches_a_segment_where_its_radius_is_least() -> None:
    """Radius of the ball tangent at 0 with outward normal n through x: |x|^2 / (-2 n.x).

    Ma, Bae, Choi, The Visual Computer 28 (2012) 7-19. The least radius is searched for along
    segments that lie inward of the tangent plane, in all directions.
    """
    rng = np.random.default_rng(7)
    inner = 0
    for _ in range(200):
        normal = rng.normal(size=3)
        normal /= np.linalg.norm(normal)
        start, end = rng.normal(size=(2, 3)) * 2.0
        start -= normal * (abs(start @ normal) + start @ normal + 0.2)
        end -= normal * (abs(end @ normal) + end @ normal + 0.2)
        way = end - start

        def radius(
            share: float, a: np.ndarray = start, b: np.ndarray = way, n: np.ndarray = normal
        ) -> float:
            x = a + share * b
            return float(x @ x / (-2.0 * n @ x))

        found = minimize_scalar(
            radius, bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-10}
        )
        least = min(float(found.fun), radius(0.0), radius(1.0))
        told, share = _touch_segment(*start, *way, *normal)
        assert abs(told - least) <= 1e-7 * least
        inner += 0.01 < share < 0.99
    # Many touch within the segment, where the formula is asked.
    assert inner > 40
