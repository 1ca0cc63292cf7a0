"""The result of a sag solve: how far, where, how sure, and where the model ends."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh

from shrinkrule.defaults import USUAL_SAG_MODULI_KPA
from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag.contact.active_set import ContactState, lifted
from shrinkrule.sag.contact.clearance import SelfContactGap, most_closed_gap
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.fem.rigid_modes import find_bodies
from shrinkrule.sag.gaps import gap_notes
from shrinkrule.sag.preparation import SagProblem
from shrinkrule.sag.voxels.solid import solid_of

LARGEST_SLOPE: Final = 0.1
"""Beyond this rotation (radians) a linear sag is no longer right (an engineering limit)."""

UNSURE_SHARE: Final = 0.3
"""More numerical uncertainty than this share of the sag is worth a warning."""

NEARLY_CLOSED: Final = 0.5
"""A gap below an overhang that closes by more than this share of its height is reported."""

DROP_SHARE: Final = 0.1
"""Of the wall: a part that drops farther onto the plate is stopped by it, not by its stiffness."""

STANDING_MODES: Final = 3
"""Free rigid-body modes of a body that stands: two shifts and a turn; with more it rolls."""

LARGEST_STRAIN: Final = 0.1
"""Beyond this strain the shape that sags is no longer the shape that was solved."""


@dataclass(frozen=True)
class GridSag:
    """The sag on one grid."""

    field: SagField
    state: ContactState


@dataclass(frozen=True)
class SagResult:
    """The sag of a part.

    Parameters
    ----------
    displacement : (n, 3) float
        At the mesh's vertices, in the mesh's frame, mm.
    field : SagField
        The displacement anywhere; bodies too close together for the bricks are moved apart in it.
    largest_sag_mm : float
        How far the part comes down at most, mm.
    largest_at : (3,) float
        Where, in the mesh's frame, mm.
    numerical_mm : float
        Uncertainty (95 %) of the displacement from the grid, mm; nan if not asked for.
    modulus_mm : float
        Standard uncertainty of the largest sag from that of the sag modulus, mm.
    modulus_factor : float or None
        Factor either way within which the modulus leaves the sag (95 %); None after one firing.
    bricks_through : float
        Bricks through the thinnest load-bearing wall.
    expected_error : float
        Expected relative error of the bending of such a wall, where it lies across the grid.
    bricks, unknowns : int
        Size of the problem.
    iterations, contact_rounds : int
        Work done, over all contact rounds and for the last of them.
    error : float
        Relative error of the iteration at its end.
    settled : bool
        Whether iteration and contact came to an end of their own.
    rolls : bool
        Whether a body rests on a line or a point and may roll.
    state, lifted : int
        Nodes that stood on the plate, and those of them that lifted.
    footing_share : float
        Area it stands on when hot, over the box around it seen from above.
    largest_lift_mm : float
        How far the highest of these is off the plate, mm.
    drop_to_plate_mm : float
        Largest way down to the plate of what touches it only when hot, mm.
    self_contact : SelfContactGap or None
        The gap below an overhang that closes by the largest share, if there is any.
    steepest : float
        Largest rotation, radians.
    largest_strain : float
        Largest principal strain.
    warnings : tuple of str
        Where the model does not hold, and anything else to watch for.
    beyond_model : tuple of str
        Those of them that say that the part sags farther than the model follows.
    """

    displacement: Floats
    field: SagField
    largest_sag_mm: float
    largest_at: Floats
    numerical_mm: float
    modulus_mm: float
    modulus_factor: float | None
    bricks_through: float
    expected_error: float
    bricks: int
    unknowns: int
    iterations: int
    contact_rounds: int
    error: float
    settled: bool
    rolls: bool
    state: int
    lifted: int
    footing_share: float
    largest_lift_mm: float
    drop_to_plate_mm: float
    self_contact: SelfContactGap | None
    steepest: float
    largest_strain: float
    warnings: tuple[str, ...]
    beyond_model: tuple[str, ...] = ()

    @property
    def slumps(self) -> bool:
        """Whether it strains beyond the model, so that no interval of its sag means anything."""
        return self.largest_strain > LARGEST_STRAIN

    @property
    def comes_down(self) -> bool:
        """Whether it sags down onto the plate by more than a tenth of its wall: not its own sag."""
        wall_mm = self.bricks_through * float(self.field.grid.size.max())
        return self.drop_to_plate_mm > DROP_SHARE * wall_mm

    @property
    def interval95_mm(self) -> tuple[float, float] | None:
        """Least and largest sag by modulus and bricks together, mm; None where not known."""
        if self.modulus_factor is None or self.slumps or self.comes_down:
            return None
        sag = self.largest_sag_mm
        below = math.hypot(sag - sag / self.modulus_factor, self.numerical_mm)
        above = math.hypot(sag * self.modulus_factor - sag, self.numerical_mm)
        return max(sag - below, 0.0), sag + above


def grid_difference(fine: SagField, coarse: SagField) -> float:
    """Numerical uncertainty (95 %) of the displacement, from two grids, mm.

    The largest difference between the two, times 3 / (r^2 - 1) for a second-order
    method with bricks r times as large: the grid convergence index for two grids.

    Parameters
    ----------
    fine, coarse : SagField
        The two solutions.

    Returns
    -------
    float
        The uncertainty, mm.

    Source: P. J. Roache, J. Fluids Eng. 116 (1994) 405-413.
    """
    difference = field_difference(fine, coarse)
    ratio = float((np.prod(coarse.grid.size) / np.prod(fine.grid.size)) ** (1.0 / 3.0))
    return float(3.0 * difference / max(ratio**2 - 1.0, 1.0))


def field_difference(fine: SagField, coarse: SagField) -> float:
    """Largest difference of two fields at the fine one's nodes in the material, mm.

    Parameters
    ----------
    fine, coarse : SagField
        The two solutions.

    Returns
    -------
    float
        The difference, mm.
    """
    solid = np.unique(fine.bricks.corners[fine.bricks.filled > 0.5])
    # Between two walls in one brick, a node of one may lie in the other: it is left out.
    solid = solid[~fine.bricks.phantom[solid]]
    points = (fine.bricks.nodes[solid] * fine.grid.size + fine.grid.origin) @ fine.grid.turn
    other = coarse.at(points) @ fine.grid.turn.T
    return float(np.linalg.norm(fine.displacement[solid] - other, axis=1).max())


def describe(
    mesh: trimesh.Trimesh,
    problem: SagProblem,
    solved: GridSag,
    numerical_mm: float,
) -> SagResult:
    """Describe the sag on one grid in the maker's terms.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, its bodies separated, with the vertices that are asked for.
    problem : SagProblem
        What was solved.
    solved : GridSag
        Its result.
    numerical_mm : float
        Its uncertainty (95 %) from the grid, mm.

    Returns
    -------
    SagResult
        The sag, with what to watch for.
    """
    field, state = solved.field, solved.state
    largest, where = field.lowest()
    lifts = lifted(state)
    self_contact = most_closed_gap(problem.mesh, field)
    result = SagResult(
        displacement=field.at(np.asarray(mesh.vertices, dtype=np.float64)),
        field=field,
        largest_sag_mm=largest,
        largest_at=problem.bodies.back(where),
        numerical_mm=numerical_mm,
        modulus_mm=largest * problem.material.modulus_u_kpa / problem.material.modulus_kpa,
        modulus_factor=problem.material.unsure_factor,
        bricks_through=problem.plan.bricks_through,
        expected_error=problem.plan.expected_error,
        bricks=len(field.bricks.places),
        unknowns=3 * len(field.bricks.nodes),
        iterations=state.solution.iterations,
        contact_rounds=state.rounds,
        error=state.solution.error,
        settled=state.settled and state.solution.converged,
        rolls=state.solution.free_modes > STANDING_MODES * len(find_bodies(field.bricks).volume),
        state=int(state.initial.sum()),
        lifted=len(lifts),
        footing_share=_footing_share(mesh, field, int(state.initial.sum()) - len(lifts)),
        largest_lift_mm=float(lifts.max(initial=0.0)),
        drop_to_plate_mm=float(state.candidates.gap[state.touching].max(initial=0.0)),
        self_contact=None
        if self_contact is None
        else replace(self_contact, at=problem.bodies.back(self_contact.at)),
        steepest=field.steepest(),
        largest_strain=field.largest_strain(),
        warnings=(),
    )
    fused = solid_of(mesh).bodies - len(find_bodies(field.bricks).volume)
    return _warned(result, problem, fused)


def _footing_share(mesh: trimesh.Trimesh, field: SagField, nodes: int) -> float:
    """Share of the box seen from above that ``nodes`` on the plate cover; 1 on supports alone."""
    across, deep, _ = np.ptp(np.asarray(mesh.vertices) @ field.grid.turn.T, axis=0)
    one = float(np.prod(field.grid.size[:2]))
    return nodes * one / max(float(across * deep), one) if nodes else 1.0


def _warned(result: SagResult, problem: SagProblem, fused: int) -> SagResult:
    """The result with what to watch for; ``fused`` bodies were solved as part of another."""
    planned, material = problem.plan, problem.material
    warnings = [*planned.notes, *gap_notes(problem.bodies, planned.brick_mm)]
    beyond = []
    if result.slumps:
        beyond.append(
            f"the material strains by {100 * result.largest_strain:.0f} %: it slumps, "
            "which this model does not follow"
        )
    elif result.largest_sag_mm > 0.5 * planned.wall_mm:
        beyond.append(
            f"the sag of {result.largest_sag_mm:.2g} mm is more than half the thinnest wall "
            f"({planned.wall_mm:.2g} mm): the linear model no longer holds"
        )
    elif result.steepest > LARGEST_SLOPE:
        beyond.append(
            f"parts of it turn by {np.degrees(result.steepest):.0f} degrees: "
            "the linear model holds to 6"
        )
    low, high = USUAL_SAG_MODULI_KPA
    if not low <= material.modulus_kpa <= high:
        warnings.append(
            f"a sag modulus of {material.modulus_kpa:.3g} kPa is beyond any usual one "
            f"({low:g} to {high:g} kPa): check the drops it came from, and their unit"
        )
    if result.comes_down:
        beyond.append(f"the part sags by {result.drop_to_plate_mm:.2g} mm down onto the plate")
    if result.self_contact is not None and result.self_contact.share > NEARLY_CLOSED:
        x, y, z = result.self_contact.at
        beyond.append(
            f"at {x:.1f}, {y:.1f}, {z:.1f} the gap of {result.self_contact.gap_mm:.2g} mm below it "
            f"closes by {result.self_contact.closes_mm:.2g} mm"
        )
    if fused > 0:
        warnings.append(
            "bodies that touch, or that are closer than a brick and supported, are solved as one: "
            "if they are not to fuse, take one body at a time"
        )
    if result.rolls:
        warnings.append("it rests on a line or a point: chock it, and do not trust the sag there")
    least = problem.settings.tolerance_mm
    if result.numerical_mm > max(UNSURE_SHARE * result.largest_sag_mm, least):
        warnings.append(
            f"{result.numerical_mm:.2g} mm of its {result.largest_sag_mm:.2g} mm is unsure: "
            "too few bricks, or it rests on an edge"
        )
    if not result.settled:
        warnings.append("the solve stopped before it converged: do not rely on it")
    if material.poisson > material.solved_poisson:
        warnings.append(
            f"solved with a Poisson ratio of {material.solved_poisson:g} "
            f"instead of {material.poisson:.3g}, which changes bending by less than 1 %"
        )
    return replace(result, warnings=(*beyond, *warnings), beyond_model=tuple(beyond))
