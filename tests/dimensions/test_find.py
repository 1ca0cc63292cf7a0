"""Dimensions of parts whose sizes are known by construction, whatever the file did to them.

No prototype's output is held here: every expected number is a size that the part was made with.
"""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

from dimensions.solids import (
    box,
    found_on,
    mesh_of,
    missing,
    plate,
    rod,
    single,
    sizes,
    text_file,
    turned,
    with_t_joints,
)
from shrinkrule.calibration import Feature
from shrinkrule.dimensions.dimension import Kind
from shrinkrule.dimensions.find import FoundDimensions, find_dimensions
from shrinkrule.mesh import read_part

MICROMETRE = 1e-3
"""What a dimension may be off by in a file of single precision."""

LEVELS = [
    [0.0, 60.0, 22.0, 36.0],
    [0.0, 40.0, 24.0, 33.0],
    [0.0, 8.0, 12.0, 3.0, 5.0],
]
"""Where the faces of the plate lie along X, Y and Z, and nothing else."""

AXES = np.array([[12.0, 11.0], [12.0, 29.0], [30.0, 9.0], [45.0, 28.0]])


def true_lengths() -> np.ndarray:
    """Every distance of two parallel faces, two axes, an axis and a face, and every diameter."""
    every = [6.0, 5.2, 10.0]
    for levels in LEVELS:
        every += [abs(a - b) for a, b in combinations(levels, 2)]
    every += [float(np.linalg.norm(a - b)) for a, b in combinations(AXES, 2)]
    every += [abs(level - a[k]) for k in range(2) for level in LEVELS[k] for a in AXES]
    return np.array(every)


def invented(found: FoundDimensions, within: float) -> list[tuple[str, float]]:
    true = true_lengths()
    return [
        (str(one.kind), one.size_mm)
        for one in found.every
        if np.abs(true - one.size_mm).min() > within and one.kind is not Kind.OVERALL
    ]


def test_plate_has_its_dimensions_and_no_others() -> None:
    solid, wanted = plate()
    wanted[Kind.WALL].remove(12.0)  # the overall height
    found = found_on(single(mesh_of(solid)))
    assert not missing(found, wanted, MICROMETRE)
    assert not invented(found, MICROMETRE)


@pytest.mark.parametrize("seed", range(4))
def test_turned_plate_has_the_same_dimensions(seed: int) -> None:
    """No face along an axis; overall sizes alone are others."""
    solid, wanted = plate()
    del wanted[Kind.OVERALL]
    found = found_on(single(turned(mesh_of(solid), seed)))
    wanted[Kind.WALL] += [60.0, 40.0]
    assert not missing(found, wanted, MICROMETRE)
    assert not invented(found, MICROMETRE)


@pytest.mark.parametrize("form", ["%.3f", "%.4f", "%g", "%.6e"])
@pytest.mark.parametrize("seed", [None, 5])
def test_text_files_round_and_nothing_is_lost(tmp_path: Path, form: str, seed: int | None) -> None:
    """Within twice the last place that the file writes at its largest coordinate."""
    solid, wanted = plate()
    mesh = mesh_of(solid)
    if seed is not None:
        mesh = turned(mesh, seed)
        del wanted[Kind.OVERALL]
    else:
        wanted[Kind.WALL].remove(12.0)  # the overall height
    found = find_dimensions(read_part(text_file(mesh, tmp_path / "plate.stl", form)))
    last = {"%.3f": 1e-3, "%.4f": 1e-4, "%g": 1e-4, "%.6e": 1e-5}[form]
    assert found.noise_mm == pytest.approx(last, rel=1.0)
    within = max(MICROMETRE, 2 * found.noise_mm)
    assert not missing(found, wanted, within)
    assert not invented(found, within)


@pytest.mark.parametrize("slivers", [False, True])
def test_t_joints_and_slivers_change_nothing(slivers: bool) -> None:
    solid, wanted = plate()
    del wanted[Kind.OVERALL]
    mesh = single(with_t_joints(single(turned(mesh_of(solid), 3)), 300, slivers))
    found = found_on(mesh)
    assert not missing(found, wanted, MICROMETRE)
    assert not invented(found, MICROMETRE)


