"""Loops of the layer check and of edges against slow plain versions, written from their docstrings.

They also run with the loops as plain Python, so all shapes are small.
"""

from __future__ import annotations

import itertools

import networkx
import numpy as np
import pytest
import shapely
import trimesh
from manifold3d import CrossSection, FillRule

from references.loops import run_as_python
from shrinkrule.numerics import edges, hashing
from shrinkrule.numerics import triangles as measures
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.walls.layers import columns, disks, loops, outlines
from shrinkrule.walls.layers.widths import disk_fits

LOOPS = (edges, hashing, measures, columns, disks, loops, outlines)


@pytest.fixture(autouse=True)
def as_python(monkeypatch: pytest.MonkeyPatch) -> None:
    run_as_python(LOOPS, monkeypatch)


def ring(seed: int, count: int, reach: float, at: tuple[float, float] = (0.0, 0.0)) -> Floats:
    """Points of an outline round a place, counter-clockwise."""
    rng = np.random.default_rng(seed)
    turn = (np.arange(count) + rng.uniform(0.0, 0.7, count)) / count * 2.0 * np.pi
    far = reach * rng.uniform(0.45, 1.0, count)
    made: Floats = np.column_stack([far * np.cos(turn), far * np.sin(turn)]) + at
    return made


def outline(seed: int) -> tuple[Floats, Ints, shapely.Polygon]:
    """A region with a hole: points, where outlines begin, and the same in shapely."""
    outer, hole = ring(seed, 9, 6.0), ring(seed + 1, 5, 1.2)[::-1]
    begins = np.array([0, len(outer), len(outer) + len(hole)])
    return np.concatenate([outer, hole]), begins, shapely.Polygon(outer, [hole])


def surface(seed: int) -> trimesh.Trimesh:
    """A body that leans, with an upright one beside it."""
    rng = np.random.default_rng(seed)
    body = trimesh.convex.convex_hull(rng.normal(size=(9, 3)) * [2.0, 1.6, 1.2])
    box = trimesh.creation.box((1.3, 1.1, 1.7)).apply_translation((4.1, 0.3, 0.2))
    made: trimesh.Trimesh = trimesh.util.concatenate([body, box])
    return made


def twins(facets: Ints) -> Ints:
    start, end = facets.ravel(), facets[:, [1, 2, 0]].ravel()
    keys = np.minimum(start, end) * (facets.max() + 1) + np.maximum(start, end)
    keys = keys * 2 + (start < end)
    return np.asarray(loops.pair_sides(keys, np.argsort(keys, kind="stable"), len(keys)))


@pytest.mark.parametrize("seed", range(3))
def test_measures_of_outlines(seed: int) -> None:
    points, begins, shape = outline(seed)
    rng = np.random.default_rng(seed)
    end = outlines.edge_ends(points, begins)
    rings = [points[a:b] for a, b in itertools.pairwise(begins)]
    np.testing.assert_array_equal(end, np.vstack([np.roll(one, -1, axis=0) for one in rings]))
    at = rng.uniform(-7.0, 7.0, (30, 2))
    lines = shapely.linestrings(np.stack([points, end], axis=1))
    every = shapely.distance(shapely.points(at)[:, None], lines[None])
    nearest, away = outlines.nearest_edges(at, points, end, 1.5)
    close = every.min(axis=1) < 1.5
    assert away == pytest.approx(np.where(close, every.min(axis=1), 1.5))
    np.testing.assert_array_equal(nearest, np.where(close, every.argmin(axis=1), -1))
    assert outlines.distance_to_edges(at, points, end) == pytest.approx(every.min(axis=1))
    lean = rng.normal(size=len(points))
    leans = outlines.lean_at(at, points, end, lean, 1.5)
    assert leans == pytest.approx(np.where(close, lean[every.argmin(axis=1)], 0.0))
    inside = [outlines.is_inside(x, y, points, end) for x, y in at]
    np.testing.assert_array_equal(inside, shapely.contains_xy(shape, at))
    for one in rings:
        assert outlines.outline_length(one) == pytest.approx(shapely.LinearRing(one).length)
        hits = shapely.contains_xy(shapely.Polygon(one), at)
        assert outlines.any_within(at[hits], one) == bool(hits.any())
        assert not outlines.any_within(at[~hits], one)
    turns, length = outlines.turning(points, begins)
    side = [np.diff(one, axis=0, append=one[:1]) for one in rings]
    ways = [u @ np.array([1.0, 1.0j]) for u in side]
    bends = [np.angle(np.roll(u, -1) / u) for u in ways]
    assert turns == pytest.approx(sum(np.abs(b).sum() for b in bends))
    assert length == pytest.approx(shape.length)
    found = outlines.along_outlines(points, begins, 0.7)
    expected = []
    for a, b in zip(points, end, strict=True):
        steps = int(np.ceil(np.linalg.norm(b - a) / 0.7))
        expected += [a + (k + 0.5) / steps * (b - a) for k in range(steps)]
    assert found == pytest.approx(np.array(expected))


