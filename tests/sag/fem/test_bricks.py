"""Filling, element and operator: what must hold for any part and any displacement."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from sag.solids import bar, bricks_of, grid_of, places, sag_held, two_armed_lever, whole_bricks
from shrinkrule.errors import MeshError
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.sag.fem.elements import Bricks, join_bricks, neighbours
from shrinkrule.sag.fem.hex8i import make_brick
from shrinkrule.sag.fem.operator import Stiffness
from shrinkrule.sag.fem.pcg import Equilibrium
from shrinkrule.sag.fem.rigid_modes import find_bodies, rigid_body_modes
from shrinkrule.sag.voxels.corners import CORNERS
from shrinkrule.sag.voxels.fractions import fill_grid
from shrinkrule.sag.voxels.grid import Grid, furnace_turn, lay_grid

angles = st.floats(-3.1, 3.1)


def random_bricks(seed: int) -> Bricks:
    """A connected set of bricks, half of them cut at random."""
    rng = np.random.default_rng(seed)
    filled = np.argwhere(rng.random((5, 6, 4)) < 0.7)
    octants = np.where(rng.random((len(filled), 1)) < 0.5, 1.0, rng.random((len(filled), 8)))
    return join_bricks(make_brick(np.array([1.0, 0.7, 1.3]), 0.46), whole_bricks(filled, octants))


@settings(max_examples=25, deadline=None)
@given(a=angles, b=angles, c=angles)
def test_filling_keeps_volume_and_centre_of_mass(a: float, b: float, c: float) -> None:
    """Exact along two directions; along the third a wall is placed to 1/16 of a brick.

    Walls of 2 mm and more between bricks of 1 mm: under 1 % in the worst case.
    """
    part = two_armed_lever()
    part.apply_transform(trimesh.transformations.euler_matrix(a, b, c))
    grid = lay_grid(part, np.eye(3), 1.0, slack=1.0)
    filling = fill_grid(part, grid, least=1e-9)
    volume = filling.components.octants.mean(axis=1) * np.prod(grid.size)
    assert volume.sum() == pytest.approx(part.volume, rel=0.01)
    eighths = filling.components.cells[:, None, :] + 0.25 + 0.5 * CORNERS
    octants = filling.components.octants
    centre = (octants[:, :, None] * eighths).sum(axis=(0, 1)) / octants.sum()
    expected = grid.local(part.center_mass[None])[0]
    assert centre * grid.size == pytest.approx(expected, abs=1.0 / 16.0)


def test_filling_of_an_aligned_box_is_exact() -> None:
    box = bar((0, 0, 0), (3, 2, 1.25))
    grid = Grid(np.eye(3), np.zeros(3), np.array([0.5, 0.5, 0.5]), np.array([6, 4, 3]))
    filling = fill_grid(box, grid)
    full = filling.components.cells[:, 2] < 2
    assert np.all(filling.components.octants[full] == 1.0)
    # The top layer is filled to a quarter of a millimetre: its lower octants, exactly.
    assert filling.components.octants[~full] == pytest.approx(
        np.tile([1.0, 0.0], (24, 4)), abs=1e-12
    )


def test_grid_planes_fall_on_large_flat_faces() -> None:
    """A 2 mm arm at 18 to 20 mm height: bricks of 0.55 mm become 0.5 mm, and none is cut."""
    part = two_armed_lever()
    grid = lay_grid(part, furnace_turn(part, np.array([0.0, 0.0, 1.0])), 0.55)
    filling = fill_grid(part, grid)
    assert filling.components.octants.min() == 1.0


def test_furnace_turn_follows_the_walls() -> None:
    """Turned by any angle about the vertical, the walls come back onto the grid's axes."""
    part = two_armed_lever()
    part.apply_transform(trimesh.transformations.rotation_matrix(0.4, (0, 0, 1)))
    turn = furnace_turn(part, np.array([0.0, 0.0, 1.0]))
    assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert turn @ [0.0, 0.0, 1.0] == pytest.approx([0.0, 0.0, 1.0])
    size = np.sort(np.ptp(part.vertices @ turn.T, axis=0))
    assert size == pytest.approx([6.0, 20.0, 40.0], abs=1e-6)


@pytest.mark.parametrize("up", [(1, 0, 0), (0, -1, 0), (0.3, -0.5, 0.8)])
def test_furnace_turn_brings_up_to_the_top(up: tuple[float, float, float]) -> None:
    unit = np.array(up) / np.linalg.norm(up)
    turn = furnace_turn(two_armed_lever(), unit)
    assert turn @ unit == pytest.approx([0.0, 0.0, 1.0], abs=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)


