"""The multigrid against dense matrices: rigid bodies, transposes and Galerkin products."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from sag.solids import whole_bricks
from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag.fem.elements import Bricks, join_bricks
from shrinkrule.sag.fem.hex8i import make_brick
from shrinkrule.sag.fem.multigrid.coarsening import CoarseCells, Coarsening, coarsen
from shrinkrule.sag.fem.multigrid.galerkin import Gathering, gather_cells
from shrinkrule.sag.fem.multigrid.levels import BrickLevel, CellLevel, factorise
from shrinkrule.sag.fem.multigrid.smoothing import SMOOTHING, largest_eigenvalue, smooth
from shrinkrule.sag.fem.multigrid.transfers import BrickTransfer, CellTransfer
from shrinkrule.sag.fem.operator import Stiffness

SIZE = np.array([1.0, 0.7, 1.3])
FACTOR, ARM = 2, 1.7


@pytest.fixture(scope="module")
def bricks() -> Bricks:
    """A block of 4 x 3 x 5 bricks with holes, half of them cut at random."""
    rng = np.random.default_rng(5)
    filled = np.argwhere(rng.random((4, 3, 5)) < 0.8)
    octants = np.where(rng.random((len(filled), 1)) < 0.5, 1.0, rng.random((len(filled), 8)))
    return join_bricks(make_brick(SIZE, 0.46), whole_bricks(filled, octants))


@pytest.fixture(scope="module")
def step(bricks: Bricks) -> Coarsening:
    return coarsen(bricks.places, bricks.adjacency, FACTOR)


def dense(linear: Callable[[Floats], Floats], rows: int, columns: int) -> Floats:
    """Matrix of a linear map of values at nodes, its columns those of unit vectors."""
    unit = np.eye(rows * columns).reshape(-1, rows, columns)
    return np.stack([linear(one).ravel() for one in unit], axis=1)


def assembled(cells: CoarseCells, matrices: Floats) -> Floats:
    """Sum of the cells' matrices, by a loop over them."""
    whole = np.zeros((6 * len(cells.nodes),) * 2)
    for corners, matrix in zip(cells.corners, matrices, strict=True):
        place = (6 * corners[:, None] + np.arange(6)).ravel()
        whole[np.ix_(place, place)] += matrix
    return whole


def rigid(nodes: Floats, shift: Floats, turn: Floats, arm: float) -> Floats:
    """Displacement and rotation (n, 6) of a rigid body at places in mm."""
    return np.concatenate([shift + np.cross(turn, nodes / arm), np.tile(turn, (len(nodes), 1))], 1)


def test_a_rigid_body_stays_one_from_level_to_level(bricks: Bricks, step: Coarsening) -> None:
    shift, turn = np.array([0.3, -0.2, 0.5]), np.array([0.1, 0.4, -0.3])
    transfer = BrickTransfer(bricks, step, ARM)
    coarse = step.cells.nodes * FACTOR * SIZE
    fine = transfer.prolong(rigid(coarse, shift, turn, ARM), np.zeros((len(bricks.nodes), 4)))
    assert fine[:, :3] == pytest.approx(rigid(bricks.nodes * SIZE, shift, turn, ARM)[:, :3])
    assert not fine[:, 3].any()
    second = coarsen(step.cells.places, step.cells.touching, 2)
    cells = CellTransfer(step.cells, second, 2.0 * FACTOR * SIZE / ARM)
    coarser = rigid(second.cells.nodes * 2 * FACTOR * SIZE, shift, turn, ARM)
    found = cells.prolong(coarser, np.zeros((len(step.cells.nodes), 6)))
    assert found == pytest.approx(rigid(coarse, shift, turn, ARM))


def test_restriction_is_the_transpose_of_prolongation(bricks: Bricks, step: Coarsening) -> None:
    count, coarse = len(bricks.nodes), len(step.cells.nodes)
    first = BrickTransfer(bricks, step, ARM)
    spread = dense(lambda x: first.prolong(x, np.zeros((count, 4))), coarse, 6)
    assert dense(first.restrict, count, 4) == pytest.approx(spread.T, abs=1e-12)
    second = coarsen(step.cells.places, step.cells.touching, 2)
    cells = CellTransfer(step.cells, second, 2.0 * FACTOR * SIZE / ARM)
    spread = dense(lambda x: cells.prolong(x, np.zeros((coarse, 6))), len(second.cells.nodes), 6)
    assert dense(cells.restrict, coarse, 6) == pytest.approx(spread.T, abs=1e-12)