@pytest.mark.parametrize("facets", [12, 16, 24, 96, 512])
def test_diameter_is_that_of_the_corners(facets: int) -> None:
    """Over the flats it is smaller by the cosine of half a step."""
    found = found_on(
        single(turned(mesh_of(box((30, 30, 5)) - rod(10, 9, (15, 15, -1), facets)), 2))
    )
    (bore,) = [one for one in found.every if one.kind is Kind.BORE]
    assert bore.size_mm == pytest.approx(10.0, abs=MICROMETRE)
    assert bore.over_flats_mm == pytest.approx(10.0 * np.cos(np.pi / facets), abs=MICROMETRE)
    assert bore.facets_round == facets
    assert sizes(found.every, Kind.DEPTH) == pytest.approx([5.0], abs=MICROMETRE)


def test_boss_and_bore_are_told_apart_by_where_the_metal_is() -> None:
    tube = rod(20, 15, (0, 0, 0), 80) - rod(14, 30, (0, 0, -5), 60)
    found = found_on(single(mesh_of(tube)))
    assert sizes(found.every, Kind.BOSS) == pytest.approx([20.0], abs=MICROMETRE)
    assert sizes(found.every, Kind.BORE) == pytest.approx([14.0], abs=MICROMETRE)
    assert min(sizes(found.every, Kind.WALL)) == pytest.approx(3.0, abs=MICROMETRE)


def test_air_between_coaxial_rounds_is_no_wall() -> None:
    """A post of 10 in a cup of 24 inside, 30 outside: walls 3, gap 7."""
    cup = rod(30, 12, (0, 0, 0), 96) - rod(24, 12, (0, 0, 2), 96) + rod(10, 9, (0, 0, 1), 64)
    found = found_on(single(mesh_of(cup)))
    walls = sizes(found.every, Kind.WALL)
    assert {round(float(w), 3) for w in walls} == {3.0, 2.0, 10.0}
    assert sizes(found.every, Kind.INSIDE) == pytest.approx([7.0], abs=MICROMETRE)


def test_two_eyes_on_one_axis_are_one_bore_with_two_depths() -> None:
    fork = box((20, 30, 20)) - box((20, 16, 16), (-1 + 1, 5, 4))
    bar = manifold3d.Manifold.cylinder(60, 4, 4, 48).rotate([90, 0, 0]).translate([10, 50, 13])
    found = found_on(single(mesh_of(fork - bar)))
    (bore,) = [one for one in found.every if one.kind is Kind.BORE]
    assert bore.size_mm == pytest.approx(8.0, abs=MICROMETRE)
    assert bore.places == 1
    depths = sizes(found.every, Kind.DEPTH)
    assert np.sort(depths) == pytest.approx([5.0, 9.0], abs=MICROMETRE)


def test_slot_with_round_ends_has_its_width_and_pitch() -> None:
    """Ends of half a turn: their diameter is the slot's width, their distance its travel."""
    slot = box((20, 8, 30), (20, 16, -5)) + rod(8, 30, (20, 20, -5), 48)
    slot += rod(8, 30, (40, 20, -5), 48)
    found = found_on(single(turned(mesh_of(box((60, 40, 6)) - slot), 9)))
    assert sizes(found.every, Kind.BORE) == pytest.approx([8.0], abs=MICROMETRE)
    assert sizes(found.every, Kind.INSIDE) == pytest.approx([8.0], abs=MICROMETRE)
    assert sizes(found.every, Kind.AXES) == pytest.approx([20.0], abs=MICROMETRE)


def test_height_over_a_keyway() -> None:
    """Keyway 3.5 deep in a shaft of 24, and one of 2.8 in a bore of 20."""
    shaft = rod(24, 40, (0, 0, 0), 96) - box((8, 10, 20), (-4, 12 - 3.5, 5))
    found = found_on(single(turned(mesh_of(shaft), 4)))
    assert sizes(found.every, Kind.OVER_KEYWAY) == pytest.approx([20.5], abs=MICROMETRE)
    hub = rod(40, 12, (0, 0, 0), 96) - rod(20, 20, (0, 0, -2), 96)
    hub -= box((6, 12.8, 20), (-3, 0, -2))
    found = found_on(single(mesh_of(hub)))
    assert sizes(found.every, Kind.OVER_KEYWAY) == pytest.approx([22.8], abs=MICROMETRE)


def test_crossing_bores_keep_their_diameters() -> None:
    slanting = manifold3d.Manifold.cylinder(90, 2.5, 2.5, 40, True).rotate([35, 20, 0])
    solid = box((40, 30, 25), (-20, -15, -12.5)) - slanting - rod(7, 60, (0, 0, -30), 56)
    found = found_on(single(mesh_of(solid)))
    assert np.sort(sizes(found.every, Kind.BORE)) == pytest.approx([5.0, 7.0], abs=MICROMETRE)


