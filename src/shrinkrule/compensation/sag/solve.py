"""The sag of a part as it lies in the furnace: one linear solve with contact on the plate.

The mesh is solved as it is given. At equal density and modulus the sag of a shape
scaled by k is k^2 times as large, so the sag of the green-sized part is k^2 times that
of the fired one; the sag modulus is referred to the fired dimensions of the coupon's
spans, so hand over the fired (wanted) shape.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh
from scipy.spatial import KDTree

from shrinkrule.compensation.sag.brick import make_brick
from shrinkrule.compensation.sag.contact import (
    Guess,
    Seats,
    Standing,
    add_seats,
    come_to_rest,
    lifted,
    plate_seats,
    underside_nodes,
)
from shrinkrule.compensation.sag.equilibrium import Equilibrium
from shrinkrule.compensation.sag.field import SagField
from shrinkrule.compensation.sag.freedom import find_bodies
from shrinkrule.compensation.sag.grid import Grid, fill_grid, lay_grid
from shrinkrule.compensation.sag.material import (
    FloatArray,
    IntArray,
    SagMaterial,
    SagSettings,
    SupportBox,
)
from shrinkrule.compensation.sag.plan import SagPlan, plan
from shrinkrule.compensation.sag.system import Bricks, join_bricks
from shrinkrule.errors import MeshError, SettingError

Progress = Callable[[str, float], None]

COARSER: Final = 2.0
"""Bricks of the second grid are this much larger."""

LARGEST_SLOPE: Final = 0.1
"""Beyond this rotation (radians) a linear sag is no longer right (an engineering limit)."""

LARGEST_STRAIN: Final = 0.1
"""Beyond this strain the shape that sags is no longer the shape that was solved."""

_COARSEST_UNKNOWNS: Final = 3000
_COARSE_SHARE: Final = 0.15  # of the time goes into the coarser grid


@dataclass(frozen=True)
class SagResult:
    """The sag of a part.

    Parameters
    ----------
    displacement : (n, 3) float
        At the mesh's vertices, in the mesh's frame, mm.
    field : SagField
        The displacement anywhere.
    largest_sag_mm : float
        How far the part comes down at most, mm.
    largest_at : (3,) float
        Where, in the mesh's frame, mm.
    numerical_mm : float
        Uncertainty (95 %) of the displacement from the grid, mm; nan if not asked for.
    modulus_mm : float
        Standard uncertainty of the largest sag from that of the sag modulus, mm.
    bricks_through : float
        Bricks through the thinnest load-bearing wall.
    bricks, unknowns : int
        Size of the problem.
    iterations, contact_rounds : int
        Work done, over all contact rounds and for the last of them.
    error : float
        Relative error of the iteration at its end.
    settled : bool
        Whether iteration and contact came to an end of their own.
    standing, lifted : int
        Nodes that stood on the plate, and those of them that lifted.
    largest_lift_mm : float
        How far the highest of these is off the plate, mm.
    fallen_mm : float
        How far the part came down before the plate caught it, at most, mm.
    steepest : float
        Largest rotation, radians.
    largest_strain : float
        Largest principal strain.
    warnings : tuple of str
        Where the model does not hold, and anything else to mind.
    """

    displacement: FloatArray
    field: SagField
    largest_sag_mm: float
    largest_at: FloatArray
    numerical_mm: float
    modulus_mm: float
    bricks_through: float
    bricks: int
    unknowns: int
    iterations: int
    contact_rounds: int
    error: float
    settled: bool
    standing: int
    lifted: int
    largest_lift_mm: float
    fallen_mm: float
    steepest: float
    largest_strain: float
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class GridSag:
    """The sag on one grid."""

    field: SagField
    standing: Standing


def sag_on_grid(
    mesh: trimesh.Trimesh,
    grid: Grid,
    material: SagMaterial,
    settings: SagSettings,
    similar: GridSag | None = None,
    tick: Callable[[float], None] | None = None,
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
        Told the share done, 0 to 1.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    """
    filling = fill_grid(mesh, grid)
    brick = make_brick(grid.size, material.solved_poisson)
    bricks = join_bricks(brick, filling.cells, filling.octants)
    seats = _with_supports(plate_seats(bricks, grid, filling), bricks, grid, mesh, settings)
    load = np.zeros((len(bricks.nodes), 4))
    load[:, 2] = -material.weight_over_modulus * bricks.volumes
    problem = Equilibrium(bricks, find_bodies(bricks), load)
    guess = None if similar is None else _guess(similar, bricks, grid, seats)
    standing = come_to_rest(problem, seats, settings.friction, guess, tick)
    return GridSag(SagField(grid, bricks, standing.rest.displacement[:, :3].copy()), standing)


