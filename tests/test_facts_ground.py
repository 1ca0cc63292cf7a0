"""Room on a furnace floor, and volumes of bodies wherever they lie."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from shrinkrule.furnace import (
    CLEARANCE_MM,
    BoxFurnace,
    CrucibleFurnace,
    FurnaceFit,
    enclosing_circle,
    fit_in_furnace,
)
from shrinkrule.numerics.triangles import area_normals, heights, signed_volumes, unit_normals


def oblong(length: float, width: float) -> np.ndarray:
    return np.array([[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]])


@pytest.mark.parametrize("furnace", [BoxFurnace(44.0, 24.0, 50.0), BoxFurnace(24.0, 44.0, 50.0)])
def test_a_floor_takes_what_is_no_larger_than_it_less_two_millimetres_all_round(
    furnace: BoxFurnace,
) -> None:
    """Inside 44 x 24 mm, 40 x 20 mm may stand, either way round."""
    assert furnace.longest_mm == 40.0
    assert furnace.shortest_mm == 20.0
    for length, width, fits in (
        (40.0, 20.0, True),
        (40.5, 10.0, False),
        (30.0, 20.5, False),
        (41.0, 21.0, False),
        (42.0, 42.0, False),
        (5.0, 5.0, True),
    ):
        assert furnace.floor_takes(oblong(length, width)) is fits
        assert furnace.floor_takes(oblong(width, length)) is fits
    assert furnace.longest_bar_mm(20.0) == 40.0
    assert furnace.longest_bar_mm(20.5) == 0.0


def test_a_crucible_takes_what_a_circle_two_millimetres_smaller_all_round_takes() -> None:
    """3-4-5: 40 x 30 mm is 50 mm across its corners."""
    for inside, fits in ((54.1, True), (53.9, False), (40.0, False), (90.0, True)):
        assert CrucibleFurnace(inside, 50.0).floor_takes(oblong(40.0, 30.0)) is fits
    assert CrucibleFurnace(54.0, 50.0).longest_bar_mm(30.0) == pytest.approx(40.0)


def test_an_upright_plate_is_as_high_as_it_is_tall() -> None:
    """X, Y and Z of a part are not exchanged: 10 x 20 x 30 mm stands 30 mm high."""
    block = np.array([[x, y, z] for x in (0, 10) for y in (0, 20) for z in (0, 30)], dtype=float)
    fit = fit_in_furnace(block, BoxFurnace(100.0, 100.0, 40.0))
    assert fit.tight == "height"
    assert fit.spare_mm == pytest.approx(6.0)
    wide = fit_in_furnace(block, BoxFurnace(100.0, 22.0, 100.0))
    assert wide.tight == "floor"
    assert wide.spare_mm == pytest.approx(18.0 - 10.0)
    assert wide.turned_deg == pytest.approx(90.0)


def test_a_part_that_just_fits_fits() -> None:
    assert FurnaceFit(0.0, "floor", 0.0).fits
    assert not FurnaceFit(-1e-9, "floor", 0.0).fits


def test_volumes_far_from_the_origin_keep_their_digits() -> None:
    """Two cubes of 1 and 8 mm3 100 m away: about the origin, all digits of a volume would go."""
    small = trimesh.creation.box((1.0, 1.0, 1.0)).apply_translation((5.0, 0.0, 0.0))
    large = trimesh.creation.box((2.0, 2.0, 2.0))
    both = trimesh.util.concatenate([large, small])
    labels = np.repeat([0, 1], 12)
    vertices = np.asarray(both.vertices) + [1e5 / 3.0, -1e6 / 7.0, 1e6 / 9.0]
    volumes = signed_volumes(vertices, np.asarray(both.faces, dtype=np.int64), labels)
    # Places of 1e5 mm are known to 1.5e-11: with faces of some mm2, volumes are to 1e-9.
    assert volumes == pytest.approx([8.0, 1.0], abs=1e-8)
    inward = np.asarray(both.faces, dtype=np.int64)[:, ::-1]
    assert signed_volumes(vertices, inward, labels) == pytest.approx([-8.0, -1.0], abs=1e-8)


def test_normals_and_heights_do_not_depend_on_where_a_triangle_lies() -> None:
    """A 3-4-5 triangle: twice its area is 12, its height on the longest side 12 / 5."""
    corners = np.array([[[0.0, 0, 0], [4, 0, 0], [0, 3, 0]]])
    for shift in ([0.0, 0.0, 0.0], [7.0, -5.0, 3.0]):
        for turn in range(3):
            moved = np.roll(corners + shift, turn, axis=1)
            assert area_normals(moved)[0] == pytest.approx([0.0, 0.0, 12.0])
            assert unit_normals(moved)[0] == pytest.approx([0.0, 0.0, 1.0])
            assert heights(moved)[0] == pytest.approx(12.0 / 5.0)
    assert unit_normals(corners * [1.0, 0.0, 1.0])[0].tolist() == [0.0, 0.0, 0.0]


points_in_plan = arrays.arrays(
    np.float64, st.tuples(st.integers(1, 12), st.just(2)), elements=st.floats(-40.0, 40.0, width=16)
)


@settings(deadline=None, max_examples=40)
@given(points=points_in_plan)
def test_the_enclosing_circle_is_the_smallest(points: np.ndarray) -> None:
    """Against shapely's: that holds all points, and no smaller one does."""
    centre, radius = enclosing_circle(points)
    assert np.linalg.norm(points - centre, axis=1).max() <= radius + 1e-9
    assert radius == pytest.approx(
        shapely.minimum_bounding_radius(shapely.MultiPoint(points)), abs=1e-6
    )


