"""How finely a sag is solved: the difference of two grids steers, within a stated time.

Where bricks so coarse may miss by more than is asked, finer ones follow as far as unknowns, memory
and time allow, and the last two grids are extrapolated to bricks of no size (L. F. Richardson,
Phil. Trans. R. Soc. A 210 (1911) 307-357; for a method of second order).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh

from shrinkrule.numerics.progress import Progress, share_of, silent, stage_of
from shrinkrule.sag.fem.field import SagField
from shrinkrule.sag.material import SagMaterial
from shrinkrule.sag.plan import SagPlan, plan_bricks
from shrinkrule.sag.preparation import SagProblem, prepare
from shrinkrule.sag.result import GridSag, SagResult, describe, field_difference
from shrinkrule.sag.settings import SagSettings
from shrinkrule.sag.solve import sag_on_grid, solve_coarsely

NOTHING_SHARE: Final = 0.1
"""Of the tolerance: no time is spent where bricks leave less than this unsure."""

SECONDS_PER_UNKNOWN: Final = 1.2e-5
SECONDS_PER_ITERATION: Final = 1.3e-6
"""Processor time of filling and building, and of an iteration, by unknown: measured on solid and
thin parts on a machine of two cores."""

COARSEST: Final = 1.6
"""Bricks are made larger by this at most for want of time: the coarser grid has twice the side."""

_REFINEMENTS: Final = 2
_LEAST_RATIO: Final = 1.25  # finer by less tells too little from the grid before
_LARGEST_RATIO: Final = 2.0
_WIDE: Final = 1.6  # bricks so much larger are far enough for an extrapolation
_LEAST_GAIN: Final = 0.2  # of a finer grid, by the second order; bricks cannot be made of any size
_RESERVE: Final = 1.15  # bricks are made finer than the second order asks by this
_PLAIN_FACTOR: Final = 3.0  # of the difference over r^2 - 1: Roache's for two grids
_TWO_GRIDS_SHARE: Final = 0.02  # stated at least: two grids may agree by chance
_EXTRAPOLATED_SHARE: Final = 0.015  # the same of what is extrapolated
_EXTRAPOLATED_FACTOR: Final = 1.5  # the same, stated once the two are extrapolated: it held the
# references of docs/theory-sag.md, where a footing's edge lowers the order
_COARSE_SHARE: Final = 0.15  # of the time goes into the coarser grids
_FINE_SHARE: Final = 0.4  # of the time that is left goes into the first fine grid


@dataclass(frozen=True)
class SureSag:
    """The sag as surely as was asked, or as it may be had.

    Parameters
    ----------
    solved : GridSag
        The finest grid; its field is extrapolated where ``correction`` is not None.
    correction : SagField or None
        What the extrapolation added.
    numerical_mm : float
        Uncertainty (95 %) from the bricks, mm.
    plan : SagPlan
        The bricks of the finest grid, with notes of what did not fit.
    """

    solved: GridSag
    correction: SagField | None
    numerical_mm: float
    plan: SagPlan


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
        Called with the stage and the share done, 0 to 1.

    Returns
    -------
    SagResult
        The sag, with what to watch for.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    SettingError
        If it does not fit the budget.

    Source: docs/theory-sag.md.
    """
    report = progress or silent
    report("planning", 0.0)
    problem = prepare(mesh, material, settings)
    sure = solve_surely(problem, report, "solving", 0.0, 1.0)
    report("solved", 1.0)
    return describe(problem.mesh, replace(problem, plan=sure.plan), sure.solved, sure.numerical_mm)


