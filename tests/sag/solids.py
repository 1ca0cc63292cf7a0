"""Small workshop solids, and a solve with ends held by hand, for the sag tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import trimesh
from trimesh.transformations import rotation_matrix

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.sag.contact.candidates import Candidates
from shrinkrule.sag.fem.elements import Bricks, join_bricks
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.fem.hex8i import make_brick
from shrinkrule.sag.fem.pcg import Equilibrium
from shrinkrule.sag.fem.rigid_modes import find_bodies
from shrinkrule.sag.voxels.components import Components
from shrinkrule.sag.voxels.fractions import fill_grid
from shrinkrule.sag.voxels.grid import Grid


def bar(low: tuple[float, float, float], high: tuple[float, float, float]) -> trimesh.Trimesh:
    return trimesh.creation.box(bounds=(low, high))


def united(*parts: trimesh.Trimesh) -> trimesh.Trimesh:
    return trimesh.boolean.union(list(parts), engine="manifold")


def bridge() -> trimesh.Trimesh:
    """Two feet and a 32 mm span of 2 mm."""
    return united(
        bar((0, 0, 0), (4, 8, 12)), bar((36, 0, 0), (40, 8, 12)), bar((0, 0, 10), (40, 8, 12))
    )


def two_armed_lever() -> trimesh.Trimesh:
    """A hub with an arm of 17 mm and 2 mm on either side."""
    return united(bar((-3, -3, 0), (3, 3, 20)), bar((-20, -3, 18), (20, 3, 20)))


def one_armed_lever() -> trimesh.Trimesh:
    """A hub with one long arm: it tips over."""
    return united(bar((-3, -3, 0), (3, 3, 20)), bar((-3, -3, 18), (40, 3, 20)))


def grid_of(mesh: trimesh.Trimesh, size: tuple[float, float, float]) -> Grid:
    """Grid of bricks of the given sides, as near as the part's box allows, unturned."""
    low, high = mesh.bounds
    counts = np.maximum(1, np.round((high - low) / size)).astype(np.int64)
    return Grid(turn=np.eye(3), origin=low, size=(high - low) / counts, counts=counts)


def bricks_of(
    mesh: trimesh.Trimesh, grid: Grid, poisson: float, *, corrected: bool = True
) -> Bricks:
    """Bricks of a part, ``corrected`` beside re-entrant edges or not."""
    components = fill_grid(mesh, grid).components
    if not corrected:
        components = replace(components, stiffness=np.ones_like(components.stiffness))
    return join_bricks(make_brick(grid.size, poisson), components)


def whole_bricks(cells: Ints, octants: Floats) -> Components:
    """Bricks (n, 3) of one component each, filled by ``octants`` (n, 8), without phantom nodes."""
    none = np.zeros((len(cells), 8), dtype=np.int64)
    every = np.ones((len(cells), 8))
    return Components(cells, octants, none, every, np.empty((0, 3)), np.empty(0, dtype=np.int64))


def rigid_candidates(node: Ints) -> Candidates:
    """Contact candidates over something rigid that touches them."""
    return Candidates(node, np.zeros(len(node)), np.full(len(node), np.inf))


def places(grid: Grid, bricks: Bricks) -> Floats:
    return bricks.nodes * grid.size + grid.origin


def sag_held(
    mesh: trimesh.Trimesh,
    grid: Grid,
    poisson: float,
    weight: tuple[float, float, float],
    held: Callable[[Floats], Mask],
    tolerance: float = 1e-8,
    *,
    corrected: bool = True,
) -> SagField:
    """Displacement under ``weight`` per volume over modulus (1/mm), with directions held.

    ``held`` takes the nodes' places (n, 3) and returns which of their directions (n, 3)
    stay where they are.
    """
    bricks = bricks_of(mesh, grid, poisson, corrected=corrected)
    load = np.zeros((len(bricks.nodes), 4))
    load[:, :3] = bricks.volumes[:, None] * np.asarray(weight)
    free = np.zeros_like(load)
    free[:, :3] = ~held(places(grid, bricks))
    problem = Equilibrium(bricks, find_bodies(bricks), load)
    solution = problem.solve(free, np.zeros_like(load), tolerance)
    assert solution.converged
    return SagField(grid, bricks, solution.displacement[:, :3])


def tilted(mesh: trimesh.Trimesh, degrees: float) -> tuple[trimesh.Trimesh, Floats]:
    """Turn a part about the y axis; also the rotation, (3, 3)."""
    turn: Floats = rotation_matrix(-np.radians(degrees), (0, 1, 0))[:3, :3]
    vertices = np.asarray(mesh.vertices) @ turn.T
    return trimesh.Trimesh(vertices, mesh.faces, process=False), turn
