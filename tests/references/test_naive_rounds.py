"""Fits of rounds, circles around points, and beams, against general libraries and brute force."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import numpy as np
import pytest
import trimesh
from scipy.integrate import quad
from scipy.optimize import least_squares

from shrinkrule import part_from_mesh
from shrinkrule.dimensions.recognition.balls import balls_of
from shrinkrule.dimensions.recognition.creases import Creases, creases_of
from shrinkrule.dimensions.recognition.cylinders import Cylinder
from shrinkrule.dimensions.recognition.fitting import (
    Fit,
    corners_of,
    fit_cylinders,
    fit_each,
    largest_circle,
    two_across,
)
from shrinkrule.dimensions.recognition.noise import coordinate_noise
from shrinkrule.dimensions.recognition.planes import Faces
from shrinkrule.dimensions.recognition.regions import flat_regions
from shrinkrule.dimensions.recognition.surface import surface_of
from shrinkrule.dimensions.recognition.zigzag import zigzags
from shrinkrule.dimensions.rounds import straightened
from shrinkrule.furnace import BoxFurnace, enclosing_circle, fit_in_furnace
from shrinkrule.loads import footprint
from shrinkrule.numerics.arrays import Floats
from shrinkrule.physics.beam import Support, beam_drop_mm
from shrinkrule.physics.interval import blended_factor, half_width


def unit(vector: Floats) -> Floats:
    made: Floats = vector / np.linalg.norm(vector)
    return made


def fit_to_points(points: Floats, axis: Floats, *, kept: bool = False) -> Fit | None:
    """The fit to one group alone."""
    return fit_each(points, np.zeros(1, dtype=np.int64), axis[None], kept=kept)[0]


@pytest.mark.parametrize("seed", range(4))
def test_a_cylinder_is_that_of_least_squares(seed: int) -> None:
    rng = np.random.default_rng(seed)
    axis = unit(rng.normal(size=3))
    u, v = two_across(axis)
    assert np.stack([u, v, axis]) @ np.stack([u, v, axis]).T == pytest.approx(np.eye(3))
    turn = rng.uniform(0.0, 2.0 * np.pi if seed % 2 else 2.0, 30)
    centre, radius = rng.normal(size=3) * 20.0, float(rng.uniform(1.0, 8.0))
    points = centre + radius * (np.outer(np.cos(turn), u) + np.outer(np.sin(turn), v))
    points += rng.uniform(-4.0, 4.0, (30, 1)) * axis + rng.normal(0.0, 0.003, (30, 3))
    near = unit(axis + 0.02 * rng.normal(size=3))

    def off(x: Floats, kept: bool) -> Floats:
        way = near if kept else unit(near + x[3] * np.cross(near, u) + x[4] * np.cross(near, v))
        rest = points - x[:3] - 0.0
        away = np.linalg.norm(rest - np.outer(rest @ way, way), axis=1)
        made: Floats = away - x[5]
        return made

    for kept in (False, True):
        found = fit_to_points(points, near, kept=kept)
        assert found is not None
        best = least_squares(off, [*centre, 0.0, 0.0, radius], args=(kept,), xtol=1e-14, ftol=1e-14)
        assert found[2] == pytest.approx(best.x[5], rel=1e-4)
        assert found[3] == pytest.approx(np.abs(best.fun).max(), rel=2e-2)
        rest = best.x[:3] - found[1]
        assert np.linalg.norm(rest - (rest @ found[0]) * found[0]) < 2e-3
        assert (abs(found[0] @ near) == pytest.approx(1.0, abs=1e-12)) == kept
    assert fit_to_points(points[:2], near) is None
    in_line = np.outer(np.arange(6.0), unit(np.array([1.0, 2.0, 0.0])))
    assert fit_to_points(in_line, np.array([0.0, 0.0, 1.0])) is None


def test_cylinders_fitted_together_are_those_fitted_alone() -> None:
    """Rounds, an arc, points in line, points on the axis and too few points, among each other."""
    rng = np.random.default_rng(5)
    groups, axes = [], []
    for count, reach in ((30, 6.3), (12, 2.0), (9, 6.3)):
        axis = unit(rng.normal(size=3))
        u, v = two_across(axis)
        turn = rng.uniform(0.0, reach, count)
        round_ = rng.uniform(1, 9) * (np.outer(np.cos(turn), u) + np.outer(np.sin(turn), v))
        groups.append(round_ + rng.uniform(-9, 9, 3) + rng.uniform(-4, 4, (count, 1)) * axis)
        groups[-1] += rng.normal(0.0, 0.003, (count, 3))
        axes.append(unit(axis + 0.02 * rng.normal(size=3)))
    groups.insert(1, np.outer(np.arange(6.0), unit(np.array([1.0, 2.0, 0.0]))))
    groups.insert(2, np.eye(3)[:2])
    square = np.array([[1.0, 1.0, 0.0], [-1.0, 1.0, 0.0], [-1.0, -1.0, 0.0], [1.0, -1.0, 0.0]])
    groups.append(np.concatenate([square, -square, np.zeros((1, 3))]))
    axes[1:1] = [np.array([0.0, 0.0, 1.0])] * 2
    axes.append(np.array([0.0, 0.0, 1.0]))
    start = np.cumsum([0, *(len(group) for group in groups)])[:-1]
    for kept in (False, True):
        together = fit_each(np.concatenate(groups), start, np.stack(axes), kept=kept)
        assert [one is None for one in together] == [False, True, True, False, False, True]
        for group, axis, one in zip(groups, axes, together, strict=True):
            alone = fit_to_points(group, axis, kept=kept)
            if one is None or alone is None:
                assert one is alone
                continue
            assert one.axis == pytest.approx(alone.axis, abs=1e-9)
            assert one.centre == pytest.approx(alone.centre, abs=1e-9)
            assert [one.radius, one.off] == pytest.approx([alone.radius, alone.off], abs=1e-9)


def test_corners_of_chains_are_there_once() -> None:
    creases = ring_creases(4.0, 6, np.zeros((0, 2)))
    points, start = corners_of(creases, [np.array([0, 1, 0]), np.array([5]), np.array([0])])
    assert start.tolist() == [0, 4, 6]
    ends = np.concatenate([creases.low, creases.high])
    for part, wanted in zip(
        np.split(points, start[1:]), ([0, 1, 6, 7], [5, 11], [0, 6]), strict=True
    ):
        assert sorted(part.tolist()) == sorted(ends[wanted].tolist())


def leaning(tilt: float, half_mm: float, length_mm: float, first: int) -> tuple[Creases, Cylinder]:
    """Twelve creases about an axis that leans, numbered from ``first`` on, and their cylinder."""
    axis = unit(np.array([tilt, 0.0, 1.0]))
    u, v = two_across(axis)
    turn = 2.0 * np.pi * np.arange(12) / 12
    ring = 3.0 * (np.outer(np.cos(turn), u) + np.outer(np.sin(turn), v)) + [10.0 * first, 0.0, 0.0]
    along, length = np.tile(axis, (12, 1)), np.full(12, 2.0 * half_mm)
    number = np.arange(first, first + 12)
    creases = Creases(
        np.column_stack([number, number]),
        ring - half_mm * axis,
        ring + half_mm * axis,
        along,
        length,
        np.full(12, 0.5),
    )
    centre = np.array([10.0 * first, 0.0, 0.0])
    one = Cylinder(
        axis, centre, 3.0, 3.0, True, length_mm, (), 2.0 * np.pi, 12, number, number, turn
    )
    return creases, one


def test_a_round_that_a_face_does_not_fit_lends_its_axis_to_the_next() -> None:
    """Both might stand across the face, by how short they are; the corners of the longer one say
    that it does not. The shorter one then lies nearer to that than to the face."""
    noise = 0.01
    (one, longer), (other, shorter) = leaning(0.01, 5.0, 5.0, 0), leaning(0.011, 2.0, 4.0, 12)
    both = Creases(
        *(
            np.concatenate([getattr(one, name), getattr(other, name)])
            for name in ("regions", "low", "high", "along", "length", "turn")
        )
    )
    nothing, empty = np.zeros(0, dtype=np.int64), np.zeros((0, 2))
    face = Faces(np.array([[0.0, 0.0, 1.0]]), nothing, nothing, np.zeros(0), np.zeros(0), empty,
                 empty, nothing)  # fmt: skip
    first, second = straightened([longer, shorter], both, face, noise)
    assert first is longer
    assert second.axis == pytest.approx(longer.axis, abs=1e-15)
    alone = straightened([shorter], both, face, noise)[0]
    assert alone.axis == pytest.approx([0.0, 0.0, 1.0], abs=1e-15)
    assert alone.radius_mm == pytest.approx(3.0, abs=1e-3)
    assert alone.centre == pytest.approx([120.0, 0.0, 0.0], abs=1e-6)


def ring_creases(radius: float, count: int, strays: Floats) -> Creases:
    """Upright creases on a circle, and strays beside it."""
    turn = 2.0 * np.pi * np.arange(count) / count
    flat = np.concatenate([radius * np.column_stack([np.cos(turn), np.sin(turn)]), strays]) + 3.0
    low, high = (
        np.column_stack([flat, np.zeros(len(flat))]),
        np.column_stack([flat, np.full(len(flat), 5.0)]),
    )
    along = (
        np.tile([0.0, 0.0, 1.0], (len(flat), 1))
        * np.where(np.arange(len(flat)) % 3, 1, -1)[:, None]
    )
    number = np.arange(len(flat))
    pairs = np.column_stack([number, number + 1])
    return Creases(pairs, low, high, along, np.full(len(flat), 5.0), np.full(len(flat), 0.3))


def test_the_circle_with_most_creases_is_found_among_strays() -> None:
    strays = np.array([[1.0, 0.2], [-2.0, 0.4], [0.3, 6.0]])
    creases = ring_creases(4.0, 14, strays)
    found = largest_circle(creases, np.arange(17), 0.01)
    assert sorted(found) == list(range(14))
    some = np.array([0, 2, 5, 7, 9, 14, 15])
    assert sorted(largest_circle(creases, some, 0.01)) == [0, 2, 5, 7, 9]
    fit = fit_cylinders(creases, [np.arange(14)])[0]
    assert fit is not None
    assert np.abs(fit[0]) == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)
    assert fit[1][:2] == pytest.approx([3.0, 3.0], abs=1e-9)
    assert list(fit[2:]) == pytest.approx([4.0, 0.0], abs=1e-9)


@pytest.mark.parametrize("digits", [2, 3, 4])
def test_noise_is_the_last_decimal_that_is_written(digits: int) -> None:
    rng = np.random.default_rng(digits)
    points = rng.uniform(-80.0, 80.0, (60, 3))
    assert coordinate_noise(np.round(points, digits)) == pytest.approx(10.0**-digits, rel=1e-6)
    inches = coordinate_noise(np.round(points, digits) * 25.4, 25.4)
    assert inches == pytest.approx(25.4 * 10.0**-digits, rel=1e-6)
    assert coordinate_noise(points) == pytest.approx(np.spacing(np.float32(np.abs(points).max())))
    sized = np.array([[float(f"{x:.5g}") for x in row] for row in points])
    assert coordinate_noise(sized) == pytest.approx(1e-3, rel=1e-6)


def test_creases_regions_balls_and_zigzags_of_known_bodies() -> None:
    box = trimesh.creation.box((6.0, 5.0, 4.0)).subdivide()
    surface = surface_of(part_from_mesh(box).mesh, 1e-6)
    regions = flat_regions(surface)
    assert len(regions) == 6
    assert sorted(regions.areas) == pytest.approx([20.0, 20.0, 24.0, 24.0, 30.0, 30.0])
    assert sorted(regions.levels) == pytest.approx([2.0, 2.0, 2.5, 2.5, 3.0, 3.0])
    creases = creases_of(surface, regions)
    assert len(creases.length) == 12
    assert sorted(creases.length) == pytest.approx([4.0] * 4 + [5.0] * 4 + [6.0] * 4)
    assert creases.turn == pytest.approx(np.full(12, 0.5 * np.pi))
    ends = np.linalg.norm(creases.high - creases.low, axis=1)
    assert ends == pytest.approx(creases.length)
    assert (creases.high - creases.low) / ends[:, None] == pytest.approx(creases.along)
    ball = trimesh.creation.icosphere(2, 3.0).apply_translation((1.0, 2.0, 3.0))
    hollow = ball.copy()
    hollow.invert()
    for mesh, solid in ((ball, True), (hollow, False)):
        surface = surface_of(mesh, 1e-6)
        regions = flat_regions(surface)
        creases = creases_of(surface, regions)
        none = np.zeros(len(regions), dtype=np.bool_)
        (one,) = balls_of(surface, regions, creases, none)
        assert one.centre == pytest.approx([1.0, 2.0, 3.0], abs=1e-6)
        assert one.radius_mm == pytest.approx(3.0)
        assert one.is_solid == solid
        assert one.area_mm2 == pytest.approx(mesh.area)
        assert (np.sign(creases.turn) == (1 if solid else -1)).all()
    cap = trimesh.intersections.slice_mesh_plane(ball, (0, 0, 1), (1, 2, 3.5), cap=False)
    surface = surface_of(cap, 1e-6)
    regions = flat_regions(surface)
    assert not balls_of(
        surface, regions, creases_of(surface, regions), np.zeros(len(regions), np.bool_)
    )
    turn = 2.0 * np.pi * np.arange(16) / 16
    low = np.column_stack([2 * np.cos(turn), 2 * np.sin(turn), np.zeros(16)])
    high = np.column_stack([2 * np.cos(turn + 0.17), 2 * np.sin(turn + 0.17), np.full(16, 5.0)])
    here, after = np.arange(16), (np.arange(16) + 1) % 16
    sides = np.vstack(
        [np.column_stack([here, after, here + 16]), np.column_stack([after, after + 16, here + 16])]
    )
    rod = trimesh.Trimesh(np.vstack([low, high]), sides, process=False)
    surface = surface_of(rod, 1e-6)
    regions = flat_regions(surface)
    (chain,) = zigzags(regions, creases_of(surface, regions), np.zeros(len(regions), np.bool_))
    assert np.abs(chain[1]) == pytest.approx([0.0, 0.0, 1.0], abs=2e-2)


@pytest.mark.parametrize("seed", range(6))
def test_the_smallest_circle_and_the_room_in_a_box(seed: int) -> None:
    """The circle through two or three of the points that holds all, by trying every one."""
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(9, 3)) * [12.0, 5.0, 4.0]
    flat = points[:, :2]
    if seed == 0:
        flat = flat[:1]
    centre, radius = enclosing_circle(flat)
    every = [(flat[[a]].mean(axis=0), 0.0) for a in range(len(flat))] if len(flat) == 1 else []
    for pair in combinations(range(len(flat)), 2):
        middle = flat[list(pair)].mean(axis=0)
        every.append((middle, float(np.linalg.norm(flat[pair[0]] - middle))))
    for a, b, c in combinations(flat, 3):
        at = np.linalg.solve(2.0 * np.array([b - a, c - a]), [b @ b - a @ a, c @ c - a @ a])
        every.append((at, float(np.linalg.norm(a - at))))
    holding = [(r, m) for m, r in every if (np.linalg.norm(flat - m, axis=1) <= r + 1e-9).all()]
    best, middle = min(holding, key=lambda one: one[0])
    assert radius == pytest.approx(best)
    assert centre == pytest.approx(middle, abs=1e-6)
    furnace = BoxFurnace(40.0, 30.0, 22.0)
    found = fit_in_furnace(points, furnace)
    spares = []
    for degrees in range(180):
        turn = np.exp(1j * np.radians(degrees))
        turned = (points[:, :2] @ np.array([1.0, 1.0j])) * np.conj(turn)
        spares.append(min(36.0 - np.ptp(turned.real), 26.0 - np.ptp(turned.imag)))
    height = 18.0 - np.ptp(points[:, 2])
    assert found.spare_mm == pytest.approx(min(height, max(spares)))
    assert found.tight == ("height" if height < max(spares) else "floor")
    assert found.turned_deg == int(np.argmax(spares))
    assert found.fits == (found.spare_mm >= 0.0)
    room = footprint(points)
    middle = 0.5 * (flat.min(axis=0) + flat.max(axis=0)) if seed else room.reach_mm[:2]
    if seed:
        for number in range(48):
            way = [np.cos(np.pi * number / 24), np.sin(np.pi * number / 24)]
            assert room.reach_mm[number] == pytest.approx(((flat - middle) @ way).max())
    assert room.height_mm == pytest.approx(np.ptp(points[:, 2]))
    back = room.turned(5).turned(-5)
    assert back.reach_mm == pytest.approx(room.reach_mm)
    assert room.turned(12).corners == pytest.approx(
        np.roll(room.corners @ [[0, 1], [-1, 0]], 12, axis=0)
    )


@pytest.mark.parametrize("support", list(Support))
def test_beams_drop_as_the_curve_of_their_moments(support: Support) -> None:
    """Twice integrated: bending moment over stiffness, and shear over its own."""
    span, depth, modulus, density = 21.0, 1.7, 640.0, 7.9
    load, stiffness = 9.80665e-6 * density * depth * 1.0, modulus * 1e-3 * depth**3 / 12.0
    moments: dict[Support, Callable[[float], float]] = {
        Support.BOTH_RESTING: lambda x: load * x * (span - x) / 2.0,
        Support.BOTH_BUILT_IN: lambda x: load * x * (span - x) / 2.0 - load * span**2 / 12.0,
        Support.ONE_BUILT_IN: lambda x: load * (span - x) ** 2 / 2.0,
    }
    moment = moments[support]
    # Moment and shear by one force at the place that is looked at: middle or tip.
    tip = support is Support.ONE_BUILT_IN
    fixed = span / 8.0 if support is Support.BOTH_BUILT_IN else 0.0
    reach, times = (span, 1.0) if tip else (span / 2.0, 2.0)

    def by_unit(x: float) -> float:
        return span - x if tip else x / 2.0 - fixed

    def shear(x: float) -> float:
        return load * (span - x) if tip else 0.5 * load * (span / 2.0 - x)

    bent = times * quad(lambda x: moment(x) * by_unit(x), 0.0, reach)[0] / stiffness
    assert beam_drop_mm(support, span, depth, modulus, density) == pytest.approx(bent, rel=1e-4)
    poisson = 0.31
    slid = times * quad(shear, 0.0, reach)[0]
    slid /= 5.0 / 6.0 * modulus * 1e-3 / (2.0 * (1.0 + poisson)) * depth
    whole = beam_drop_mm(support, span, depth, modulus, density, poisson)
    assert whole == pytest.approx(bent + slid, rel=1e-4)


def test_factors_of_intervals_at_their_ends_and_between() -> None:
    """All of a variance of few degrees: Student's factor; none: the normal one; between: less."""
    # Quantiles as every table of Student's distribution has them; infinite is the normal one.
    table = {
        0.95: {1.0: 12.7062, 3.0: 3.18245, 12.0: 2.17881, np.inf: 1.95996},
        0.5: {1.0: 1.0, 3.0: 0.764892, 12.0: 0.695483, np.inf: 0.674490},
    }
    for confidence, quantiles in table.items():
        normal = quantiles.pop(np.inf)
        for dof, student in quantiles.items():
            for share in (0.0, 0.25, 0.7, 1.0):
                expected = normal + (student - normal) * share ** (2.0 - 0.75 / dof)
                found = blended_factor([share, 1.0 - share], [dof, np.inf], confidence)
                assert float(found) == pytest.approx(expected, rel=1e-5)
                width = half_width([4.0 * share, 4.0 - 4.0 * share], [dof, np.inf], confidence)
                assert float(width) == pytest.approx(2.0 * expected, rel=1e-5)
    assert float(half_width([0.0, 0.0], [2.0, np.inf])) == 0.0