def test_fillets_and_chamfers_leave_the_lengths_alone() -> None:
    """Corners rounded by 4, upper edge chamfered by 1: the sides are still 50 and 30 apart."""
    outline = manifold3d.CrossSection.square([42, 22], True).offset(
        4.0, manifold3d.JoinType.Round, circular_segments=64
    )
    smaller = manifold3d.CrossSection.square([42, 22], True).offset(
        3.0, manifold3d.JoinType.Round, circular_segments=64
    )
    body = manifold3d.Manifold.extrude(outline, 9)
    ring = manifold3d.Manifold.batch_hull(
        [
            manifold3d.Manifold.extrude(outline, 1e-3).translate([0, 0, 9 - 1e-3]),
            manifold3d.Manifold.extrude(smaller, 1e-3).translate([0, 0, 10 - 1e-3]),
        ]
    )
    found = found_on(single(turned(mesh_of(body + ring), 6)))
    walls = sizes(found.every, Kind.WALL)
    for side in (50.0, 30.0, 10.0):
        assert np.abs(walls - side).min() < MICROMETRE
    assert not len(sizes(found.every, Kind.BOSS))
    assert found.notes


@pytest.mark.parametrize(
    ("mesh", "is_ball"),
    [
        (trimesh.creation.icosphere(4, 15), True),
        (trimesh.creation.uv_sphere(12, count=[64, 64]), True),
        (trimesh.creation.torus(20, 5, 90, 40), False),
        (trimesh.creation.torus(20, 5, 400, 24), False),
        (trimesh.creation.cone(9, 15, sections=64).subdivide(), False),
    ],
    ids=["ball of triangles", "ball of rings", "ring", "fine ring", "cone"],
)
def test_nothing_is_invented_on_other_round_shapes(mesh: trimesh.Trimesh, is_ball: bool) -> None:
    """A ball has its diameter, the others overall sizes alone."""
    found = found_on(single(turned(mesh, 1)))
    true = [2.0 * float(np.linalg.norm(mesh.vertices[0]))] if is_ball else []
    assert {one.kind for one in found.every} - {Kind.BALL} == {Kind.OVERALL}
    assert sizes(found.every, Kind.BALL) == pytest.approx(true, abs=MICROMETRE)


def test_prisms_of_few_sides_are_no_rounds() -> None:
    """A hexagon of 20 over corners measures 17.32 across flats; it has no diameter."""
    found = found_on(single(turned(mesh_of(rod(20, 12, (0, 0, 0), 6)), 8)))
    assert not len(sizes(found.every, Kind.BOSS))
    walls = np.sort(sizes(found.every, Kind.WALL))
    assert walls == pytest.approx([12.0, 10 * np.sqrt(3)] + [10 * np.sqrt(3)] * 2, abs=MICROMETRE)


def test_sides_of_a_short_slot_are_no_strips_of_its_ends() -> None:
    """Sides 3.5 long between ends of 7.4 with facets 1.9 wide."""
    slot = box((3.5, 7.4, 30), (18, 16.3, -5)) + rod(7.4, 30, (18, 20, -5), 12)
    slot += rod(7.4, 30, (21.5, 20, -5), 12)
    found = found_on(single(mesh_of(box((60, 40, 8)) - slot)))
    assert sizes(found.every, Kind.INSIDE) == pytest.approx([7.4], abs=MICROMETRE)


def test_countersinks_make_no_steps() -> None:
    """Six holes with countersinks of 24 facets: 8 thick, and nothing else between faces."""
    solid = box((60, 40, 8))
    for x, y in ((10, 10), (30, 10), (50, 10), (10, 30), (30, 30), (50, 30)):
        solid -= rod(5.7, 20, (x, y, -5), 24)
        solid -= manifold3d.Manifold.cylinder(0.7, 2.85, 3.55, 24).translate([x, y, 7.3])
    found = found_on(single(mesh_of(solid)))
    assert not len(sizes(found.every, Kind.STEP))
    assert sizes(found.every, Kind.BORE) == pytest.approx([5.7], abs=MICROMETRE)


def test_loose_facets_have_overall_sizes_alone() -> None:
    """Facets that share no edge, one facet, and facets that are all thinner than the rounding."""
    loose = np.random.default_rng(2).uniform(-10, 10, (200, 3, 3))
    facets = np.arange(3 * len(loose)).reshape(-1, 3)
    soup = trimesh.Trimesh(loose.reshape(-1, 3), facets, process=False)
    assert {one.kind for one in found_on(single(soup)).every} == {Kind.OVERALL}
    one = trimesh.Trimesh([[0, 0, 0], [9, 0, 0], [0, 7, 3]], [[0, 1, 2]], process=False)
    assert len(found_on(single(one)).every) == 3
    sliver = trimesh.Trimesh([[0, 0, 0], [9, 0, 0], [4, 1e-7, 0]], [[0, 1, 2]], process=False)
    found = found_on(sliver)
    assert found.every == ()
    assert found.notes


