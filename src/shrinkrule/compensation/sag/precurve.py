"""Taking the sag off the shape before it happens.

The displacement is taken off the vertices, the pre-curved part is fired again in the
solver, and what then differs from the wanted part is taken off again, until the
difference is small enough or no longer falls.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import trimesh

from shrinkrule.compensation.sag.field import SagField
from shrinkrule.compensation.sag.grid import lay_grid
from shrinkrule.compensation.sag.material import Base, FloatArray, SagMaterial, SagSettings
from shrinkrule.compensation.sag.plan import plan
from shrinkrule.compensation.sag.refine import MAX_FACETS, refine_where
from shrinkrule.compensation.sag.solve import (
    COARSER,
    LARGEST_SLOPE,
    Progress,
    SagResult,
    describe,
    grid_difference,
    sag_on_grid,
)
ENOUGH_SHARE: Final = 0.05
"""Pre-curving a part that sags little goes on until this share of its sag remains."""

_STALLED: Final = 0.8  # of the best error so far: a round that gains less is the last
_FIRST_PIECES: Final = 8  # edges longer than this share of the part are split before looking
_BEND_SHARE: Final = 0.25  # of the tolerance: a facet may miss the curve by this much


class Saving(StrEnum):
    """What pre-curving does for a part."""

    NOT_NEEDED = "not needed"
    SAVED = "saved"
    PARTLY = "partly saved"
    HOPELESS = "no allowance will save it"


@dataclass(frozen=True)
class PrecurveResult:
    """A pre-curved part and what it will do.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The pre-curved part, in the frame and size of the given one.
    wanted : trimesh.Trimesh
        The given part with the same vertices and facets as ``mesh``, for maps of the sag.
    before : SagResult
        Sag of the part as given, on the vertices of ``wanted``.
    fired : (n, 3) float
        Where the vertices of ``mesh`` come to lie, mm.
    rounds : int
        How often the pre-curved part was fired in the solver.
    errors_mm : tuple of float
        Largest remaining error after each of them, mm.
    verdict : Saving
        What the allowance does.
    advice : tuple of str
        Why, and what would help.
    """

    mesh: trimesh.Trimesh
    wanted: trimesh.Trimesh
    before: SagResult
    fired: FloatArray
    rounds: int
    errors_mm: tuple[float, ...]
    verdict: Saving
    advice: tuple[str, ...]

    @property
    def sag_before_mm(self) -> float:
        """Largest sag without allowance, mm."""
        return self.before.largest_sag_mm

    @property
    def remaining_mm(self) -> float:
        """Largest distance of the fired pre-curved part's vertices from the wanted ones, mm."""
        return min(self.errors_mm)

    @property
    def remaining(self) -> FloatArray:
        """Fired minus wanted position of each vertex, (n, 3) mm."""
        difference: FloatArray = self.fired - np.asarray(self.wanted.vertices)
        return difference


def precurve(
    mesh: trimesh.Trimesh,
    material: SagMaterial,
    settings: SagSettings,
    *,
    progress: Progress | None = None,
) -> PrecurveResult:
    """Pre-curve a part so that it fires straight.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The wanted part in its fired size, watertight, mm.
    material : SagMaterial
        What sags.
    settings : SagSettings
        How it lies, how finely it is solved, and when to stop.
    progress : callable or None
        Told the stage and the share done, 0 to 1.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the part would tip over.
    SettingError
        If it does not fit the budget.
    """
    tell = progress or (lambda _stage, _share: None)
    tell("planning", 0.0)
    planned = plan(mesh, settings)
    coarse_grid = lay_grid(mesh, planned.grid.turn, COARSER * planned.brick_mm)
    coarse = sag_on_grid(mesh, coarse_grid, material, settings)
    share = 1.0 / (settings.max_rounds + 1)
    first = sag_on_grid(
        mesh,
        planned.grid,
        material,
        settings,
        coarse,
        lambda done: tell("sag as given", share * done),
    )
    wanted = refine_to_follow(mesh, first.field, settings.tolerance_mm)
    before = describe(
        wanted, material, planned, first, grid_difference(first.field, coarse.field)
    )
    if before.largest_sag_mm < settings.tolerance_mm and _reach(before) < settings.tolerance_mm:
        fired = np.asarray(wanted.vertices) + before.displacement
        return PrecurveResult(
            wanted, wanted, before, fired, 0, (_reach(before),), Saving.NOT_NEEDED, ()
        )

    target = np.asarray(wanted.vertices, dtype=np.float64)
    flat = settings.base is Base.FLAT or settings.supports
    base = float((target @ settings.up).min()) if flat else None
    bent, best = target - before.displacement, None
    enough = min(settings.tolerance_mm, ENOUGH_SHARE * _reach(before))
    errors: list[float] = []
    solved = first
    for number in range(1, settings.max_rounds + 1):
        shape = bent if base is None else _above(bent, settings.up, base)
        candidate = trimesh.Trimesh(shape, wanted.faces, process=False)
        stage = f"firing the pre-curved part, round {number}"
        begun = number * share
        grid = lay_grid(candidate, planned.grid.turn, planned.brick_mm, fit=False)
        solved = sag_on_grid(
            candidate,
            grid,
            material,
            settings,
            solved,
            lambda done, stage=stage, begun=begun: tell(stage, begun + share * done),
        )
        fired = put_down(shape + solved.field.at(shape), shape, target, settings.up)
        miss = fired - target
        errors.append(float(np.linalg.norm(miss, axis=1).max()))
        if best is None or errors[-1] <= min(errors[:-1], default=np.inf):
            best = (candidate, fired)
        if errors[-1] < enough or errors[-1] > _STALLED * min(errors[:-1], default=np.inf):
            break
        bent = shape - miss
    tell("pre-curved", 1.0)
    verdict, advice = _judge(wanted, best[0], before, planned.wall_mm, settings, min(errors))
    return PrecurveResult(
        best[0], wanted, before, best[1], len(errors), tuple(errors), verdict, advice
    )


