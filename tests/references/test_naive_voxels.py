"""Bricks, columns and undersides against slow plain versions, written from their docstrings."""

from __future__ import annotations

import networkx
import numpy as np
import pytest
import trimesh
from scipy.spatial import ConvexHull

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.sag.voxels import brick_intervals as bricks
from shrinkrule.sag.voxels import scanlines
from shrinkrule.sag.voxels.brick_intervals import BrickIndex, BrickIntervals
from shrinkrule.sag.voxels.corners import CORNERS, shape_functions, shared_nodes
from shrinkrule.sag.voxels.footprint import find_underside
from shrinkrule.sag.voxels.fractions import fill_bricks
from shrinkrule.sag.voxels.intervals import COLUMNS, PLACES, find_solid_intervals

SIZE = np.array([1.0, 0.8, 0.7])
COUNTS = np.array([5, 6, 4])


def hull(seed: int) -> tuple[Floats, Floats]:
    """Corners of the facets of a convex body in the grid, and its half spaces ``n . x <= d``."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(0.05, 0.95, (14, 3)) * SIZE * COUNTS
    mesh = trimesh.convex.convex_hull(points)
    planes = ConvexHull(points).equations
    return np.asarray(mesh.triangles), np.column_stack([planes[:, :3], -planes[:, 3]])


def bars(*boxes: tuple[tuple[float, float, float], tuple[float, float, float]]) -> Floats:
    """Corners of the facets of boxes from low to high."""
    return np.concatenate([trimesh.creation.box(bounds=one).triangles for one in boxes])


@pytest.mark.parametrize("seed", range(3))
def test_octants_are_as_full_as_points_in_them_say(seed: int) -> None:
    corners, planes = hull(seed)
    found = fill_bricks(corners, SIZE, COUNTS, 0.0, 10_000 if seed else 10**8).components
    steps = (np.arange(8) + 0.5) / 16.0
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1).reshape(-1, 3)
    full = np.zeros((*COUNTS, 8))
    for place in np.ndindex(*COUNTS):
        for octant, corner in enumerate(CORNERS):
            at = (place + 0.5 * corner + grid) * SIZE
            full[(*place, octant)] = (at @ planes[:, :3].T <= planes[:, 3]).all(axis=1).mean()
    mine = np.zeros_like(full)
    mine[tuple(found.cells.T)] = found.octants
    # A scan line stands for an eighth of an octant either way, where the surface may slope.
    assert np.abs(mine - full).max() < 0.1
    assert np.abs(mine - full).mean() < 0.01
    volume = found.octants.mean(axis=1).sum() * SIZE.prod()
    whole = trimesh.Trimesh(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3))
    assert volume == pytest.approx(whole.volume, rel=5e-3)


def test_octants_of_boxes_are_products_of_their_sides() -> None:
    """Sides along Y lie between scan lines, where the middle of each counts for its strip."""
    low, high = np.array([0.3, 0.2, 0.1]), np.array([3.7, 3.3, 2.25])
    found = fill_bricks(bars((tuple(low), tuple(high))), SIZE, COUNTS, 0.0, 10**8).components
    ends = [
        np.linspace(0.0, side * count, 2 * count + 1)
        for side, count in zip(SIZE, COUNTS, strict=True)
    ]
    shares = [
        np.clip((np.minimum(e[1:], b) - np.maximum(e[:-1], a)) / (e[1] - e[0]), 0.0, 1.0)
        for e, a, b in zip(ends, low, high, strict=True)
    ]
    for cell, octants in zip(found.cells, found.octants, strict=True):
        for (x, y, z), share in zip(2 * cell + CORNERS, octants, strict=True):
            assert share == pytest.approx(shares[0][x] * shares[1][y] * shares[2][z], abs=1e-9)
    assert len(found.cells) == 4 * 5 * 4


@pytest.mark.parametrize("seed", range(3))
def test_solid_intervals_of_a_convex_body(seed: int) -> None:
    """Along each column the half spaces leave one interval."""
    corners, planes = hull(seed)
    wanted = np.ones(tuple(COUNTS[:2]), dtype=np.bool_)
    wanted[2, 3] = False
    solid = find_solid_intervals(corners, SIZE, COUNTS, wanted)
    found = {
        tuple(c): (a, b)
        for c, a, b in zip(solid.column.tolist(), solid.low, solid.high, strict=True)
    }
    assert len(found) == len(solid.low)
    met = 0
    for i, j in np.ndindex(COLUMNS * COUNTS[0], COLUMNS * COUNTS[1]):
        plan = SIZE[:2] * (np.array([i, j]) // COLUMNS + PLACES[[i % COLUMNS, j % COLUMNS]])
        rest = planes[:, 3] - planes[:, :2] @ plan
        low = (rest / planes[:, 2])[planes[:, 2] < 0.0].max() / SIZE[2]
        high = (rest / planes[:, 2])[planes[:, 2] > 0.0].min() / SIZE[2]
        if (i // COLUMNS, j // COLUMNS) == (2, 3) or low >= high:
            assert (i, j) not in found
        else:
            met += 1
            assert found[i, j] == pytest.approx((low, high), abs=1e-9)
    assert met > 100


def test_intervals_over_each_other_join_only_where_they_touch() -> None:
    every = np.ones(tuple(COUNTS[:2]), dtype=np.bool_)
    for gap, many in ((0.3, 2), (1e-4, 2), (0.0, 1)):
        two = bars(((0.2, 0.2, 0.3), (3.0, 3.0, 1.0)), ((0.2, 0.2, 1.0 + gap), (3.0, 3.0, 2.0)))
        solid = find_solid_intervals(two, SIZE, COUNTS, every)
        columns = np.unique(solid.column, axis=0)
        assert len(solid.low) == many * len(columns)
        assert solid.low.min() == pytest.approx(0.3 / 0.7)
        assert solid.high.max() == pytest.approx(2.0 / 0.7)
        if many == 2:
            assert sorted(set(np.round(solid.high, 9))) == pytest.approx([1.0 / 0.7, 2.0 / 0.7])
            assert solid.low.max() == pytest.approx((1.0 + gap) / 0.7)


def some_intervals(seed: int) -> tuple[BrickIntervals, Ints]:
    """Intervals in the columns of a few bricks, up to three in each."""
    rng = np.random.default_rng(seed)
    cells = np.array([(x, y, z) for x in range(3) for y in range(2) for z in range(2)])
    rows = []
    for brick in range(len(cells)):
        for i, j in np.ndindex(COLUMNS, COLUMNS):
            ends = np.sort(
                rng.choice([0.0, 0.2, 0.4, 0.6, 0.8, 1.0], 2 * rng.integers(0, 3), False)
            )
            rows += [(brick, i, j, a, b) for a, b in zip(ends[::2], ends[1::2], strict=True)]
    table = np.array(rows)
    whole = table[:, :3].astype(np.int64)
    return BrickIntervals(whole[:, 0], whole[:, 1:], table[:, 3], table[:, 4]), cells


@pytest.mark.parametrize("seed", range(3))
def test_components_of_a_brick_are_intervals_that_touch(seed: int) -> None:
    solid, cells = some_intervals(seed)
    graph = networkx.Graph()
    graph.add_nodes_from(range(len(solid.brick)))
    low, high = (np.maximum.outer(solid.low, solid.low), np.minimum.outer(solid.high, solid.high))
    steps = np.abs(solid.column[:, None] - solid.column).max(axis=2)
    same = solid.brick[:, None] == solid.brick
    graph.add_edges_from(np.argwhere(same & (steps == 1) & (high > low)).tolist())
    label = bricks.component_of_intervals(solid)
    for name, group in enumerate(sorted(networkx.connected_components(graph), key=min)):
        assert {int(label[i]) for i in group} == {name}
    for axis in range(3):
        for side in (1, -1):
            found = set(bricks.at_face(solid, axis, side).tolist())
            for i in range(len(solid.brick)):
                last = (solid.high[i] == 1.0) if side == 1 else (solid.low[i] == 0.0)
                edge = solid.column[i, axis] == (4 if side == 1 else 0) if axis < 2 else last
                assert (i in found) == bool(edge)
    chosen = np.arange(0, len(solid.brick), 7)
    points = bricks.points_inside(solid, cells, chosen).reshape(len(chosen), -1, 3)
    for i, along in zip(chosen.tolist(), points, strict=True):
        plan = cells[solid.brick[i], :2] + PLACES[solid.column[i]]
        assert along[:, :2] == pytest.approx(np.tile(plan, (len(along), 1)))
        ends = cells[solid.brick[i], 2] + np.array([solid.low[i], solid.high[i]])
        assert along[:, 2] == pytest.approx(np.linspace(ends[0], ends[1], len(along)))


def test_intervals_are_cut_at_the_bricks_floors() -> None:
    corners, _ = hull(4)
    every = np.ones(tuple(COUNTS[:2]), dtype=np.bool_)
    solid = find_solid_intervals(corners, SIZE, COUNTS, every)
    cells = np.stack(np.meshgrid(*map(np.arange, COUNTS), indexing="ij"), -1).reshape(-1, 3)
    index = BrickIndex(cells, COUNTS)
    cut = np.arange(0, len(cells), 2)
    found = bricks.cut_to_bricks(solid, index, cut)
    expected = []
    for brick in cut.tolist():
        for i, j in np.ndindex(COLUMNS, COLUMNS):
            column = COLUMNS * cells[brick, :2] + [i, j]
            for at in np.flatnonzero((solid.column == column).all(axis=1)):
                ends = np.clip(
                    np.array([solid.low[at], solid.high[at]]) - cells[brick, 2], 0.0, 1.0
                )
                if ends[1] - ends[0] > 1e-9:
                    expected.append((brick, i, j, *ends))
    table = np.column_stack([found.brick, found.column, found.low, found.high])
    assert table == pytest.approx(np.array(expected))
    assert index.node_count == (COUNTS + 1).prod()
    nodes = index.nodes(np.arange(len(cells)))
    place = np.stack(np.unravel_index(nodes, tuple(COUNTS + 1)), axis=-1)
    np.testing.assert_array_equal(place, cells[:, None] + CORNERS)
    for axis in range(3):
        for side in (1, -1):
            other = index.beside(np.arange(len(cells)), axis, side)
            step = side * np.eye(3, dtype=int)[axis]
            for one, beside in enumerate(other.tolist()):
                inside = ((cells[one] + step >= 0) & (cells[one] + step < COUNTS)).all()
                assert (beside >= 0) == inside
                assert not inside or (cells[beside] == cells[one] + step).all()


def test_cells_that_touch_share_the_nodes_between_them() -> None:
    places = np.array([(0, 0, 0), (1, 0, 0), (1, 1, 0), (2, 1, 1), (0, 0, 1), (1, 0, 0)])
    touching = np.array([(0, 1), (1, 2), (2, 3), (0, 4)])
    graph = networkx.Graph()
    graph.add_nodes_from((cell, tuple(places[cell] + c)) for cell in range(6) for c in CORNERS)
    for one, other in touching.tolist():
        mine, theirs = ({tuple(places[k] + c) for c in CORNERS} for k in (one, other))
        graph.add_edges_from(((one, at), (other, at)) for at in mine & theirs)
    label = shared_nodes(places, touching)
    groups = list(networkx.connected_components(graph))
    assert len(np.unique(label)) == len(groups)
    for group in groups:
        named = {
            int(label[cell, k])
            for cell, at in group
            for k, c in enumerate(CORNERS)
            if tuple(places[cell] + c) == at
        }
        assert len(named) == 1
    weights = shape_functions(np.array([[0.3, 0.6, 0.1]]))[0]
    assert weights @ CORNERS == pytest.approx([0.3, 0.6, 0.1])
    assert weights[0] == pytest.approx(0.7 * 0.4 * 0.9)


def test_a_footing_holds_the_nodes_around_it_by_its_share() -> None:
    """A foot beside a ledge 0.3 bricks higher, by sums of the nodes' shape functions over both."""
    foot = ((0.5, 0.4, 0.0), (2.0, 2.4, 1.4))
    ledge = ((2.0, 0.4, 0.21), (3.5, 2.4, 1.4))
    counts = np.array([4, 4, 2])
    pieces = scanlines.cut_along_lines(bars(foot, ledge), SIZE / 2.0, 2 * counts)
    under = find_underside(pieces, SIZE, counts)
    fine = (np.arange(4 * 40) + 0.5) / 40.0
    x, y = np.meshgrid(fine, fine, indexing="ij")
    deep = (y * 0.8 > 0.4) & (y * 0.8 < 2.4)
    on_foot, on_ledge = deep & (x > 0.5) & (x < 2.0), deep & (x > 2.0) & (x < 3.5)
    for i, j in np.ndindex(5, 5):
        hat = np.maximum(1.0 - np.abs(x - i), 0.0) * np.maximum(1.0 - np.abs(y - j), 0.0)
        standing, hung = (hat * on_foot).sum(), (hat * on_ledge).sum()
        near = (np.abs(x - i) < 1.0) & (np.abs(y - j) < 1.0)
        lower = standing if (near & on_foot).any() else hung
        if standing + hung == 0.0:
            assert under.share[i, j] == 0.0
            assert under.footing[i, j] == np.inf
            continue
        assert under.share[i, j] == pytest.approx(lower / (standing + hung), abs=0.02)
        assert under.footing[i, j] == pytest.approx(
            0.0 if (near & on_foot).any() else 0.21, abs=1e-9
        )
        next_to = (np.abs(x - i) < 0.5) & (np.abs(y - j) < 0.5)
        area = np.array([(next_to & on_foot).sum(), (next_to & on_ledge).sum()])
        if area.any():
            assert under.height[i, j] == pytest.approx(0.21 * area[1] / area.sum(), abs=0.21)
            assert under.height[i, j] <= 0.21 + 1e-9
    assert under.height[1, 1] == pytest.approx(0.0, abs=1e-9)
    assert under.height[3, 1] == pytest.approx(0.21)
    assert under.height[4, 4] == np.inf


@pytest.mark.parametrize("seed", range(2))
def test_scan_lines_cross_facets_where_they_are(seed: int) -> None:
    """Chords against the line's crossings with the sides, one facet at a time."""
    corners, _ = hull(seed)
    lines = np.linspace(0.15, 4.6, 17)
    across = scanlines.lines_across(corners, lines)
    expected = []
    for facet, shape in enumerate(across.corners):
        for number, y in enumerate(lines):
            ends = []
            for a, b in ((0, 1), (1, 2), (0, 2)):
                one, other = shape[a], shape[b]
                if min(one[1], other[1]) <= y < max(one[1], other[1]):
                    t = (y - one[1]) / (other[1] - one[1])
                    ends.append(one[0] + t * (other[0] - one[0]))
            if ends:
                expected.append((facet, number, min(ends), max(ends)))
    table = np.column_stack([across.facet, across.line, across.left, across.right])
    assert table == pytest.approx(np.array(expected), abs=1e-9)
    assert (np.diff(across.corners[:, :, 1], axis=1) >= 0.0).all()
