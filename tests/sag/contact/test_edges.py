"""A flat foot that has tilted onto its edge pushes a little inside that edge."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from sag.solids import bar, bricks_of, united
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.sag import SagMaterial, SagSettings
from shrinkrule.sag.contact.candidates import Candidates
from shrinkrule.sag.contact.edges import Inward, pushed_inward
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.solve import sag_on_grid
from shrinkrule.sag.voxels.grid import Grid

PORTAL_SAG_MM = 0.8588  # triquadratic elements on a one-sided plate: benchmarks/sag_shapes.py


def foot(wide: float) -> tuple[Bricks, Candidates, Floats]:
    """A block 4 deep on bricks of 1, its nodes on the plate, and their places (c, 2)."""
    block = bar((0, 0, 0), (wide, 4, 2))
    grid = Grid(np.eye(3), np.zeros(3), np.ones(3), np.array([int(np.ceil(wide)), 4, 2]))
    bricks = bricks_of(block, grid, 0.3)
    low = np.flatnonzero(bricks.nodes[:, 2] == 0)
    candidates = Candidates(low, np.zeros(len(low)), np.full(len(low), np.inf))
    return bricks, candidates, bricks.nodes[low, :2].astype(np.float64)


def handed_on(wide: float, touching: Mask, rise: Floats) -> tuple[Inward, Ints]:
    """What pushes of 0.01 hand on where the foot has risen, and the places of the nodes (n, 3)."""
    bricks, candidates, _ = foot(wide)
    upward = np.zeros(len(bricks.nodes))
    upward[candidates.node] = rise
    push = np.where(touching, 0.01, 0.0)
    before = Inward.nothing(len(bricks.nodes), len(touching))
    return pushed_inward(bricks, candidates, touching, push, before, upward), bricks.nodes


def test_a_row_s_push_moves_in_by_its_load_over_the_tilt() -> None:
    """A strip ``a``, its push falling evenly from ``0.85 E t``: ``p = 0.85 t a / 2``, at a / 3."""
    x = foot(4.0)[2][:, 0]
    new, nodes = handed_on(4.0, x == 0, 0.05 * x)
    far = 0.05 + 3.1 * 0.01
    inward = 2.0 * 0.01 / (0.85 * far) / 3.0
    middle = (nodes[:, 1] == 2) & (nodes[:, 2] == 0)
    assert new.forces[middle & (nodes[:, 0] == 1)] == pytest.approx(0.01 * inward, rel=1e-9)
    assert new.forces[nodes[:, 0] != 1] == pytest.approx(0.0)
    assert new.handed.sum() == pytest.approx(new.forces.sum())
    assert new.sunk == pytest.approx(0.0)


def test_a_corner_s_push_moves_in_along_both_sides() -> None:
    """A pyramid of pushes over a triangle: its middle is a quarter of the way along each side."""
    x, y = foot(4.0)[2].T
    new, nodes = handed_on(4.0, (x == 0) & (y == 0), 0.05 * x + 0.03 * y)
    t = np.array([0.05, 0.03]) + 3.1 * 0.01
    deep = np.sqrt(6.0 * 0.01 * t.prod() / (0.85 * np.hypot(*t)))
    for axis in range(2):
        beside = (nodes == np.eye(3, dtype=np.int64)[axis]).all(axis=1)
        assert new.forces[beside] == pytest.approx(0.01 * deep / (4.0 * t[axis]), rel=1e-9)


def test_a_foot_that_ends_inside_a_brick_is_met_where_it_ends() -> None:
    """It ends 0.25 before the node beyond: the push goes in by that too, and the node down."""
    x = foot(3.75)[2][:, 0]
    new, nodes = handed_on(3.75, x == 4, 0.05 * (4 - x))
    off = 0.75
    inward = 0.25 + 2.0 * 0.01 / (0.85 * (0.05 + (3.1 - 0.8 * 0.25) * 0.01 / off)) / 3.0
    middle = (nodes[:, 1] == 2) & (nodes[:, 2] == 0) & (nodes[:, 0] == 3)
    assert new.forces[middle] == pytest.approx(0.01 * inward, rel=1e-9)
    assert new.sunk[x == 4] == pytest.approx(0.05 * 0.25)


def test_a_foot_that_stands_flat_hands_nothing_on() -> None:
    x = foot(4.0)[2][:, 0]
    new, _ = handed_on(4.0, np.ones(len(x), dtype=bool), np.zeros(len(x)))
    assert not new.forces.any()
    new, _ = handed_on(4.0, (x > 0) & (x < 3), np.where(x == 0, 0.01, 0.0))
    assert not new.forces.any()


@pytest.mark.parametrize("shift", [0.0, 0.5])
def test_a_portal_is_right_on_few_bricks_wherever_they_lie(shift: float) -> None:
    """It stands on the inner edges of its posts: 3.7 % low where the edge itself pushes."""
    part: trimesh.Trimesh = united(
        bar((-24, -4, 0), (-20, 4, 20)),
        bar((20, -4, 0), (24, 4, 20)),
        bar((-24, -4, 17), (24, 4, 20)),
    )
    material = SagMaterial(3000.0, 0.0, poisson=0.46, density_g_cm3=7.5)
    counts = np.array([48, 8, 20]) + (shift > 0.0) * np.array([1, 1, 0])
    low = np.array([-24.0 - shift, -4.0 - shift, 0.0])
    grid = Grid(np.eye(3), low, np.ones(3), counts)
    sag = sag_on_grid(part, grid, material, SagSettings()).field.lowest()[0]
    assert sag == pytest.approx(PORTAL_SAG_MM, rel=0.02)
