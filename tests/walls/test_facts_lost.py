"""What layers lose: where they look, how a tip differs from a wall, floors that slope, disks."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, Manifold

from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, WallLimits, layer_findings
from shrinkrule.walls.findings import in_print
from shrinkrule.walls.layers.floors import LEVEL_DEGREES, Floors, thin_floors
from shrinkrule.walls.layers.loops import chain_pieces, cut_facets, pair_sides
from shrinkrule.walls.layers.narrow import Narrow
from shrinkrule.walls.layers.notes import limits_of_sight
from shrinkrule.walls.layers.openings import _window
from shrinkrule.walls.layers.shell import shell_of
from shrinkrule.walls.layers.stack import Stack
from shrinkrule.walls.layers.widths import chords_across, narrowest, segments_of

PRINTER, LIMITS = Printer(0.6, 0.6, 0.2), WallLimits()
WALL = trimesh.creation.box((20.0, 0.3, 3.0)).apply_translation((30.0, -7.0, 1.5))


@pytest.mark.parametrize(("beside_mm", "seen"), [(1.0, True), (1.7, True), (1.9, False)])
def test_layers_look_one_and_a_half_of_the_larger_limit_beside_a_place(
    beside_mm: float, seen: bool
) -> None:
    """A sound wall needs two beads, 1.2 mm; a floor three layers, 0.6 mm: 1.8 mm to each side."""
    place = np.array([[30.0, -7.0 + 0.15 + beside_mm, 1.5]])
    where = Narrow(place, np.empty((0, 3)))
    found = layer_findings(WALL, PRINTER, LIMITS, narrow=where).findings
    assert [each.kind for each in found] == [FindingKind.THIN_WALL] * seen


def spike(degrees: float, height: float) -> trimesh.Trimesh:
    """A three-sided spike whose faces lean so far from upright, on a plate."""
    inscribed = height * np.tan(np.radians(degrees))
    turn = np.radians([90.0, 210.0, 330.0])
    foot = 2.0 * inscribed * np.column_stack([np.cos(turn), np.sin(turn)])
    points = [(*corner, 1.0) for corner in foot] + [(0.0, 0.0, 1.0 + height)]
    base = [(*corner, 0.0) for corner in 1.2 * foot] + [(*corner, 1.5) for corner in 1.2 * foot]
    solid = Manifold.hull_points(np.array(points)) + Manifold.hull_points(np.array(base))
    return mesh_from_solid(solid)


@pytest.mark.parametrize(("degrees", "is_wall"), [(4.0, True), (10.0, False), (12.0, False)])
def test_the_tip_of_a_spike_is_no_wall(degrees: float, is_wall: bool) -> None:
    """Its section at a depth h under the tip grows by 2 / h of itself per height.

    Where its inscribed circle is as wide as a limit w, that is 4 tan(lean) / w; a ridge of 30
    degrees grows by 2 tan(15 degrees) / w: a lean of 7.6 degrees is as blunt.
    """
    assert np.degrees(np.arctan(np.tan(np.radians(15.0)) / 2.0)) == pytest.approx(7.6, abs=0.05)
    found = layer_findings(spike(degrees, 4.0 / np.tan(np.radians(degrees))), PRINTER, LIMITS)
    walls = [
        f for f in found.findings if f.kind in (FindingKind.THIN_WALL, FindingKind.SINGLE_BEAD)
    ]
    assert bool(walls) is is_wall


@pytest.mark.parametrize("towards", [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.7, 0.7, 0.0)])
def test_a_foil_that_slopes_as_much_as_a_floor_may_is_one_floor(
    towards: tuple[float, float, float],
) -> None:
    """From column to column it rises by far more than it is thick."""
    slope = np.radians(LEVEL_DEGREES - 1.0)
    foil = trimesh.creation.box((12.0, 12.0, 0.005))
    foil.apply_transform(trimesh.transformations.rotation_matrix(slope, towards))
    found = thin_floors(shell_of(foil, in_print), 0.6, 0.6).found
    assert len(found) == 1
    # Both sides, as columns see it from above.
    assert found[0].finding.area_mm2 == pytest.approx(2.0 * 12.0 * 12.0 * np.cos(slope), rel=0.2)


@pytest.mark.parametrize(("cell_mm", "said"), [(0.12, False), (0.29, False), (0.4, True)])
def test_floors_measured_more_coarsely_than_half_a_bead_are_said(
    cell_mm: float, said: bool
) -> None:
    shell = shell_of(WALL, in_print)
    stack = Stack(shell, PRINTER.layer_height_mm)
    stack.cut(lambda _: None)
    floors = replace(thin_floors(shell, 0.6, 0.6), cell_mm=cell_mm)
    notes = " ".join(limits_of_sight(stack, [], floors, True, 0.6))
    assert (f"every {cell_mm:g} mm only" in notes) is said


@pytest.mark.parametrize("shift", [(0.0, 0.0), (30.0, -7.0)])
def test_a_triangle_is_as_wide_as_its_inscribed_circle(shift: tuple[float, float]) -> None:
    """Sides of 3, 4 and 5: a circle of radius 1 about (1, 1); no two sides face each other."""
    corners = np.array([(0.0, 0.0), (4.0, 0.0), (0.0, 3.0)]) + shift
    piece = CrossSection([corners])
    chords = chords_across(piece, segments_of(piece), 5.0)
    width, middle, _ = narrowest(piece, chords, np.zeros(len(chords.facing), dtype=np.bool_), 5.0)
    assert width == pytest.approx(2.0, abs=2e-3)
    assert middle == pytest.approx(np.array([1.0, 1.0]) + shift, abs=2e-3)


def test_of_a_large_region_only_what_lies_about_a_narrow_point_is_opened() -> None:
    """Within eight radii of each point all of it is opened, and less than half of the region."""
    region = CrossSection.circle(40.0, 200)
    points, radius = np.array([[10.0, 5.0], [12.0, 5.0], [-20.0, -9.0]]), 0.3
    window = _window(region, radius, points)
    assert window is not None
    assert window.area() < 0.5 * region.area()
    for x, y in points:
        square = CrossSection.square((4.8, 4.8), center=True).translate((x, y))
        assert (square - window).is_empty()
    assert _window(CrossSection.square((40.0, 40.0)), radius, points) is None, "few edges"
    assert _window(CrossSection.circle(3.0, 200), radius, points) is None, "hardly larger"


@pytest.mark.parametrize("seed", range(6))
def test_pieces_of_a_cut_follow_each_other_and_open_outlines_come_first(seed: int) -> None:
    """Three tubes cut half-way, facets in any order; one of them lacks two facets of its side."""
    tubes = [trimesh.creation.cylinder(2.0, 6.0, sections=12) for _ in range(3)]
    for tube, x in zip(tubes, (-9.0, 0.0, 9.0), strict=True):
        tube.apply_translation((x, 0.0, 3.0))
    side = np.flatnonzero(np.abs(tubes[1].face_normals[:, 2]) < 0.5)
    gone = side[np.argsort(tubes[1].triangles_center[side, 0])[:2]]
    tubes[1].update_faces(np.delete(np.arange(len(tubes[1].faces)), gone))
    both = trimesh.util.concatenate(tubes)
    faces = np.random.default_rng(seed).permutation(np.asarray(both.faces, dtype=np.int64))
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    keys = np.minimum(start, end) * (faces.max() + 1) + np.maximum(start, end)
    keys = keys * 2 + (start < end)
    twin = np.asarray(pair_sides(keys, np.argsort(keys), len(keys)))
    near = np.arange(len(faces), dtype=np.int32)
    sides, starts, ends = cut_facets(faces, np.asarray(both.vertices), near, 3.1)
    order, begins, opened = chain_pieces(sides, twin, np.empty(len(faces), dtype=np.int64))
    assert (len(begins) - 1, opened) == (3, 1)
    assert np.array_equal(np.sort(order), np.arange(len(sides)))
    for outline, (first, after) in enumerate(pairwise(begins)):
        chain = order[first:after]
        assert ends[chain[:-1]] == pytest.approx(starts[chain[1:]])
        closed = np.allclose(ends[chain[-1]], starts[chain[0]])
        assert closed is (outline >= opened)


def test_a_floor_that_slopes_reaches_from_its_lowest_point_to_its_highest() -> None:
    """12 mm at 5 degrees rise by 1.046 mm, and the plate of 0.3 mm adds its thickness."""
    slope = np.radians(5.0)
    plate = trimesh.creation.box((12.0, 12.0, 0.3))
    plate.apply_transform(trimesh.transformations.rotation_matrix(slope, (0.0, 1.0, 0.0)))
    plate.apply_translation((0.0, 0.0, 7.0))
    (found,) = thin_floors(shell_of(plate, in_print), 0.6, 0.6).found
    half = (12.0 * np.sin(slope) + 0.3 * np.cos(slope)) / 2.0
    reach = found.finding.height_range_mm
    assert reach == pytest.approx((7.0 - half, 7.0 + half), abs=0.05)
    assert (found.finding.box[0][2], found.finding.box[1][2]) == pytest.approx(reach)


def test_a_floor_holds_what_is_within_reach_above_and_below_it() -> None:
    """Columns 2 and 3 of row 1 stand under a floor from 4.0 to 4.6, column 3 under another too."""
    spans = np.array([[4.0, 4.6], [4.0, 4.6], [9.0, 9.5]])
    floors = Floors((), 0.0, 0.5, np.array([1.0, 2.0]), 10, np.array([12, 13, 13]), spans)
    plan = np.array([[2.0, 2.5], [2.5, 2.5], [2.0, 2.0], [3.0, 2.5], [2.2, 2.7]])
    for height, near, expected in (
        (4.3, 0.0, [True, True, False, False, True]),
        (3.8, 0.3, [True, True, False, False, True]),
        (3.6, 0.3, [False] * 5),
        (4.8, 0.3, [True, True, False, False, True]),
        (5.0, 0.3, [False] * 5),
        (9.6, 0.2, [False, True, False, False, False]),
    ):
        assert floors.holds(plan, height, near).tolist() == expected
