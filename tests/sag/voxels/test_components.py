"""Walls with a gap between them that is narrower than a brick do not hold each other."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st
from trimesh.transformations import euler_matrix

from sag.solids import bar, bricks_of, grid_of, sag_held, united
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.sag.fem.rigid_modes import find_bodies
from shrinkrule.sag.voxels.fractions import fill_grid

angles = st.floats(-3.1, 3.1)


@settings(max_examples=30, deadline=None)
@example(a=0.0, b=1.0, c=5e-324, kind="box")  # facets upright but for the last digit
@given(a=angles, b=angles, c=angles, kind=st.sampled_from(["box", "cone", "ball"]))
def test_convex_parts_stay_whole(a: float, b: float, c: float, kind: str) -> None:
    """Nothing inside a convex part has a gap, however the bricks cut it, but for sharp tips."""
    part = {
        "box": lambda: bar((0, 0, 0), (9, 3, 2)),
        "cone": lambda: trimesh.creation.cone(4.0, 7.0, sections=24),
        "ball": lambda: trimesh.creation.icosphere(subdivisions=2, radius=4.0),
    }[kind]()
    part.apply_transform(euler_matrix(a, b, c))
    grid = grid_of(part, (1.0, 1.0, 1.0))
    assert len(find_bodies(bricks_of(part, grid, 0.3)).volume) == 1
    components = fill_grid(part, grid).components
    filled = components.octants.mean(axis=1)
    assert filled[components.phantom.any(axis=1)].sum() < 0.01 * filled.sum()


def cut_block(width: float, turned: tuple[float, float, float]) -> trimesh.Trimesh:
    """Two blocks with a gap between them, as one mesh, turned."""
    halves = trimesh.util.concatenate(
        [bar((0, 0, 0), (8, 5, 3)), bar((0, 0, 3 + width), (8, 5, 6 + width))]
    )
    halves.apply_transform(euler_matrix(*turned))
    return halves


@pytest.mark.parametrize("turned", [(0, 0, 0), (1.5708, 0, 0), (0.3, 0.2, 0.1), (0.8, -0.6, 0)])
def test_a_cut_through_parts_a_block(turned: tuple[float, float, float]) -> None:
    """Two blocks 0.4 of a brick apart share no node, and keep their volume."""
    part = cut_block(0.4, turned)
    grid = grid_of(part, (1.0, 1.0, 1.0))
    bricks = bricks_of(part, grid, 0.3)
    assert len(find_bodies(bricks).volume) == 2
    assert bricks.volumes.sum() == pytest.approx(part.volume, rel=0.02)


def test_neighbours_are_those_that_share_a_node() -> None:
    """Pairs of bricks, of which some share their place, against a search over all pairs."""
    part = cut_block(0.3, (0.3, 0.2, 0.1))
    bricks = bricks_of(part, grid_of(part, (1.3, 1.3, 1.3)), 0.3)
    assert len(np.unique(bricks.places, axis=0)) < len(bricks.places)
    attached = np.zeros((len(bricks.places), len(bricks.nodes)), dtype=bool)
    attached[np.arange(len(attached))[:, None], bricks.corners] = True
    share = (attached.astype(int) @ attached.T.astype(int)) > 0
    expected = {(i, j) for i, j in np.argwhere(np.triu(share, 1))}
    found = {(min(i, j), max(i, j)) for i, j in bricks.adjacency}
    assert found == expected


def fork(gap: float, upright: bool) -> trimesh.Trimesh:
    """Two prongs of 24 mm, 2 mm thick, with a gap between them, on a block of 8 mm."""
    two = united(
        bar((0, 0, 0), (8, 3, 4 + gap)),
        bar((0, 0, 0), (32, 3, 2)),
        bar((0, 0, 2 + gap), (32, 3, 4 + gap)),
    )
    if upright:
        two.apply_transform(euler_matrix(np.pi / 2, 0, 0))
    return two


@pytest.mark.parametrize("brick", [0.7, 0.6, 0.53, 0.47, 0.4])
@pytest.mark.parametrize("upright", [False, True])
def test_prongs_bend_each_on_its_own(upright: bool, brick: float) -> None:
    """Prongs from a third to half of a brick apart bend as beams of their own on any bricks.

    Euler-Bernoulli beam clamped at one end, `3 w L^4 / (2 E h^2)` for weight w per volume, any
    handbook; the last 2 mm of the block at its root bend, as if the beam were a quarter of h
    longer (an estimate), so 12 % are allowed. Held together, they would bend a quarter as far.
    """
    gap = 0.23
    part = fork(gap, upright)
    grid = grid_of(part, (brick, brick, brick))

    def held(place: Floats) -> Mask:
        return np.repeat((place[:, 0] < 6.0)[:, None], 3, axis=1)

    down = (0.0, -1e-6, 0.0) if upright else (0.0, 0.0, -1e-6)
    field = sag_held(part, grid, 0.3, down, held)
    ends = np.array([[32.0, 1.5, 0.1], [32.0, 1.5, 2.1 + gap]])
    if upright:
        ends = ends[:, [0, 2, 1]] * np.array([1.0, -1.0, 1.0])
    moved = np.linalg.norm(field.at(ends), axis=1)
    beam = 1.5e-6 * (24.0 + 0.5) ** 4 / 2.0**2
    assert moved == pytest.approx([beam, beam], rel=0.12)


def test_a_fin_between_columns_stays_on_the_half_bricks_that_it_stands_on() -> None:
    """A fin of a tenth of a brick, met by no column, on a block that ends inside its bricks.

    All of its 4 x 0.1 x 1.5 mm3 is there, though no brick holds anything but its own piece.
    """
    part = united(bar((0, 0, 0), (4, 4, 2.5)), bar((2.05, 0, 2.0), (2.15, 4, 4)))
    bricks = bricks_of(part, grid_of(part, (1.0, 1.0, 1.0)), 0.3)
    assert len(find_bodies(bricks).volume) == 1
    assert bricks.volumes.sum() == pytest.approx(4 * 4 * 2.5 + 4 * 0.1 * 1.5, rel=1e-6)


def test_fragments_stay_with_the_part() -> None:
    """A ring of teeth thinner than the columns are apart: no piece of it floats off."""
    rng = np.random.default_rng(3)
    spikes = [
        trimesh.creation.cone(0.1, 1.5, sections=5, transform=euler_matrix(*rng.uniform(-1, 1, 3)))
        for _ in range(30)
    ]
    for spike in spikes:
        spike.apply_translation([*rng.uniform(1, 9, 2), 1.9])
    part = united(bar((0, 0, 0), (10, 10, 2)), *spikes)
    bricks = bricks_of(part, grid_of(part, (0.9, 0.9, 0.9)), 0.3)
    assert len(find_bodies(bricks).volume) == 1
