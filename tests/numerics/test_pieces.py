"""What is computed piece by piece is what it is at once, and belongs to the right facets."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.loads import outline
from shrinkrule.numerics.edges import edge_table, joined_vertices
from shrinkrule.numerics.triangles import (
    AT_ONCE,
    area_normals,
    areas_of,
    normals_of,
    surface_area,
)
from shrinkrule.sag.voxels import reentrant

BOX = np.asarray(trimesh.creation.box().faces, dtype=np.int64)


def test_areas_and_normals_of_many_facets_are_those_of_each() -> None:
    """A ball of more facets than one piece holds; trimesh computes them at once."""
    ball = trimesh.creation.icosphere(6, 3.0)
    assert len(ball.faces) > 2 * AT_ONCE
    places, facets = np.asarray(ball.vertices), np.asarray(ball.faces)
    # A few roundings of float64.
    np.testing.assert_allclose(areas_of(places, facets), ball.area_faces, rtol=1e-12)
    np.testing.assert_allclose(normals_of(places, facets), ball.face_normals, atol=1e-12)
    across = area_normals(places[facets])
    np.testing.assert_allclose(np.linalg.norm(across, axis=1), 2.0 * ball.area_faces, rtol=1e-12)
    # Flat facets lose under a thousandth of a ball's area at this fineness.
    assert surface_area(places, facets) == pytest.approx(4.0 * np.pi * 9.0, rel=1e-3)


@pytest.mark.parametrize(
    ("facets", "expected"),
    [
        (BOX, True),
        (BOX[:-1], False),
        (np.concatenate([BOX, BOX[:1]]), False),
        (BOX[:0], False),
        (np.concatenate([BOX, BOX + 8]), True),
    ],
)
def test_watertight_is_where_two_facets_share_every_edge(
    facets: np.ndarray, expected: bool
) -> None:
    assert edge_table(facets).closed is expected


def test_turns_deposited_some_edges_at_a_time_are_all_there() -> None:
    random = np.random.default_rng(3)
    ends = 6.0 + random.uniform(-3.0, 3.0, (40, 2, 3))
    turn = random.uniform(-1.0, 1.0, 40)
    places, tensors = reentrant._deposited(ends, turn)
    sums: dict[tuple[int, ...], np.ndarray] = {}
    for low in range(0, 40, 7):
        for place, tensor in zip(
            *reentrant._deposited(ends[low : low + 7], turn[low : low + 7]), strict=True
        ):
            sums[tuple(place)] = sums.get(tuple(place), np.zeros(6)) + tensor
    assert sorted(sums) == [tuple(place) for place in places]
    # Sums in another order.
    np.testing.assert_allclose([sums[tuple(place)] for place in places], tensors, atol=1e-12)
    # The traces add up to turn times length, in octants: half as much in bricks.
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    trace = tensors[:, [0, 3, 5]].sum()
    assert trace == pytest.approx(0.5 * (turn * length).sum(), rel=1e-9)


def test_vertices_that_facets_join_have_one_label() -> None:
    """Two boxes, the second in reverse, with a vertex before, between and after them."""
    facets = np.concatenate([1 + BOX, (10 + BOX)[::-1]])
    assert joined_vertices(facets, 19).tolist() == [0, *[1] * 8, 2, *[3] * 8, 4]
    assert joined_vertices(facets[:, ::-1], 19).tolist() == [0, *[1] * 8, 2, *[3] * 8, 4]


def test_room_of_more_points_than_one_piece_holds_is_that_of_all(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    points = np.random.default_rng(4).uniform(-9.0, 9.0, (50, 3))
    whole = outline.footprint(points)
    monkeypatch.setattr(outline, "_AT_ONCE", 7)
    pieces = outline.footprint(points)
    np.testing.assert_allclose(pieces.reach_mm, whole.reach_mm, atol=1e-12)
    assert pieces.height_mm == whole.height_mm
