"""Floors and walls of layers: what is one place, where it lies, and how large it is."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from shrinkrule.printer import Printer
from shrinkrule.walls import FindingKind, Rule, WallLimits, layer_findings
from shrinkrule.walls.layers.columns import join_spans
from shrinkrule.walls.layers.disks import narrow_outline_points

WIDTH = 5


@pytest.mark.parametrize(
    ("other", "neighbour"),
    [
        ((3, 2), True),
        ((2, 3), True),
        ((3, 3), True),
        ((1, 3), True),
        ((4, 2), False),
        ((2, 4), False),
        ((0, 4), False),
    ],
)
def test_columns_beside_each_other_are_one_region(other: tuple[int, int], neighbour: bool) -> None:
    """Eight columns touch one; the one after a row's end lies at the other side of the grid."""
    here = 2 + 2 * WIDTH
    places = np.array(sorted([here, other[0] + other[1] * WIDTH]))
    spans = np.array([[0.0, 1.0], [0.5, 2.0]])
    label = join_spans(places, spans, WIDTH, 0.1)
    assert (label[0] == label[1]) is np.bool_(neighbour)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(1, 25))
def test_regions_are_the_components_of_spans_that_touch(seed: int, count: int) -> None:
    """Against a graph library: neighbours in the grid whose spans are no further than the rise."""
    rng = np.random.default_rng(seed)
    places = np.sort(rng.integers(0, WIDTH * WIDTH, count))
    low = rng.uniform(0.0, 10.0, count)
    spans = np.column_stack([low, low + rng.uniform(0.1, 2.0, count)])
    rise = 0.5
    x, y = places % WIDTH, places // WIDTH
    beside = (np.abs(x[:, None] - x) <= 1) & (np.abs(y[:, None] - y) <= 1)
    beside &= places[:, None] != places
    gap = np.maximum(spans[:, None, 0] - spans[:, 1], spans[:, 0] - spans[:, None, 1])
    _, known = scipy.sparse.csgraph.connected_components(beside & (gap <= rise))
    label = join_spans(places, spans, WIDTH, rise)
    assert np.array_equal(label[:, None] == label, known[:, None] == known)


def sheet(length: float, width: float, height: float) -> trimesh.Trimesh:
    """A plate on the bed, off the origin."""
    return trimesh.creation.box((length, width, height)).apply_translation((30, -7, height / 2))


def test_a_thin_floor_lies_where_the_plate_lies() -> None:
    """Box, place, area and volume of a plate of one layer; columns are a fifth of a bead apart."""
    report = layer_findings(sheet(20.0, 12.0, 0.4), Printer(0.6, 0.6, 0.2), WallLimits())
    (floor,) = [each for each in report.findings if each.kind is FindingKind.THIN_FLOOR]
    assert floor.rule is Rule.LAYERS
    low, high = np.array(floor.box)
    assert low == pytest.approx([20.0, -13.0, 0.0], abs=0.13)
    assert high == pytest.approx([40.0, -1.0, 0.4], abs=0.13)
    assert floor.smallest_mm == pytest.approx(0.4, abs=1e-6)
    assert floor.height_range_mm == pytest.approx((0.0, 0.4), abs=1e-6)
    # Both sides count as area; columns within their spacing of the rim do not.
    assert floor.area_mm2 == pytest.approx(2.0 * 20.0 * 12.0, rel=0.04)
    assert floor.volume_mm3 == pytest.approx(20.0 * 12.0 * 0.4, rel=0.04)
    # Everywhere alike: shown furthest from the rim, at half height.
    x, y, z = floor.position
    assert (y, z) == pytest.approx((-7.0, 0.2), abs=0.13)
    assert 25.0 < x < 35.0


def test_an_upright_sheet_lies_where_it_stands() -> None:
    """A wall under a bead: its box, its thickness, and the way across it."""
    wall = trimesh.creation.box((20.0, 0.3, 12.0)).apply_translation((30, -7, 6))
    report = layer_findings(wall, Printer(0.6, 0.6, 0.2), WallLimits())
    (found,) = report.findings
    assert found.kind is FindingKind.THIN_WALL
    assert found.smallest_mm == pytest.approx(0.3, abs=1e-3)
    low, high = np.array(found.box)
    assert low == pytest.approx([20.0, -7.15, 0.0], abs=0.11)
    assert high == pytest.approx([40.0, -6.85, 12.0], abs=0.11)
    assert np.abs(found.direction) == pytest.approx([0.0, 1.0, 0.0], abs=1e-6)
    assert found.volume_mm3 == pytest.approx(20.0 * 0.3 * 12.0, rel=0.03)


def dumbbell(neck: float) -> np.ndarray:
    """Two squares of 5 mm joined by a neck of 4 mm along X; (12, 2), counter-clockwise."""
    half = neck / 2.0
    right = [(2.0, -half), (2.0, -2.5), (7.0, -2.5), (7.0, 2.5), (2.0, 2.5), (2.0, half)]
    return np.array([*right, *((-x, -y) for x, y in right)])


@pytest.mark.parametrize("turn", [0.0, 0.7, 2.0])
def test_a_disk_rests_everywhere_but_in_the_neck(turn: float) -> None:
    """A disk of 0.6 mm passes a neck of 0.7 mm, and not one of 0.4 mm; squares hold it."""
    away = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    begins = np.array([0, 12])
    wide = narrow_outline_points(dumbbell(0.7) @ away, begins, 0.3, 1e-4, 1.0)
    assert len(wide) == 0
    found = narrow_outline_points(dumbbell(0.4) @ away, begins, 0.3, 1e-4, 1.0) @ away.T
    assert np.abs(found[:, 1]) == pytest.approx(np.full(len(found), 0.2), abs=1e-9)
    # Stations stand a share of the radius apart: both sides are covered from end to end.
    for side in (-1.0, 1.0):
        along = np.sort(found[found[:, 1] * side > 0.0, 0])
        assert along[0] == pytest.approx(-2.0, abs=0.3)
        assert along[-1] == pytest.approx(2.0, abs=0.3)
        assert np.diff(along).max() < 0.3


def test_a_slot_between_two_outlines_is_narrow_in_the_air() -> None:
    """Two squares 0.4 mm apart: the air between them holds no disk of 0.6 mm, 0.7 mm does."""
    square = np.array([(0.0, 0.0), (5.0, 0.0), (5.0, 5.0), (0.0, 5.0)])
    for gap, narrow in ((0.4, True), (0.7, False)):
        points = np.concatenate([square, square + [5.0 + gap, 0.0]])
        begins = np.array([0, 4, 8])
        found = narrow_outline_points(points, begins, 0.3, 1e-4, -1.0)
        assert (len(found) > 0) is narrow
        if narrow:
            assert set(np.round(found[:, 0], 6)) == {5.0, 5.0 + gap}
            assert np.ptp(found[:, 1]) > 4.0
        assert len(narrow_outline_points(points, begins, 0.3, 1e-4, 1.0)) == 0