@settings(deadline=None, max_examples=20)
@given(points=points_in_plan.filter(lambda p: len(p) > 2), tall=st.floats(1.0, 60.0))
def test_room_in_a_box_is_that_of_the_best_turn(points: np.ndarray, tall: float) -> None:
    """Against shapely: the outline turned by the angle that is given leaves the room that is given,
    and no whole degree leaves more."""
    furnace = BoxFurnace(100.0, 60.0, 50.0, 3.0, 4.0)
    usable = 50.0 - 3.0 - 4.0 - 2.0 * CLEARANCE_MM
    assert furnace.usable_height_mm == usable
    solid = np.column_stack([points, np.linspace(0.0, tall, len(points))])
    fit = fit_in_furnace(solid, furnace)

    def room(degrees: float) -> float:
        turned = shapely.affinity.rotate(shapely.MultiPoint(points), -degrees, origin=(0.0, 0.0))
        low_x, low_y, high_x, high_y = turned.bounds
        return float(min(96.0 - (high_x - low_x), 56.0 - (high_y - low_y)))

    rooms = [room(degrees) for degrees in range(180)]
    assert fit.spare_mm == pytest.approx(min(max(rooms), usable - tall), abs=1e-6)
    assert rooms[int(fit.turned_deg)] == pytest.approx(max(rooms), abs=1e-6)
    assert fit.tight == ("height" if usable - tall < max(rooms) else "floor")
    round_one = CrucibleFurnace(90.0, 50.0, 3.0, 4.0)
    assert round_one.usable_height_mm == usable
    across = 86.0 - 2.0 * shapely.minimum_bounding_radius(shapely.MultiPoint(points))
    spare = fit_in_furnace(solid, round_one).spare_mm
    assert spare == pytest.approx(min(across, usable - tall), abs=1e-6)


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 10_000), bodies=st.integers(1, 3))
def test_triangles_measure_as_another_library_does(seed: int, bodies: int) -> None:
    """Bodies with random corners, far from the origin; heights on the longest side by Heron."""
    rng = np.random.default_rng(seed)
    parts = [trimesh.convex.convex_hull(rng.normal(size=(9, 3))) for _ in range(bodies)]
    for part in parts:
        part.apply_translation(rng.uniform(-50.0, 50.0, 3))
    whole = trimesh.util.concatenate(parts)
    corners = np.asarray(whole.triangles)
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    half = 0.5 * sides.sum(axis=1)
    area = np.sqrt(half * np.prod(half[:, None] - sides, axis=1))
    assert np.linalg.norm(area_normals(corners), axis=1) == pytest.approx(2.0 * area, rel=1e-5)
    assert heights(corners) == pytest.approx(2.0 * area / sides.max(axis=1), rel=1e-5)
    assert unit_normals(corners) == pytest.approx(np.asarray(whole.face_normals), abs=1e-9)
    labels = np.repeat(np.arange(bodies), [len(part.faces) for part in parts])
    volumes = signed_volumes(np.asarray(whole.vertices), np.asarray(whole.faces), labels)
    assert volumes == pytest.approx([part.volume for part in parts], rel=1e-9)


def test_the_height_of_nothing_is_nought() -> None:
    assert heights(np.zeros((1, 3, 3))).tolist() == [0.0]
    assert heights(np.array([[[0.0, 0, 0], [1, 0, 0], [3, 0, 0]]])).tolist() == [0.0]