@pytest.mark.parametrize("seed", range(3))
def test_cells_list_the_edges_that_pass_through_them(seed: int) -> None:
    points, begins, _ = outline(seed)
    end = outlines.edge_ends(points, begins)
    low, cell = points.min(axis=0), 0.9
    size = ((points.max(axis=0) - low) / cell).astype(np.int64) + 1
    lines = shapely.linestrings(np.stack([points, end], axis=1))
    grid, items = disks._grid_of(points, end, cell, low, size)
    for j in range(size[1]):
        for i in range(size[0]):
            held = items[grid[j * size[0] + i] : grid[j * size[0] + i + 1]]
            corner = low + cell * np.array([i, j])
            inner = shapely.box(*(corner + 1e-6), *(corner + cell - 1e-6))
            outer = shapely.box(*(corner - 1e-6), *(corner + cell + 1e-6))
            passing = np.flatnonzero(shapely.intersects(lines, inner))
            assert set(passing) <= set(held)
            assert shapely.intersects(lines[held], outer).all()
    args = (points, end, grid, items, cell, low, size)
    rng = np.random.default_rng(seed)
    rested = 0
    for x, y in rng.uniform(-6.5, 6.5, (40, 2)):
        radius = float(rng.uniform(0.2, 1.5))
        far = shapely.distance(lines, shapely.Point(x, y)).min()
        if abs(far - radius) > 1e-9:
            assert disks._rests(x, y, radius, *args) == (far > radius)
            rested += far > radius
    assert 3 < rested < 37


def test_narrow_points_of_a_bar_with_a_neck() -> None:
    """Disks of 1 mm rest along the bar but not along its neck of 1.2 mm; corners are none."""
    bar = np.array(
        [
            [0, 0],
            [4, 0],
            [4, 1.2],
            [6, 1.2],
            [6, 0],
            [10, 0],
            [10, 4],
            [6, 4],
            [6, 2.4],
            [4, 2.4],
            [4, 4],
            [0, 4],
        ]
    )
    begins = np.array([0, len(bar)])
    bar = bar.astype(np.float64)
    for side, order in ((1.0, bar), (-1.0, bar[::-1])):
        found = disks.narrow_outline_points(np.ascontiguousarray(order), begins, 1.0, 1e-3, side)
        assert len(found) > 8
        assert found.min(axis=0) == pytest.approx([4.0, 1.2], abs=0.26)
        assert found.max(axis=0) == pytest.approx([6.0, 2.4], abs=0.26)
        long = found[np.isin(found[:, 1], (1.2, 2.4))]
        assert np.ptp(long[:, 0]) > 1.5
        assert not len(
            disks.narrow_outline_points(np.ascontiguousarray(order), begins, 0.5, 1e-3, side)
        )
    # From the other side there is air: nothing is narrow but beside the neck, 2 mm wide.
    outside = disks.narrow_outline_points(bar, begins, 1.05, 1e-3, -1.0)
    assert (np.abs(outside[:, 0] - 5.0) <= 1.0 + 1e-9).all()
    assert len(outside) > 4
    assert not len(disks.narrow_outline_points(bar, begins, 0.9, 1e-3, -1.0))
    section = CrossSection([bar], FillRule.NonZero)
    assert disk_fits(section, 1.9)
    assert not disk_fits(section, 2.01)


