"""A quick estimate of the sag, about half a second's work, with its own error.

The same solve on two coarse grids. Its error is that of the grids' difference and that which
bricks so coarse make in bending a wall that lies across them, added: neither alone covers what
the full solve finds (docs/theory-sag.md compares them).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh

from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.progress import Progress, silent, stage_of
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.fem.rigid_modes import find_bodies
from shrinkrule.sag.material import SagMaterial
from shrinkrule.sag.preparation import prepare
from shrinkrule.sag.result import LARGEST_STRAIN, STANDING_MODES
from shrinkrule.sag.settings import SagSettings
from shrinkrule.sag.solve import solve_on_two_grids

FINER_STRAIN: Final = 1.8
"""Largest strain of a full solve over that of an estimate: up to 1.75 on the sample parts."""

QUICK_UNKNOWNS: Final = 7_000
"""Unknowns of a quick estimate: about half a second on a part of a few walls."""


@dataclass(frozen=True)
class SagEstimate:
    """A quick estimate of the sag of a part.

    Parameters
    ----------
    sag_mm : float
        How far the part comes down at most, mm.
    at_mm : (3,) float
        Where, in the mesh's frame, mm.
    numerical_mm : float
        Its error (95 %) from bricks so coarse, mm.
    modulus_mm : float
        Its standard uncertainty from that of the sag modulus, mm.
    modulus_factor : float or None
        Factor either way within which the sag of the next firing lies (95 %), if that is known.
    rolls : bool
        Whether the part rests on a line or a point.
    settled : bool
        Whether the solve came to an end of its own.
    unknowns : int
        Size of the solve.
    field : SagField or None
        The displacement anywhere; None where bodies were moved apart for the solve.
    lost : str
        Why no allowance will save the part, so that its sizes are not known; else empty.
    nearly_lost : bool
        Whether bricks so coarse cannot tell that an allowance will save it.
    """

    sag_mm: float
    at_mm: Floats
    numerical_mm: float
    modulus_mm: float
    modulus_factor: float | None
    rolls: bool
    settled: bool
    unknowns: int
    field: SagField | None
    lost: str = ""
    nearly_lost: bool = False

    @property
    def half95_mm(self) -> float:
        """Half width of the 95 % interval of the sag upward, the wider way, mm.

        After a single firing the readings alone are in it, as twice their uncertainty.
        """
        factor = self.modulus_factor
        modulus = 2.0 * self.modulus_mm if factor is None else self.sag_mm * (factor - 1.0)
        return float(np.hypot(modulus, self.numerical_mm))


def estimate_sag(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    settings: SagSettings,
    *,
    progress: Progress | None = None,
) -> SagEstimate:
    """Estimate the sag of a part on coarse bricks.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A watertight part in its fired size, mm.
    material : SagMaterial
        What sags.
    settings : SagSettings
        How it lies; its budget is cut to a quick one.
    progress : callable or None
        Called with the stage and the share done, 0 to 1.

    Returns
    -------
    SagEstimate
        The sag and its error.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    SettingError
        If it does not fit the budget.
    """
    budget = min(settings.max_unknowns, QUICK_UNKNOWNS)
    quick = replace(settings, max_unknowns=budget, brick_mm=None)
    report = progress or silent
    problem = prepare(mesh, material, quick)
    solved, numerical = solve_on_two_grids(problem, stage_of(report, "estimating sag", 0.0, 1.0))
    sag, where = solved.field.lowest()
    state, bricks = solved.state, solved.field.bricks
    bodies = len(find_bodies(bricks).volume)
    strain, wall_mm = solved.field.largest_strain(), problem.plan.wall_mm
    lacking = numerical + problem.plan.expected_error * sag
    return SagEstimate(
        sag_mm=sag,
        at_mm=problem.bodies.back(where),
        numerical_mm=lacking,
        modulus_mm=sag * material.modulus_u_kpa / material.modulus_kpa,
        modulus_factor=material.unsure_factor,
        rolls=state.solution.free_modes > STANDING_MODES * bodies,
        settled=state.settled and state.solution.converged,
        unknowns=3 * len(bricks.nodes),
        field=solved.field if problem.mesh is mesh else None,
        lost=_why_lost(sag, strain, wall_mm),
        nearly_lost=bool(_why_lost(sag + lacking, FINER_STRAIN * strain, wall_mm)),
    )


def _why_lost(sag_mm: float, strain: float, wall_mm: float) -> str:
    """Why no allowance will save a part, by the limits of the full solve."""
    if strain > LARGEST_STRAIN:
        return f"it slumps this way up, straining by {100 * strain:.0f} %"
    if sag_mm > wall_mm:
        return f"its sag of {sag_mm:.2g} mm is more than its thinnest wall of {wall_mm:.2g} mm"
    return ""
