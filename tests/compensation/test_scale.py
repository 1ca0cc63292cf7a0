"""Green parts: volumes, sizes and the way back, on samples and other libraries' solids."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from shrinkrule import ScaleFactors, fired_mesh, green_part, read_part, stl_bytes, way_up
from shrinkrule.compensation import WAYS_UP, turn_up
from shrinkrule.errors import SettingError

SAMPLES = sorted((Path(__file__).parents[2] / "sample_models").glob("*.stl"))
MADE: dict[str, Callable[[], trimesh.Trimesh]] = {
    "capsule": lambda: trimesh.creation.capsule(height=20, radius=6),
    "annulus": lambda: trimesh.creation.annulus(r_min=8, r_max=10, height=30),
    "torus": lambda: trimesh.creation.torus(major_radius=15, minor_radius=3),
    "icosahedron": lambda: trimesh.creation.icosahedron().apply_scale(12),
    "moved box": lambda: trimesh.creation.box((30, 20, 10)).apply_translation((140, -80, 55)),
}
FACTORS = ScaleFactors.from_shrinkage(0.1455, 0.16)


def wanted_parts() -> list[tuple[str, trimesh.Trimesh]]:
    units = {"bracket_inches": "in"}
    read = [(path.stem, read_part(path, units.get(path.stem)).mesh) for path in SAMPLES]
    return read + [(name, make()) for name, make in MADE.items()]


WANTED = wanted_parts()


def test_there_are_samples() -> None:
    assert len(SAMPLES) == 5


@pytest.mark.parametrize(("name", "wanted"), WANTED, ids=[name for name, _ in WANTED])
def test_volume_of_the_written_green_part(
    name: str, wanted: trimesh.Trimesh, tmp_path: Path
) -> None:
    """Green volume is wanted volume times k_xy^2 k_z, as another library reads the file.

    Tolerance: float32 keeps 24 bits of each coordinate; 1e-5 leaves room for thin parts.
    """
    path = tmp_path / "part.green.stl"
    for up in WAYS_UP:
        green = green_part(wanted, FACTORS, way_up(up))
        path.write_bytes(stl_bytes(green.mesh, "green"))
        read = trimesh.load(path)
        expected = wanted.volume * FACTORS.x * FACTORS.y * FACTORS.z
        assert read.volume == pytest.approx(expected, rel=1e-5), (name, up)
        assert read.bounds[0][2] == pytest.approx(0.0, abs=1e-6), (name, up)


@pytest.mark.parametrize(("name", "wanted"), WANTED, ids=[name for name, _ in WANTED])
def test_firing_the_green_part_gives_the_wanted_part_back(
    name: str, wanted: trimesh.Trimesh, tmp_path: Path
) -> None:
    """Within 1 micrometre, corner by corner, through the float32 file."""
    green = green_part(wanted, FACTORS, way_up("x"))
    path = tmp_path / "part.green.stl"
    path.write_bytes(stl_bytes(green.mesh, "green"))
    corners = np.asarray(trimesh.load(path, process=False).triangles).reshape(-1, 3)
    back = trimesh.transform_points(corners, green.to_model)
    assert np.abs(back - np.asarray(wanted.triangles).reshape(-1, 3)).max() < 1e-3

    fired = fired_mesh(green.mesh, FACTORS)
    turned = np.asarray(wanted.vertices) @ turn_up(way_up("x")).T
    shift = fired.vertices - turned
    assert np.abs(shift - shift.mean(axis=0)).max() < 1e-3


@settings(max_examples=50, deadline=None)
@given(
    xy=st.floats(1.0, 2.0), z=st.floats(1.0, 2.0), up=st.sampled_from(list(WAYS_UP)),
    seed=st.integers(0, 999),
)  # fmt: skip
def test_sizes_grow_by_the_factor_of_their_axis(xy: float, z: float, up: str, seed: int) -> None:
    hull = trimesh.convex.convex_hull(np.random.default_rng(seed).normal(size=(20, 3)))
    green = green_part(hull, ScaleFactors.alike(xy, z), way_up(up))
    axis = int(np.argmax(np.abs(way_up(up))))
    assert green.mesh.extents[2] == pytest.approx(hull.extents[axis] * z)
    others = sorted(np.delete(hull.extents, axis) * xy)
    assert sorted(green.mesh.extents[:2]) == pytest.approx(others)
    assert green.mesh.volume > 0


@pytest.mark.parametrize("up", WAYS_UP)
def test_the_named_axis_ends_up_on_top_without_mirroring(up: str) -> None:
    turn = turn_up(way_up(up))
    assert turn @ way_up(up) == pytest.approx([0, 0, 1])
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert turn @ turn.T == pytest.approx(np.eye(3))


def test_an_unknown_way_up_is_refused() -> None:
    with pytest.raises(SettingError, match="no way up"):
        way_up("w")


def test_factors_are_told_together_where_x_and_y_are_alike() -> None:
    assert str(ScaleFactors.alike(1.19, 1.21)) == "XY × 1.1900, Z × 1.2100"
    assert str(ScaleFactors(1.19, 1.2, 1.21)) == "X × 1.1900, Y × 1.2000, Z × 1.2100"