@pytest.mark.parametrize("seed", range(3))
def test_a_cut_is_made_of_what_each_facet_gives(seed: int) -> None:
    mesh = surface(seed)
    facets, points = np.asarray(mesh.faces, dtype=np.int64), np.asarray(mesh.vertices)
    corners = np.ascontiguousarray(points[facets])
    heights = np.sort(np.r_[np.linspace(-1.1, 1.2, 7), points[facets[0, 0], 2], points[3, 2]])
    spans, twin = loops.layer_spans(heights, corners), twins(facets)
    above = corners[:, None, :, 2] > heights[None, :, None]
    crossed = np.asarray(above.any(axis=2) & ~above.all(axis=2))
    for f in range(len(facets)):
        np.testing.assert_array_equal(np.flatnonzero(crossed[f]), np.arange(*spans[f]))
    count, changed = loops.layer_counts(spans, corners, twin, len(heights))
    np.testing.assert_array_equal(count, crossed.sum(axis=0))
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    for k in range(len(heights)):
        leans = (crossed[:, k] & (normals[:, 2] != 0.0)).any()
        same = k > 0 and (crossed[:, k] == crossed[:, k - 1]).all()
        assert changed[k] == (leans or not same)
    wanted = np.arange(len(heights)) % 3 != 1
    offsets = np.r_[0, np.cumsum(np.where(wanted, count, 0))]
    near = loops.facets_by_layer(spans, wanted, offsets)
    for k in np.flatnonzero(wanted).tolist():
        mine = near[offsets[k] : offsets[k + 1]]
        np.testing.assert_array_equal(mine, np.flatnonzero(crossed[:, k]))
        every = np.arange(len(facets), dtype=np.int32)
        sides, starts, ends = loops.cut_facets(facets, points, every if k % 2 else mine, heights[k])
        assert len(sides) == len(mine)
        for f, (first, last), start, end in zip(mine, sides, starts, ends, strict=True):
            assert first // 3 == last // 3 == f
            # Material lies to the left: the piece runs along the level normal, turned left.
            assert np.cross([*(end - start), 0.0], [*normals[f, :2], 0.0])[2] <= 1e-12
            for side, at in ((first, start), (last, end)):
                a, b = points[facets[f, side % 3]], points[facets[f, (side + 1) % 3]]
                t = (heights[k] - a[2]) / (b[2] - a[2])
                assert 0.0 <= t <= 1.0
                assert at == pytest.approx((a + t * (b - a))[:2], abs=1e-9)
        order, begins, opened = loops.chain_pieces(sides, twin, np.zeros(len(facets), np.int64))
        assert opened == 0
        assert sorted(order) == list(range(len(sides)))
        for a, b in itertools.pairwise(begins):
            assert starts[np.roll(order[a:b], -1)] == pytest.approx(ends[order[a:b]], abs=1e-9)
    label, volume = loops.shell_volumes(corners, twin)
    parts = mesh.split(only_watertight=False)
    assert sorted(volume) == pytest.approx(sorted(part.volume for part in parts))
    assert label[0] == 0
    graph = networkx.Graph(np.asarray(mesh.face_adjacency).tolist())
    for shell in networkx.connected_components(graph):
        assert len(set(label[list(shell)])) == 1


