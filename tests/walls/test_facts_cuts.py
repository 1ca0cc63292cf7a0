"""Loops that cut and measure layers: volumes, turns, disks and columns known without them."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, FillRule

from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, WallLimits, layer_findings
from shrinkrule.walls.layers.columns import thin_columns
from shrinkrule.walls.layers.loops import layer_counts, pair_sides, shell_volumes
from shrinkrule.walls.layers.outlines import any_within, boxes_with_points, turning
from shrinkrule.walls.layers.widths import disk_fits


def twins(facets: np.ndarray) -> np.ndarray:
    start, end = facets.ravel(), facets[:, [1, 2, 0]].ravel()
    keys = np.minimum(start, end) * (facets.max() + 1) + np.maximum(start, end)
    keys = keys * 2 + (start < end)
    return np.asarray(pair_sides(keys, np.argsort(keys), len(keys)))


def test_shells_have_the_volume_of_their_bodies() -> None:
    """A box, and a box turned inside out, by length times width times height."""
    far = trimesh.creation.box((2.0, 3.0, 4.0)).apply_translation((9.0, -5.0, 2.0))
    near = trimesh.creation.box((1.0, 5.0, 3.0)).apply_translation((-4.0, 1.0, 1.5))
    near.invert()
    both = trimesh.util.concatenate([far, near])
    facets = np.asarray(both.faces, dtype=np.int64)
    label, volume = shell_volumes(np.asarray(both.triangles), twins(facets))
    assert list(label) == [0] * 12 + [1] * 12
    assert volume == pytest.approx([24.0, -15.0], rel=1e-9)


def test_only_leaning_facets_change_the_cut_between_corners() -> None:
    """An upright box turned about Z has one cut from foot to top; a cone has another each time."""
    heights = np.linspace(0.05, 9.95, 40)
    for mesh, alike in (
        (trimesh.creation.box((4.0, 3.0, 10.0)), True),
        (trimesh.creation.cone(3.0, 10.0, sections=8), False),
    ):
        mesh.apply_transform(trimesh.transformations.rotation_matrix(0.4, (0, 0, 1)))
        mesh.apply_translation((3.0, 7.0, -mesh.bounds[0, 2]))
        corners = np.ascontiguousarray(mesh.triangles)
        level = corners[:, :, 2]
        spans = np.column_stack(
            [
                np.searchsorted(heights, level.min(axis=1)),
                np.searchsorted(heights, level.max(axis=1)),
            ]
        )
        twin = twins(np.asarray(mesh.faces, dtype=np.int64))
        count, changed = layer_counts(spans, corners, twin, len(heights))
        assert np.all(count == 8), "both have eight facets at every height"
        assert changed[0]
        assert np.all(changed[1:] != alike)


def test_turns_and_length_of_a_rectangle_with_a_hole() -> None:
    outer = np.array([[5.0, -3.0], [15.0, -3.0], [15.0, -1.0], [5.0, -1.0]])
    hole = np.array([[6.0, -2.5], [6.0, -1.5], [9.0, -1.5]])
    points, begins = np.concatenate([outer, hole]), np.array([0, 4, 7])
    turns, length = turning(points, begins)
    assert turns == pytest.approx(4.0 * np.pi), "a full turn for each convex outline"
    assert length == pytest.approx(24.0 + 1.0 + 3.0 + np.hypot(3.0, 1.0))


@pytest.mark.parametrize(
    ("point", "inside"),
    [((14.5, -1.5), True), ((5.2, -2.9), True), ((4.8, -2.0), False), ((-1.5, 14.5), False)],
)
def test_a_point_lies_within_an_outline(point: tuple[float, float], inside: bool) -> None:
    outer = np.array([[5.0, -3.0], [15.0, -3.0], [15.0, -1.0], [5.0, -1.0]])
    assert any_within(np.array([(40.0, 40.0), point]), outer) is inside


def test_boxes_with_points_are_those_that_numpy_finds() -> None:
    rng = np.random.default_rng(3)
    low = rng.uniform(0.0, 10.0, (60, 2))
    boxes = np.column_stack([low, low + rng.uniform(0.0, 2.0, (60, 2))])
    points, slack = rng.uniform(0.0, 10.0, (25, 2)), 0.1
    within = (points >= boxes[:, None, :2] - slack) & (points <= boxes[:, None, 2:] + slack)
    expected = np.any(np.all(within, axis=2), axis=1)
    assert 10 < np.count_nonzero(expected) < 50, "both answers must occur"
    assert np.array_equal(boxes_with_points(boxes, points, slack), expected)


@pytest.mark.parametrize(("radius", "there"), [(0.85, True), (0.95, False)])
def test_the_largest_disk_of_a_wedge_touches_its_wide_end(radius: float, there: bool) -> None:
    """Isosceles triangle of height 10 and base 2: inscribed circle of radius 0.905."""
    largest = 2.0 * 10.0 / (2.0 + 2.0 * np.hypot(10.0, 1.0))
    assert largest == pytest.approx(0.905, abs=1e-3)
    wedge = np.array([[0.0, 0.0], [10.0, -1.0], [10.0, 1.0]])
    assert disk_fits(CrossSection([wedge], FillRule.NonZero), radius) is there


def columns(points: np.ndarray, facets: np.ndarray, limit: float) -> tuple[np.ndarray, int]:
    """Spans of 9 x 9 columns at whole millimetres from 1 to 9, and how many are undecided."""
    found, spans, opened = thin_columns(
        points, facets, np.array([1.0, 1.0]), 1.0, (9, 9), limit, 1e-3, 0.8, 0.8
    )
    assert len(np.unique(found)) == len(found)
    return spans, opened


def test_bodies_that_share_space_are_one_span() -> None:
    """Two slabs that overlap in height: from the foot of one to the top of the other."""
    low = trimesh.creation.box((10.0, 10.0, 0.5)).apply_translation((5.0, 5.0, 0.25))
    high = trimesh.creation.box((10.0, 10.0, 0.6)).apply_translation((5.0, 5.0, 0.6))
    both = trimesh.util.concatenate([low, high])
    spans, opened = columns(np.asarray(both.vertices), np.asarray(both.faces), 1.0)
    assert opened == 0
    assert spans == pytest.approx(np.tile([0.0, 0.9], (81, 1)))


def squares_face(rng: np.random.Generator, height: float) -> tuple[np.ndarray, np.ndarray]:
    """A face of 10 x 10 squares, each cut along a diagonal and all numbered by lot."""
    x, y = np.meshgrid(np.arange(11.0), np.arange(11.0), indexing="ij")
    plan = np.column_stack([x.ravel(), y.ravel(), np.full(121, height)])
    order = rng.permutation(121)
    place = np.argsort(order).reshape(11, 11)
    corners = (place[:-1, :-1], place[1:, :-1], place[1:, 1:], place[:-1, 1:])
    facets = [
        [(p, q, r), (p, r, s)] if rng.random() < 0.5 else [(p, q, s), (q, r, s)]
        for p, q, r, s in zip(*(each.ravel() for each in corners), strict=True)
    ]
    return plan[order], np.concatenate(facets)


@pytest.mark.parametrize("seed", range(4))
def test_columns_through_corners_and_edges_are_decided(seed: int) -> None:
    """Every column goes through a corner of both faces, where six or so facets meet."""
    rng = np.random.default_rng(seed)
    (under, down), (over, up) = squares_face(rng, 0.0), squares_face(rng, 0.4)
    facets = np.concatenate([down[:, ::-1], up + len(under)])
    spans, opened = columns(np.concatenate([under, over]), facets, 1.0)
    assert opened == 0
    assert spans == pytest.approx(np.tile([0.0, 0.4], (81, 1)))


def test_columns_reach_within_half_their_spacing_of_the_rim() -> None:
    plate = trimesh.creation.box((20.0, 12.05, 0.4)).apply_translation((30.0, -7.0, 0.2))
    report = layer_findings(plate, Printer(0.6, 0.6, 0.2), WallLimits())
    (floor,) = [each for each in report.findings if each.kind is FindingKind.THIN_FLOOR]
    low, high = np.array(floor.box)
    assert np.all(np.abs(low[:2] - plate.bounds[0, :2]) <= 0.061)
    assert np.all(np.abs(high[:2] - plate.bounds[1, :2]) <= 0.061)