def _guess(similar: GridSag, bricks: Bricks, grid: Grid, seats: Seats) -> Guess:
    points = (bricks.nodes * grid.size + grid.origin) @ grid.turn
    displacement = similar.field.at(points) @ grid.turn.T
    other = similar.field
    place = other.bricks.nodes[similar.standing.seats.node] * other.grid.size + other.grid.origin
    mine = bricks.nodes[seats.node] * grid.size + grid.origin
    nearest = KDTree(place).query(mine)[1]
    return Guess(displacement, similar.standing.touching[nearest])


def _with_supports(
    seats: Seats, bricks: Bricks, grid: Grid, mesh: trimesh.Trimesh, settings: SagSettings
) -> Seats:
    if not settings.supports:
        return seats
    under = underside_nodes(bricks)
    place = (bricks.nodes[under] * grid.size + grid.origin) @ grid.turn
    for number, support in enumerate(settings.supports, start=1):
        if isinstance(support, SupportBox):
            low, high = np.array(support.low_mm), np.array(support.high_mm)
            margin = 0.5 * grid.size.max()
            held = under[np.all((place >= low - margin) & (place <= high + margin), axis=1)]
        else:
            held = _near_facets(under, place, mesh, support.facets, float(grid.size.max()))
        if not len(held):
            raise SettingError(
                f"support {number} holds no underside of the part",
                mend="move it so that a downward face lies in it",
            )
        seats = add_seats(seats, held)
    return seats


def _near_facets(
    nodes: IntArray,
    place: FloatArray,
    mesh: trimesh.Trimesh,
    facets: tuple[int, ...],
    brick: float,
) -> IntArray:
    patch = mesh.submesh([list(facets)], append=True)
    distance = trimesh.proximity.ProximityQuery(patch).on_surface(place)[1]
    near: IntArray = nodes[distance <= brick]
    return near


def solve_sag(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    settings: SagSettings,
    *,
    progress: Progress | None = None,
) -> SagResult:
    """Solve the sag of a part on the setter plate, with its numerical uncertainty.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A watertight part in its fired size, mm. It is solved as given.
    material : SagMaterial
        What sags.
    settings : SagSettings
        How it lies and how finely it is solved.
    progress : callable or None
        Told the stage and the share done, 0 to 1.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    SettingError
        If it does not fit the budget.

    Source: docs/theory-sag.md.
    """
    tell = progress or silent
    tell("planning", 0.0)
    planned = plan(mesh, settings)
    tick = within(tell, "solving", 0.0, 1.0)
    solved, numerical_mm = on_two_grids(mesh, material, settings, planned, tick)
    tell("solved", 1.0)
    return describe(mesh, material, planned, solved, numerical_mm)


def on_two_grids(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    settings: SagSettings,
    planned: SagPlan,
    tick: Callable[[float], None],
) -> tuple[GridSag, float]:
    """Solve on a coarser grid and on the planned one; the difference tells the uncertainty, mm.

    Still coarser grids come first: they are cheap, and find where the part lifts.
    """
    similar = None
    for steps in range(_coarse_steps(planned), 1, -1):
        similar = _try_grid(mesh, material, settings, planned, COARSER**steps, similar)
    coarse_grid = lay_grid(mesh, planned.grid.turn, COARSER * planned.brick_mm)
    coarse = sag_on_grid(mesh, coarse_grid, material, settings, similar)
    tick(_COARSE_SHARE)
    fine = sag_on_grid(
        mesh,
        planned.grid,
        material,
        settings,
        coarse,
        lambda done: tick(_COARSE_SHARE + (1.0 - _COARSE_SHARE) * done),
    )
    return fine, grid_difference(fine.field, coarse.field)


def _coarse_steps(planned: SagPlan) -> int:
    """How often the bricks may be enlarged before the grid means nothing."""
    steps = np.log(max(planned.unknowns / _COARSEST_UNKNOWNS, 1.0)) / np.log(COARSER**3)
    return 1 + int(steps)