def test_columns_against_rays_one_by_one() -> None:
    """Of two slabs over each other, one of them askew: spans where a plain ray has them."""
    low = trimesh.creation.box((5.0, 4.0, 0.8))
    high = trimesh.creation.box((4.0, 3.0, 0.5)).apply_transform(
        trimesh.transformations.rotation_matrix(0.12, (1.0, 0.4, 0.0), (0.3, 0.2, 0.0))
    )
    high.apply_translation((0.2, 0.1, 1.6))
    mesh = trimesh.util.concatenate([low, high])
    facets, points = np.asarray(mesh.faces, dtype=np.int64), np.asarray(mesh.vertices, float)
    at, cell, size = np.array([-2.61, -2.13]), 0.47, (12, 10)
    place, span, opened = columns.thin_columns(points, facets, at, cell, size, 0.9, 1e-6, 0.9, 0.95)
    assert opened == 0
    expected = []
    for column in range(size[0] * size[1]):
        x, y = at + cell * np.array([column % size[0], column // size[0]])
        hits = []
        for a, b, c in points[facets]:
            matrix = np.array([[a[0], b[0], c[0]], [a[1], b[1], c[1]], [1.0, 1.0, 1.0]])
            if abs(np.linalg.det(matrix)) < 1e-12:
                continue
            shares = np.linalg.solve(matrix, [x, y, 1.0])
            if (shares >= 0.0).all():
                hits.append(float(shares @ [a[2], b[2], c[2]]))
        hits.sort()
        expected += [
            (column, foot, top)
            for foot, top in zip(hits[::2], hits[1::2], strict=True)
            if top - foot < 0.9 and abs(top - foot - 0.8) * abs(top - foot - 0.5 / 0.9928) < 0.02
        ]
    assert len(expected) > 60
    np.testing.assert_array_equal(place, [one[0] for one in expected])
    assert span == pytest.approx(np.array([one[1:] for one in expected]))
    # Only what is thinner than the limit, level enough and parallel.
    thin, _, _ = columns.thin_columns(points, facets, at, cell, size, 0.6, 1e-6, 0.9, 0.95)
    upper = [one[0] for one in expected if one[2] - one[1] < 0.6]
    np.testing.assert_array_equal(thin, upper)
    level, _, _ = columns.thin_columns(points, facets, at, cell, size, 0.9, 1e-6, 0.9999, 0.95)
    assert set(level) == {one[0] for one in expected if one[2] - one[1] > 0.6}
    holed = np.delete(facets, np.argmax(mesh.face_normals[:, 2]), axis=0)
    far, _, missed = columns.thin_columns(points, holed, at, cell, size, 0.9, 1e-6, 0.9, 0.95)
    assert missed > 0
    assert len(far) <= len(place)
    # Spans of neighbouring columns that overlap are one region.
    label = columns.join_spans(place, span, size[0], 0.05)
    graph = networkx.Graph()
    graph.add_nodes_from(range(len(place)))
    for i in range(len(place)):
        for j in range(i):
            step = np.abs(np.array(divmod(place[i], size[0])) - divmod(place[j], size[0])).max()
            gap = max(span[i, 0] - span[j, 1], span[j, 0] - span[i, 1])
            if step == 1 and gap <= 0.05:
                graph.add_edge(i, j)
    for region in networkx.connected_components(graph):
        assert {label[i] for i in region} == {min(region)}


def test_every_column_through_an_edge_is_on_one_side() -> None:
    """A square of two triangles whose corners and sides lie on the grid: each column once."""
    square = np.array([[0, 0, 0], [3, 0, 0], [3, 3, 0], [0, 3, 0]], float)
    both = np.vstack([square, square + [0, 0, 0.4]])
    facets = np.array([[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7]])
    for turn in range(3):
        sides = np.roll(facets, turn, axis=1)
        place, span, opened = columns.thin_columns(
            both, sides, np.zeros(2), 1.0, (4, 4), 1.0, 1e-6, 0.9, 0.95
        )
        assert opened == 0
        assert len(place) == len(set(place)) == 9
        assert span == pytest.approx(np.tile([0.0, 0.4], (9, 1)))


@pytest.mark.parametrize("seed", range(4))
def test_edges_are_those_of_a_dictionary(seed: int) -> None:
    rng = np.random.default_rng(seed)
    facets = np.array([rng.permutation(7)[:3] for _ in range(4 + 3 * seed)], dtype=np.int64)
    known: dict[tuple[int, int], list[tuple[int, bool]]] = {}
    for f, corners in enumerate(facets.tolist()):
        for k in range(3):
            a, b = corners[k], corners[(k + 1) % 3]
            known.setdefault((min(a, b), max(a, b)), []).append((3 * f + k, a < b))
    table = edges.edge_table(facets)
    assert [tuple(ends) for ends in table.ends.tolist()] == list(known)
    for edge, sides in enumerate(known.values()):
        assert [table.edge_of[side] for side, _ in sides] == [edge] * len(sides)
        assert [bool(table.forward[side]) for side, _ in sides] == [way for _, way in sides]
        assert table.uses[edge] == len(sides)
        assert table.balance[edge] == sum(1 if way else -1 for _, way in sides)
    alone = edges._number_bodies(table.edge_of, table.uses)
    graph = networkx.Graph()
    graph.add_nodes_from(range(len(facets)))
    graph.add_edges_from((s[0][0] // 3, s[1][0] // 3) for s in known.values() if len(s) == 2)
    for name, group in enumerate(sorted(networkx.connected_components(graph), key=min)):
        assert {int(alone[f]) for f in group} == {name}
    assert edges.edge_table(np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]])).closed
    assert not edges.edge_table(facets[:1]).closed
    assert not edges.edge_table(facets[:0]).closed


def test_equal_rows_and_volumes() -> None:
    rng = np.random.default_rng(2)
    rows = rng.integers(0, 3, (40, 3)).astype(np.uint32)
    with np.errstate(over="ignore"):
        first, numbers = hashing.number_equal(rows)
    known: dict[tuple[int, ...], int] = {}
    for row, name in zip(rows.tolist(), numbers.tolist(), strict=True):
        assert known.setdefault(tuple(row), len(known)) == name
    assert [tuple(rows[i].tolist()) for i in first] == list(known)
    mesh = surface(5)
    labels = np.r_[np.zeros(len(mesh.faces) - 12, np.int64), np.ones(12, np.int64)]
    volumes = measures.signed_volumes(
        np.asarray(mesh.vertices) + 7.0, np.asarray(mesh.faces), labels
    )
    whole = [part.volume for part in mesh.split(only_watertight=False)]
    assert sorted(volumes) == pytest.approx(sorted(whole))
    corners = np.asarray(mesh.triangles)
    a, b, c = np.moveaxis(corners, 1, 0)
    cross = np.cross(b - a, c - a)
    assert measures.area_normals(corners) == pytest.approx(cross)
    size = np.linalg.norm(cross, axis=1)
    assert measures.unit_normals(corners) == pytest.approx(cross / size[:, None])
    assert measures.areas_of(np.asarray(mesh.vertices), np.asarray(mesh.faces)) == pytest.approx(
        size / 2
    )
    longest = np.max([np.linalg.norm(u, axis=1) for u in (b - a, c - b, a - c)], axis=0)
    assert measures.heights(corners) == pytest.approx(size / longest)
    flat = np.array([[[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[1, 1, 1]] * 3], float)
    assert not measures.unit_normals(flat).any()
    assert not measures.heights(flat).any()
