"""Box tree and inscribed balls against slow plain versions, written from their docstrings.

They also run with the loops as plain Python, so all bodies are small.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
import trimesh

from references.loops import run_as_python
from shrinkrule.numerics.arrays import Floats
from shrinkrule.walls.thickness import (
    behind,
    bitangent,
    growth,
    inscribed,
    sampling,
    spanning,
)
from shrinkrule.walls.thickness import corners as angles
from shrinkrule.walls.thickness import nearest as nearest_
from shrinkrule.walls.thickness import tree as trees
from shrinkrule.walls.thickness.behind import FACES_BACK
from shrinkrule.walls.thickness.bitangent import OTHER_SIDE
from shrinkrule.walls.thickness.growth import BAND, CONTACTS
from shrinkrule.walls.thickness.inscribed import DEPTH
from shrinkrule.walls.thickness.spanning import ALIKE, MEMORY, SQUARE

LOOPS = (trees, nearest_, spanning, inscribed, growth, bitangent, behind, angles, sampling)


@pytest.fixture(autouse=True)
def as_python(monkeypatch: pytest.MonkeyPatch) -> None:
    run_as_python(LOOPS, monkeypatch)


def triangles(seed: int, count: int) -> Floats:
    """Triangles of all sizes and slants near the origin."""
    rng = np.random.default_rng(seed)
    sizes = rng.choice([0.2, 1.0, 6.0], (count, 1, 1))
    made: Floats = rng.normal(size=(count, 1, 3)) * 2.0 + sizes * rng.normal(size=(count, 3, 3))
    return made


@cache
def body(name: str) -> tuple[trimesh.Trimesh, trees.Tree]:
    """A small body about the origin, askew, and its tree."""
    mesh = {
        "bar": trimesh.creation.box((6.0, 2.0, 1.3)).subdivide(),
        "rod": trimesh.creation.cylinder(1.5, 5.0, sections=12),
        "elbow": trimesh.creation.extrude_polygon(
            shapely.Polygon([(0, 0), (5, 0), (5, 1), (1.2, 1), (1.2, 4), (0, 4)]), 2.0
        ),
    }[name]
    mesh.apply_translation(-mesh.bounds.mean(axis=0))
    mesh.apply_transform(trimesh.transformations.euler_matrix(0.3, 0.5, 0.2))
    return mesh, trees.tree_of(trees.pieces_of(np.ascontiguousarray(mesh.triangles)))


def nearest(corners: Floats, at: Floats) -> Floats:
    """Nearest point of each triangle, (m, 3), by trimesh."""
    found: Floats = trimesh.triangles.closest_point(corners, np.tile(at, (len(corners), 1)))
    return found


def test_places_along_the_curve_interleave_the_bits() -> None:
    rng = np.random.default_rng(0)
    points, low = rng.uniform(-2.0, 5.0, (20, 3)), np.full(3, -2.0)
    for point, key in zip(points, trees.morton_keys(points, low, 7.0), strict=True):
        x, y, z = (int((v + 2.0) * (2097151.0 / 7.0)) for v in point)
        bits = [v >> n & 1 for n in range(21) for v in (x, y, z)]
        assert int(key) == sum(bit << n for n, bit in enumerate(bits))
    order = trees.along_curve(points, low, 7.0)
    keys = trees.morton_keys(points, low, 7.0) >> np.uint64(31)
    assert sorted(order) == list(range(20))
    assert (np.diff(keys[order].astype(np.int64)) >= 0).all()


def test_normals_are_crossed_sides_and_none_of_what_has_no_height() -> None:
    corners = triangles(1, 12)
    a, b, c = np.moveaxis(corners, 1, 0)
    cross = np.cross(b - a, c - a)
    unit = cross / np.linalg.norm(cross, axis=1, keepdims=True)
    np.testing.assert_allclose(trees.facet_normals(corners), unit, atol=1e-12)
    assert trees._area(corners) == pytest.approx(0.5 * np.linalg.norm(cross, axis=1).sum())
    for turn in range(3):
        # The longest side is 4; its height is over or under the share of it that counts.
        for height, counts in ((1.1e-9, True), (0.9e-9, False)):
            flat = np.roll([[[0, 0, 0], [4, 0, 0], [1, 4 * height, 0]]], turn, axis=1)
            facing = trees.facet_normals(flat.astype(np.float64))[0]
            assert list(facing) == ([0.0, 0.0, 1.0] if counts else [0.0, 0.0, 0.0])


def clipped(polygon: list[Floats], along: Floats, level: float, keep: float) -> list[Floats]:
    """Part of a polygon where ``keep * (along . p - level) >= 0``, side by side."""
    out = []
    for p, q in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        u, v = keep * (along @ p - level), keep * (along @ q - level)
        if u >= 0.0:
            out.append(p)
        if (u > 0.0 > v) or (u < 0.0 < v):
            out.append(p + u / (u - v) * (q - p))
    return out


def test_boxes_of_a_facet_s_pieces_hold_them_and_nothing_else() -> None:
    """Pieces are cut straight across the longest side, at even steps of it."""
    corners = triangles(2, 14)
    corners[3] = corners[3, 0]  # a facet that is a point
    corners[4, 2] = corners[4, 1] + 0.5 * (corners[4, 0] - corners[4, 1])  # and one that is a line
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    counts = trees._slice_counts(corners, 1.1, 5)
    np.testing.assert_array_equal(counts, np.clip(np.ceil(sides.max(axis=1) / 1.1), 1, 5))
    starts = np.r_[0, np.cumsum(counts)]
    lows, highs = np.empty((starts[-1], 3)), np.empty((starts[-1], 3))
    owner = np.empty(starts[-1], np.int64)
    trees._slice_boxes(corners, starts, lows, highs, owner)
    np.testing.assert_array_equal(owner, np.repeat(np.arange(14), counts))
    for f in set(range(14)) - {3, 4}:
        k = int(sides[f].argmax())
        a, b = corners[f, k], corners[f, (k + 1) % 3]
        along = (b - a) / ((b - a) @ (b - a))
        for i in range(counts[f]):
            piece = clipped(list(corners[f]), along, along @ a + i / counts[f], 1.0)
            piece = clipped(piece, along, along @ a + (i + 1) / counts[f], -1.0)
            np.testing.assert_allclose(lows[starts[f] + i], np.min(piece, axis=0), atol=1e-9)
            np.testing.assert_allclose(highs[starts[f] + i], np.max(piece, axis=0), atol=1e-9)
    line = corners[4]
    assert lows[starts[4] : starts[5]].min(axis=0) == pytest.approx(line.min(axis=0))
    assert highs[starts[4] : starts[5]].max(axis=0) == pytest.approx(line.max(axis=0))


@pytest.mark.parametrize("seed", range(3))
def test_halves_lie_on_two_sides_of_the_longest_axis(seed: int) -> None:
    rng = np.random.default_rng(seed)
    middles = rng.choice([rng.normal(size=(29, 3)), rng.integers(0, 3, (29, 3)).astype(float)])
    order = rng.permutation(29)
    trees._halve(order, middles, 8)
    assert sorted(order) == list(range(29))
    for width in (8, 4, 2):
        for first in range(0, 8, width):
            low, at, high = ((first + w) * 29 // 8 for w in (0, width // 2, width))
            axis = int(np.ptp(middles[order[low:high]], axis=0).argmax())
            assert middles[order[low:at], axis].max() <= middles[order[at:high], axis].min()


@pytest.mark.parametrize("name", ["bar", "elbow"])
def test_nodes_hold_their_facets_in_boxes_and_in_slabs(name: str) -> None:
    mesh, tree = body(name)
    leaves, pieces = len(tree.boxes) // 2, len(tree.items)
    assert set(tree.items) == set(range(len(mesh.faces)))
    assert leaves * trees.LEAF >= pieces > leaves // 2 * trees.LEAF
    slabs = 0
    for node in range(1, 2 * leaves):
        first, last = node, node + 1
        while first < leaves:
            first, last = 2 * first, 2 * last
        held = tree.items[(first - leaves) * pieces // leaves : (last - leaves) * pieces // leaves]
        if node < leaves:
            both = tree.boxes[2 * node : 2 * node + 2]
            np.testing.assert_array_equal(tree.boxes[node, :3], both[:, :3].min(axis=0))
            np.testing.assert_array_equal(tree.boxes[node, 3:], both[:, 3:].max(axis=0))
        normals = tree.normals[held]
        middle = 0.5 * (normals.min(axis=0) + normals.max(axis=0))
        length = np.linalg.norm(middle)
        if abs(length - 0.5) < 1e-4:
            continue
        if length < 0.5:
            assert tree.slabs[node, 4] == np.inf
            continue
        slabs += 1
        np.testing.assert_allclose(tree.slabs[node, :3], middle / length, atol=1e-6)
        along = tree.corners[held].reshape(-1, 3) @ tree.slabs[node, :3].astype(np.float64)
        assert along.min() - 1e-5 <= tree.slabs[node, 3] <= along.min()
        assert along.max() + 1e-5 >= tree.slabs[node, 4] >= along.max()
    assert slabs > leaves / 4, "the bodies have flat sides"
    bounds = np.vstack([tree.boxes[1, :3], tree.boxes[1, 3:]])
    assert bounds == pytest.approx(mesh.bounds, abs=1e-5)
    assert (bounds[0] <= mesh.bounds[0]).all()
    assert (bounds[1] >= mesh.bounds[1]).all()


def test_a_node_is_passed_by_only_where_the_ball_misses_its_facets() -> None:
    mesh, tree = body("bar")
    rng = np.random.default_rng(5)
    leaves, pieces = len(tree.boxes) // 2, len(tree.items)
    missed = near = 0
    for _ in range(60):
        node = int(rng.integers(leaves, 2 * leaves))
        low, high = (tree.boxes[node, s].astype(float) for s in (slice(0, 3), slice(3, 6)))
        at = 0.5 * (low + high) + rng.normal(size=3)
        outside = float(np.linalg.norm(at - np.clip(at, low, high)))
        radius = outside * float(rng.uniform(0.8, 1.6)) + 0.05
        square = ((at - np.clip(at, low, high)) ** 2).sum()
        assert nearest_.box_distance(tree.boxes, node, *at) == pytest.approx(square, abs=1e-12)
        leaf = node - leaves
        held = tree.items[leaf * pieces // leaves : (leaf + 1) * pieces // leaves]
        far = np.linalg.norm(nearest(tree.corners[held], at) - at, axis=1).min()
        if nearest_.beside_slab(tree, node, at[0], at[1], at[2], radius):
            # Facets reach beyond the box of their piece: what is in it is missed.
            inside = mesh.triangles[held].min(axis=(1)) >= low - 1e-5
            if inside.all() and (mesh.triangles[held].max(axis=1) <= high + 1e-5).all():
                assert far >= radius - 1e-6
            missed += square < radius**2
        near += far < radius
    assert missed > 3, "slabs miss what boxes do not"
    assert near > 5


def test_the_least_ball_that_touches_a_segment() -> None:
    """|p - r n - x| = r for x on the segment: r = x^2 / (-2 n x), least over fine steps of it."""
    rng = np.random.default_rng(7)
    met = 0
    for _ in range(80):
        start, along = rng.normal(size=3), rng.normal(size=3) * rng.choice([0.3, 2.0])
        n = rng.normal(size=3)
        n /= np.linalg.norm(n)
        t = np.linspace(0.0, 1.0, 4001)
        x = start + t[:, None] * along
        below = -(x @ n)
        rho = np.where(below > 1e-9, (x**2).sum(axis=1) / np.maximum(2.0 * below, 1e-12), np.inf)
        found, where = inscribed._touch_segment(*start, *along, *n)
        if np.isfinite(found):
            met += 1
            assert found == pytest.approx(rho.min(), rel=1e-5)
            assert abs(where - t[rho.argmin()]) < 1e-2
        elif np.isfinite(rho.min()):
            # Only what lies beside the ball's foot, where the surface is grazed, is left out.
            best = x[rho.argmin()]
            assert -(best @ n) < 0.1 * np.linalg.norm(best)
    assert met > 25


@pytest.mark.parametrize("name", ["bar", "rod", "elbow"])
def test_the_largest_ball_is_the_least_that_touches_a_facet(name: str) -> None:
    """Of all facets, the least ball that touches one, found by halving its radius."""
    mesh, tree = body(name)
    rng = np.random.default_rng(8)
    stack, q = np.empty(DEPTH, np.int64), np.empty(3)
    for own in rng.choice(len(mesh.faces), 6, replace=False):
        share = rng.dirichlet((3.0, 3.0, 3.0))
        p, n = share @ tree.corners[own], tree.normals[own]
        others = np.delete(np.arange(len(mesh.faces)), own)
        # Facets in the plane of its own touch no ball.
        level = np.abs((tree.corners[others] - p) @ n).max(axis=1) < 1e-9
        corners = tree.corners[others[~level]]

        def free(radius: float, p: Floats = p, n: Floats = n, corners: Floats = corners) -> bool:
            centre = p - radius * n
            return bool(
                np.linalg.norm(nearest(corners, centre) - centre, axis=1).min() >= radius - 1e-12
            )

        low, high = 0.0, 10.0
        for _ in range(50):
            low, high = (
                (0.5 * (low + high), high)
                if free(0.5 * (low + high))
                else (low, 0.5 * (low + high))
            )
        radius, touched = inscribed._largest_ball(tree, p, n, own, 10.0, -1, q, stack)
        assert touched >= 0
        # The search allows itself a thousandth.
        assert low * (1.0 - 1e-6) - 1e-6 <= radius <= low * (1.0 + 2.1e-3) + 1e-6


def test_a_ball_spans_a_rod_and_is_remembered_where_it_touches() -> None:
    mesh, tree = body("rod")
    flats = 1.5 * np.cos(np.pi / 12)
    room = (np.empty(3), np.empty(3), np.empty(3), np.zeros(3), np.empty(DEPTH, np.int64))
    found = 0
    turn = trimesh.transformations.euler_matrix(0.3, 0.5, 0.2)[:3, :3]
    for f in range(len(mesh.faces)):
        n = tree.normals[f]
        if abs(n @ turn[:, 2]) > 0.1:
            continue
        p = tree.corners[f].mean(axis=0)
        p = p - (p @ turn[:, 2]) * turn[:, 2]
        radius = spanning.spanning_ball(tree, p, n, flats, *room)
        assert radius == pytest.approx(flats, rel=2e-2)
        centre = room[0]
        assert np.linalg.norm(centre) < 0.05, "about the axis"
        found += 1
    assert found == 24
    known = np.zeros((MEMORY, 4))
    assert spanning.remember(known, 0, np.array([1.0, 2.0, 3.0]), 2.0) == 1
    assert spanning.remember(known, MEMORY - 1, np.array([9.0, 9.0, 9.0]), 1.0) == 0
    assert list(known[0]) == [1.0, 2.0, 3.0, 2.0]
    n = np.array([0.0, 0.6, 0.8])
    centre = known[0, :3]
    for off, slant, slack, half in (
        (0.9 * ALIKE, 0.0, 1.0, 1.99),
        (-0.9 * ALIKE, 0.0, 1.0, 1.99),
        (1.1 * ALIKE, 0.0, 1.0, 1.99),
        (-1.1 * ALIKE, 0.0, 1.0, 1.99),
        (3.0 * ALIKE, 0.0, 5.0, 1.99),
        (0.0, 0.9 * SQUARE, 1.0, 1.99),
        (0.0, 1.1 * SQUARE, 1.0, 1.99),
        (0.0, 4.0 * SQUARE, 5.0, 1.99),
        (0.0, 0.0, 1.0, 2.02),
        (0.0, 0.0, 1.0, 2.06),
    ):
        aside = np.array([1.0, 0.0, 0.0])
        way = np.sqrt(1.0 - slant**2) * n + slant * aside
        p = centre + 2.0 * (1.0 + off) * way
        fits = abs(off) <= slack * ALIKE and slant <= slack * SQUARE and 0.98 * half <= 2.0
        known_radius = spanning.remembered(known, p, n, half, 0.98, slack)
        assert known_radius == pytest.approx(min(2.0, half) if fits else 0.0)
        assert spanning.remembered(known, centre - 2.0 * n, n, half, 0.98, slack) == 0.0


def test_nearest_points_on_all_sides_and_across() -> None:
    mesh, tree = body("elbow")
    rng = np.random.default_rng(9)
    points = rng.uniform(mesh.bounds[0] - 0.5, mesh.bounds[1] + 0.5, (25, 3))
    every = np.array([nearest(tree.corners, at) for at in points])
    far = np.linalg.norm(every - points[:, None], axis=2)
    found, facets = bitangent.nearest_on_surface(tree, points, np.full(25, 0.8))
    for at, on, facet, ways, away in zip(points, found, facets, every, far, strict=True):
        if away.min() >= 0.8:
            assert facet == -1
            assert on == pytest.approx(at)
        else:
            assert np.linalg.norm(on - at) == pytest.approx(away.min(), abs=1e-9)
            assert ways[facet] == pytest.approx(on, abs=1e-9)
    sides = rng.normal(size=(25, 3))
    sides /= np.linalg.norm(sides, axis=1, keepdims=True)
    found, facets = bitangent.nearest_across(tree, points, np.full(25, 2.5), sides)
    crossed = 0
    for number, side in enumerate(sides):
        cosine = (every[number] - points[number]) @ side / far[number]
        behind = np.where(cosine <= np.cos(np.radians(115.0)), far[number], np.inf)
        if behind.min() < 2.5:
            crossed += 1
            assert np.linalg.norm(found[number] - points[number]) == pytest.approx(behind.min())
        else:
            assert facets[number] == -1
    assert crossed > 5


def test_cylinders_into_which_a_facet_faces_back() -> None:
    """No where points of such facets lie outside of a cylinder twice as wide; yes where in it."""
    mesh, tree = body("elbow")
    rng = np.random.default_rng(10)
    facets = rng.integers(0, len(mesh.faces), 40)
    share = rng.dirichlet((2.0, 2.0, 2.0), 40)
    tops, normals = np.einsum("ij,ijk->ik", share, tree.corners[facets]), tree.normals[facets]
    depths, reaches = rng.uniform(0.3, 3.0, 40), rng.uniform(0.05, 1.0, 40)
    found = behind.faces_back_behind(tree, tops, normals, depths, reaches)
    grid = np.array([(i, j, 24 - i - j) for i in range(25) for j in range(25 - i)]) / 24.0
    for number in range(40):
        back = tree.normals @ normals[number] <= FACES_BACK
        points = np.einsum("ij,fjk->fik", grid, tree.corners[back]).reshape(-1, 3) - tops[number]
        below = -points @ normals[number]
        aside = np.linalg.norm(points + below[:, None] * normals[number], axis=1)
        inside = (below > 0.0) & (below < depths[number]) & (aside < reaches[number])
        if inside.any():
            assert found[number]
        elif not (
            (aside < reaches[number] + 0.15) & (below > -0.6) & (below < depths[number] + 0.6)
        ).any():
            assert not found[number]
    assert 5 < found.sum() < 35


def test_bitangent_spheres_touch_on_two_sides() -> None:
    """In a bar the nearest two sides are its height apart; from there no start moves."""
    _, tree = body("bar")
    turn = trimesh.transformations.euler_matrix(0.3, 0.5, 0.2)[:3, :3]
    rng = np.random.default_rng(11)
    flat = rng.uniform(-1.0, 1.0, (12, 3)) * [1.2, 0.05, 0.2]
    made = bitangent.bitangent_spheres(tree, flat @ turn.T, np.full(12, 1.5))
    assert made.radius == pytest.approx(np.full(12, 0.65), rel=1e-3)
    middle = 0.5 * (made.first + made.second) @ turn
    assert middle[:, :2] == pytest.approx(flat[:, :2], abs=1e-3)
    assert middle[:, 2] == pytest.approx(np.zeros(12), abs=1e-3)
    assert np.linalg.norm(made.first - made.second, axis=1) == pytest.approx(2.0 * made.radius)
    for first, facet in zip(made.first, made.facets, strict=True):
        q = np.empty(3)
        assert nearest_.nearest_on_facet(
            facet, tree.corners, first[0], first[1], first[2], q
        ) == pytest.approx(0.0, abs=1e-12)
    # Too short a bound, or no second side: none.
    assert not bitangent.bitangent_spheres(tree, flat @ turn.T, np.full(12, 0.1)).radius.any()
    outside = (flat + [0.0, 0.0, 3.0]) @ turn.T
    assert not bitangent.bitangent_spheres(tree, outside, np.full(12, 1.5)).radius.any()
    assert np.cos(np.radians(110.0)) == pytest.approx(OTHER_SIDE)


def test_contacts_are_all_that_is_nearly_nearest() -> None:
    _, tree = body("elbow")
    rng = np.random.default_rng(12)
    toward, contacts = np.empty((CONTACTS, 3)), np.empty((CONTACTS, 3))
    room = (np.empty(DEPTH, np.int64), np.empty(3), np.empty(CONTACTS))
    several = 0
    for number in range(60):
        at = rng.uniform(-1.5, 1.5, 3)
        if number % 3 == 0:
            # Midway between two sides, where there is more than one.
            on = nearest(tree.corners, at)
            at = at + (at - on[np.linalg.norm(on - at, axis=1).argmin()]) * 0.5
        points = nearest(tree.corners, at)
        away = np.linalg.norm(points - at, axis=1)
        near, count = growth._gather(tree, at, 5.0, toward, contacts, room)
        assert near == pytest.approx(away.min())
        expected = points[away < near * (1.0 + BAND) * (1.0 - 1e-9)]
        gap = np.linalg.norm(expected[:, None] - contacts[None, :count], axis=2)
        # Each is one of those kept, or within six degrees of one.
        assert (gap.min(axis=1) < 2.0 * near * np.sin(np.radians(3.1)) + 1e-9).all()
        assert (gap.min(axis=0) < 1e-9).all()
        ways = (contacts[:count] - at) / np.linalg.norm(contacts[:count] - at, axis=1)[:, None]
        assert toward[:count] == pytest.approx(ways)
        several += count > 1
        assert growth._gather(tree, at, 0.9 * near, toward, contacts, room) == (0.9 * near, 0)
    assert several > 2


def test_the_way_out_is_the_nearest_point_of_the_contacts_hull() -> None:
    """Among many mixtures of the contacts none is nearer to zero; penalties as stated."""
    rng = np.random.default_rng(13)
    weight, x = np.empty(CONTACTS), np.empty(3)
    for count in (1, 2, 3, 4, 5):
        for spread in (0.0, 0.1):
            toward = rng.normal(size=(CONTACTS, 3)) + [0.0, 0.0, 1.2]
            toward /= np.linalg.norm(toward, axis=1, keepdims=True)
            far = 2.0 * (1.0 + spread * rng.random(CONTACTS))
            far[0] = 2.0
            rate = growth._away_from_all(toward, far, 2.0, count, weight, x)
            share = weight[:count]
            assert share.sum() == pytest.approx(1.0)
            assert (share >= 0.0).all()
            assert x == pytest.approx(share @ toward[:count])
            assert rate == pytest.approx(np.linalg.norm(x))
            late = (far[:count] - 2.0) / (0.15 * 2.0)
            mixed = rng.dirichlet(np.full(count, 0.5), 4000)
            size = 0.5 * ((mixed @ toward[:count]) ** 2).sum(axis=1) + mixed @ late
            assert 0.5 * rate**2 + share @ late <= size.min() + 1e-4


def test_a_growing_ball_stops_where_it_touches_a_point() -> None:
    rng = np.random.default_rng(14)
    touched = 0
    for _ in range(40):
        c, q = rng.normal(size=3), rng.normal(size=3) * 3.0
        heading = rng.normal(size=3)
        heading /= np.linalg.norm(heading)
        radius, rate = float(rng.uniform(0.2, 1.0)), float(rng.uniform(0.0, 0.9))
        step = growth._touching_step(c, heading, q, radius, rate)
        way = np.linspace(0.0, 12.0, 4001)
        room = np.linalg.norm(c + way[:, None] * heading - q, axis=1) - radius - way * rate
        if room[0] <= 0.0 or (room > 0.0).all():
            assert step == 0.0 or step > 11.9
        elif step > 0.0:
            touched += 1
            assert step == pytest.approx(way[np.argmax(room <= 0.0)], abs=4e-3)
    assert touched > 5


def test_balls_grow_to_the_middle_of_a_bar() -> None:
    """Wherever it starts, a ball ends between the two nearest sides, and passes the sizes asked."""
    _, tree = body("bar")
    turn = trimesh.transformations.euler_matrix(0.3, 0.5, 0.2)[:3, :3]
    starts = np.array([[0.3, 0.8, 0.45], [-1.5, -0.7, -0.35], [1.0, 0.85, -0.5]])
    sizes = 0.65 - np.abs(starts[:, 2])
    made = growth.grown_balls(tree, starts @ turn.T, sizes, np.array([0.3, 0.6]))
    assert made.radius == pytest.approx(np.full(3, 0.6), abs=0.06)
    there = made.centres @ turn
    assert there[:, 0] == pytest.approx(starts[:, 0], abs=0.02)
    for goal, wanted in enumerate((0.3, 0.6)):
        passed = made.passed[:, goal] @ turn
        clear = np.minimum(0.65 - np.abs(passed[:, 2]), 1.0 - np.abs(passed[:, 1]))
        assert (clear >= wanted * 0.998).all()
    wide = growth.grown_balls(tree, starts @ turn.T, sizes, np.array([0.3, 5.0]))
    assert wide.radius == pytest.approx(np.full(3, 0.65), rel=5e-3)
    assert np.linalg.norm(wide.ends[:, 0] - wide.ends[:, 1], axis=1) == pytest.approx(
        np.full(3, 1.3), rel=1e-2
    )
    assert np.isnan(wide.passed[:, 1]).all()


def test_what_is_least_of_a_group_and_about_a_vertex() -> None:
    group = np.array([0, 1, 0, 2, 1, 0])
    values = np.array([3.0, 2.0, 1.0, 5.0, 2.0, 1.0])
    assert list(sampling._least_of_group(group, values)) == [2, 1, 2, 3, 1, 2]
    rng = np.random.default_rng(15)
    faces, normals = rng.integers(0, 7, (12, 3)), rng.normal(size=(12, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    normals[4] = 0.0
    least = angles._least_cosines(faces, normals, 9)
    for vertex in range(9):
        about = [f for f in range(12) for k in range(3) if faces[f, k] == vertex and f != 4]
        cosines = [1.0, *(normals[about[0]] @ normals[f] for f in about[1:])] if about else [1.0]
        assert least[vertex] == pytest.approx(min(cosines))


def test_points_on_inward_edges() -> None:
    """An elbow has one inward edge, 2 mm long: four points half a millimetre apart on it."""
    mesh, tree = body("elbow")
    points, out, facets = angles.inward_points(mesh, tree.normals, 0.5)
    turn = trimesh.transformations.euler_matrix(0.3, 0.5, 0.2)[:3, :3]
    flat = points @ turn + [2.5, 2.0, 1.0]
    on_edge = np.abs(flat[:, :2] - [1.2, 1.0]).max(axis=1) < 1e-6
    assert np.sort(flat[on_edge, 2])[[0, -1]] == pytest.approx([0.0, 2.0], abs=0.3)
    assert {0.25, 0.75, 1.25, 1.75} <= set(np.round(flat[on_edge, 2], 6))
    straight = on_edge & (np.abs(flat[:, 2] - 1.0) < 0.9)
    assert out[straight] @ turn == pytest.approx(
        np.tile(np.sqrt([0.5, 0.5, 0.0]), (4, 1)), abs=1e-9
    )
    assert (np.abs(np.einsum("ij,ij->i", out, tree.normals[facets])) > 0.5).all()


def test_angles_at_the_corners_of_a_triangle_of_3_4_and_5() -> None:
    triangle = np.array([[[0.0, 0.0, 1.0], [4.0, 0.0, 1.0], [0.0, 3.0, 1.0]]])
    expected = [np.pi / 2.0, np.arctan2(3.0, 4.0), np.arctan2(4.0, 3.0)]
    assert angles._corner_angles(triangle)[0] == pytest.approx(expected, abs=1e-12)