def _try_grid(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    settings: SagSettings,
    planned: SagPlan,
    factor: float,
    similar: GridSag | None,
) -> GridSag | None:
    """Solve on a very coarse grid, to begin the next with; a part too thin for it has none."""
    grid = lay_grid(mesh, planned.grid.turn, factor * planned.brick_mm)
    try:
        return sag_on_grid(mesh, grid, material, settings, similar)
    except MeshError:
        return similar


def grid_difference(fine: SagField, coarse: SagField) -> float:
    """Numerical uncertainty (95 %) of the displacement, from two grids, mm.

    The largest difference between the two, times 3 / (r^2 - 1) for a second-order
    method with bricks r times as large: the grid convergence index for two grids.

    Source: P. J. Roache, J. Fluids Eng. 116 (1994) 405-413.
    """
    solid = np.unique(fine.bricks.corners[fine.bricks.weights.mean(axis=1) > 0.5])
    points = (fine.bricks.nodes[solid] * fine.grid.size + fine.grid.origin) @ fine.grid.turn
    other = coarse.at(points) @ fine.grid.turn.T
    difference = np.linalg.norm(fine.displacement[solid] - other, axis=1).max()
    ratio = float((np.prod(coarse.grid.size) / np.prod(fine.grid.size)) ** (1.0 / 3.0))
    return float(3.0 * difference / max(ratio**2 - 1.0, 1.0))


def describe(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    planned: SagPlan,
    solved: GridSag,
    numerical_mm: float,
) -> SagResult:
    """Tell the sag on one grid in the maker's terms."""
    field, standing = solved.field, solved.standing
    largest, where = field.lowest()
    lifts = lifted(standing)
    result = SagResult(
        displacement=field.at(np.asarray(mesh.vertices, dtype=np.float64)),
        field=field,
        largest_sag_mm=largest,
        largest_at=where,
        numerical_mm=numerical_mm,
        modulus_mm=largest * material.modulus_u_kpa / material.modulus_kpa,
        bricks_through=planned.bricks_through,
        bricks=len(field.bricks.places),
        unknowns=3 * len(field.bricks.nodes),
        iterations=standing.rest.iterations,
        contact_rounds=standing.rounds,
        error=standing.rest.error,
        settled=standing.settled and standing.rest.converged,
        standing=int(standing.stood.sum()),
        lifted=len(lifts),
        largest_lift_mm=float(lifts.max(initial=0.0)),
        fallen_mm=float(standing.seats.gap[standing.touching].max(initial=0.0)),
        steepest=field.steepest(),
        largest_strain=field.largest_strain(),
        warnings=(),
    )
    return _warned(result, planned, material)


def _warned(result: SagResult, planned: SagPlan, material: SagMaterial) -> SagResult:
    warnings = list(planned.notes)
    if result.largest_sag_mm > 0.5 * planned.wall_mm:
        warnings.append(
            f"the sag of {result.largest_sag_mm:.2g} mm is more than half the thinnest wall "
            f"({planned.wall_mm:.2g} mm): the linear model no longer holds"
        )
    if result.steepest > LARGEST_SLOPE:
        warnings.append(
            f"parts of it turn by {np.degrees(result.steepest):.0f} degrees: "
            "the linear model holds to 6"
        )
    if result.largest_strain > LARGEST_STRAIN:
        warnings.append(
            f"the material strains by {100 * result.largest_strain:.0f} %: it slumps, "
            "which this model does not follow"
        )
    if result.fallen_mm > 0.1 * planned.wall_mm:
        warnings.append(f"the part sags by {result.fallen_mm:.2g} mm down onto the plate")
    if not result.settled:
        warnings.append("the solve stopped before it came to rest: do not rely on it")
    if material.poisson > material.solved_poisson:
        warnings.append(
            f"solved with a Poisson ratio of {material.solved_poisson:g} "
            f"instead of {material.poisson:.3g}, which changes bending by less than 1 %"
        )
    return replace(result, warnings=tuple(warnings))


def silent(stage: str, share: float) -> None:
    """Progress that nobody watches."""


def within(tell: Progress, stage: str, start: float, span: float) -> Callable[[float], None]:
    """Progress of a stage, as part of the whole."""
    return lambda done: tell(stage, start + span * done)
