"""Nearest points and inscribed balls of any body, against brute force and another library."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold

from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.numerics.arrays import Floats
from shrinkrule.walls.thickness.inscribed import DEPTH, _largest_ball
from shrinkrule.walls.thickness.nearest import nearest_on_facet, nearest_point
from shrinkrule.walls.thickness.spheres import Surface

BODIES = {
    "ring": trimesh.creation.annulus(3.0, 5.0, 2.0, sections=24),
    "cross": mesh_from_solid(
        Manifold.cube((10.0, 2.0, 3.0), True) + Manifold.cube((2.0, 10.0, 3.0), True)
    ),
    "notched": mesh_from_solid(
        Manifold.cube((8.0, 6.0, 4.0), True)
        - Manifold.cube((4.0, 4.0, 4.0), True).rotate((30.0, 40.0, 0.0)).translate((4.0, 3.0, 2.0))
    ),
}


def distances(body: trimesh.Trimesh, points: Floats) -> tuple[Floats, Floats]:
    """Distance to a body's surface, and the nearest points, by libigl."""
    square, _, nearest = igl.point_mesh_squared_distance(
        points, np.asarray(body.vertices), np.asarray(body.faces, dtype=np.int64)
    )
    return np.sqrt(square), nearest


@settings(deadline=None, max_examples=150)
@given(seed=st.integers(0, 100_000))
def test_nearest_point_of_a_triangle(seed: int) -> None:
    """Points all round it, over each side and corner, against trimesh."""
    rng = np.random.default_rng(seed)
    corners = rng.normal(size=(2, 3, 3))
    at = corners[1].mean(axis=0) + rng.normal(size=3) * rng.choice([0.1, 1.0, 3.0])
    q = np.empty(3)
    square = nearest_on_facet(1, corners, at[0], at[1], at[2], q)
    expected = trimesh.triangles.closest_point(corners[1:], at[None])[0]
    assert q == pytest.approx(expected, abs=1e-9)
    assert square == pytest.approx(((at - expected) ** 2).sum(), abs=1e-12)


@pytest.mark.parametrize("name", BODIES)
def test_the_walk_of_the_tree_finds_the_nearest_point_of_all(name: str) -> None:
    body = BODIES[name]
    surface = Surface(body)
    points = np.random.default_rng(3).uniform(body.bounds[0] - 1.0, body.bounds[1] + 1.0, (300, 3))
    expected, nearest = distances(body, points)
    room, found = (np.empty(DEPTH, np.int64), np.empty(3)), np.empty(3)
    for at, far, on in zip(points - surface.middle, expected, nearest, strict=True):
        near, facet = nearest_point(surface.tree, at, 100.0, np.zeros(3), 0.0, 0.0, found, room)
        assert near == pytest.approx(far, abs=1e-9)
        assert facet >= 0
        assert np.linalg.norm(found - at) == pytest.approx(far, abs=1e-9)
        # Not beyond what was asked for.
        nowhere = nearest_point(surface.tree, at, 0.999 * far, np.zeros(3), 0.0, 0.0, found, room)
        assert nowhere == (0.999 * far, -1)
        # Of the points on the other side of a plane, the nearest again.
        away = (on - surface.middle - at) / far
        other, facet = nearest_point(surface.tree, at, 100.0, away, -0.2, 0.0, found, room)
        if facet >= 0:
            assert other >= far - 1e-9
            assert np.linalg.norm(found - at) == pytest.approx(other, abs=1e-9)
            assert (found - at) @ away <= -0.2 * other + 1e-9


@pytest.mark.parametrize(("name", "turn"), list(zip(BODIES, range(3), strict=True)))
def test_the_largest_ball_at_a_point_is_empty_and_no_larger_one_is(name: str, turn: int) -> None:
    """Balls touch the surface at the point and hold none of it; 1 % larger ones do.

    The search allows itself 0.1 % of the radius.
    """
    body = BODIES[name].copy()
    body.apply_transform(trimesh.transformations.euler_matrix(0.7 * turn, 0.4 * turn, 0.3))
    surface = Surface(body)
    points, facets = trimesh.sample.sample_surface(body, 250, seed=turn)
    normals = np.asarray(body.face_normals)[facets]
    radius, contacts = np.empty(len(points)), np.empty((len(points), 3))
    stack = np.empty(DEPTH, np.int64)
    here = points - surface.middle
    for i, facet in enumerate(facets):
        # A guess only saves work: none, a facet at random, and the facet itself.
        for guess in (-1, i % len(body.faces), int(facet)):
            radius[i], found = _largest_ball(
                surface.tree, here[i], normals[i], facet, surface.span, guess, contacts[i], stack
            )
            named = body.triangles[[found]] - surface.middle
            on = trimesh.triangles.closest_point(named, contacts[[i]])[0]
            assert contacts[i] == pytest.approx(on, abs=1e-9)
            centre = here[i] - radius[i] * normals[i]
            assert np.linalg.norm(contacts[i] - centre) == pytest.approx(radius[i], abs=1e-9)
            # A ball that is smaller from the start touches nothing.
            less = 0.99 * radius[i]
            touched = np.full(3, np.nan)
            untouched = _largest_ball(
                surface.tree, here[i], normals[i], facet, less, guess, touched, stack
            )
            assert untouched == (less, -1)
            assert np.isnan(touched).all()
    # Closer to an edge than this, rounding decides what is inside.
    far = radius > 1e-3
    assert far.mean() > 0.95
    points, normals, radius = points[far], normals[far], radius[far]
    assert (distances(body, points - radius[:, None] * normals)[0] >= radius * (1.0 - 2e-3)).all()
    larger = 1.01 * radius
    assert (distances(body, points - larger[:, None] * normals)[0] < larger * (1.0 - 1e-6)).all()