def refine_to_follow(
    mesh: trimesh.Trimesh, field: SagField, tolerance_mm: float
) -> trimesh.Trimesh:
    """Split facets where their edges would miss the curve of the sag.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part.
    field : SagField
        Its sag.
    tolerance_mm : float
        Tolerance of the pre-curving; an edge may miss the curve by a quarter of it.
    """
    longest = float(np.max(mesh.extents)) / _FIRST_PIECES
    shortest = float(field.grid.size.min())

    def bends(ends: FloatArray) -> np.ndarray:
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        long = np.flatnonzero(length > 2.0 * shortest)
        moved = field.at(ends[long].reshape(-1, 3)).reshape(-1, 2, 3)
        off = field.at(ends[long].mean(axis=1)) - moved.mean(axis=1)
        split = length > longest
        split[long] |= np.linalg.norm(off, axis=1) > _BEND_SHARE * tolerance_mm
        return split

    return refine_where(mesh, bends)


def put_down(
    fired: FloatArray, shape: FloatArray, target: FloatArray, up: FloatArray
) -> FloatArray:
    """Lay a fired part on the wanted part's plate, where it differs least from it in plan.

    Parameters
    ----------
    fired : (n, 3) float
        Vertices after firing, mm.
    shape : (n, 3) float
        The same vertices before; the lowest of them stood on the plate.
    target : (n, 3) float
        Where they should be; the lowest of these stand on the plate.
    up : (3,) float
        Upward unit vector.
    """
    moved = fired + ((target @ up).min() - (shape @ up).min()) * up
    middle = target.mean(axis=0)
    arms = np.cross(up, target - middle)
    miss = target - moved
    flat = miss - np.outer(miss @ up, up)
    turn = float((flat * arms).sum() / max(float((arms**2).sum()), 1e-300))
    placed: FloatArray = moved + flat.mean(axis=0) + turn * arms
    return placed


def _above(points: FloatArray, up: FloatArray, base: float) -> FloatArray:
    """Points with none below a height."""
    return points + np.outer(np.maximum(base - points @ up, 0.0), up)


def _reach(result: SagResult) -> float:
    return float(np.linalg.norm(result.displacement, axis=1).max())


def _judge(
    wanted: trimesh.Trimesh,
    bent: trimesh.Trimesh,
    before: SagResult,
    wall_mm: float,
    settings: SagSettings,
    remaining_mm: float,
) -> tuple[Saving, tuple[str, ...]]:
    """Tell what the allowance does, why, and what would help."""
    sag = before.largest_sag_mm
    thicker = (2.0 * sag * wall_mm**2) ** (1.0 / 3.0)
    help_ = (
        "try another way up",
        "hold the place that sags most with a setter block or ballast",
        f"make the wall that carries it about {thicker:.2g} mm thick instead of {wall_mm:.2g} mm: "
        "it would then sag by less than half of that",
    )
    if before.fallen_mm > max(10.0 * settings.tolerance_mm, 0.1 * wall_mm):
        why = f"it sags down by {before.fallen_mm:.2g} mm onto what lies below"
        return Saving.HOPELESS, (why, *help_)
    if sag > wall_mm:
        why = f"its sag of {sag:.2g} mm is more than its thinnest wall of {wall_mm:.2g} mm"
        return Saving.HOPELESS, (why, *help_)
    notes = []
    if before.steepest > LARGEST_SLOPE:
        notes.append("it turns too far for the linear model: fire a trial part first")
    heights = np.asarray(wanted.vertices) @ settings.up
    lowered = heights.min() - float((np.asarray(bent.vertices) @ settings.up).min())
    if lowered > settings.tolerance_mm:
        notes.append(
            f"its underside is curved by {lowered:.2g} mm: print it on a raft, or keep the base flat"
        )
    if remaining_mm < settings.tolerance_mm:
        return Saving.SAVED, tuple(notes)
    notes.append(f"{remaining_mm:.2g} mm remain, more than {settings.tolerance_mm:.2g} mm")
    return Saving.PARTLY, (*notes, *help_)
