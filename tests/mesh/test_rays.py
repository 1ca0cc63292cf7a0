"""Rays against boxes, where every distance is known."""

from __future__ import annotations

import numpy as np
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from shrinkrule.mesh import Rays

AXES = np.eye(3)


@given(
    sides=st.tuples(*[st.floats(0.1, 300.0)] * 3),
    offset=st.tuples(*[st.floats(-1e4, 1e4)] * 3),
)
def test_the_way_through_a_box_is_its_side_and_never_less(
    sides: tuple[float, float, float], offset: tuple[float, float, float]
) -> None:
    part = trimesh.creation.box(extents=sides).apply_translation(offset)
    rays = Rays(part)
    true = np.ptp(part.vertices, axis=0)
    # Off the diagonals of the sides, where a ray of float32 may pass between two facets.
    aside = np.array([0.11, 0.07, 0.16]) * true * (1.0 - AXES)
    way, facet = rays.opposite(0.5 * AXES * true + aside, -AXES, np.inf)
    assert (facet >= 0).all()
    assert (way >= true).all()
    np.testing.assert_allclose(way, true, atol=1e-6 * rays.span)


def test_what_is_beyond_reach_is_not_hit() -> None:
    rays = Rays(trimesh.creation.box(extents=(10.0, 20.0, 30.0)))
    way, facet = rays.opposite(0.5 * np.diag([10.0, 20.0, 30.0]) + 1.0 - AXES, -AXES, 15.0)
    assert np.isinf(way).tolist() == [False, True, True]
    assert (facet >= 0).tolist() == [True, False, False]


def test_a_ray_into_the_open_hits_nothing() -> None:
    rays = Rays(trimesh.creation.box(extents=(1.0, 1.0, 1.0)))
    distance, facet = rays.cast(np.array([[0.1, 0.2, 5.0]]), np.array([[0.0, 0.0, 1.0]]))
    assert np.isinf(distance[0])
    assert facet[0] == -1
