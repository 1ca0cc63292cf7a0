"""Slices of a green part: closed forms, the library's own slices, and the islands in them."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold

from shrinkrule.mesh.bodies import mesh_from_solid, solid_from_mesh
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printing.slender import slender
from shrinkrule.printing.slices import moments, sections
from shrinkrule.printing.surface import PrintSurface

LAYER_MM = 0.3


def surface_of(solid: Manifold) -> PrintSurface:
    return PrintSurface(mesh_from_solid(solid), LAYER_MM)


def areas(surface: PrintSurface, heights: Floats) -> list[float | None]:
    """Areas of the slices, mm2; None where one is as below."""
    return [None if one is None else one.area() for one in sections(surface, heights)]


def test_a_cone_has_the_area_of_its_polygon_at_every_height() -> None:
    sides, heights = 48, np.array([0.5, 1.5, 7.0, 11.9])
    cone = surface_of(Manifold.cylinder(12.0, 6.0, 0.0, sides))
    radius = 6.0 * (1.0 - heights / 12.0)
    polygon = 0.5 * sides * math.sin(2.0 * math.pi / sides) * radius**2
    # Sections are on a grid of 1e-8 mm.
    assert areas(cone, heights) == pytest.approx(polygon.tolist(), rel=1e-9, abs=1e-8)


def test_between_upright_facets_every_slice_is_as_the_one_below() -> None:
    """A block of 4 x 3 mm on one of 6 x 5 mm; a vertex at the height of a slice is below it."""
    stairs = Manifold.cube((6, 5, 4)) + Manifold.cube((4, 3, 8))
    heights = np.array([1.0, 2.0, 4.0, 5.0, 7.0, 8.0])
    assert areas(surface_of(stairs), heights) == [30.0, None, 12.0, None, None, 0.0]


def test_above_a_cone_an_upright_post_is_cut_once() -> None:
    post = Manifold.cube((4, 3, 9)).translate((-2, -1.5, 0))
    heights = np.array([1.0, 2.0, 5.0, 6.0, 8.0])
    cut = areas(surface_of(Manifold.cylinder(4.0, 9.0, 6.0, 32) + post), heights)
    assert cut[:2] == sorted([one for one in cut if one], reverse=True)[:2]
    assert cut[2:] == [12.0, None, None]


def test_bodies_that_touch_along_edges_are_cut_as_what_they_are() -> None:
    """Three posts of 4 x 4 mm in a diagonal: on each of two upright edges meet four facets."""
    post = trimesh.creation.box((4, 4, 10)).apply_translation((2, 2, 5))
    posts = [post.copy().apply_translation((4 * k, 4 * k, 0)) for k in range(3)]
    together = trimesh.util.concatenate(posts)
    together.merge_vertices()
    assert areas(PrintSurface(together, LAYER_MM), np.array([1.0, 9.0])) == [48.0, None]


@pytest.mark.parametrize("seed", range(4))
def test_slices_are_those_of_the_library(seed: int) -> None:
    """Turned solids with holes, cut also through their vertices."""
    rng = np.random.default_rng(seed)
    solid = Manifold.sphere(5.0, 24) - Manifold.cylinder(20, 2, 2, 16).translate((0, 0, -10))
    for _ in range(4):
        side = rng.uniform(2, 6, 3)
        solid += Manifold.cube(side.tolist()).translate(rng.uniform(-6, 6, 3).tolist())
    mesh = mesh_from_solid(solid.rotate(rng.uniform(0, 90, 3).tolist()))
    surface = PrintSurface(mesh, LAYER_MM)
    low, high = surface.points[:, 2].min(), surface.points[:, 2].max()
    heights = np.sort(np.append(np.linspace(low, high, 40), rng.choice(surface.points[:, 2], 8)))
    whole = solid_from_mesh(surface.points, surface.facets)
    wanted = [whole.slice(height).area() for height in heights.tolist()]
    assert areas(surface, heights) == pytest.approx(wanted, rel=1e-9, abs=1e-8)


def test_moments_of_a_turned_ring_and_a_strip() -> None:
    """A square ring: I = (a^4 - b^4) / 12 about any axis; a strip: I = l t^3 / 12."""
    turn = np.array([[math.cos(0.3), -math.sin(0.3)], [math.sin(0.3), math.cos(0.3)]])
    square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    outer, inner = 3.0 * square @ turn.T + [7.0, 5.0], (2.0 * square @ turn.T + [7.0, 5.0])[::-1]
    strip = square * [6.0, 1.0] @ turn.T + [-300.0, 40.0]
    points = np.concatenate([outer, inner, strip])
    area, centre, least = moments(points, np.array([0, 4, 8]), np.array([0, 8]))
    assert area == pytest.approx([36 - 16, 24])
    assert centre == pytest.approx(np.array([[7.0, 5.0], [-300.0, 40.0]]))
    assert least == pytest.approx([(6**4 - 4**4) / 12, 12.0 * 2.0**3 / 12])


@pytest.mark.parametrize(
    "around",
    [
        Manifold.cube((14, 2, 20)) + Manifold.cube((2, 14, 20)),
        Manifold.cube((20, 20, 20)) - Manifold.cube((16, 16, 20)).translate((2, 2, 0)),
        (Manifold.cylinder(20, 12, 12, 4) - Manifold.cylinder(20, 10, 10, 4)).translate(
            (-0.5, 0, 0)
        ),
    ],
    ids=["angle", "tube", "slanting tube"],
)
def test_a_pin_stands_on_itself_and_not_on_what_is_around_it(around: Manifold) -> None:
    """A pin of 1 x 1 mm and 24 mm half a millimetre off a wall, in the box about it."""
    base = Manifold.cube((60, 60, 1)).translate((-30, -30, -1))
    pin = Manifold.cube((1, 1, 24)).translate((2.5, 2.5, 0))
    for quarter in range(4):
        turned = (base + around + pin).translate((0, 0, 1)).rotate((0, 0, 90 * quarter))
        found, skipped = slender(surface_of(turned))
        assert skipped == ""
        assert [one.measure for one in found] == pytest.approx([24.0], rel=0.05)  # to a slice
        assert np.abs(found[0].position[:2]) == pytest.approx([3.0, 3.0])


def test_walls_that_lap_are_one_tower() -> None:
    """Walls of 1 mm and 12 mm high, the upper one beside the lower but for a lap of 0.4 mm.

    The other two lap at one end: a line through the middle of both boxes meets them apart.
    """
    lower = Manifold.cube((10, 1, 12))
    upper = Manifold.cube((10, 1, 12)).translate((0, 0.6, 12))
    (one,), _ = slender(surface_of(lower + upper))
    assert one.measure == pytest.approx(24.0, rel=0.05)  # to a slice
    slanting = Manifold.cube((14, 1, 12)).rotate((0, 0, 45))
    straight = Manifold.cube((1, 10, 12)).translate((0.5, 0, 12))
    (other,), _ = slender(surface_of(slanting + straight))
    assert other.measure == pytest.approx(24.0, rel=0.05)


def test_walls_that_meet_at_a_line_are_two_towers() -> None:
    """The upper one of 12 mm stands on the edge of the lower one and shares nothing with it."""
    lower = Manifold.cube((10, 1, 12))
    upper = Manifold.cube((10, 1, 12)).translate((0, 1, 12))
    mesh = trimesh.util.concatenate([mesh_from_solid(lower), mesh_from_solid(upper)])
    found, _ = slender(PrintSurface(mesh, LAYER_MM))
    assert [one.measure for one in found] == pytest.approx([12.0, 12.0], rel=0.05)
