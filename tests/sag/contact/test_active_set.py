"""Where a part stands, finer than the bricks: edges of footings, slopes, points."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapely.geometry import Polygon

from sag.solids import bar, united
from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag import SagMaterial, SagSettings
from shrinkrule.sag.solve import sag_on_grid
from shrinkrule.sag.voxels.grid import furnace_turn, lay_grid

HOT = SagMaterial(modulus_kpa=900.0, modulus_u_kpa=0.0, poisson=0.46, density_g_cm3=7.92)
WIDTH, HEIGHT, ROUNDING = 40.0, 12.7, 6.35


def rounded_plate(depth: float) -> tuple[trimesh.Trimesh, Floats]:
    """A slice of a plate whose lower edges are rounded in steps of 15 degrees; its corners too."""
    angle = np.radians(np.arange(0, 91, 15))
    left = ROUNDING * np.stack([1.0 - np.sin(angle), 1.0 - np.cos(angle)], axis=1)
    right = np.array([WIDTH, 0.0]) + left[::-1] * [-1.0, 1.0]
    outline = Polygon([*left, (0.0, HEIGHT), (WIDTH, HEIGHT), *right])
    plate = trimesh.creation.extrude_polygon(outline, depth)
    plate.apply_transform([[1, 0, 0, 0], [0, 0, -1, depth], [0, 1, 0, 0], [0, 0, 0, 1]])
    corners = np.stack([left[:, 0], np.full(len(left), depth / 2.0), left[:, 1]], axis=1)
    return plate, corners


def overhang_sags(bricks_across: int) -> Floats:
    """Sag of the rounding's corners, outward from the footing, mm."""
    brick = WIDTH / bricks_across
    plate, corners = rounded_plate(2.0 * brick)
    grid = lay_grid(plate, np.eye(3), brick, slack=1.0)
    sags: Floats = -sag_on_grid(plate, grid, HOT, SagSettings()).field.at(corners)[:, 2]
    return sags


@pytest.fixture(scope="module")
def fine_sags() -> Floats:
    return overhang_sags(200)


@pytest.mark.parametrize("bricks_across", [15, 18, 21, 22, 23, 25, 27, 32])
def test_overhang_beside_a_footing_wherever_its_edge_lies_between_bricks(
    bricks_across: int, fine_sags: Floats
) -> None:
    """The footing ends between two planes of the grid: the overhang sags as on a fine grid.

    Holding whole nodes only, these grids differ by up to 70 % at the first corner.
    """
    # Outward the singularity at the edge matters less; near it, two bricks see little.
    assert overhang_sags(bricks_across)[2:] == pytest.approx(fine_sags[2:], rel=0.06)
    assert overhang_sags(bricks_across)[1] == pytest.approx(fine_sags[1], rel=0.12)


@pytest.mark.parametrize("brick", [1.0, 0.7])
def test_ball_on_the_plate_comes_down_as_hertz_says(brick: float) -> None:
    """Approach of a ball and a rigid plane, delta = a^2 / R with a^3 = 3 F R (1 - nu^2) / (4 E).

    Source: H. Hertz, J. reine angew. Math. 92 (1881) 156-171; K. L. Johnson, Contact Mechanics,
    ch. 4 (from memory). The weight acts in the volume and the contact is an eighth of the
    radius, so the theory of a half space holds to some per cent.
    """
    radius = 10.0
    ball = trimesh.creation.icosphere(4, radius)
    ball.apply_translation([0.1 * brick, 0.3 * brick, 0.0])
    force = HOT.weight_over_modulus * float(ball.volume)
    contact = (0.75 * force * radius * (1.0 - HOT.poisson**2)) ** (1.0 / 3.0)
    grid = lay_grid(ball, np.eye(3), brick, slack=1.0)
    field = sag_on_grid(ball, grid, HOT, SagSettings()).field
    approach = -field.at(np.asarray(ball.vertices).mean(axis=0)[None])[0, 2]
    assert approach == pytest.approx(contact**2 / radius, rel=0.08)


def test_grid_follows_the_walls_that_most_area_agrees_on() -> None:
    """A wedge's slanting wall does not turn the grid away from its two square ones."""
    wedge = trimesh.creation.extrude_polygon(Polygon([(0, 0), (30, 0), (0, 20)]), 8.0)
    turn = furnace_turn(wedge, np.array([0.0, 0.0, 1.0]))
    assert np.sort(np.abs(turn).ravel())[-3:] == pytest.approx(1.0)


def test_knife_edge_stands_where_it_is() -> None:
    """A part on two upturned roofs comes down by less than a hundredth of a brick at the ridges."""
    ridge = trimesh.creation.extrude_polygon(Polygon([(0, 0), (3, 3), (-3, 3)]), 8.0)
    ridge.apply_transform([[1, 0, 0, 0], [0, 0, -1, 8], [0, 1, 0, 0], [0, 0, 0, 1]])
    other = ridge.copy()
    other.apply_translation([20.3, 0.0, 0.0])
    table = united(ridge, other, bar((-3, 0, 3), (23.3, 8, 6)))
    stiff = SagMaterial(50_000.0, 0.0, 0.46, 7.0)
    grid = lay_grid(table, np.eye(3), 1.0, slack=1.0)
    field = sag_on_grid(table, grid, stiff, SagSettings()).field
    ends = field.at(np.array([[0.0, 4.0, 0.0], [20.3, 4.0, 0.0]]))
    assert np.all(np.abs(ends[:, 2]) < 0.01)