def test_open_and_inverted_meshes_are_refused() -> None:
    box = bar((0, 0, 0), (4, 4, 4))
    grid = grid_of(box, (1, 1, 1))
    opened = trimesh.Trimesh(box.vertices, box.faces[:-1], process=False)
    with pytest.raises(MeshError, match="open"):
        fill_grid(opened, grid)
    box.invert()
    with pytest.raises(MeshError, match="inside out"):
        fill_grid(box, grid)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_rigid_body_modes_need_no_force(seed: int) -> None:
    bricks = random_bricks(seed)
    stiffness = Stiffness(bricks, np.float64)
    for movement in rigid_body_modes(bricks.nodes * bricks.brick.size):
        padded = np.concatenate([movement, np.zeros((len(movement), 1))], axis=1)
        assert np.abs(stiffness.apply(padded)).max() < 1e-12


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_stiffness_is_symmetric_and_gives_energy(seed: int) -> None:
    bricks = random_bricks(seed)
    stiffness = Stiffness(bricks, np.float64)
    a, b = np.random.default_rng(seed).standard_normal((2, len(bricks.nodes), 4))
    a[:, 3] = b[:, 3] = 0.0
    forward, back = (a * stiffness.apply(b)).sum(), (b * stiffness.apply(a)).sum()
    assert forward == pytest.approx(back, rel=1e-10)
    assert (a * stiffness.apply(a)).sum() > 0.0


@settings(max_examples=10, deadline=None)
@given(gradient=st.lists(st.floats(-1, 1), min_size=9, max_size=9))
def test_patch(gradient: list[float]) -> None:
    """Any linear displacement given on the surface fills the inside, to 1e-9.

    Source: the patch test (B. M. Irons; O. C. Zienkiewicz, The Finite Element Method).
    """
    block = bar((0, 0, 0), (4, 3, 2))
    grid = grid_of(block, (1.0, 0.75, 0.5))
    filling = fill_grid(block, grid)
    bricks = join_bricks(make_brick(grid.size, 0.3), filling.components)
    exact = np.zeros((len(bricks.nodes), 4))
    exact[:, :3] = places(grid, bricks) @ np.reshape(gradient, (3, 3)).T
    outside = ((bricks.nodes == 0) | (bricks.nodes == grid.counts)).any(axis=1)
    free = np.zeros_like(exact)
    free[~outside, :3] = 1.0
    problem = Equilibrium(bricks, find_bodies(bricks), np.zeros_like(exact))
    forces = problem.reactions(exact)
    assert np.abs(forces[~outside]).max() < 1e-12
    solution = problem.solve(free, np.where(outside[:, None], exact, 0.0), 1e-12)
    assert solution.displacement == pytest.approx(exact, abs=1e-9)


def test_bricks_that_touch_at_corners_touch() -> None:
    pairs = neighbours(np.array([[0, 0, 0], [1, 1, 1], [3, 1, 1], [2, 0, 2]]))
    assert {tuple(sorted(pair)) for pair in pairs.tolist()} == {(0, 1), (1, 3), (2, 3)}


def test_second_order_on_three_grids() -> None:
    """A displacement of sines on a cube, its load worked out by hand: error falls as h^2.

    With u_x = s(x) s(y) s(z), s = sin(pi .), and zero Poisson ratio (G = E / 2) the load
    is -div sigma = E (pi^2 / 2) (4 u_x, -c c s, -c s c) with c = cos(pi .).
    """

    def held(place: Floats) -> Mask:
        edge = np.any((place < 1e-9) | (place > 1.0 - 1e-9), axis=1, keepdims=True)
        return np.repeat(edge, 3, axis=1)

    errors = []
    for count in (6, 12, 24):
        cube = bar((0, 0, 0), (1, 1, 1))
        grid = grid_of(cube, (1.0 / count,) * 3)
        bricks = bricks_of(cube, grid, 0.0)
        sine, cosine = np.sin(np.pi * places(grid, bricks)), np.cos(np.pi * places(grid, bricks))
        exact = sine.prod(axis=1)
        load = np.zeros((len(exact), 4))
        factor = np.pi**2 / 2.0 * bricks.volumes
        load[:, 0] = factor * 4.0 * exact
        load[:, 1] = -factor * cosine[:, 0] * cosine[:, 1] * sine[:, 2]
        load[:, 2] = -factor * cosine[:, 0] * sine[:, 1] * cosine[:, 2]
        free = np.zeros_like(load)
        free[:, :3] = ~held(places(grid, bricks))
        problem = Equilibrium(bricks, find_bodies(bricks), load)
        solution = problem.solve(free, np.zeros_like(load), 1e-9)
        wrong = solution.displacement[:, :3] - np.stack([exact, 0 * exact, 0 * exact], axis=1)
        errors.append(float(np.sqrt((wrong**2).sum(axis=1).mean())))
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders == pytest.approx([2.0, 2.0], abs=0.15)


def test_long_thin_beam_sags_as_length_to_the_fourth_and_height_to_minus_two() -> None:
    def tip(length: float, height: float) -> float:
        beam = bar((0, 0, 0), (length, 1, height))

        def held(place: Floats) -> Mask:
            return np.repeat((place[:, 0] < 1e-9)[:, None], 3, axis=1)

        field = sag_held(beam, grid_of(beam, (1.0, 0.5, height / 4)), 0.0, (0, 0, -1.0), held)
        return float(-field.at(np.array([[length, 0.5, height / 2]]))[0, 2])

    base = tip(40.0, 1.0)
    # Shear adds 0.05 % at this slenderness, and less to the longer beam.
    assert tip(80.0, 1.0) / base == pytest.approx(16.0, rel=0.01)
    assert tip(80.0, 2.0) / base == pytest.approx(4.0, rel=0.01)
