"""Inspection and lossless mending, against solids whose volume is known."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from shrinkrule.errors import MeshError
from shrinkrule.files import stl_bytes
from shrinkrule.mesh import inspect_mesh, part_from_mesh, read_part
from shrinkrule.mesh.repair import merge_equal_vertices

SOLIDS: dict[str, Callable[[], trimesh.Trimesh]] = {
    "box": lambda: trimesh.creation.box((10, 20, 30)),
    "sphere": lambda: trimesh.creation.icosphere(subdivisions=3, radius=7),
    "tube": lambda: trimesh.creation.annulus(r_min=4, r_max=6, height=9),
    "torus": lambda: trimesh.creation.torus(major_radius=10, minor_radius=2),
    "cone": lambda: trimesh.creation.cone(radius=5, height=9),
}


@pytest.mark.parametrize("name", SOLIDS)
def test_agrees_with_a_general_library_on_sound_solids(name: str) -> None:
    mesh = SOLIDS[name]()
    found = inspect_mesh(mesh)
    assert found.closed
    assert found.manifold
    assert found.bodies == 1
    assert found.volume_mm3 == pytest.approx(mesh.volume, rel=1e-12)


@pytest.mark.parametrize("name", SOLIDS)
def test_a_body_inside_out_is_turned(name: str) -> None:
    mesh = SOLIDS[name]()
    turned = trimesh.Trimesh(mesh.vertices, mesh.faces[:, ::-1], process=False)
    part = part_from_mesh(turned)
    assert part.soundness.volume_mm3 == pytest.approx(mesh.volume, rel=1e-12)
    assert any("inside out" in mend for mend in part.mends)


@given(flipped=st.sets(st.integers(0, 11), min_size=1, max_size=11))
def test_single_flipped_facets_are_turned(flipped: set[int]) -> None:
    box = trimesh.creation.box((1, 2, 3))
    faces = np.array(box.faces)
    faces[list(flipped)] = faces[list(flipped), ::-1]
    part = part_from_mesh(trimesh.Trimesh(box.vertices, faces, process=False))
    assert part.soundness.volume_mm3 == pytest.approx(6.0)


def hollow(inward: bool) -> trimesh.Trimesh:
    outer, inner = trimesh.creation.box((20, 20, 20)), trimesh.creation.box((10, 10, 10))
    faces = inner.faces[:, ::-1] if inward else inner.faces
    return trimesh.util.concatenate([outer, trimesh.Trimesh(inner.vertices, faces, process=False)])


def test_a_hollow_part_stays_hollow() -> None:
    part = part_from_mesh(hollow(inward=True))
    assert part.soundness.volume_mm3 == pytest.approx(8000 - 1000)
    assert (part.soundness.bodies, part.soundness.cavities) == (1, 1)
    assert part.mends == ()
    assert part.trusted


def test_a_hollow_part_inside_out_is_turned_as_a_whole() -> None:
    mesh = hollow(inward=True)
    part = part_from_mesh(trimesh.Trimesh(mesh.vertices, mesh.faces[:, ::-1], process=False))
    assert part.soundness.volume_mm3 == pytest.approx(8000 - 1000)


def test_a_shell_in_a_shell_that_faces_the_same_way_is_said_and_not_guessed() -> None:
    part = part_from_mesh(hollow(inward=False))
    assert any("face the same way" in mend for mend in part.mends)
    assert [overlap.pair for overlap in part.overlaps] == [(1, 2)]
    with pytest.raises(MeshError, match="share space"):
        part.require_solid()


def test_an_island_in_a_cavity_is_solid() -> None:
    shells = [trimesh.creation.box((s, s, s)) for s in (20, 10, 4)]
    shells[1].invert()
    part = part_from_mesh(trimesh.util.concatenate(shells))
    assert part.soundness.volume_mm3 == pytest.approx(8000 - 1000 + 64)
    assert (part.soundness.bodies, part.soundness.cavities) == (2, 1)
    assert part.trusted


def test_overlapping_bodies_are_found_and_united() -> None:
    second = trimesh.creation.box((10, 10, 10)).apply_translation((5, 0, 0))
    part = part_from_mesh(trimesh.util.concatenate([trimesh.creation.box((10, 10, 10)), second]))
    assert [overlap.pair for overlap in part.overlaps] == [(1, 2)]
    assert not part.trusted
    united = part.united()
    assert united.trusted
    assert united.soundness.volume_mm3 == pytest.approx(1500.0)
    assert united.soundness.bodies == 1


def test_uniting_keeps_cavities() -> None:
    second = trimesh.creation.box((20, 4, 4)).apply_translation((15, 0, 0))
    part = part_from_mesh(trimesh.util.concatenate([hollow(inward=True), second]))
    united = part.united()
    assert united.soundness.volume_mm3 == pytest.approx(8000 - 1000 + 15 * 16)
    assert united.soundness.cavities == 1


def test_bodies_that_only_touch_do_not_overlap() -> None:
    beside = trimesh.creation.box((1, 1, 1)).apply_translation((1.0, 0, 0))
    part = part_from_mesh(trimesh.util.concatenate([trimesh.creation.box((1, 1, 1)), beside]))
    assert part.overlaps == ()


def test_two_cubes_on_one_edge_are_closed_but_not_manifold() -> None:
    beside = trimesh.creation.box((1, 1, 1)).apply_translation((1.0, 1.0, 0))
    part = part_from_mesh(trimesh.util.concatenate([trimesh.creation.box((1, 1, 1)), beside]))
    assert part.soundness.closed
    assert not part.soundness.manifold
    assert part.soundness.crowded_edges == 1
    assert part.soundness.bodies == 2
    assert part.soundness.volume_mm3 == pytest.approx(2.0)


def test_an_open_surface_is_counted_and_refused() -> None:
    box = trimesh.creation.box((10, 10, 10))
    part = part_from_mesh(trimesh.Trimesh(box.vertices, box.faces[:-1], process=False))
    assert part.soundness.open_edges == 3
    with pytest.raises(MeshError, match=r"3 open edges.*scaled as it is"):
        part.require_solid()


def test_facets_without_area_are_dropped() -> None:
    box = trimesh.creation.box((10, 10, 10))
    faces = np.vstack([box.faces, [[0, 0, 1], [2, 3, 3]]])
    part = part_from_mesh(trimesh.Trimesh(box.vertices, faces, process=False))
    assert part.soundness.facets == 12
    assert "dropped 2 facets without area" in part.mends


def test_a_facet_without_area_goes_with_the_joint_that_it_leaves() -> None:
    """A facet of three corners in a line closes a T-joint: its neighbour is split there instead."""
    vertices = np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0], [1, 1, 0], [1, 0.5, 1.0]], float)
    faces = np.array([[0, 3, 2], [0, 2, 1], [0, 4, 3], [3, 4, 2], [0, 1, 4], [1, 2, 4]])
    part = part_from_mesh(trimesh.Trimesh(vertices, faces, process=False))
    assert part.soundness.sliver_facets == 0
    assert part.soundness.closed
    assert part.soundness.facets == 6
    assert part.soundness.volume_mm3 == pytest.approx(1.0 / 3.0)  # a third of base 1 and height 1
    assert len(part.mesh.vertices) == 5


def test_a_moebius_band_is_refused() -> None:
    turns = np.linspace(0, 2 * np.pi, 41)[:-1]
    rim = np.array(
        [
            [(10 + w * np.cos(t / 2)) * np.cos(t), (10 + w * np.cos(t / 2)) * np.sin(t),
             w * np.sin(t / 2)]
            for t in turns for w in (-1.0, 1.0)
        ]
    )  # fmt: skip
    quads = [(2 * i, 2 * i + 1, 2 * i + 3, 2 * i + 2) for i in range(39)] + [(78, 79, 0, 1)]
    faces = np.array([f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))])
    part = part_from_mesh(trimesh.Trimesh(rim, faces, process=False))
    assert not part.trusted


def test_rounding_gaps_close_and_real_gaps_stay(tmp_path: Path) -> None:
    box = trimesh.creation.box((30, 30, 30))
    corners = np.array(box.triangles) + 100.0
    corners[0, 0] += 8e-6  # one step of float32 at 115 is 7.6e-6
    nearly = trimesh.Trimesh(corners.reshape(-1, 3), np.arange(36).reshape(-1, 3), process=False)
    part = part_from_mesh(nearly)
    assert part.soundness.closed
    assert any("closed cracks" in mend for mend in part.mends)
    corners[0, 0] += 0.01
    gaping = trimesh.Trimesh(corners.reshape(-1, 3), np.arange(36).reshape(-1, 3), process=False)
    assert not part_from_mesh(gaping).soundness.closed


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(*[st.sampled_from([0.0, -0.0, 1.0, 2.5, 1e-30, -7.25])] * 9),
        min_size=1,
        max_size=40,
    )
)
def test_merging_vertices_changes_no_corner(rows: list[tuple[float, ...]]) -> None:
    corners = np.array(rows).reshape(-1, 3, 3)
    vertices, facets = merge_equal_vertices(corners)
    assert np.array_equal(vertices[facets], corners)
    assert len(np.unique(vertices, axis=0)) == len(vertices)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    size=st.floats(0.5, 300.0),
)
def test_written_files_read_back_to_float32(
    seed: int, size: float, tmp_path_factory: pytest.TempPathFactory
) -> None:
    rng = np.random.default_rng(seed)
    hull = trimesh.convex.convex_hull(rng.normal(size=(30, 3)) * size)
    path = tmp_path_factory.mktemp("round") / "hull.stl"
    path.write_bytes(stl_bytes(hull, "hull"))
    part = read_part(path)
    # One part in 2^24 per coordinate, three coordinates to a volume, a few sums.
    assert part.soundness.volume_mm3 == pytest.approx(hull.volume, rel=1e-5)
    assert part.soundness.closed