def solve_surely(
    problem: SagProblem, report: Progress, stage: str, start: float, span: float
) -> SureSag:
    """Solve on two grids, and on finer ones where their difference asks for it.

    Where the settings state the bricks, they are taken as they are.

    Parameters
    ----------
    problem : SagProblem
        What is solved.
    report : callable
        Called with the stage, and the time it takes where that is long.
    stage : str
        Name of the stage.
    start, span : float
        Where the stage begins, and how much of the whole it is.

    Returns
    -------
    SureSag
        The sag on the finest grid, and how sure it is.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    """
    settings = problem.settings

    def solve(planned: SagPlan, similar: GridSag, done: float, share: float) -> GridSag:
        seconds = expected_seconds(planned.unknowns, similar.state.solution.iterations)
        tick = stage_of(report, f"{stage}, about {seconds:.0f} s", start, span)
        return sag_on_grid(
            problem.mesh,
            planned.grid,
            problem.material,
            settings,
            similar,
            share_of(tick, done, share),
        )

    coarse = solve_coarsely(problem)
    planned = problem.plan
    if settings.brick_mm is None:
        planned = within_time(problem, coarse.state.solution.iterations)
        if planned is not problem.plan:
            report(planned.notes[-1], start)
    left = 1.0 - _COARSE_SHARE
    fine = solve(planned, coarse, _COARSE_SHARE, _FINE_SHARE * left)
    error = _error(fine, coarse)
    reach = float(np.linalg.norm(fine.field.displacement, axis=1).max())
    allowed = max(settings.sure_share * reach, NOTHING_SHARE * settings.tolerance_mm)
    if _PLAIN_FACTOR * error <= allowed or settings.brick_mm is not None:
        return SureSag(fine, None, max(_PLAIN_FACTOR * error, _TWO_GRIDS_SHARE * reach), planned)
    for number in range(_REFINEMENTS):
        if _EXTRAPOLATED_FACTOR * error <= allowed:
            break
        ratio = min(_RESERVE * float(np.sqrt(error / allowed)), _LARGEST_RATIO)
        ratio = max(ratio, _LEAST_RATIO)
        finer = _finer(problem, planned, ratio, fine.state.solution.iterations)
        if finer is None:
            break
        before, planned = fine, finer
        share = left * (1.0 - _FINE_SHARE) / _REFINEMENTS
        fine = solve(planned, before, 1.0 - (_REFINEMENTS - number) * share, share)
        # Grids that differ little tell chance from error badly: the coarser one stays.
        if _larger(fine.field, before.field) >= _WIDE:
            coarse = before
        error = _error(fine, coarse)
    correction = _correction(fine.field, coarse.field)
    moved = replace(fine.field, displacement=fine.field.displacement + correction.displacement)
    stated = max(_EXTRAPOLATED_FACTOR * error, _EXTRAPOLATED_SHARE * reach)
    return SureSag(replace(fine, field=moved), correction, stated, planned)


def expected_seconds(unknowns: int, iterations: int) -> float:
    """Processor time of a solve, about, s.

    Parameters
    ----------
    unknowns : int
        Its unknowns.
    iterations : int
        Iterations it takes: those of a coarser grid are a good guess.

    Returns
    -------
    float
        The time, s.
    """
    return unknowns * (SECONDS_PER_UNKNOWN + SECONDS_PER_ITERATION * iterations)


def within_time(problem: SagProblem, iterations: int) -> SagPlan:
    """The plan as it is, or with bricks as large as the stated time asks, and a note of that.

    Parameters
    ----------
    problem : SagProblem
        What is solved.
    iterations : int
        Iterations that the coarser grid took.

    Returns
    -------
    SagPlan
        Bricks that fit the time.
    """
    planned, limit = problem.plan, problem.settings.max_seconds
    seconds = expected_seconds(planned.unknowns, iterations)
    if seconds <= limit:
        return planned
    larger = planned.brick_mm * float(np.cbrt(seconds / limit))
    fits = plan_bricks(planned, min(larger, COARSEST * planned.brick_mm))
    note = (
        f"{planned.unknowns:,} unknowns would take about {seconds:.0f} s: solved with "
        f"{fits.unknowns:,} in about {expected_seconds(fits.unknowns, iterations):.0f} s; "
        "a finer detail, or a number of unknowns, allows more"
    )
    return replace(fits, notes=(*fits.notes, note))


def _finer(problem: SagProblem, planned: SagPlan, ratio: float, iterations: int) -> SagPlan | None:
    """A plan of bricks smaller by ``ratio``, or by what fits; None where nothing worth it fits."""
    settings = problem.settings
    seconds = expected_seconds(planned.unknowns, iterations)
    for room in (
        settings.max_seconds / seconds,
        settings.max_unknowns / planned.unknowns,
        settings.max_memory / planned.memory,
    ):
        ratio = min(ratio, float(np.cbrt(room)))
    if ratio < _LEAST_RATIO:
        return None
    return plan_bricks(planned, planned.brick_mm / ratio)


def _larger(fine: SagField, coarse: SagField) -> float:
    """How much larger the bricks of the coarse field are."""
    return float(np.cbrt(np.prod(coarse.grid.size) / np.prod(fine.grid.size)))


def _ratio(fine: SagField, coarse: SagField) -> float:
    """How much larger the bricks of the coarse field are, squared, less one."""
    return max(_larger(fine, coarse) ** 2 - 1.0, _LEAST_GAIN)


def _error(fine: GridSag, coarse: GridSag) -> float:
    """Largest error that a method of second order has on the fine grid, mm."""
    difference = field_difference(fine.field, coarse.field)
    return difference / _ratio(fine.field, coarse.field)


def _correction(fine: SagField, coarse: SagField) -> SagField:
    """What the fine field lacks, by a method of second order, at its nodes."""
    points = (fine.bricks.nodes * fine.grid.size + fine.grid.origin) @ fine.grid.turn
    lacks = fine.displacement - coarse.at(points) @ fine.grid.turn.T
    return replace(fine, displacement=lacks / _ratio(fine, coarse))
