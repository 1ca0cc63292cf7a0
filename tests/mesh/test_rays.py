"""Rays against boxes, where every distance is known."""

from __future__ import annotations

import gc
import weakref

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from shrinkrule.mesh import MovedRays, Rays, rays_of

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


def test_a_mesh_changed_in_place_is_not_hit_where_it_was() -> None:
    part = trimesh.creation.box(extents=(10.0, 10.0, 10.0))
    before = rays_of(part)
    assert rays_of(part) is before
    # Through a bare view, which the mesh itself does not notice.
    np.asarray(part.vertices).view(np.ndarray)[:] *= 2.0
    distance, _ = rays_of(part).cast(np.array([[1.0, 2.0, 50.0]]), np.array([[0.0, 0.0, -1.0]]))
    np.testing.assert_allclose(distance, 40.0, rtol=1e-6)
    part.faces = part.faces[np.abs(part.face_normals[:, 2]) < 0.5]
    distance, _ = rays_of(part).cast(np.array([[1.0, 2.0, 50.0]]), np.array([[0.0, 0.0, -1.0]]))
    assert np.isinf(distance[0])


def test_rays_are_kept_no_longer_than_their_mesh_and_for_few_meshes() -> None:
    part = trimesh.creation.box(extents=(10.0, 10.0, 10.0))
    rays = weakref.ref(rays_of(part))
    assert rays() is not None
    del part
    gc.collect()
    assert rays() is None
    many = [trimesh.creation.box(extents=(10.0, 10.0, side)) for side in (1.0, 2.0, 3.0, 4.0)]
    first, last = (weakref.ref(one) for one in (rays_of(many[0]), rays_of(many[1])))
    assert first() is not None
    assert last() is rays_of(many[1])
    rays_of(many[2])
    rays_of(many[3])
    assert first() is None
    assert last() is None


def test_rays_against_a_moved_mesh_are_those_against_the_mesh() -> None:
    """Turned, stretched along each axis by its own factor, and shifted, as a green part is."""
    rng = np.random.default_rng(3)
    part = trimesh.creation.icosphere(subdivisions=2, radius=9.0).apply_translation([4, -30, 7])
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag([1.2, 1.17, 1.25]) @ np.array([[0, 1, 0], [0, 0, 1], [1, 0, 0]])
    matrix[:3, 3] = [50.0, -3.0, 8.0]
    moved = trimesh.Trimesh(part.vertices @ matrix[:3, :3].T + matrix[:3, 3], part.faces)
    own, other = rays_of(part), MovedRays(part, moved, matrix)
    assert other.middle == pytest.approx(own.middle)
    assert other.span == pytest.approx(own.span)
    starts = rng.uniform(-12.0, 12.0, (500, 3))
    ways = rng.normal(size=(500, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    wanted, facets = own.cast(starts, ways)
    distance, met = other.cast(starts, ways)
    np.testing.assert_array_equal(met, facets)
    assert 100 < (met >= 0).sum() < 500
    # Both are computed in float32, of coordinates up to 12 mm: a millionth of a mm each.
    np.testing.assert_allclose(distance, wanted, rtol=0.0, atol=1e-5)
