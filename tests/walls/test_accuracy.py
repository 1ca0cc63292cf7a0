"""Ball thickness against closed forms: 99 of 100 samples right to 0.5 % or 2 micrometres.

Every shape is meshed coarsely and finely and turned at random. Where a shape is round, the
answer is that of the smooth shape and the tolerance grows by what its flats differ from it.
The formulas are derived in docs/theory-walls.md.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, Manifold

from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.walls.thickness.refinement import refined_samples
from shrinkrule.walls.thickness.sampling import sample_cells
from shrinkrule.walls.thickness.spheres import Surface
from walls.shapes import shell, tube
from walls.solids import Floats, prism

SHARE: Final = 0.005
LEAST_MM: Final = 0.002

NEAR_MM: Final = 10.0
"""Walls up to this are looked at as closely as walls near a limit."""

WIDTH: Final = 16.0
"""Length of the extruded shapes; samples near their ends are left out."""

Answer = Callable[[Floats], Floats]
"""Wall at points (n, 3) given as the shape was drawn; nan where no closed form is claimed."""


def errors(mesh: trimesh.Trimesh, answer: Answer, spacing: float, seed: int) -> Floats:
    """Error of each wall sample in tolerances."""
    turn = trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))
    turn[:3, 3] = [40.0, -25.0, 10.0]
    turned = mesh.copy().apply_transform(turn)
    sampling, surface = sample_cells(turned, spacing), Surface(turned)
    samples = refined_samples(turned, surface, sampling, (NEAR_MM,), spacing, 600_000)
    right = answer(trimesh.transform_points(samples.points, np.linalg.inv(turn)))
    known = samples.is_wall & ~np.isnan(right)
    assert known.sum() > 100
    off = np.abs(samples.thickness[known] - right[known])
    return np.asarray(off / np.maximum(SHARE * right[known], LEAST_MM))


def meshed(solid: Manifold, edge_mm: float) -> trimesh.Trimesh:
    return mesh_from_solid(solid.refine_to_length(edge_mm))


def amid(points: Floats, wall: Floats) -> Floats:
    """The wall, nan within half of it of the ends of an extruded shape."""
    return np.where(np.abs(points[:, 1]) < WIDTH / 2.0 - wall / 2.0 - 0.01, wall, np.nan)


def plate(wall: float) -> tuple[Manifold, Answer]:
    def answer(points: Floats) -> Floats:
        inside = (np.abs(points[:, :2]) < 10.0 - wall / 2.0).all(axis=1)
        return np.where(inside, wall, np.nan)

    return Manifold.cube((20.0, 20.0, wall), center=True), answer


def wedge(degrees: float) -> tuple[Manifold, Answer]:
    """At x from the apex along a face: 2 x tan(a / 2)."""
    half = np.radians(degrees) / 2.0
    profile = [(0.0, 0.0), (12.0, -12.0 * np.tan(half)), (12.0, 12.0 * np.tan(half))]

    def answer(points: Floats) -> Floats:
        along = points[:, 0] / np.cos(half)
        wall = 2.0 * along * np.tan(half)
        # Further on the ball reaches the wide end.
        wall[along / np.cos(half) + wall / 2.0 > 12.0] = np.nan
        return amid(points, wall)

    return prism(profile, WIDTH), answer


def cone(degrees: float, sides: int) -> tuple[Manifold, Answer]:
    """At s from the tip along the side: 2 s tan(half the tip's angle)."""
    half = np.radians(degrees) / 2.0
    slope = np.tan(half)
    solid = Manifold.cylinder(14.0, 0.0, 14.0 * slope, sides)

    def answer(points: Floats) -> Floats:
        slant = np.linalg.norm(points, axis=1)
        room = slant / np.cos(half) + slant * slope < 14.0
        return np.where(room & (points[:, 2] > 0.5), 2.0 * slant * slope, np.nan)

    return solid, answer


def step(thin: float, thick: float) -> tuple[Manifold, Answer]:
    """Under the thick part, d from the step's foot: (d^2 + t^2) / t up to the thick wall."""
    profile = [(-10.0, 0.0), (10.0, 0.0), (10.0, thin), (0.0, thin), (0.0, thick), (-10.0, thick)]

    def answer(points: Floats) -> Floats:
        x = points[:, 0]
        deep = np.maximum(-x, 0.0)
        wall = np.minimum((deep**2 + thin**2) / thin, thick)
        below = (np.abs(points[:, 2]) < 1e-6) & (np.abs(x) < 10.0 - thick)
        return amid(points, np.where(below, wall, np.nan))

    return prism(profile, WIDTH), answer


def tee(base: float, rib: float) -> tuple[Manifold, Answer]:
    """Under the rib, d from the nearer foot: (d^2 + t^2) / t; beside it the base; in it the rib."""
    profile = [(-9.0, 0.0), (9.0, 0.0), (9.0, base), (rib / 2, base)]
    profile += [(rib / 2, base + 9.0), (-rib / 2, base + 9.0), (-rib / 2, base), (-9.0, base)]

    def answer(points: Floats) -> Floats:
        x, z = points[:, 0], points[:, 2]
        under = (np.abs(z) < 1e-6) & (np.abs(x) < 9.0 - base)
        deep = np.maximum(rib / 2.0 - np.abs(x), 0.0)
        wall = np.where(under, (deep**2 + base**2) / base, np.nan)
        side = np.abs(np.abs(x) - rib / 2.0) < 1e-6
        side &= (z > base + 0.6 * rib) & (z < base + 9.0 - 0.6 * rib)
        return amid(points, np.where(side, rib, wall))

    return prism(profile, WIDTH), answer


def fillet(wall: float, radius: float, sides: int) -> tuple[Manifold, Answer]:
    """Outside of a bracket, x from the middle of its inner fillet: see the theory.

    Ball of radius r about (x, r), fillet of radius R about (0, c): x^2 + (c - r)^2 = (R + r)^2.
    """
    middle = wall + radius
    turn = np.linspace(np.pi, 1.5 * np.pi, sides + 1)
    arc = [(middle + radius * np.cos(a), middle + radius * np.sin(a)) for a in turn]
    profile = [(0.0, 0.0), (14.0, 0.0), (14.0, wall), *arc[::-1], (wall, 14.0), (0.0, 14.0)]

    def answer(points: Floats) -> Floats:
        x = points[:, 0] - middle
        half = (x**2 + middle**2 - radius**2) / (2.0 * (middle + radius))
        half = np.where(x > 0.0, wall / 2.0, half)
        beyond = (np.abs(points[:, 2]) < 1e-6) & (points[:, 0] > 1.1 * half)
        beyond &= points[:, 0] < 14.0 - wall
        return amid(points, np.where(beyond, 2.0 * half, np.nan))

    ring = CrossSection([profile]).extrude(WIDTH).translate((0.0, 0.0, -WIDTH / 2.0))
    return ring.rotate((90.0, 0.0, 0.0)), answer


SHAPES: Final[dict[str, tuple[Callable[[], tuple[Manifold, Answer]], float]]] = {
    "plate": (lambda: plate(0.8), 0.0),
    "wedge of 20 degrees": (lambda: wedge(20.0), 0.0),
    "wedge of 55 degrees": (lambda: wedge(55.0), 0.0),
    # A flat of a cone or a fillet lies inside the round by 1 - cos(pi / sides).
    "cone": (lambda: cone(50.0, 256), 1.0 - np.cos(np.pi / 256)),
    "step": (lambda: step(0.8, 3.0), 0.0),
    "tee": (lambda: tee(1.0, 2.4), 0.0),
    "fillet": (lambda: fillet(1.0, 3.0, 64), 3.0 * (1.0 - np.cos(np.pi / 256))),
}


@pytest.mark.parametrize("edge", [100.0, 0.4], ids=["coarse", "fine"])
@pytest.mark.parametrize("name", SHAPES)
def test_99_of_100_samples_are_right(name: str, edge: float) -> None:
    build, flats = SHAPES[name]
    solid, answer = build()
    off = errors(meshed(solid, edge), answer, 0.3, seed=len(name))
    assert np.percentile(off, 99) <= 1.0 + flats / SHARE


@pytest.mark.parametrize(("around", "along"), [(24, 1), (96, 4), (720, 60)])
def test_a_tube_is_right(around: int, along: int) -> None:
    """Behind a corner the ball between flats is larger by 2 / (1 + cos(pi / n))."""
    wall, height = 1.2, 16.0

    def answer(points: Floats) -> Floats:
        return np.where(np.abs(points[:, 2] - height / 2.0) < height / 2.0 - wall, wall, np.nan)

    off = errors(tube(6.0, wall, height, around, along), answer, 0.3, seed=around)
    assert np.percentile(off, 99) <= 1.0 + (2.0 / (1.0 + np.cos(np.pi / around)) - 1.0) / SHARE


def test_a_tube_of_half_a_million_facets_is_right() -> None:
    wall, height = 1.0, 20.0

    def answer(points: Floats) -> Floats:
        return np.where(np.abs(points[:, 2] - height / 2.0) < height / 2.0 - wall, wall, np.nan)

    mesh = tube(9.0, wall, height, 2000, 63)
    assert len(mesh.faces) > 500_000
    assert np.percentile(errors(mesh, answer, 0.4, seed=1), 99) <= 1.0


@pytest.mark.parametrize("fine", [3, 5])
def test_a_shell_is_right(fine: int) -> None:
    wall = 1.2
    mesh = shell(6.0, wall, fine)
    facing = np.einsum("ij,ij->i", mesh.face_normals, mesh.triangles_center)
    nearest = np.abs(facing).min() / 6.0
    off = errors(mesh, lambda points: np.full(len(points), wall), 0.3, seed=fine)
    # Facets of both balls are parallel and lie inside the round by as much as their middles.
    assert np.percentile(off, 99) <= 1.0 + (1.0 - nearest) / SHARE
