"""Cross-sections and their outlines against shapely and trimesh, whatever the shape."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st
from manifold3d import CrossSection, FillRule

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.walls.layers.disks import STEP, _stations, narrow_outline_points
from shrinkrule.walls.layers.loops import thinned
from shrinkrule.walls.layers.outlines import (
    along_outlines,
    any_within,
    boxes_with_points,
    edge_ends,
    is_inside,
    lean_at,
    nearest_edges,
    outline_length,
    turning,
)
from shrinkrule.walls.layers.shell import shell_of
from shrinkrule.walls.layers.stack import SIMPLE_MM, Stack
from shrinkrule.walls.layers.widths import disk_fits

seeds = st.integers(0, 100_000)
PLENTY = settings(deadline=None, max_examples=15)


def star(rng: np.random.Generator, count: int, least: float, most: float) -> Floats:
    """Points of an outline round the origin, counter-clockwise."""
    turn = np.sort(rng.uniform(0.0, 2.0 * np.pi, count) * 0.02 + np.arange(count) / count * 6.2)
    reach = rng.uniform(least, most, count)
    return np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])


def region(seed: int) -> tuple[Floats, Ints, shapely.Polygon]:
    """A star with a hole in it: points, where outlines begin, and the same in shapely."""
    rng = np.random.default_rng(seed)
    outer, hole = star(rng, 11, 3.0, 8.0), star(rng, 6, 0.5, 1.5)[::-1]
    begins = np.array([0, len(outer), len(outer) + len(hole)])
    return np.concatenate([outer, hole]), begins, shapely.Polygon(outer, [hole])


@PLENTY
@given(seed=seeds)
def test_distances_lengths_and_insides_are_shapelys(seed: int) -> None:
    points, begins, shape = region(seed)
    ends = edge_ends(points, begins)
    rng = np.random.default_rng(seed + 1)
    at = rng.uniform(-9.0, 9.0, (40, 2))
    spots = shapely.points(at)
    lines = shapely.linestrings(np.stack([points, ends], axis=1))
    exact = shapely.distance(spots[:, None], lines[None])
    edge, distance = nearest_edges(at, points, ends, 4.0)
    near = exact.min(axis=1) < 4.0
    np.testing.assert_array_equal(edge >= 0, near)
    assert distance == pytest.approx(np.minimum(exact.min(axis=1), 4.0), abs=1e-9)
    assert exact[near, edge[near]] == pytest.approx(exact[near].min(axis=1), abs=1e-9)
    leans = rng.normal(size=len(points))
    expected = np.where(near, leans[np.maximum(edge, 0)], 0.0)
    assert lean_at(at, points, ends, leans, 4.0) == pytest.approx(expected)
    inside = [is_inside(x, y, points, ends) for x, y in at]
    np.testing.assert_array_equal(inside, shapely.contains(shape, spots))
    outer = points[: begins[1]]
    assert outline_length(outer) == pytest.approx(shapely.Polygon(outer).length)
    holds = shapely.contains(shapely.Polygon(outer), spots)
    assert any_within(at[~holds], outer) is False
    if holds.any():
        first = int(np.argmax(holds))
        assert any_within(at[max(0, first - 3) : first + 1], outer) is True
    turns, length = turning(points, begins)
    assert length == pytest.approx(shape.length)
    # A full turn to the left and one to the right, and twice what turns the other way.
    assert turns >= 4.0 * np.pi - 1e-9


@PLENTY
@given(seed=seeds, step=st.floats(0.2, 3.0))
def test_points_along_outlines_are_evenly_apart(seed: int, step: float) -> None:
    points, begins, _ = region(seed)
    ends = edge_ends(points, begins)
    found = along_outlines(points, begins, step)
    edges, distance = nearest_edges(found, points, ends, 1.0)
    assert distance == pytest.approx(np.zeros(len(found)), abs=1e-9)
    lengths = np.linalg.norm(ends - points, axis=1)
    counts = np.maximum(np.ceil(lengths / step), 1).astype(int)
    np.testing.assert_array_equal(np.bincount(edges, minlength=len(points)), counts)
    owner = np.repeat(np.arange(len(points)), counts)
    place = np.concatenate([(np.arange(n) + 0.5) / n for n in counts])[:, None]
    exact = (1.0 - place) * points[owner] + place * ends[owner]
    assert found == pytest.approx(exact, abs=1e-9)


@PLENTY
@given(seed=seeds)
def test_boxes_that_hold_a_point(seed: int) -> None:
    rng = np.random.default_rng(seed)
    low = rng.uniform(-5.0, 5.0, (12, 2))
    boxes = np.concatenate([low, low + rng.uniform(0.1, 2.0, (12, 2))], axis=1)
    points, slack = rng.uniform(-6.0, 6.0, (6, 2)), 0.3
    shapes = shapely.box(*(boxes + [-slack, -slack, slack, slack]).T)
    exact = shapely.intersects(shapes[:, None], shapely.points(points)[None]).any(axis=1)
    np.testing.assert_array_equal(boxes_with_points(boxes, points, slack), exact)


@PLENTY
@given(seed=seeds, reach=st.floats(0.01, 0.3))
def test_thinned_outlines_stay_within_reach(seed: int, reach: float) -> None:
    """A circle of 200 points and a bumpy one: fewer points, and none dropped is further off."""
    rng = np.random.default_rng(seed)
    turn = np.arange(200) / 200 * 2.0 * np.pi
    bumpy = 5.0 + np.cumsum(rng.normal(0.0, 0.02, 200))
    rings = [np.column_stack([r * np.cos(turn), r * np.sin(turn)]) for r in (4.0, bumpy)]
    kept, begins = thinned(np.concatenate(rings), np.array([0, 200, 400]), reach)
    for ring, (first, last) in zip(rings, [begins[:2], begins[1:]], strict=True):
        left = kept[first:last]
        assert 3 <= len(left) < 200
        # Points that stay are points of before, in their order.
        places = [int(np.argmin(np.linalg.norm(ring - p, axis=1))) for p in left]
        assert ring[places] == pytest.approx(left)
        assert (np.diff(places) > 0).all()
        line = shapely.LinearRing(left)
        assert max(line.distance(shapely.Point(p)) for p in ring) <= reach + 1e-9


def test_a_circle_keeps_as_many_points_as_its_curve_asks_for() -> None:
    """The sagitta of a chord over an angle a is r (1 - cos(a/2)): chords of at least half that."""
    turn = np.arange(2000) / 2000 * 2.0 * np.pi
    circle = 4.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    kept, _ = thinned(circle, np.array([0, 2000]), 0.05)
    fewest = np.pi / np.arccos(1.0 - 0.05 / 4.0)
    assert fewest - 1.0 <= len(kept) <= 2.5 * fewest


@PLENTY
@given(seed=seeds, radius=st.floats(0.1, 2.5))
@example(seed=1237, radius=2.5)
def test_a_disk_fits_where_erosion_leaves_something(seed: int, radius: float) -> None:
    """Against shapely: the region less a rim as wide as the disk; close calls are left out."""
    points, begins, shape = region(seed)
    section = CrossSection(np.split(points, begins[1:-1]), FillRule.NonZero)
    if not shape.buffer(-1.003 * radius, quad_segs=64).is_empty:
        assert disk_fits(section, radius)
    if shape.buffer(-0.997 * radius, quad_segs=64).is_empty:
        assert not disk_fits(section, radius)


@PLENTY
@given(seed=seeds, radius=st.floats(0.1, 1.2), side=st.sampled_from([1.0, -1.0]))
def test_stations_touch_the_outline_from_their_side(seed: int, radius: float, side: float) -> None:
    """Each lies on the outline; those of edges head along them, no further apart than a step."""
    points, begins, _ = region(seed)
    ring = points[: begins[1]]
    ends = edge_ends(ring, begins[:2])
    where, heading = _stations(ring, STEP, radius, side)
    assert np.linalg.norm(heading, axis=1) == pytest.approx(np.ones(len(where)))
    edge, distance = nearest_edges(where, ring, ends, 1.0)
    assert distance == pytest.approx(np.zeros(len(where)), abs=1e-9)
    along = (ends - ring) / np.linalg.norm(ends - ring, axis=1)[:, None]
    straight = np.abs((heading * along[edge]).sum(axis=1) - 1.0) < 1e-12
    lengths = np.linalg.norm(ends - ring, axis=1)
    counts = np.maximum(np.ceil(lengths / (STEP * radius)), 1).astype(int)
    assert straight.sum() >= counts.sum() - len(ring)
    # Round a corner that points into the disk's side, headings turn from one edge to the next.
    before = np.roll(along, 1, axis=0)
    turns = np.arctan2(
        before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0], (before * along).sum(axis=1)
    )
    extra = np.where(side * turns < -STEP / 2.0, np.ceil(np.abs(turns) / STEP), 0.0)
    assert len(where) == counts.sum() + int(extra.sum())


@PLENTY
@given(seed=seeds, radius=st.floats(0.2, 1.0))
def test_outline_points_are_narrow_only_where_a_disk_meets_another_edge(
    seed: int, radius: float
) -> None:
    """What lies on the rim of the region that a larger disk opens (shapely) is not narrow.

    A corner that points inwards has a disk for each of its headings, some of which may not rest.
    """
    points, begins, shape = region(seed)
    found = narrow_outline_points(points, begins, radius, 1e-3 * radius, 1.0)
    opened = shape.buffer(-1.03 * radius, quad_segs=64).buffer(1.03 * radius, quad_segs=64)
    if len(found):
        spots = shapely.points(found)
        assert shapely.distance(shape.exterior, spots).min() >= 0.0
        on_rim = shapely.distance(opened.boundary, spots) < 1e-9
        at_corner = shapely.distance(shapely.MultiPoint(points), spots) < 1e-9
        assert not (on_rim & ~at_corner).any()


@pytest.mark.parametrize("seed", range(6))
def test_layers_are_the_sections_of_the_body(seed: int) -> None:
    """Area and centre of each section, against trimesh's; a body that leans, and one within it."""
    rng = np.random.default_rng(seed)
    body = trimesh.convex.convex_hull(rng.normal(size=(14, 3)) * [4.0, 3.0, 2.0])
    hole = body.copy()
    hole.vertices = 0.4 * (hole.vertices - body.center_mass) + body.center_mass
    hole.invert()
    part = trimesh.util.concatenate([body, hole])
    stack = Stack(shell_of(part), 0.37)
    done: list[float] = []
    stack.cut(done.append)
    assert done[-1] == 1.0
    count = int(np.floor(np.ptp(part.vertices[:, 2]) / 0.37 + 0.5))
    low = part.vertices[:, 2].min()
    assert stack.heights == pytest.approx(low + 0.37 * (np.arange(count) + 0.5))
    assert len(stack.layers) == count
    for height, layer in zip(stack.heights, stack.layers, strict=True):
        sections = [
            one.section(plane_origin=[0.0, 0.0, height], plane_normal=[0.0, 0.0, 1.0])
            for one in (body, hole)
        ]
        outer, *inner = (
            shapely.Polygon(one.discrete[0][:, :2]) for one in sections if one is not None
        )
        exact = outer.difference(inner[0]) if inner else outer
        # Points that move an outline by less than that are dropped.
        assert layer.section.area() == pytest.approx(exact.area, abs=SIMPLE_MM * exact.length)
        assert layer.usable
        assert not layer.same
        assert layer.twice_mm2 == pytest.approx(0.0, abs=1e-9)
        assert layer.inside_out_mm2 == pytest.approx(0.0, abs=1e-9)
    depth = stack.depths(np.arange(count))
    assert depth[:-1] == pytest.approx(np.full(count - 1, 0.37))
    top = part.vertices[:, 2].max() - stack.heights[-1]
    assert depth[-1] == pytest.approx(0.185 + min(0.185, top))
    assert stack.top_mm == pytest.approx(part.vertices[:, 2].max())
    # Pieces of a section lean as their facets do: over a small height they move by that much.
    middle = count // 2
    start, end, lean = stack.slopes(middle)
    step = 1e-4
    higher = body.section(
        plane_origin=[0.0, 0.0, stack.heights[middle] + step], plane_normal=[0.0, 0.0, 1.0]
    )
    grown = shapely.Polygon(higher.discrete[0][:, :2]).area
    before = body.section(
        plane_origin=[0.0, 0.0, stack.heights[middle]], plane_normal=[0.0, 0.0, 1.0]
    )
    now = shapely.Polygon(before.discrete[0][:, :2])
    on_body = shapely.distance(now.exterior, shapely.points(0.5 * (start + end))) < 1e-6
    rate = (lean * np.linalg.norm(end - start, axis=1))[on_body].sum()
    assert (grown - now.area) / step == pytest.approx(rate, rel=0.01, abs=1e-2)
