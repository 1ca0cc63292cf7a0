"""Samples by area: they tile the surface and reach every spot of it."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from shrinkrule.errors import SettingError
from shrinkrule.walls import sample_surface
from shrinkrule.walls.thickness.sampling import FACINGS, _facing
from walls.shapes import box, tube

SPACING = 0.5


@pytest.mark.parametrize(
    "mesh",
    [
        box(20.0, 10.0, 0.6),
        tube(6.0, 1.0, 20.0, 400, 1),
        tube(6.0, 1.0, 20.0, 24, 300),
        trimesh.creation.icosphere(subdivisions=5, radius=5.0),
    ],
    ids=["coarse box", "upright slender", "level slender", "fine ball"],
)
def test_areas_add_up_and_every_spot_is_near_a_sample(mesh: trimesh.Trimesh) -> None:
    samples = sample_surface(mesh, SPACING)
    assert samples.area.sum() == pytest.approx(mesh.area, rel=1e-9)
    places, _ = trimesh.sample.sample_surface(mesh, 20000, seed=7)
    reach, _ = cKDTree(samples.points).query(places)
    # Half a cell's diagonal is 0.71 spacings; a group's member adds up to a small cell.
    assert reach.max() < 1.5 * SPACING
    # Not by facet: the number follows the area and the longest edges, not the facets.
    assert len(samples.area) < 6.0 * mesh.area / SPACING**2


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.floats(-20.0, 20.0), min_size=9, max_size=9).map(
        lambda c: np.array(c).reshape(3, 3)
    )
)
def test_samples_of_any_facet_lie_on_it_and_tile_it(corners: np.ndarray) -> None:
    facet = trimesh.Trimesh(corners, [[0, 1, 2]], process=False)
    longest = np.linalg.norm(np.roll(corners, 1, axis=0) - corners, axis=1).max()
    # Lower facets are left out: in a float32 file their normal is chance.
    assume(2.0 * facet.area > 2e-6 * longest * np.abs(corners).max() and facet.area > 1e-6)
    samples = sample_surface(facet, 0.7)
    assert samples.area.sum() == pytest.approx(facet.area, rel=1e-9)
    share = trimesh.triangles.points_to_barycentric(
        np.repeat(facet.triangles, len(samples.points), axis=0), samples.points, method="cross"
    )
    off_plane = np.abs((samples.points - corners[0]) @ facet.face_normals[0])
    assert off_plane.max() < 1e-10
    # Barycentric shares of slender facets lose digits as the square of their slenderness.
    assert share.min() > -1e-6


def test_samples_are_the_same_every_time() -> None:
    mesh = trimesh.creation.icosphere(subdivisions=3, radius=5.0)
    first, second = sample_surface(mesh, 0.3), sample_surface(mesh.copy(), 0.3)
    np.testing.assert_array_equal(first.points, second.points)
    np.testing.assert_array_equal(first.area, second.area)


def test_a_spacing_that_would_fill_the_memory_is_refused() -> None:
    with pytest.raises(SettingError, match="samples"):
        sample_surface(box(1000.0, 1000.0, 1000.0), 0.01)


def test_a_spacing_of_nothing_is_refused() -> None:
    with pytest.raises(SettingError, match="spacing"):
        sample_surface(box(1.0, 1.0, 1.0), 0.0)


def test_facings_share_all_directions_evenly() -> None:
    """Every patch of the cube of directions is used, and none holds normals far from each other.

    From the middle of a face to a corner of its middle patch it is sqrt(2) over their number.
    """
    normals = np.random.default_rng(4).normal(size=(20_000, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    number = np.array([_facing(*normal) for normal in normals.tolist()])
    assert len(np.unique(number)) == 6 * FACINGS**2
    for facing in np.unique(number):
        alike = normals[number == facing]
        assert (alike @ alike.T).min() >= np.cos(2.0 * np.arctan(np.sqrt(2.0) / FACINGS)) - 1e-9
