"""Balls on plates, wedges and notches whose walls are known without them."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection

from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.printer import Printer
from shrinkrule.walls.limits import MARGIN_MM, WallLimits
from shrinkrule.walls.thickness.corners import bitangent_samples
from shrinkrule.walls.thickness.growth import OPPOSITE_DEGREES, grown_balls
from shrinkrule.walls.thickness.local import local_walls
from shrinkrule.walls.thickness.refinement import SLACK, _is_inscribed
from shrinkrule.walls.thickness.spheres import (
    Status,
    Surface,
    ThicknessSamples,
    largest_balls,
    thickness_on,
)

PRINTER, LIMITS = Printer(0.6, 0.6, 0.2), WallLimits()


def extruded(outline: list[tuple[float, float]], length: float) -> trimesh.Trimesh:
    return mesh_from_solid(CrossSection([np.array(outline)]).extrude(length))


def wedge(degrees: float, length: float = 30.0) -> trimesh.Trimesh:
    """Faces that meet at an angle along Z at the origin, 30 mm long towards X."""
    half = 30.0 * np.tan(np.radians(degrees / 2.0))
    return extruded([(0.0, 0.0), (30.0, -half), (30.0, half)], length)


@pytest.mark.parametrize(("reach", "measured"), [(6.0, False), (9.9, False), (10.1, True)])
def test_nothing_wider_than_the_reach_is_measured(reach: float, measured: bool) -> None:
    """From the middle of a block's face: 10 mm across, 7 mm and more to any other side."""
    surface = Surface(trimesh.creation.box((16.0, 15.0, 10.0)))
    facet = np.flatnonzero(surface.tree.normals[:, 2] > 0.9)[:1]
    point, up = np.array([[0.5, 0.2, 5.0]]), np.array([[0.0, 0.0, 1.0]])
    radius, _, status = largest_balls(surface, point, up, facet, reach)
    assert (status[0] == Status.OPEN) is np.bool_(not measured)
    assert np.isnan(radius[0]) is np.bool_(not measured)


@pytest.mark.parametrize("seed", range(3))
def test_every_ball_in_a_tilted_plate_is_as_large_as_the_plate_is_thick(seed: int) -> None:
    """Points on both faces by turns: each touches the facet that the one before lay on."""
    rng = np.random.default_rng(seed)
    plate = trimesh.creation.box((40.0, 40.0, 1.0))
    turn = trimesh.transformations.random_rotation_matrix(rng.random(3))
    share = rng.uniform(-8.0, 8.0, (400, 2))
    side = np.where(np.arange(400) % 2 == 0, 0.5, -0.5)
    points = np.column_stack([share, side]) @ turn[:3, :3].T
    plate.apply_transform(turn)
    surface = Surface(plate)
    _, _, facets = trimesh.proximity.closest_point(plate, points)
    found = thickness_on(surface, points, np.asarray(facets), np.zeros(400), np.zeros(400))
    assert found.thickness == pytest.approx(np.ones(400), abs=1e-9)
    assert np.all(found.status == Status.MEASURED)


@pytest.mark.parametrize(
    ("degrees", "held"), [(OPPOSITE_DEGREES - 2.0, True), (OPPOSITE_DEGREES + 4.0, False)]
)
def test_a_ball_is_held_between_faces_of_less_than_ten_degrees(degrees: float, held: bool) -> None:
    """At distance x from the edge it has the radius x sin(a/2); elsewhere it grows to the goal."""
    surface = Surface(wedge(degrees))
    start = np.array([[12.0, 0.0, 15.0]])
    size = 12.0 * float(np.sin(np.radians(degrees / 2.0)))
    grown = grown_balls(
        surface.tree, start - surface.middle, np.array([size]), np.array([1.5 * size])
    )
    if held:
        assert grown.radius[0] == pytest.approx(size, rel=0.01)
        assert np.isnan(grown.passed[0, -1]).all()
    else:
        assert grown.radius[0] >= 1.5 * size * 0.99
        # Where the faces are that far apart.
        assert (grown.passed[0, -1] + surface.middle)[0] == pytest.approx(18.0, rel=0.02)


@pytest.mark.parametrize(
    ("off", "touches"), [(0.0, True), (1.5, True), (2.5, False), (-3.5, False)]
)
def test_a_contact_off_the_surface_by_two_tolerances_is_none(off: float, touches: bool) -> None:
    """A ball of a plate 2 mm thick whose contact is said to lie so many tolerances off it."""
    surface = Surface(trimesh.creation.box((20.0, 20.0, 2.0)))
    up = np.array([[0.0, 0.0, 1.0]])
    samples = ThicknessSamples(
        np.array([[1.0, 2.0, 1.0]]),
        up,
        np.flatnonzero(surface.tree.normals[:, 2] > 0.9)[:1],
        np.array([2.0]),
        np.array([[1.0, 2.0, -1.0 + off * SLACK]]),
        np.array([Status.MEASURED], dtype=np.int8),
        np.zeros(1),
        np.zeros(1),
    )
    assert list(_is_inscribed(surface, samples)) == [touches]


