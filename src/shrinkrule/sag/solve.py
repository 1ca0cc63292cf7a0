"""The sag of a part as it lies in the furnace: one linear solve with one-sided contact.

The mesh is solved as it is given. At equal density and modulus the sag of a shape
scaled by k is k^2 times as large, so the sag of the green-sized part is k^2 times that
of the fired one; the sag modulus is referred to the fired dimensions of the coupon's
spans, so hand over the fired (wanted) shape.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Final

import numpy as np
import trimesh
from scipy.spatial import KDTree

from shrinkrule.errors import MeshError
from shrinkrule.numerics.progress import Tick, share_of
from shrinkrule.sag.contact.active_set import Guess, solve_contact
from shrinkrule.sag.contact.candidates import Candidates, plate_candidates
from shrinkrule.sag.contact.supports import with_supports
from shrinkrule.sag.fem.elements import Bricks, join_bricks
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.fem.hex8i import make_brick
from shrinkrule.sag.fem.pcg import Equilibrium
from shrinkrule.sag.fem.rigid_modes import find_bodies
from shrinkrule.sag.lying import crooked_deg
from shrinkrule.sag.material import SagMaterial
from shrinkrule.sag.plan import SagPlan
from shrinkrule.sag.preparation import SagProblem
from shrinkrule.sag.result import GridSag, grid_difference
from shrinkrule.sag.settings import DoesNotStandError, SagSettings, does_not_stand
from shrinkrule.sag.voxels.fractions import fill_grid
from shrinkrule.sag.voxels.grid import Grid

COARSER: Final = 2.0
"""Bricks of the second grid are this much larger."""

_NEAR: Final = 0.02  # of a brick: a guess may miss by this much
_COARSEST_UNKNOWNS: Final = 3000
_COARSE_SHARE: Final = 0.15  # of the time goes into the coarser grid


def sag_on_grid(
    mesh: trimesh.Trimesh,
    grid: Grid,
    material: SagMaterial,
    settings: SagSettings,
    similar: GridSag | None = None,
    tick: Tick | None = None,
    lies: trimesh.Trimesh | None = None,
) -> GridSag:
    """Solve the sag of a part on one grid.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A watertight part, mm.
    grid : Grid
        The grid.
    material : SagMaterial
        What sags.
    settings : SagSettings
        Friction and supports.
    similar : GridSag or None
        The sag of a similar part, or on a coarser grid, to begin with.
    tick : callable or None
        Called with the share done, 0 to 1.
    lies : trimesh.Trimesh or None
        The part as it is set down, where ``mesh`` is bent from it.

    Returns
    -------
    GridSag
        The sag and the contact.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    """
    filling = fill_grid(mesh, grid)
    brick = make_brick(grid.size, material.solved_poisson)
    bricks = join_bricks(brick, filling.components)
    candidates = plate_candidates(bricks, grid, filling)
    candidates = with_supports(candidates, bricks, grid, mesh, settings.supports)
    load = np.zeros((len(bricks.nodes), 4))
    load[:, 2] = -material.weight_over_modulus * bricks.volumes
    problem = Equilibrium(bricks, find_bodies(bricks), load)
    guess = None if similar is None else _guess(similar, bricks, grid, candidates)
    try:
        state = solve_contact(problem, candidates, settings.friction, guess, tick)
    except DoesNotStandError as refusal:
        crooked = (
            None if settings.supports else crooked_deg(mesh if lies is None else lies, settings.up)
        )
        if crooked is None:
            raise
        raise does_not_stand(
            f"the part lies crooked by {crooked:.1f} degrees: set down, it turns onto its face"
        ) from refusal
    return GridSag(SagField(grid, bricks, state.solution.displacement[:, :3].copy()), state)


def _guess(similar: GridSag, bricks: Bricks, grid: Grid, candidates: Candidates) -> Guess:
    """Where to begin on a grid, from the sag of a similar part."""
    points = (bricks.nodes * grid.size + grid.origin) @ grid.turn
    displacement = similar.field.at(points) @ grid.turn.T
    other = similar.field
    place = other.bricks.nodes[similar.state.candidates.node] * other.grid.size + other.grid.origin
    mine = bricks.nodes[candidates.node] * grid.size + grid.origin
    nearest = KDTree(place).query(mine)[1]
    # The nearest candidate may be at a chamfer's other end: only what comes down can touch.
    drop = -displacement[candidates.node, 2] + _NEAR * grid.size[2]
    return Guess(displacement, similar.state.touching[nearest] & (candidates.gap <= drop))


def solve_on_two_grids(problem: SagProblem, tick: Tick) -> tuple[GridSag, float]:
    """Solve on a coarser grid and on the planned one.

    Still coarser grids come first: they are cheap, and find where the part lifts. A part too
    thin for one of these is solved without it.

    Parameters
    ----------
    problem : SagProblem
        What is solved.
    tick : callable
        Called with the share done, 0 to 1.

    Returns
    -------
    fine : GridSag
        The sag on the planned grid.
    numerical_mm : float
        Its uncertainty (95 %), from the difference of the two grids, mm.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    """
    coarse = solve_coarsely(problem)
    tick(_COARSE_SHARE)
    fine = sag_on_grid(
        problem.mesh,
        problem.plan.grid,
        problem.material,
        problem.settings,
        coarse,
        share_of(tick, _COARSE_SHARE, 1.0 - _COARSE_SHARE),
    )
    return fine, grid_difference(fine.field, coarse.field)


def solve_coarsely(problem: SagProblem) -> GridSag:
    """Solve on bricks of twice the planned side, and on still larger ones before.

    Parameters
    ----------
    problem : SagProblem
        What is solved.

    Returns
    -------
    GridSag
        The sag on bricks of twice the side.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    """
    mesh, planned = problem.mesh, problem.plan

    def solve(steps: int, similar: GridSag | None) -> GridSag:
        grid = planned.flats.grid(COARSER**steps * planned.brick_mm)
        return sag_on_grid(mesh, grid, problem.material, problem.settings, similar)

    similar = None
    for steps in range(_coarse_steps(planned), 1, -1):
        with suppress(MeshError):
            similar = solve(steps, similar)
    return solve(1, similar)


def _coarse_steps(planned: SagPlan) -> int:
    """How often the bricks may be enlarged before the grid means nothing."""
    steps = np.log(max(planned.unknowns / _COARSEST_UNKNOWNS, 1.0)) / np.log(COARSER**3)
    return 1 + int(steps)