def test_dozen_has_overall_sizes_and_no_value_twice() -> None:
    found = found_on(single(mesh_of(plate()[0])))
    dozen = found.dozen
    assert len(dozen) == 12
    assert [one.kind for one in dozen[:3]] == [Kind.OVERALL] * 3
    values = sorted(one.size_mm for one in dozen)
    assert min(np.diff(values)) > 1e-4
    assert {6.0, 5.2, 10.0, 18.0} <= {round(value, 3) for value in values}


def test_far_from_the_origin_what_single_precision_blurs_is_left_out() -> None:
    """A bore of 1 mm at 100 m has steps of 8 um: its facets' sagitta drowns in them."""
    mesh = mesh_of(box((6, 6, 2)) - rod(1, 9, (3, 3, -1), 96))
    mesh.vertices = np.asarray(mesh.vertices) + [1e5, 0, 0]
    found = found_on(single(mesh))
    assert not len(sizes(found.every, Kind.BORE))


def test_of_too_many_facets_only_the_overall_sizes_are_given(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("shrinkrule.dimensions.find.MOST_FACETS", 11)
    found = found_on(mesh_of(box([30.0, 20.0, 5.0])))
    assert [one.kind for one in found.every] == 3 * [Kind.OVERALL]
    assert [one.size_mm for one in found.every] == pytest.approx([30.0, 20.0, 5.0])
    assert found.notes == ("12 facets are too many to find more than the overall sizes",)


@pytest.mark.parametrize("lean", [0.5, 1.0])
def test_a_round_whose_rings_of_corners_do_not_face_each_other_is_measured(lean: float) -> None:
    """Facets run to and fro: corners of the two ends stand half a step apart, or lean by one.

    Where they lean by a whole step, every other crease is hollow though the pin is not.
    """
    count, radius, height = 24, 7.0, 9.0
    rings = []
    for z in (0.0, height):
        angles = 2.0 * np.pi * (np.arange(count) + (0.5 if z and lean == 0.5 else 0.0)) / count
        rings.append(np.stack([np.cos(angles), np.sin(angles), np.full(count, z / radius)], 1))
    points = np.concatenate([radius * np.concatenate(rings), [[0, 0, 0], [0, 0, height]]])
    k = np.arange(count)
    after, over = (k + 1) % count, (k + int(lean)) % count
    facets = np.concatenate(
        [
            np.stack([k, after, over + count], 1),
            np.stack([after, (over + 1) % count + count, over + count], 1),
            np.stack([np.full(count, 2 * count), after, k], 1),
            np.stack([np.full(count, 2 * count + 1), k + count, after + count], 1),
        ]
    )
    pin = single(trimesh.Trimesh(points, facets, process=False))
    assert pin.is_volume
    found = found_on(pin)
    assert sizes(found.every, Kind.BOSS) == pytest.approx([2.0 * radius], abs=MICROMETRE)
    assert sizes(found.every, Kind.DEPTH) == pytest.approx([height], abs=MICROMETRE)
    (boss,) = [one for one in found.every if one.kind is Kind.BOSS]
    assert boss.facets_round == count


def test_balls_are_measured_from_half_a_ball_on() -> None:
    """A knob of 14 mm on a block, in bands; a dome of less than half is no ball to measure."""
    block = box((30, 30, 6))
    for lift, wanted in ((9.0, [14.0]), (2.0, [])):
        ball = manifold3d.Manifold.sphere(7.0, 48).translate((15.0, 15.0, lift))
        found = found_on(single(mesh_of(block + ball)))
        assert sizes(found.every, Kind.BALL) == pytest.approx(wanted, abs=MICROMETRE)
        assert sizes(found.every, Kind.BOSS).tolist() == []
    hollow = found_on(single(mesh_of(box((30, 30, 30)) - ball.translate((0.0, 0.0, 13.0)))))
    (one,) = [one for one in hollow.every if one.kind is Kind.BALL]
    assert one.size_mm == pytest.approx(14.0, abs=MICROMETRE)
    assert one.feature is Feature.SLOT
    assert one.place == pytest.approx((15.0, 15.0, 15.0), abs=MICROMETRE)