def test_the_rim_of_a_sheet_belongs_to_a_wall_as_thick_as_the_sheet() -> None:
    """A ball on the rim, small beside its edge, grows into the sheet: diameter and thickness."""
    surface = Surface(trimesh.creation.box((20.0, 10.0, 0.5)))
    points = np.array([[10.0, 1.0, 0.1], [10.0, -2.0, -0.15], [10.0, 0.5, 0.2]])
    facets = np.flatnonzero(surface.tree.normals[:, 0] > 0.9)[[0, 0, 0]]
    samples = thickness_on(surface, points, facets, np.full(3, 0.01), np.zeros(3))
    assert np.all(samples.thickness < 0.45), "they do not measure the sheet themselves"
    walls = local_walls(surface, samples, PRINTER, LIMITS, 0.2)
    assert walls.thickness == pytest.approx(np.full(3, 0.5), abs=1e-3)
    assert walls.diameter == pytest.approx(np.full(3, 0.5), rel=0.01)


@pytest.mark.parametrize("degrees", [30.0, 40.0])
def test_an_upright_edge_loses_what_a_ball_of_one_bead_does_not_reach(degrees: float) -> None:
    """A disk of one bead in a corner of angle a leaves (1 / sin(a/2) - 1) / 2 of its diameter."""
    surface = Surface(wedge(degrees))
    half = np.radians(degrees / 2.0)
    along = np.array([0.5, 0.6, 0.75])  # balls of 0.27 to 0.55 mm
    points = np.column_stack([along * np.cos(half), along * np.sin(half), np.full(3, 15.0)])
    facet = int(np.argmax(surface.tree.normals @ [-np.sin(half), np.cos(half), 0.0]))
    samples = thickness_on(surface, points, np.full(3, facet), np.full(3, 0.01), np.zeros(3))
    walls = local_walls(surface, samples, PRINTER, LIMITS, 0.2)
    bead = LIMITS.exist_mm(PRINTER)
    assert walls.edge_limit == pytest.approx(np.full(3, bead))
    lost = 0.5 * (1.0 / np.sin(half) - 1.0) * (bead - MARGIN_MM)
    assert walls.edge_whole == pytest.approx(np.full(3, lost), rel=0.03)


@pytest.mark.parametrize("left_mm", [0.5, 0.9])
def test_between_two_notches_a_wall_is_found(left_mm: float) -> None:
    """A bar 4 mm thick, notched from both sides down to what is left between the notches' tips."""
    tip = left_mm / 2.0
    outline = [(-9.0, -2.0), (-2.0, -2.0), (0.0, -tip), (2.0, -2.0), (9.0, -2.0)]
    part = extruded([*outline, *((-x, -y) for x, y in outline)], 6.0)
    found = bitangent_samples(part, Surface(part), 0.5, 1.2)
    assert len(found.thickness) > 5
    assert found.thickness == pytest.approx(np.full(len(found.thickness), left_mm), rel=1e-6)
    ends = np.stack([found.points, found.contacts])
    assert np.abs(ends[:, :, :2]) == pytest.approx(
        np.broadcast_to([0.0, tip], (2, len(found.thickness), 2)), abs=1e-6
    )


@pytest.mark.parametrize("degrees", [12.0, 25.0, 40.0])
@pytest.mark.parametrize("off", [0.1, 0.5, 0.9])
def test_a_ball_in_a_wedge_grows_along_its_middle(degrees: float, off: float) -> None:
    """From beside the middle plane: at x from the edge the ball has the radius x sin(a/2).

    It goes to the middle first: straight off, it would zigzag and pass each radius further out,
    by 0.1 to 1 %.
    """
    surface = Surface(wedge(degrees))
    half = np.radians(degrees / 2.0)
    start = np.array([[5.0, off * 5.0 * np.tan(half), 15.0]])
    size = (5.0 * np.sin(half) - start[0, 1] * np.cos(half)) * (1.0 - 1e-9)
    goals = np.array([6.0, 10.0]) * np.sin(half)
    grown = grown_balls(surface.tree, start - surface.middle, np.array([size]), goals)
    passed = grown.passed[0] + surface.middle
    assert passed[:, 0] == pytest.approx([6.0, 10.0], rel=2e-4)
    assert passed[:, 1] == pytest.approx([0.0, 0.0], abs=5e-4)
    assert grown.radius[0] == pytest.approx(goals[1], rel=1e-3)
    ends = np.sort(grown.ends[0] + surface.middle, axis=0)
    assert ends[:, 1] == pytest.approx(np.array([-1.0, 1.0]) * goals[1] * np.cos(half), rel=1e-3)