def test_coarse_stiffness_is_the_galerkin_product(bricks: Bricks, step: Coarsening) -> None:
    """P' A P with a node held in X, another whole, and two springs; then once more, coarser."""
    count, coarse = len(bricks.nodes), len(step.cells.nodes)
    free, springs = np.ones((count, 4)), np.zeros((count, 4))
    free[:, 3] = 0.0
    free[3, 0] = 0.0
    free[17, :3] = 0.0
    springs[[5, 9], 2] = 0.7, 1.9
    stiffness = Stiffness(bricks, np.float64)
    level = BrickLevel(stiffness, np.ones((count, 4)), 1.0, free, springs)
    transfer = BrickTransfer(bricks, step, ARM)
    spread = dense(lambda x: transfer.prolong(x, np.zeros((count, 4))) * free, coarse, 6)
    product = spread.T @ dense(level.apply, count, 4) @ spread
    every = np.arange(len(step.cells.places))
    gathering = Gathering(bricks, step, ARM)
    matrices = gathering.cells(free[:, :3], every)
    gathering.add_springs(matrices, springs[:, 2])
    size = np.abs(product).max()
    assert assembled(step.cells, matrices) == pytest.approx(product, abs=1e-10 * size)
    some = np.array([2, 0])
    part = gathering.cells(np.ones((count, 3)), some)
    whole = gathering.cells(np.ones((count, 3)), every)
    assert part == pytest.approx(whole[some], abs=1e-12 * size)

    second, aspect = coarsen(step.cells.places, step.cells.touching, 2), 2.0 * FACTOR * SIZE / ARM
    cells = CellTransfer(step.cells, second, aspect)
    spread = dense(lambda x: cells.prolong(x, np.zeros((coarse, 6))), len(second.cells.nodes), 6)
    coarser = assembled(second.cells, gather_cells(matrices, second, aspect))
    assert coarser == pytest.approx(spread.T @ product @ spread, abs=1e-9 * size)


@pytest.fixture(scope="module")
def held(bricks: Bricks, step: Coarsening) -> tuple[CoarseCells, Floats]:
    """Cells of bricks that are held at the lowest nodes: no rigid body is free."""
    free = np.ones((len(bricks.nodes), 3))
    free[bricks.nodes[:, 2] == 0] = 0.0
    every = np.arange(len(step.cells.places))
    return step.cells, Gathering(bricks, step, ARM).cells(free, every)


def test_a_level_applies_its_matrix_and_inverts_its_blocks(
    held: tuple[CoarseCells, Floats],
) -> None:
    cells, matrices = held
    level, whole = CellLevel(cells, matrices), assembled(cells, matrices)
    count = len(cells.nodes)
    assert dense(level.apply, count, 6) == pytest.approx(whole, abs=1e-12 * whole.max())
    blocks = np.array([whole[6 * i : 6 * i + 6, 6 * i : 6 * i + 6] for i in range(count)])
    assert level.blocks == pytest.approx(blocks, abs=1e-12 * whole.max())
    r = np.random.default_rng(1).standard_normal((count, 6))
    shift = 1e-6 * np.trace(blocks, axis1=1, axis2=2) / 6.0
    shift = np.where(shift > 0.0, shift, 1e-6)
    exact = [
        np.linalg.solve(b + s * np.eye(6), x) for b, s, x in zip(blocks, shift, r, strict=True)
    ]
    assert level.relax(r) == pytest.approx(np.array(exact), rel=1e-8)


def test_the_estimate_of_the_largest_eigenvalue_is_safe_but_not_far(
    held: tuple[CoarseCells, Floats],
) -> None:
    """Power iteration from below, and a tenth: within 0.95 and 1.1 of the largest one."""
    cells, matrices = held
    level, count = CellLevel(cells, matrices), len(cells.nodes)
    product = dense(level.relax, count, 6) @ dense(level.apply, count, 6)
    largest = float(np.abs(np.linalg.eigvals(product)).max())
    assert 0.95 * largest <= largest_eigenvalue(level, (count, 6), np.float64) <= 1.1001 * largest


def test_smoothing_is_the_chebyshev_polynomial_of_the_fourth_kind() -> None:
    """On a diagonal matrix the residual shrinks by W_n(1 - 2 l / L) / (2 n + 1) at each eigenvalue.

    W_n(cos t) = sin((n + 1/2) t) / sin(t / 2): J. C. Mason, D. C. Handscomb, *Chebyshev
    Polynomials* (2003), section 1.2.
    """
    values = np.array([[0.05, 0.3, 0.7, 1.1, 1.6, 1.99]])

    class Diagonal:
        largest = 2.0

        def apply(self, x: Floats) -> Floats:
            return values * x

        def relax(self, r: Floats) -> Floats:
            return r

    x, residual = smooth(Diagonal(), None, np.ones_like(values))
    angle = np.arccos(1.0 - values)
    shrunk = np.sin((SMOOTHING + 0.5) * angle) / np.sin(0.5 * angle) / (2 * SMOOTHING + 1)
    assert residual == pytest.approx(shrunk, abs=1e-12)
    assert 1.0 - values * x == pytest.approx(residual, abs=1e-12)
    again, left = smooth(Diagonal(), x, np.ones_like(values))
    assert left == pytest.approx(shrunk**2, abs=1e-12)
    assert 1.0 - values * again == pytest.approx(left, abs=1e-12)


def test_the_direct_solver_solves(held: tuple[CoarseCells, Floats]) -> None:
    """Two parts in 1e7 of its residual: what it adds for stability is 1e-11 of the diagonal."""
    cells, matrices = held
    whole = assembled(cells, matrices)
    x = np.random.default_rng(2).standard_normal((len(cells.nodes), 6))
    b = (whole @ x.ravel()).reshape(x.shape)
    found = factorise(cells, matrices, np.zeros(0, np.int64))(b)
    assert whole @ found.ravel() == pytest.approx(b.ravel(), abs=2e-7 * np.abs(b).max())
