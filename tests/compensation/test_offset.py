"""Outline offset in the mesh, against solids whose offset is known and a 2-D library."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from shrinkrule.compensation import offset_outlines
from shrinkrule.errors import MeshError
from shrinkrule.mesh import inspect_mesh, read_part
from shrinkrule.mesh.bodies import solid_from_mesh


@settings(max_examples=30, deadline=None)
@given(
    sides=st.tuples(*[st.floats(2.0, 50.0)] * 3),
    offset=st.floats(-0.4, 0.4).filter(lambda x: abs(x) > 1e-3),
    turn=st.floats(0.0, 6.3),
)
def test_a_box_grows_in_xy_and_keeps_its_height(
    sides: tuple[float, float, float], offset: float, turn: float
) -> None:
    box = trimesh.creation.box(sides)
    box.apply_transform(trimesh.transformations.rotation_matrix(turn, (0, 0, 1)))
    moved = offset_outlines(box, offset).mesh
    x, y, z = sides
    assert moved.volume == pytest.approx((x + 2 * offset) * (y + 2 * offset) * z)
    assert moved.extents[2] == pytest.approx(z)


def test_holes_follow_their_own_side() -> None:
    """A tube of 96 sides: every flat moves by the offset, so radii of flats change by it."""
    tube = trimesh.creation.annulus(r_min=4, r_max=8, height=5, sections=96)
    moved = offset_outlines(tube, -0.1).mesh
    radius = np.hypot(moved.vertices[:, 0], moved.vertices[:, 1])
    # A corner of a polygon moves by offset / cos(half its turn).
    reach = 0.1 / np.cos(np.pi / 96)
    assert radius.min() == pytest.approx(4 + reach, abs=1e-9)
    assert radius.max() == pytest.approx(8 - reach, abs=1e-9)
    assert inspect_mesh(moved).closed


SLANTED: dict[str, Callable[[], trimesh.Trimesh]] = {
    "cone": lambda: trimesh.creation.cone(radius=8, height=12, sections=64),
    "sphere": lambda: trimesh.creation.icosphere(subdivisions=4, radius=6),
    "ring": lambda: trimesh.creation.torus(major_radius=10, minor_radius=3),
}


@pytest.mark.parametrize("name", SLANTED)
@pytest.mark.parametrize("offset", [-0.08, 0.08])
def test_every_layer_moves_as_a_plane_geometry_library_offsets_it(name: str, offset: float) -> None:
    """Area of cuts against shapely's mitred offset of the unmoved cut.

    Tolerance 2 % of the area swept: facets are cut between the corners that moved.
    """
    solid = SLANTED[name]()
    moved = offset_outlines(solid, offset).mesh
    low, high = solid.bounds[:, 2]
    for height in np.linspace(low, high, 9)[1:-1] + 0.01:
        before = cut(solid, height)
        want = before.buffer(offset, join_style="mitre").area
        swept = abs(want - before.area)
        assert cut(moved, height).area == pytest.approx(want, abs=0.02 * swept)


def cut(mesh: trimesh.Trimesh, height: float) -> shapely.Geometry:
    """Section of a mesh at a height; loops inside loops are holes."""
    solid = solid_from_mesh(np.asarray(mesh.vertices), np.asarray(mesh.faces))
    area = shapely.Polygon()
    for loop in solid.slice(height).to_polygons():
        area = area.symmetric_difference(shapely.Polygon(loop))
    return area


def test_moving_out_and_back_is_nothing() -> None:
    ring = SLANTED["ring"]()
    back = offset_outlines(offset_outlines(ring, 0.05).mesh, -0.05).mesh
    # Second order of the offset over the smallest radius of turn, 0.05^2 / 3.
    assert np.abs(back.vertices - ring.vertices).max() < 1e-3


def test_a_detail_finer_than_the_offset_is_refused() -> None:
    with pytest.raises(MeshError, match="finer than the outline offset"):
        offset_outlines(trimesh.creation.box((0.3, 10, 5)), -0.2)


def test_a_corner_that_cannot_move_is_refused() -> None:
    """Two blocks that meet along one upright edge pull it two ways: the edge is named."""
    beside = trimesh.creation.box((5, 5, 5)).apply_translation((5, 5, 0))
    both = trimesh.util.concatenate([trimesh.creation.box((5, 5, 5)), beside])
    both.merge_vertices()
    with pytest.raises(MeshError, match=r"meet at x 2\.50, y 2\.50, .* cannot all move"):
        offset_outlines(both, -0.1)


SAMPLES = sorted((Path(__file__).parents[2] / "sample_models").glob("*.stl"))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_samples_move_and_stay_closed(path: Path) -> None:
    """Spokes that meet a rim, reliefs that meet a wall: corners slide along curved faces."""
    wanted = read_part(path, "in" if path.stem == "bracket_inches" else None).mesh
    result = offset_outlines(wanted, -0.05, path.name)
    found = inspect_mesh(result.mesh)
    assert found.closed
    assert found.manifold
    assert result.mesh.extents[2] == pytest.approx(wanted.extents[2], abs=2e-3)
    low, high = wanted.bounds[:, 2]
    for height in np.linspace(low, high, 7)[1:-1] + 0.013:
        before = cut(wanted, height)
        want = before.buffer(-0.05, join_style="mitre").area
        # Mitres of shapely are cut off beyond five offsets; a percent of what is swept.
        assert cut(result.mesh, height).area == pytest.approx(want, abs=0.01 * (before.area - want))
